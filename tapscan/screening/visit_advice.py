"""What follows from a visit to a piano: what it comes to, who should look next, what to ask the seller, and the cautions.

advise(known)        Advice: headline, lead, steps, questions
cautions(state)      lines that stand before everything else

Steps are those of next_steps.py, so a plate with a finding that may carry strings is never tapped, tightened or raised. Questions ask and do
nothing else. What may be found is told by rule: the checks of the taps by their names, the eye's finding by EYE_RULE, a buzz of the keys by `buzz`.
"""

from collections.abc import Sequence

from msgspec import Struct

from tapscan.records import Disposition
from tapscan.screening import next_steps as give
from tapscan.screening.disposition import EYE_RULE, IN_THE_PIANO
from tapscan.screening.open_findings import EXAMINED
from tapscan.screening.plain_words import not_decided
from tapscan.screening.played_notes import NO_ANSWER
from tapscan.screening.rules import ringing_on
from tapscan.screening.step import EVERY, INSIDE, OUT, TENSION, Step, Told
from tapscan.wording import listed

BUZZ = "buzz"


class VisitKnown(Struct, frozen=True):
    """All that the advice depends on, without a free word of the user's."""

    state: Told
    eye: bool = False  # the eye saw what may be a crack
    rules: tuple[str, ...] = ()  # of relevant indications, of findings still open, and what was heard from the keys
    earlier: bool = False  # one of them is of an earlier day
    heard: bool = False  # at least one usable tap
    disposition: Disposition | None = None  # of the newest scan by taps; None: none was made
    recorded: bool = True  # there are recordings of that day
    headline: str = ""  # the newest scan's, where the plate is out of the piano
    scan_steps: tuple[str, ...] = ()  # the same
    strings: bool = False  # their tones were heard in the taps
    signs: frozenset[str] = frozenset()  # what was ticked in the round
    played: bool = False  # the keys, by hand or so that the recording could be listened to
    notes: str = ""  # headline of the keys that were recorded
    rings: bool = False  # a tone rings on after the dampers: a loose part or a leaking damper, no sign of a crack
    looked: int = 0  # regions that were seen
    unseen: int = 0  # regions that could not be seen, or were not looked at
    before: bool = False  # the plate has an earlier scan to be compared with


class Advice(Struct, frozen=True):
    """`steps` are lines as they are printed; `given` the records behind them, as far as they are not a scan's own."""

    code: str
    headline: str
    lead: str
    steps: tuple[str, ...]
    questions: tuple[Step, ...]
    given: tuple[Step, ...] = ()


def _ask(code: str, text: str) -> Step:
    return Step(code, text, "buyer", EVERY, frozenset({"ask"}))


Q_REPAIRS = _ask("ask-repairs", "Was the plate ever welded, brazed, pinned or replaced? By whom, when, and is there a bill or a photo?")  # fmt: skip
Q_PITCH = _ask("ask-pitch", "Who looked after its pitch last, and when? Did any section fall back within days?")  # fmt: skip
Q_MOVED = _ask("ask-moved", "Was the piano ever dropped, tipped over, flooded or kept in the cold? When was it last moved?")  # fmt: skip
Q_SCANS = _ask("ask-scans", "Is there an earlier report, scan or photo of the plate? A change since then tells more than any single look.")  # fmt: skip
Q_OPEN = _ask("ask-open", "May a qualified person take off what hid the plate, when it is safe, so that the places not seen can be looked at?")  # fmt: skip
Q_SEEN = _ask("ask-seen", "How long has this been there, and has anybody examined it? By whom, and what came of it?")  # fmt: skip
Q_SCREWS = _ask("ask-screws", "How long have screws been missing or bolts loose, and who last worked on them?")
Q_REPAIR_SEEN = _ask("ask-this-repair", "What was repaired at the place that was found, why, and who did it?")
Q_BUZZ = _ask("ask-buzz", "Since when does it buzz, at which keys, and what was done about it?")
Q_STATE = _ask("ask-state", "Does the plate carry its strings at full tension now, and when was that last changed?")
QUESTIONS = (Q_SEEN, Q_REPAIR_SEEN, Q_SCREWS, Q_BUZZ, Q_STATE, Q_PITCH, Q_REPAIRS, Q_OPEN, Q_SCANS, Q_MOVED)
MOST_QUESTIONS = 6

CAUTIONS_TENSION = (
    "Nobody stands in the plane of the strings while the plate is looked at or tapped.",
    "No blow near pins, agraffes or strings; only at places named for a strung plate, and none once what may be a crack was noticed.",
    "Stop at any sign of movement: a sudden tick or bang, a line that grows, a pitch that falls.",
    "String tension is changed by a qualified person only. No screw, bolt or pin is turned or tried by hand.",
)
CAUTIONS_UNSTRUNG = (
    "No string goes on while anything found here is unexplained.",
    "Stop at any sign of movement. No screw or bolt of the plate is turned for this examination.",
)
CAUTIONS_OUT = ("A plate weighs 100 to 200 kg. It is lifted with rated gear, never alone, never by its thin struts.",)


BY_HAND = "Nothing was noticed when keys were played; nothing is known of cracks"
KEYS_TELL = (
    "Keys can show loose parts and leaking dampers, and no crack. This is neither good news nor bad about the plate."
)


def cautions(state: Told) -> tuple[str, ...]:
    """A state that nobody told is taken for one under tension."""
    return CAUTIONS_OUT if state in OUT else CAUTIONS_TENSION if state in TENSION | {None} else CAUTIONS_UNSTRUNG


def advise(known: VisitKnown) -> Advice:
    """From all that is known."""
    code, headline, lead = _comes_to(known)
    given = _given(known)
    steps = tuple(s.line for s in given) or known.scan_steps
    return Advice(code, headline, lead, steps, questions(known), given)


def _suspected(known: VisitKnown) -> bool:
    return known.eye or bool(known.rules)


def _given(known: VisitKnown) -> tuple[Step, ...]:
    """Empty where the scan's own steps stand: out of the piano, nothing suspected."""
    if _suspected(known):
        rules = (*known.rules, *((EYE_RULE,) if known.eye else ()))
        steps = give.suspected(known.state, rules, again=False, earlier=known.earlier and EXAMINED not in known.rules)
        return _as_recorded(known, (*steps, _IN_WRITING))
    if known.rings:
        return (*give.of_notes(known.state, found=True, opened=False), _NEXT_IN_PIANO, _IN_WRITING)
    if known.state in INSIDE:
        return (_NEXT_IN_PIANO, give.CALL_FOR_BARE, _IN_WRITING)
    if known.state is None:
        return _as_recorded(known, (give.TELL_STATE, _NEXT_IN_PIANO, _CALL_UNKNOWN, _IN_WRITING))
    return () if known.scan_steps else (give.EYES, _SCAN_BARE)


def _as_recorded(known: VisitKnown, steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """Where nothing was recorded there is nothing to screen again."""
    return steps if known.recorded else tuple(_NOTE_STATE if s is give.TELL_STATE else s for s in steps)


_NOTE_STATE = Step(
    "note-state",
    "Note the state of the plate with this visit: what may be done next depends on it.",
    "workshop",
    give.UNKNOWN,
    frozenset({"tell-state"}),
)
_NEXT_IN_PIANO = Step(
    "next-in-piano",
    "If anybody who works on this piano later sees a line that may be a crack, or edges that stand apart: stop. No tapping, no tuning, no screw is turned. Stand clear of the plane of the strings, "
    "and call a qualified person.",
    "workshop",
    INSIDE | {None},
    frozenset({"look"}),
)
_CALL_UNKNOWN = Step(
    "call-unknown",
    "Before anyone relies on this plate, have a qualified person examine it, and have the state of the plate written down.",
    "buyer",
    frozenset({None}),
    frozenset({"call"}),
)
_IN_WRITING = Step(
    "in-writing",
    "Ask that person for the answer in writing before you agree on a price or pay. Do not buy, and do not refuse, on this page alone.",
    "buyer",
    EVERY,
    frozenset({"ask"}),
)
_SCAN_BARE = Step(
    "scan-bare",
    "The plate is out of the piano and was not tapped: a tap test of the bare plate can tell more than the eye, and gives later scans something to be compared with.",
    "workshop",
    OUT,
    frozenset({"tap"}),
)
VISIT_STEPS = (_NOTE_STATE, _NEXT_IN_PIANO, _CALL_UNKNOWN, _IN_WRITING, _SCAN_BARE)


def _comes_to(known: VisitKnown) -> tuple[str, str, str]:
    """Code, headline, and what it means in two or three sentences."""
    person = "decided what is to be done with the plate" if EXAMINED in known.rules else "examined the plate"
    weight = f"Until a qualified person has {person}: no tuning, no tapping, no work on the piano. Do not play it until that person allows it."
    if known.state in OUT:
        weight = f"Until a qualified person has {person}, no finish, strings or money should go into it."
    if EXAMINED in known.rules:
        return (
            "confirmed",
            "An examination has found a flaw in this plate",
            f"It counts for more than anything seen or heard on this visit. {weight}",
        )
    if known.eye:
        return "eye", "The eye saw what may be a crack", f"It may be in the finish only: nobody has tested it. {weight}"
    if rules := [r for r in known.rules if r != BUZZ]:
        first = (
            "An earlier finding is still open"
            if known.earlier and not known.heard
            else "Something was found that needs a qualified person"
        )
        return "rules", first, f"{_count(rules)} What it is, this visit cannot tell. {weight}"
    if BUZZ in known.rules:
        return (
            "buzz",
            "Something buzzed",
            f"It can be a loose part or a crack; this visit cannot tell which. {weight}",
        )
    if known.rings:
        return "rings", "A tone rings on after the dampers", ringing_on.PLAIN[0][1].means
    return _nothing(known)


def _count(rules: Sequence[str]) -> str:
    return "It was found by sound." if len(rules) == 1 else f"{len(rules)} findings stand."


def _nothing(known: VisitKnown) -> tuple[str, str, str]:
    """Keys that were played say nothing of cracks, so by themselves they are told as what they are, and never as a plate in which nothing was found."""
    if not (known.looked or known.heard or known.signs) and (known.notes or known.played):
        judged = "no tap was made" if known.disposition is None else "no tap could be judged"
        return "keys-only", known.notes or BY_HAND, f"No region was looked at, and {judged}. {KEYS_TELL}"
    answered = known.heard and known.disposition == "no relevant indication"
    made = (("the eye", known.looked > 0), ("the taps", answered), ("the keys", known.played))
    ways = [way for way, was in made if was]
    if not ways and not known.heard:
        return (
            "not-examined",
            "The plate was not examined",
            "No region was seen, no tap was heard and no key played. Nothing is known of the plate, neither good nor bad.",
        )
    noted = "Something was noted, none of it taken for a crack"  # loose bolts, missing screws
    mute = ["the taps"] if known.heard and not answered else []
    mute += ["the notes"] if known.notes == NO_ANSWER else []
    silent = f"{listed(mute)} gave no answer" if mute else ""
    nothing = ", and ".join(filter(None, [f"nothing was found by {listed(ways)}" if ways else "", silent]))
    found = noted if known.signs else nothing[0].upper() + nothing[1:]
    judged = "no tap was made" if known.disposition is None else "no tap could be judged"
    if known.state in OUT and known.disposition is not None:
        return "scan", known.headline, f"{found}. A crack may still be there. {not_decided(known.state)}"
    if known.state in OUT:
        return "eye-only", found, f"A crack may still be there: many cannot be seen. {judged.capitalize()}."
    unproven = (
        IN_THE_PIANO
        if known.heard
        else f"Many cracks cannot be seen in a piano, and {judged}. This is neither good news nor bad."
    )
    return "no-answer", f"{found}; that does not clear the plate", unproven


def questions(known: VisitKnown) -> tuple[Step, ...]:
    """What weighs most first, six at most; each follows from something that was found or is not known."""
    asked = {
        Q_SEEN: known.eye or bool(set(known.rules) - {BUZZ, EXAMINED}),
        Q_REPAIR_SEEN: "repair" in known.signs,
        Q_SCREWS: bool(known.signs & {"missing-screws", "loose-nose-bolts"}),
        Q_BUZZ: BUZZ in known.rules,
        Q_STATE: known.state in (None, "as-found"),
        Q_PITCH: known.state not in OUT,
        Q_REPAIRS: "repair" not in known.signs,
        Q_OPEN: known.unseen > 0,
        Q_SCANS: not known.before,
        Q_MOVED: True,
    }
    return tuple(q for q in QUESTIONS if asked[q])[:MOST_QUESTIONS]
