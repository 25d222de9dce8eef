"""From indications to the scan's disposition, and the plain words for it.

    dispose(scan, indications, silent, settings, opened, eye)   Outcome: disposition, headline, summary and next steps
    left_open(outcome, why, state)                  the same where the comparison saw a small drop that only more scans can settle
    compared_in_piano(outcome, said, around, state)  the same where two scans of a plate in its piano were compared and nothing was found
    doubtful(outcome, doubts)                       the same where it is not sure which plate, or which places, were tapped
    doubted(headline)                              what such a headline doubts
    not_compared(outcome, why)                     the same where a comparison was asked for and concluded nothing
    silent_recordings(scan)                        a sentence for each recording without a usable strike

Precedence: a relevant indication that is not `unchanged`, then inconclusive, then none. One that is `unchanged` does not raise the
disposition, but headline, summary and steps carry it: who reads only these must not take it for gone. So it is with a finding of an earlier scan
that is still open (screening/open_findings.py). What a person found by examination is in every headline. What the eye saw and may be a crack
counts as a suspicion where the plate may carry strings: the taps give no answer there, and the eye's is the only one. A line seen in the iron itself counts in every state. The steps and their choice stand in screening/next_steps.py. Wording of the disposition after ASTM E1316 (indication, relevant); the tool proposes, a named person evaluates.
"""

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from tapscan.faults import UNUSABLE, fault, in_words
from tapscan.records import IN_PIANO, Disposition, Doubt, Indication, RuleNotRun, Scan, State, Strike
from tapscan.records.comparison import Around
from tapscan.screening import next_steps as give
from tapscan.screening import played_notes
from tapscan.screening.compressed import repeat_reason
from tapscan.screening.limitations import forces_exchanged, places_of_part
from tapscan.screening.open_findings import EXAMINED, EYE_RULE, OpenFinding, asking, beside, told
from tapscan.screening.rules import NOTE_RULES
from tapscan.screening.step import Step
from tapscan.settings import Settings
from tapscan.wording import counted, listed

LOOK = "Something to look at"
NOTHING = "Nothing found in what was tested"
ALONE = "Nothing found in this scan by itself; it could not be compared with the earlier one"
STANDS = "Nothing new; an earlier finding still stands"
STANDS_ALONE = "An earlier finding still stands; the rest could not be compared"
OPEN = "Nothing found this time; an earlier finding is still open"
OPEN_ALONE = "An earlier finding is still open; the rest could not be compared"
NO_ANSWER_STANDS = "No answer; an earlier finding still stands"
NO_ANSWER_OPEN = "No answer; an earlier finding is still open"
CONFIRMED = "An examination has found a flaw in this plate"
EYE = "Nothing found by the taps; the eye saw what may be a crack"
EYE_NO_ANSWER = "No answer from the taps; the eye saw what may be a crack"
SMALL = "No answer yet: a change that more scans must settle"
SMALL_STANDS = "An earlier finding still stands; beside it a change that more scans must settle"
SMALL_OPEN = "An earlier finding is still open; beside it a change that more scans must settle"
REPEAT = "Repeat the test"
BUZZED_AGAIN = "Repeat the test: something buzzed"
BUZZED = "No answer: something buzzed"
PART_ONLY = "Part of the plate only"
DOUBTFUL = "Doubtful"
UNDECIDED = "No answer: this test cannot judge a plate in the piano"
SAME_AFTER_JOB = "No change found around this job; the plate itself cannot be judged in the piano"
SAME_AFTER_SEASONS = "No answer: no large change was found, and a smaller one cannot be told from what seasons do"


class Why(Struct, frozen=True):
    """Why a scan tells too little, and what would mend it."""

    reason: str
    mends: tuple[str, ...] = ()  # how to tap better
    headline: str = REPEAT
    steps: tuple[Step, ...] = ()  # where they are more than mends


class Outcome(Struct, frozen=True):
    """The disposition in the standard's word and in plain words."""

    disposition: Disposition
    headline: str
    summary: str
    steps: tuple[Step, ...]

    @property
    def next_steps(self) -> tuple[str, ...]:
        """As they are printed and stored."""
        return tuple(s.line for s in self.steps)


def dispose(
    scan: Scan,
    indications: Sequence[Indication],
    silent: Sequence[str],
    settings: Settings,
    opened: Sequence[OpenFinding] = (),
    eye: Sequence[str] = (),
    not_run: Sequence[RuleNotRun] = (),
    iron: Sequence[str] = (),
    *,
    examined: bool = False,
) -> Outcome:
    """From all that is known.

    silent : for each recording without a usable strike, what is wrong and what would mend it
    opened : findings of earlier scans, and what examinations found
    eye : what was seen that may be a crack, in words
    not_run : checks that could not be made; only of played notes they are told here
    iron : of `eye` what was seen in the iron itself
    examined : an examination that followed this scan has found a flaw, so its own findings ask for no further test
    """
    found = (
        _disposed(scan, indications, silent, settings, opened, examined=examined)
        if scan.played is None
        else _of_notes(scan, indications, opened, not_run)
    )
    if scan.played is None and by_notes(opened):
        more = (s for s in give.of_notes(scan.state, found=True, opened=False) if s not in found.steps)
        found = replace(found, steps=(*found.steps, *more))
    if any(o.rule == EXAMINED for o in opened):
        found = replace(found, headline=CONFIRMED)
    if counts := iron if give.may_tap(scan.state) else eye:
        found = _with_eye(found, scan, counts)
    amiss = [_amiss(scan.taps_amiss)] if scan.taps_amiss else []
    if not (exchanged := forces_exchanged(scan, settings)):
        return replace(found, summary=" ".join([found.summary, *amiss]))
    return replace(found, summary=" ".join([exchanged, found.summary, *amiss]), steps=give.read_again(found.steps))


def _with_eye(found: Outcome, scan: Scan, eye: Sequence[str]) -> Outcome:
    """Suspected already: the examination that shows cracks is added. Else the steps of a suspected plate take the place of the others."""
    summary = f"{found.summary} {eye_told(eye)}"
    if give.held(found.steps):
        more = tuple(s for s in give.tests([EYE_RULE]) if s not in found.steps)
        return replace(found, summary=summary, steps=(*found.steps, *more))
    headline = EYE_NO_ANSWER if found.disposition == "inconclusive" else EYE
    taps = tuple(s for s in found.steps if "tap" in s.acts)
    steps = give.suspected(scan.state, [EYE_RULE], taps, again=False)
    return replace(found, headline=headline, summary=summary, steps=steps)


def eye_told(eye: Sequence[str]) -> str:
    """Two sentences."""
    return f"{SEEN_BY_EYE} {listed(eye)}. {MAY_BE}"


def _amiss(told: Sequence[str]) -> str:
    return f"The taps are not all as they should be: {'; '.join(told)}."


def _disposed(
    scan: Scan, indications: Sequence[Indication], silent: Sequence[str], settings: Settings, opened: Sequence[OpenFinding], *, examined: bool,
) -> Outcome:  # fmt: skip
    every = [i for i in indications if i.interpretation == "relevant"]
    relevant, standing = [i for i in every if i.status != "unchanged"], [i for i in every if i.status == "unchanged"]
    opened = beside(opened, every)
    known = _known(standing) + told(opened)
    suspects = [o for o in opened if o not in by_notes(opened)]  # a loose part or a damper makes no plate suspected
    rules = [i.rule for i in every if not examined] + asking(suspects)
    earlier = bool(standing or suspects)
    ask = bool(standing or any(o.rule != EXAMINED for o in suspects))  # what was examined need not be asked about
    untold = bool(scan.room_left_in)
    if relevant:
        steps = give.suspected(scan.state, rules, earlier=ask)
        return Outcome("relevant indication", LOOK, _findings(relevant) + known, steps)
    why = _why_inconclusive(scan, silent, indications, settings)
    part = f"{PART} {_silent(scan)} Nothing is known of the other places." if scan.part_of and not why else ""
    if part and earlier:
        why = Why(part, ALL_PLACES)
    if why and earlier:
        headline = NO_ANSWER_STANDS if standing else NO_ANSWER_OPEN
        steps = give.suspected(scan.state, rules, _mends(why), again=False, earlier=ask)
        return Outcome("inconclusive", headline, why.reason + known, steps)
    if why:
        return Outcome("inconclusive", why.headline, why.reason + known, _mends(why))
    if part:
        return Outcome("inconclusive", _part_heading(scan), f"{part}{known}", give.part_only(scan.state, ALL_PLACES))
    if earlier:
        headline, said = (STANDS, _standing(standing) + told(opened)) if standing else (OPEN, _silent(scan) + known)
        steps = give.suspected(scan.state, rules, again=False, earlier=ask)
        steps += give.after_nothing(scan.state, keep_only=True, untold=untold) if give.may_tap(scan.state) else ()
        return Outcome("no relevant indication", headline, said, steps)
    headline, steps = OPEN if opened else NOTHING, give.after_nothing(scan.state, untold=untold)
    return Outcome("no relevant indication", headline, f"{_silent(scan)} {NOT_FREE}{known}", steps)


def _of_notes(
    scan: Scan, indications: Sequence[Indication], opened: Sequence[OpenFinding], not_run: Sequence[RuleNotRun]
) -> Outcome:
    """Keys were played. What they show is a loose part or a damper, never a crack; silence says nothing of the plate."""
    relevant = [i for i in indications if i.interpretation == "relevant"]
    opened = beside(opened, relevant)
    of_plate = len(by_notes(opened)) < len(opened)
    steps = give.of_notes(scan.state, found=bool(relevant or by_notes(opened)), opened=of_plate)
    if relevant:
        return Outcome("relevant indication", LOOK, _findings(relevant) + told(opened), steps)
    if few := played_notes.why_no_answer(scan, not_run):
        again = steps if of_plate else (*give.repeat(few[1:]), *(steps if opened else ()))
        headline = NO_ANSWER_OPEN if opened else played_notes.NO_ANSWER
        return Outcome("inconclusive", headline, few[0] + told(opened), again)
    headline = NO_ANSWER_OPEN if opened else played_notes.SILENT
    return Outcome("inconclusive", headline, played_notes.silence(scan, not_run) + told(opened), steps)


def by_notes(opened: Sequence[OpenFinding]) -> tuple[OpenFinding, ...]:
    """Those that played notes showed: of loose parts and dampers, never of a crack."""
    return tuple(o for o in opened if o.rule in NOTES)


def _part_heading(scan: Scan) -> str:
    return f"{PART_ONLY}: {places_of_part(scan)} of {counted(scan.part_of or 0, 'place')}"


def _mends(why: Why) -> tuple[Step, ...]:
    return why.steps or give.repeat(why.mends or AS_THE_SHEET)


def _silent(scan: Scan) -> str:
    return (
        f"{counted(sum(s.usable for s in scan.strikes), 'tap')} at {counted(len(_heard(scan)), 'place')} showed "
        f"{counted(len(scan.modes), 'mode')}; no check found anything."
    )


def not_compared(outcome: Outcome, why: str) -> Outcome:
    """Who asked for a comparison must not take the scan's own silence for its answer."""
    said = f"The comparison gave no answer. {why[0].upper()}{why[1:].rstrip('.')}."
    headline = {NOTHING: ALONE, STANDS: STANDS_ALONE, OPEN: OPEN_ALONE}.get(outcome.headline)
    if headline is None:
        return replace(outcome, summary=f"{outcome.summary} {said}")
    return replace(outcome, headline=headline, summary=f"{said} In this scan by itself: {outcome.summary}")


def left_open(outcome: Outcome, why: str, state: State | None) -> Outcome:
    """Never good news, and no finding: a scan with one keeps its disposition."""
    summary = f"{why} In this scan by itself: {outcome.summary}"
    if outcome.disposition != "no relevant indication":
        return replace(outcome, summary=f"{outcome.summary} {why}")
    instead = {NOTHING: SMALL, STANDS: SMALL_STANDS, OPEN: SMALL_OPEN, EYE: EYE_NO_ANSWER}
    headline = instead.get(outcome.headline, outcome.headline)
    return Outcome("inconclusive", headline, summary, give.settling(state, outcome.steps))


def compared_in_piano(outcome: Outcome, said: str, around: Around, state: State | None) -> Outcome:
    """Never good news of the plate itself, which an earlier scan in the piano knew as little of. Torque and humidity are asked for in any case."""
    outcome = replace(outcome, steps=give.asked_of_screws(state, outcome.steps))
    if outcome.disposition == "relevant indication":
        return outcome
    headline = SAME_AFTER_JOB if around == "one job" else SAME_AFTER_SEASONS
    new = headline if outcome.headline == UNDECIDED else outcome.headline
    return replace(outcome, headline=new, summary=f"{said} {outcome.summary}")


def doubtful(outcome: Outcome, doubts: Sequence[Doubt]) -> Outcome:
    """Nothing is concluded, but what the scan shows and the steps that follow from it stay: the plate may be this one after all."""
    said = " ".join(d.sentence for d in doubts)
    summary = f"{said} Nothing is concluded until a person has made sure of it. In this scan by itself: {outcome.headline}. {outcome.summary}"
    return Outcome("inconclusive", f"{DOUBTFUL}: {doubts[0].kind}", summary, give.made_sure(outcome.steps))


def doubted(headline: str) -> str:
    """What the headline of a doubtful scan doubts; empty for any other."""
    return headline.removeprefix(f"{DOUBTFUL}: ") if headline.startswith(f"{DOUBTFUL}: ") else ""


def silent_recordings(scan: Scan) -> list[str]:
    """What is wrong with each recording that gave no strike, and what would mend it."""
    return [f"{r.file}: {r.reason}." for r in scan.recordings if r.reason]


def _heard(scan: Scan) -> set[str]:
    """Stations with a tap that can be used."""
    return {s.station for s in scan.strikes if s.usable}


def _known(standing: Sequence[Indication]) -> str:
    """A sentence on what the baseline had already."""
    if not standing:
        return ""
    return f" {counted(len(standing), 'earlier finding')} of the baseline still {'stands' if len(standing) == 1 else 'stand'}, listed below."


def _standing(standing: Sequence[Indication]) -> str:
    more = f" {counted(len(standing) - 1, 'further earlier finding')} below." if len(standing) > 1 else ""
    return f"Found before, and still there: {standing[0].sentence}{more} That nothing else was found does not show that the plate is free of flaws."


def _findings(relevant: Sequence[Indication]) -> str:
    first = relevant[0].sentence
    return first if len(relevant) == 1 else f"{first} {counted(len(relevant) - 1, 'further indication')} below."


def _why_inconclusive(
    scan: Scan, silent: Sequence[str], indications: Sequence[Indication], settings: Settings
) -> Why | None:
    if not scan.strikes:
        return Why("No tap was found.", tuple(silent))
    usable = [s for s in scan.strikes if s.usable]
    if not usable:
        worst = _worst(scan.strikes)
        return Why(f"No tap can be used: {in_words(worst)}.", (*(fault(w).remedy for w in worst), *silent))
    if few := _too_few_places(scan, settings):
        return few
    if all("cut short" in s.faults for s in usable):
        return Why(
            "The taps follow each other too closely: each ring is cut short by the next.", (fault("cut short").remedy,)
        )
    if not scan.modes:
        return Why(
            "No mode stands clear of the noise.",
            ("Find a quieter hour, or bring the microphone nearer. Tap harder on bare plates only.",),
        )
    return _doubtful(scan, indications)


def _worst(strikes: Sequence[Strike]) -> list[str]:
    return sorted({fault for s in strikes if not s.usable for fault in s.faults} & UNUSABLE)


def _too_few_places(scan: Scan, settings: Settings) -> Why | None:
    heard, tapped = _heard(scan), {s.station for s in scan.strikes}
    if len(heard) >= settings.scan.heard_places_share * len(tapped):
        return None
    worst = _worst([s for s in scan.strikes if s.station not in heard])
    what = f"Only {len(heard)} of {counted(len(tapped), 'place')} gave a tap that can be used. The taps at the others: {in_words(worst)}."
    return Why(f"{what} {NEITHER_WAY}", tuple(fault(w).remedy for w in worst))


def _doubtful(scan: Scan, indications: Sequence[Indication]) -> Why | None:
    """Why a scan with good taps still tells too little."""
    if buzz := [i for i in indications if i.rule == "buzz" and i.interpretation == "nonrelevant"]:
        return Why(buzz[0].sentence, (), BUZZED_AGAIN if give.may_tap(scan.state) else BUZZED, give.buzzing(scan.state))
    lossy = repeat_reason(scan)
    if scan.state not in IN_PIANO:
        return Why(lossy, (LOSSLESS,)) if lossy else None
    also = f" {lossy}" if lossy else ""
    strings = sum(i.rule == "string" for i in indications)
    if not strings:
        return Why(f"{IN_THE_PIANO}{also}", (), UNDECIDED, give.piano_steps(scan.state, strings=False))
    heard = f"The tones of {counted(strings, 'string')} were heard and set aside."
    return Why(f"{heard} {IN_THE_PIANO}{also}", (), UNDECIDED, give.piano_steps(scan.state, strings=True))


LOSSLESS = "Record WAV or FLAC: set the phone's recorder to lossless, and tap all places again."
PART = "Not all places of the layout were tapped."
SEEN_BY_EYE, MAY_BE = "Seen by eye:", "That may be a crack."
NOTES = frozenset(rule.name for rule in NOTE_RULES)
ALL_PLACES = (
    "Tap all places and record the plate again as the sheet says. As long as places are missing, there is no answer for the plate.",
)
AS_THE_SHEET = ("Record it again as the sheet says.",)
NOT_FREE = "That does not show that the plate is free of flaws."
IN_THE_PIANO = (
    "The plate is bolted to wood and joined to strings and case, and how much a tap test can show there has never "
    "been measured. This is neither good news nor bad."
)
NEITHER_WAY = "The test as it stands says nothing about the plate, neither one way nor the other."
