"""What to do next: every step as a record (screening/step.py), and which are given in which state.

suspected(state, rules, ...)        steps where a finding is relevant, still stands or is open from an earlier scan
after_nothing(state)               steps where nothing was found
piano_steps(state, strings)        steps where nothing stood out in the piano, which is no answer
settling(state, others)            steps where a small change beside earlier scans is left open
buzzing(state)                     steps where something buzzed
part_only(state, texts)            steps where a part of the plate was tapped and showed nothing
repeat(texts)                      how to tap better where nothing is suspected
asked_of_screws(state, others)      steps where two scans in the piano were compared
made_sure(steps)                   the same where it is doubtful which plate was tapped
stopped(steps)                     whether the plate is to be left as it is; LATER says so above what would mend the test
read_again(steps, step)            the same where the recordings are to be read once more, as `step` says
of_lines(lines)                    the steps behind lines that were stored
held(steps)                        whether it is, or the work on it rests until a qualified person has decided
may_tap(state)                     whether a suspected plate may be tapped again in that state
to_repeat(lines, state)            whether a page may say beside these stored lines that the test is to be repeated

A plate that may carry strings, or whose state is not told, gets the steps of one under tension once anything is suspected: nothing is tightened,
tapped, loaded or raised; a qualified person decides whether to let tension down. Reasons: tightening loads the casting and can close a crack, and a cracked
plate under tension can fail at once (common practice, no source). What shows what, from memory of ASTM E10, E709, E1351 and E165: hardness and replicas show
hard iron and no crack; magnetic particles and penetrant show cracks that reach the surface and no hard iron.
"""

from collections.abc import Iterable, Sequence

from tapscan.screening.open_findings import EXAMINED
from tapscan.screening.rule import Shows
from tapscan.screening.rules import rule_named
from tapscan.screening.step import COATED, EVERY, INSIDE, OUT, TENSION, UNKNOWN, Act, Step, Told, Who
from tapscan.signal.fit.spurious import LEAST_STATIONS


def _step(
    code: str, who: Who, states: frozenset[Told], acts: Iterable[Act], text: str, *, unsuspected: bool = False
) -> Step:
    return Step(code, text, who, states, frozenset(acts), unsuspected)


def _held(code: str, until: str, coated_too: str = "") -> tuple[Step, Step]:
    """The work rests: on a plate without a finish, and on one with it."""
    bare = f"Put no finish and no strings on the plate {until}"
    coated = f"Put no strings on the plate and fit nothing more to it {until}{coated_too}"
    return (
        _step(f"{code}-bare", "workshop", OUT - COATED, ("stop",), bare),
        _step(f"{code}-coated", "workshop", COATED, ("stop",), coated),
    )


STOP = _step(
    "stop", "workshop", TENSION, ("stop", "ask"),
    "Stop. Leave the piano as it is: do not tune it, do not raise the pitch, do not turn a screw, do not tap the plate again. Stand clear of the plane of the strings. Tell the owner.",
)  # fmt: skip
STOP_UNSTRUNG = _step(
    "stop-unstrung", "workshop", INSIDE - TENSION, ("stop", "ask"),
    "Stop. Leave the plate as it is: put no strings on it, do not turn a screw, do not tap it again. Tell the owner.",
)  # fmt: skip
STOP_UNKNOWN = _step(
    "stop-unknown", "workshop", UNKNOWN, ("stop", "ask"),
    "If the plate is in the piano or carries strings, stop: do not tune, do not raise the pitch, do not turn a screw, do not tap it again. Stand clear of the plane of the strings and tell the owner.",
)  # fmt: skip
TELL_STATE = _step(
    "tell-state", "workshop", UNKNOWN, ("tell-state",),
    "Tell tapscan the state of the plate and screen the same recordings again: what may be done next depends on it.",
)  # fmt: skip
HOLDS = _held("hold", "until a qualified person has decided.", " Leave the finish on until that person says where it must come off.")  # fmt: skip
HOLDS_BUZZ = _held("hold-buzz", "until the buzz is explained and a qualified person has decided.")
HOLDS_PART = _held("hold-part", "until all its places have been tapped; the report of that says how to go on.")
HOLD_PART_UNKNOWN = _step(
    "hold-part-unknown", "workshop", UNKNOWN, ("stop",),
    "Do no further work on the plate until all its places have been tapped; the report of that says how to go on.",
)  # fmt: skip
STEADY = _step(
    "steady", "workshop", OUT, ("hold-parts", "tap"),
    "Steady or take off whatever is loose on the plate and on what holds it (hook, sling, pads, clamps), then tap the same places again. If the finding is then gone, it is not cleared: it stays open "
    "until the part that caused it is named and two more scans find nothing.",
)  # fmt: skip
LOOK = _step(
    "look", "workshop", EVERY, ("look", "photograph"),
    "Look at the plate in good light with a magnifier, without touching the iron (grease and scratches hide a crack from a later test): first at any place named here, for lines, repairs and other causes that can be seen. Photograph what you see. "
    "Seeing nothing does not clear the plate.",
)  # fmt: skip
CALL = _step(
    "call", "buyer", TENSION | UNKNOWN, ("call",),
    "Call a qualified person to examine the plate. That person decides whether the string tension is let down first, and nobody else lets it down.",
)  # fmt: skip
CALL_UNSTRUNG = _step(
    "call-unstrung", "buyer", INSIDE - TENSION, ("call",),
    "Call a qualified person to examine the plate before any string goes on.",
)  # fmt: skip
DECISIONS = tuple(
    _step(code, "buyer", states, ("call",), f"An examination has found a flaw. Have a qualified person decide what is to be done with the plate{rest}")
    for code, states, rest in (
        ("decide", TENSION | UNKNOWN, ". That person decides whether the string tension is let down first, and nobody else lets it down."),
        ("decide-unstrung", INSIDE - TENSION, " before any string goes on."),
        ("decide-out", OUT, "."),
    )
)  # fmt: skip
CRACK_TEST = _step(
    "crack-test", "buyer", EVERY, ("call", "test-cracks"),
    "Have a qualified person test the iron for cracks, first at any place named here; that person says whether now or later. First come magnetic particles, and only after them penetrant. "
    "Finish, and iron smeared by blasting, must come off there first (treat old finish as lead paint). Casting pores bleed penetrant and can look like cracks. "
    "The iron is demagnetised afterwards.",
)  # fmt: skip
HARD_TEST = _step(
    "hard-test", "buyer", EVERY, ("call", "test-hardness"),
    "Have a qualified person test how hard the iron is, first at any place named here; that person says whether now or later. It takes a hardness test or a replica of the grain (replica metallography). "
    "Iron that rings longer may be fine-grained, or hard. That is common and no flaw by itself; but hard iron is brittle, and only such a test tells. "
    "A magnifier, penetrant and magnetic particles do not show hard iron.",
)  # fmt: skip
ASK = _step(
    "ask", "buyer", EVERY, ("ask",),
    "Ask the owner, or whoever made the earlier scan, whether the earlier finding was examined, by whom, and what came of it. Have the answer noted with that scan.",
)  # fmt: skip
KEEP = _step(
    "keep", "workshop", OUT | UNKNOWN, ("keep",),
    "Keep this scan. If the plate is worked on, scan it again after each stage, as long as it is out of the piano.",
)  # fmt: skip
KEEP_UNTOLD = _step(
    "keep-untold", "workshop", OUT | UNKNOWN, ("keep",),
    f"Keep this scan, though no other can be compared with it: it may hold the room's tones. Before the plate is worked on, and as long as it is out of the piano, scan it once more with a pickup on the iron, or at {LEAST_STATIONS} places or more; "
    "then again after each stage.",
)  # fmt: skip
EYES = _step(
    "eyes", "workshop", EVERY, ("look",),
    "Look the plate over in good light at struts, screw holes and rim all the same.",
)  # fmt: skip
MUTE = _step(
    "mute", "workshop", TENSION, ("mute", "tap"),
    "Only if the eye finds nothing wrong with the plate: mute all strings with felt and tap lightly once more, out of their line. Their tones may hide a finding. If nothing is found then, that is still no answer.",
    unsuspected=True,
)  # fmt: skip
EYES_IN_PIANO = _step(
    "eyes-in-piano", "workshop", INSIDE, ("look",),
    "First look, without touching the iron, with a magnifier in good light: at the struts, the holes of the plate screws and the pin field. "
    "If you see a line that may be a crack, or edges that stand apart: stop, do not tap, tune or turn a screw, stand clear of the strings, and call a qualified person. "
    "Seeing nothing does not clear the plate, and this test does not say whether the piano may be tuned: a qualified person decides that. Note any run of notes that does not stay in tune.",
)  # fmt: skip
CALL_FOR_BARE = _step(
    "call-for-bare", "buyer", INSIDE, ("call",),
    "Before anyone relies on this plate, have a qualified person examine it. For a tap test that can answer, the plate has to be out of the piano. That is heavy work, and a qualified person lowers the tension first.",
)  # fmt: skip
HOLD_PARTS = _step(
    "hold-parts", "workshop", OUT, ("hold-parts", "tap"),
    "Have a helper hold the hook, screws, pads and pickup still, tap all places again, and note with the scan that they were held. "
    "If the buzz stays, it counts as a finding. If it is gone, most likely one of these parts made it: find out which, and go by the report of that scan.",
)  # fmt: skip
QUALIFIED = (  # common practice, no source
    "Qualified means: for cracks and hard iron, certified to test metal (as in a testing laboratory); for strings, tension and the work, an experienced piano rebuilder."
)
LATER = "The plate is not to be tapped again for now: what is said here of better taps is for a scan that a qualified person has allowed."
SETTLE = _step(
    "settle", "workshop", OUT, ("tap", "keep"),
    "Lift the plate, set it down afresh on the same supports and scan it twice more, not all on one day. Do no further work on it before the answer is in. tapscan then holds the change against what this plate does by itself.",
)  # fmt: skip
SCREWS = _step(
    "screws", "workshop", INSIDE, ("ask",),
    "Ask whoever worked on the piano at what torque the plate screws were left, and how humid the room was on both days, and have it noted with both scans: both change the tones of a plate in its piano. "
    "Turn no screw to find out.",
)  # fmt: skip
MAKE_SURE = _step(
    "make-sure", "workshop", EVERY, ("ask",),
    "Make sure which plate this scan is of, and that its places are in the right order: by the plate's label, the notes of the day and whoever was there.",
)  # fmt: skip
READ_AGAIN = _step(
    "read-again", "workshop", EVERY, ("ask", "read-again"),
    "Soft and hard seem exchanged in this scan. Find out, from the notes of the day or whoever was there, which came first at each place, and have the same recording read again in that order: nothing is tapped for it. "
    "Until then what needs both forces is not checked.",
)  # fmt: skip
READ_ANEW = _step(
    "read-anew", "workshop", OUT | UNKNOWN, ("read-again",),
    "Have the same recordings read anew: they were read as those of a plate in its piano, and there most checks are left out. Nothing is tapped for it.",
)  # fmt: skip
LOOK_AT_NOTES = _step(
    "look-at-notes", "workshop", EVERY, ("look", "photograph"),
    "Look for what is loose or rings on at the notes named: things on the piano, lid and lamp, dampers, strings at the bridge, screws. Look and photograph only. While the strings are on, turn no screw of the plate and no bolt.",
)  # fmt: skip
CALL_TECHNICIAN = _step(
    "call-technician", "buyer", EVERY, ("call",),
    "Show the list of notes to a piano technician, who looks at dampers and loose parts. If the loose part belongs to the plate, a qualified person decides what may be done while the strings are on.",
)  # fmt: skip
STEPS: tuple[Step, ...] = (STOP, STOP_UNSTRUNG, STOP_UNKNOWN, TELL_STATE, *HOLDS, STEADY, LOOK, CALL, CALL_UNSTRUNG, CRACK_TEST, HARD_TEST, ASK, KEEP, KEEP_UNTOLD, EYES, MUTE)  # fmt: skip
STEPS += (
    EYES_IN_PIANO,
    CALL_FOR_BARE,
    *HOLDS_BUZZ,
    *HOLDS_PART,
    HOLD_PART_UNKNOWN,
    HOLD_PARTS,
    SETTLE,
    SCREWS,
    MAKE_SURE,
    READ_AGAIN,
    READ_ANEW,
    LOOK_AT_NOTES,
    CALL_TECHNICIAN,
    *DECISIONS,
)


def may_tap(state: Told) -> bool:
    """Out of the piano only, and only where that is known."""
    return state in OUT


def stopped(steps: Iterable[Step]) -> bool:
    """Whether the plate is to be left as it is."""
    return any(s in (STOP, STOP_UNSTRUNG, STOP_UNKNOWN) for s in steps)


def held(steps: Iterable[Step]) -> bool:
    """Out of the piano too."""
    given = tuple(steps)
    return stopped(given) or any(s in HOLDS for s in given)


def of_lines(lines: Iterable[str]) -> tuple[Step, ...]:
    """The steps behind lines that were stored; those that are no step of today's are left out."""
    return tuple(_BY_LINE[line] for line in lines if line in _BY_LINE)


def to_repeat(lines: Sequence[str], state: Told) -> bool:
    """Never in the piano, where the steps alone say what may be tapped; else where one asks to tap. How to tap better is no step of STEPS."""
    asked = any(line not in _BY_LINE or "tap" in _BY_LINE[line].acts for line in lines)
    return state not in INSIDE and asked and not stopped(of_lines(lines))


_BY_LINE = {step.line: step for step in STEPS}


def suspected(
    state: Told, rules: Iterable[str], mends: Sequence[Step] = (), *, again: bool = True, earlier: bool = False
) -> tuple[Step, ...]:
    """In the order in which they are to be done.

    rules : of the findings that are relevant, still stand or are open; EXAMINED among them asks for a decision, and the others for a test
    mends : how to tap better, where the scan was a poor one
    again : whether the places are to be tapped again with loose parts steadied
    earlier : whether one of the findings was made in an earlier scan
    """
    tapping = (*mends, STEADY) if again else tuple(mends)
    wanted = (
        STOP,
        STOP_UNSTRUNG,
        STOP_UNKNOWN,
        *HOLDS,
        LOOK,
        *(tapping if may_tap(state) else ()),
        TELL_STATE,
    )
    rules = tuple(rules)
    asked = DECISIONS if EXAMINED in rules else (CALL, CALL_UNSTRUNG)
    return _given((*wanted, *((ASK,) if earlier else ()), *asked, *tests(rules)), state)


def tests(rules: Iterable[str]) -> tuple[Step, ...]:
    """Examinations that can show what these rules point to."""
    shown = {what for name in rules for what in _shows(name)}
    return ((CRACK_TEST,) if "crack" in shown else ()) + ((HARD_TEST,) if "hard iron" in shown else ())


def _shows(name: str) -> frozenset[Shows]:
    """A rule of an earlier version that is no more may have meant a crack. A flaw that was found needs no test to show it."""
    if name == EXAMINED:
        return frozenset()
    rule = rule_named(name)
    return rule.shows if rule else frozenset({"crack"})


def buzzing(state: Told) -> tuple[Step, ...]:
    """A buzz of parts that were not held: most often a loose part, but a crack buzzes too."""
    return _given((*HOLDS_BUZZ, LOOK, HOLD_PARTS), state) if may_tap(state) else suspected(state, ("buzz",))


def of_notes(state: Told, *, found: bool, opened: bool) -> tuple[Step, ...]:
    """Keys were played; `opened`: an earlier scan has a finding, and then the plate is left as it is first of all."""
    first = (STOP, STOP_UNSTRUNG, STOP_UNKNOWN, ASK) if opened else ()
    mine = (LOOK_AT_NOTES, CALL_TECHNICIAN) if found else (EYES_IN_PIANO, CALL_FOR_BARE)
    return _given((*first, *mine, TELL_STATE), state)


def part_only(state: Told, texts: Sequence[str]) -> tuple[Step, ...]:
    """Places are missing; what was tapped showed nothing."""
    return (*_given((*HOLDS_PART, HOLD_PART_UNKNOWN), state), *repeat(texts))


def settling(state: Told, others: Sequence[Step]) -> tuple[Step, ...]:
    """To stop still comes first; a plate that may carry strings is not lifted, and nothing is added for it but to look."""
    first = tuple(s for s in others if s in (STOP, STOP_UNSTRUNG, STOP_UNKNOWN))
    new = tuple(s for s in _given((LOOK, SETTLE), state) if s not in others)
    steps = (*first, *new, *(s for s in others if s not in first))
    return read_again(steps) if READ_AGAIN in others else steps


def asked_of_screws(state: Told, others: Sequence[Step]) -> tuple[Step, ...]:
    """Last, since it is only asked."""
    return (*others, *_given((SCREWS,), state))


def piano_steps(state: Told, *, strings: bool) -> tuple[Step, ...]:
    """Nothing is suspected; with `strings` their tones were heard."""
    return _given((EYES_IN_PIANO, *((MUTE,) if strings else ()), CALL_FOR_BARE), state)


def after_nothing(state: Told, *, keep_only: bool = False, untold: bool = False) -> tuple[Step, ...]:
    """Nothing was found, or (`keep_only`) nothing new; `untold` : the room could not be told from the plate."""
    keep = KEEP_UNTOLD if untold else KEEP
    return _given((keep,) if keep_only else (keep, EYES), state)


def repeat(texts: Sequence[str]) -> tuple[Step, ...]:
    """How to tap better; given as they are only where nothing is suspected, and by `suspected` only out of the piano."""
    return tuple(_step("repeat", "workshop", EVERY, ("tap",), text, unsuspected=True) for text in texts)


def made_sure(steps: Sequence[Step]) -> tuple[Step, ...]:
    """With the question which plate it was; to stop still comes first."""
    first = tuple(s for s in steps if s in (STOP, STOP_UNSTRUNG, STOP_UNKNOWN))
    return (*first, MAKE_SURE, *(s for s in steps if s not in first))


def read_again(steps: Sequence[Step], step: Step = READ_AGAIN) -> tuple[Step, ...]:
    """It taps nothing; to stop, and that the work rests, still come first."""
    first = tuple(s for s in steps if "stop" in s.acts)
    return (*first, step, *(s for s in steps if s not in (*first, step)))


def _given(wanted: Iterable[Step], state: Told) -> tuple[Step, ...]:
    return tuple(dict.fromkeys(s for s in wanted if state in s.states))
