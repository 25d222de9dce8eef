"""From indications to the scan's disposition, and the plain words for it.

    dispose(scan, indications, silent, settings)   Outcome: disposition, headline, summary and next steps
    not_compared(outcome, why)                     the same where a comparison was asked for and concluded nothing
    silent_recordings(scan)                        a sentence for each recording without a usable strike

Precedence: a relevant indication that is not `unchanged`, then inconclusive, then none. One that is `unchanged` does not raise the
disposition, but headline, summary and steps carry it: who reads only these must not take it for gone. Wording of the
disposition after ASTM E1316 (indication, relevant); the tool proposes, a named person evaluates.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tapscan.records import IN_PIANO, Disposition, Indication, Scan, Strike
from tapscan.settings import Settings

LOOK = "Something to look at"
NOTHING = "Nothing found in what was tested"
ALONE = "Nothing found in this scan by itself; it could not be compared with the earlier one"
STANDS = "Nothing new; an earlier finding still stands"
STANDS_ALONE = "An earlier finding still stands; the rest could not be compared"
REPEAT = "Repeat the test"
UNDECIDED = "No answer: this test cannot judge a plate in the piano"


@dataclass(frozen=True)
class Why:
    """Why a scan tells too little, and what would mend it."""

    reason: str
    steps: tuple[str, ...]
    headline: str = REPEAT


@dataclass(frozen=True)
class Outcome:
    """The disposition in the standard's word and in plain words."""

    disposition: Disposition
    headline: str
    summary: str
    next_steps: tuple[str, ...]


def dispose(scan: Scan, indications: Sequence[Indication], silent: Sequence[str], settings: Settings) -> Outcome:
    """`silent`: for each recording without a usable strike, what is wrong and what would mend it."""
    every = [i for i in indications if i.interpretation == "relevant"]
    relevant, standing = [i for i in every if i.status != "unchanged"], [i for i in every if i.status == "unchanged"]
    if relevant:
        return Outcome("relevant indication", LOOK, _findings(relevant) + _known(standing), _steps(scan))
    why = _why_inconclusive(scan, silent, indications, settings)
    if why:
        steps = why.steps or AS_THE_SHEET
        if standing:
            hold, ask = _examined(scan)
            steps = (hold, *steps, ask)
        return Outcome("inconclusive", why.headline, why.reason + _known(standing), steps)
    if standing:
        return Outcome("no relevant indication", STANDS, _standing(standing), (*_examined(scan), KEEP))
    return Outcome(
        "no relevant indication",
        NOTHING,
        f"{_counted(sum(s.usable for s in scan.strikes), 'tap')} at {_counted(len(_heard(scan)), 'place')} showed "
        f"{_counted(len(scan.modes), 'mode')}; the rules that ran raised nothing. "
        "That does not show that the plate is free of flaws.",
        (
            KEEP,
            "Look the plate over in good light at struts, screw holes and rim all the same.",
        ),
    )


def not_compared(outcome: Outcome, why: str) -> Outcome:
    """Who asked for a comparison must not take the scan's own silence for its answer."""
    said = f"The comparison gave no answer. {why[0].upper()}{why[1:].rstrip('.')}."
    headline = {NOTHING: ALONE, STANDS: STANDS_ALONE}.get(outcome.headline)
    if headline is None:
        return replace(outcome, summary=f"{outcome.summary} {said}")
    return replace(outcome, headline=headline, summary=f"{said} In this scan by itself: {outcome.summary}")


def silent_recordings(scan: Scan) -> list[str]:
    """What is wrong with each recording that gave no strike, and what would mend it."""
    return [f"{r.file}: {r.reason}." for r in scan.recordings if r.reason]


def _counted(n: int, word: str) -> str:
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def _heard(scan: Scan) -> set[str]:
    """Stations with a tap that can be used."""
    return {s.station for s in scan.strikes if s.usable}


def _known(standing: Sequence[Indication]) -> str:
    """A sentence on what the baseline had already."""
    if not standing:
        return ""
    return f" {_counted(len(standing), 'earlier finding')} of the baseline still {'stands' if len(standing) == 1 else 'stand'}, listed below."


def _standing(standing: Sequence[Indication]) -> str:
    more = f" {_counted(len(standing) - 1, 'further earlier finding')} below." if len(standing) > 1 else ""
    return f"Found before, and still there: {standing[0].sentence}{more} That nothing else was raised does not show that the plate is free of flaws."


def _examined(scan: Scan) -> tuple[str, str]:
    """What to hold, and whom to ask, while an earlier finding stands."""
    return (HOLD_IN_PIANO if scan.state in IN_PIANO else HOLD), ASK


def _findings(relevant: Sequence[Indication]) -> str:
    first = relevant[0].sentence
    return first if len(relevant) == 1 else f"{first} {_counted(len(relevant) - 1, 'further indication')} below."


def _steps(scan: Scan) -> tuple[str, ...]:
    again = (
        "Tighten or steady screws, supports and loose parts, see that nothing rattles in the hook or sling that holds the plate, and record the "
        "taps again. If the finding is then gone, it came from those parts."
    )
    look = "Look at the named places in good light with a magnifier. Seeing nothing does not clear the plate."
    if scan.state in IN_PIANO:
        return (
            "Stop: do not tune and do not raise the pitch. Tell the owner.",
            again,
            "Have a qualified person examine the plate; if it is strung, let a qualified person lower the tension first.",
        )
    return (
        "Put no finish and no strings on the plate until a qualified person has decided.",
        again,
        look,
        "If the tap test still says the same, have a qualified person examine the named places with dye penetrant or magnetic particles, which show cracks too fine for the eye.",
    )


def _why_inconclusive(
    scan: Scan, silent: Sequence[str], indications: Sequence[Indication], settings: Settings
) -> Why | None:
    if not scan.strikes:
        return Why("No tap was found.", tuple(silent))
    usable = [s for s in scan.strikes if s.usable]
    if not usable:
        worst = _worst(scan.strikes)
        return Why(f"No tap can be used: {', '.join(worst)}.", (*(REMEDY[w] for w in worst), *silent))
    if few := _too_few_places(scan, settings):
        return few
    if all("cut short" in s.faults for s in usable):
        return Why(
            "The taps follow each other too closely: each ring is cut short by the next.", (REMEDY["cut short"],)
        )
    if not scan.modes:
        return Why(
            "No mode stands clear of the noise.", ("Find a quieter hour, bring the microphone nearer, tap harder.",)
        )
    return _doubtful(scan, indications)


def _worst(strikes: Sequence[Strike]) -> list[str]:
    return sorted({fault for s in strikes if not s.usable for fault in s.faults} & set(REMEDY))


def _too_few_places(scan: Scan, settings: Settings) -> Why | None:
    heard, tapped = _heard(scan), {s.station for s in scan.strikes}
    if len(heard) >= settings.heard_places_share * len(tapped):
        return None
    worst = _worst([s for s in scan.strikes if s.station not in heard])
    what = f"Only {len(heard)} of {_counted(len(tapped), 'place')} gave a tap that can be used. The taps at the others: {'; '.join(MEANT[w] for w in worst)}."
    return Why(f"{what} {NEITHER_WAY}", tuple(REMEDY[w] for w in worst))


def _doubtful(scan: Scan, indications: Sequence[Indication]) -> Why | None:
    """Why a scan with good taps still tells too little."""
    if buzz := [i for i in indications if i.rule == "buzz" and i.interpretation == "nonrelevant"]:
        return Why(buzz[0].sentence, (BUZZ_AGAIN,))
    if scan.state not in IN_PIANO:
        return None
    strings = sum(i.rule == "string" for i in indications)
    if not strings:
        return Why(f"Nothing stood out. {IN_THE_PIANO}", PIANO_STEPS, UNDECIDED)
    heard = f"The tones of {_counted(strings, 'string')} were heard and set aside. Nothing else stood out."
    return Why(f"{heard} {IN_THE_PIANO}", (MUTE, *PIANO_STEPS), UNDECIDED)


AS_THE_SHEET = ("Record it again as the sheet says.",)
KEEP = "Keep this scan, and scan again after each stage of the work."
HOLD = "Put no finish and no strings on the plate until the earlier finding has been examined by a qualified person."
HOLD_IN_PIANO = (
    "Do not tune and do not raise the pitch until the earlier finding has been examined by a qualified person."
)
ASK = (
    "Ask the owner, or whoever made the earlier scan, whether that was done and what came of it. If it was not done, have the named places examined with dye "
    "penetrant or magnetic particles, which show cracks too fine for the eye."
)
IN_THE_PIANO = (
    "But the plate is bolted to wood and joined to strings and case, and how much a tap test can show in a piano has never "
    "been measured: take this neither for good news nor for bad."
)
MUTE = "Mute all strings with felt and tap again: their tones may hide a finding. If nothing is found then, that is still no answer."
PIANO_STEPS = (
    "Look at the struts, the holes of the plate screws and the pin field in good light with a magnifier. Note any run of notes that does not stay in tune.",
    "Before money or safety rests on this plate, have a qualified person examine it. For a tap test that can answer, the plate has to be out of the piano: that is heavy work; "
    "let a qualified person lower the tension first.",
)
BUZZ_AGAIN = "Hold the hook, screws, pads and pickup still with the hand, tap all places again, and say that they were held (--held)."
NEITHER_WAY = "The test as it stands says nothing about the plate, neither one way nor the other."
MEANT = {
    "clipped": "too loud, so that their peaks are cut off (clipped)",
    "weak": "too faint beside the noise (weak)",
    "crowded": "too close together (crowded)",
    "not a tap": "other sounds than a tap",
    "cut short": "cut short by the next",
}
REMEDY = {
    "clipped": "Turn the input down until the loudest tap stays well under full scale, and record again.",
    "weak": "Tap harder, bring the microphone nearer, or find a quieter hour.",
    "crowded": "Give one tap at a time and let it ring; leave at least a second, better three, between taps.",
    "not a tap": "Tap the iron, one clear blow at a time, and say nothing while it rings.",
    "cut short": "Leave at least a second, better three, between taps.",
}
