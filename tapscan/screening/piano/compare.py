"""The comparison of two scans of a plate in its piano.

applies(later)                                   whether a scan was made in the piano
around_of(later, earlier, one_job, settings)     what lies between the two scans
compare_in_piano(later, baselines, refused, unlike, settings, one_job)    Comparison
others_not_run(rules, comparison)                of the rules that did not run, all but the one that the comparison asked

One earlier scan is taken, the newest: how often this errs was counted beside one. Damping, places and common warmth are not told there: wood and screws rule them.
"""

from collections.abc import Sequence
from datetime import date

import numpy as np

from tapscan.places import IN_PIANO
from tapscan.records import Comparison, Indication, ModePair, RuleNotRun, ScanForComparison
from tapscan.records.comparison import Around
from tapscan.screening.piano.measure import Measured, measure
from tapscan.screening.rules import IN_PIANO_REASON, RULE_LIMITS, change_since_baseline
from tapscan.screening.rules import change_in_piano as rule
from tapscan.settings import Settings, settings_sha256
from tapscan.wording import counted

CLEAR = 3.0  # standard deviations: a tone that moved by more is counted
PICKUP = (
    "by microphone, or by a sensor that was not told, a plate in the piano cannot be compared: strings, soundboard and room drown it. "
    "It takes a pickup on the iron, on the same spot both times"
)
WOOD = "in the piano wood and screws rule how fast tones die away, and a common change may be theirs"
NO_PLACE = "where a change lies is not told for a plate in the piano"
BETWEEN: dict[Around, str] = {
    "one job": "The two scans are taken as before and after one job: the same day or the next, or so it was told. Screws, wood and tension then hardly differ.",
    "seasons": "Other days lie between the two scans. Plate screws then hold otherwise, wood is drier or damper, and all but large changes is hidden by that.",
}
NOT_TOLD = (
    "No change says nothing of a crack that was there already in the earlier scan, nor of one that the strings press shut. "
    "Small cracks, screw holes and the pin field are mostly beyond this test in the piano."
)
ONLY_NEWEST = (
    "Of {n} earlier scans in the piano only the newest, {name}, was compared: beside several nothing was counted."
)


def applies(later: ScanForComparison) -> bool:
    """By its state."""
    return later.conditions.state in IN_PIANO


def around_of(later: ScanForComparison, earlier: ScanForComparison, one_job: bool | None, settings: Settings) -> Around:
    """`one_job` : as a person told; None: by the dates."""
    if one_job is None:
        apart = abs((date.fromisoformat(later.date[:10]) - date.fromisoformat(earlier.date[:10])).days)
        one_job = apart <= settings.piano.job_days
    return "one job" if one_job else "seasons"


def compare_in_piano(
    later: ScanForComparison,
    baselines: Sequence[ScanForComparison],
    refused: str | None,
    unlike: tuple[str, ...],
    settings: Settings,
    one_job: bool | None = None,
) -> Comparison:
    """`refused` : why nothing may be concluded; `unlike` : how the scans differ, in words."""
    earlier = max(baselines, key=lambda b: (b.date, b.name))
    around = around_of(later, earlier, one_job, settings)
    found = measure(earlier.scan, later.scan, around, settings)
    refused = refused or _no_pickup(later, earlier) or _too_little(found, settings)
    indications = () if refused else _found(found, earlier, around)
    return Comparison(
        later=later.name,
        baselines=(earlier.name,),
        pairs=() if refused else _pairs(found, bool(indications)),
        common=None,
        lost=(),
        gained=(),
        statistic=None if refused else found.statistic,
        statistic_limit=None if refused else found.limit,
        loss_statistic=None,
        loss_statistic_limit=None,
        unlike=unlike,
        explanation=None,
        where=(),
        indications=indications,
        carried=later.indications,
        rules_not_run=(RuleNotRun(rule.NAME, refused),) if refused else (),
        limitations=_limitations(around, baselines, earlier),
        summary=_summary(refused, indications, found, earlier, around),
        settings_sha256=settings_sha256(settings, RULE_LIMITS),
        reason=refused,
        places_reason=NO_PLACE,
        common_reason=WOOD,
        around=around,
    )


def others_not_run(rules: Sequence[RuleNotRun], comparison: Comparison) -> tuple[RuleNotRun, ...]:
    """Of the two rules for changes one is asked, by where the plate is; the other says so."""
    rest = tuple(r for r in rules if r.rule not in (rule.NAME, change_since_baseline.NAME))
    if comparison.around:
        return (*rest, RuleNotRun(change_since_baseline.NAME, IN_PIANO_REASON))
    return (*rest, RuleNotRun(rule.NAME, rule.NOT_THERE))


def _no_pickup(later: ScanForComparison, earlier: ScanForComparison) -> str | None:
    return None if later.conditions.sensor.contact and earlier.conditions.sensor.contact else PICKUP


def _too_little(found: Measured, settings: Settings) -> str | None:
    limits = settings.piano
    if found.statistic is not None:
        return None
    return (
        f"{int(found.judged.sum())} tones at {counted(len(found.earlier.stations), 'place')} could be matched with the earlier scan; it takes {limits.modes:.0f} tones "
        f"and {limits.places:.0f} places that were struck both times"
    )


def _found(found: Measured, earlier: ScanForComparison, around: Around) -> tuple[Indication, ...]:
    if found.statistic is None or found.statistic <= found.limit:
        return ()
    fell = _fell(found)
    order = [int(k) for k in np.argsort(-np.where(fell, found.score, -np.inf))[: int(fell.sum())]]
    names = tuple(found.later.names[found.pairing.pairs[k, 1]] for k in order)
    told = (
        f"Since {_since(earlier)} the plate in the piano has changed by more than {_usual(around)}: {_how(found, fell)}"
    )
    sentence = f"{told}. A loose plate screw does that, and so does a strut or a corner that has parted."
    return (rule.finding(sentence, names, found.statistic, found.limit),)


def _fell(found: Measured) -> np.ndarray:
    return np.asarray(found.judged & (found.score > CLEAR))


def _how(found: Measured, fell: np.ndarray) -> str:
    compared = int(found.judged.sum())
    if not fell.any():
        return (
            f"hardly one of the {compared} tones compared has fallen, but many ring with other strength at the places"
        )
    worst = int(np.argmax(np.where(fell, found.score, -np.inf)))
    hz = found.later.frequency_hz[found.pairing.pairs[worst, 1]]
    return (
        f"{int(fell.sum())} of the {compared} tones compared have become lower, the clearest one, now at {hz:.0f} Hz, by {-100 * found.change[worst]:.2f} % "
        f"(± {200 * found.sd[worst]:.2f} %), and their strengths over the places are told together with that"
    )


def _usual(around: Around) -> str:
    return "one job does" if around == "one job" else "seasons do to screws and wood"


def _since(earlier: ScanForComparison) -> str:
    return f"the scan of {earlier.date[:10]}"


def _pairs(found: Measured, changed: bool) -> tuple[ModePair, ...]:
    """In order of frequency; none fell by itself where nothing is found."""
    fell = _fell(found) & changed
    rows = enumerate(found.pairing.pairs)
    return tuple(
        _pair(found, k, int(i), int(j), bool(fell[k])) for k, (i, j) in sorted(rows, key=lambda r: int(r[1][0]))
    )


def _pair(found: Measured, k: int, i: int, j: int, fell: bool) -> ModePair:
    return ModePair(
        later_mode=found.later.names[j],
        baseline_modes=(found.earlier.names[i],),
        baseline_hz=float(found.earlier.frequency_hz[i]),
        later_hz=float(found.later.frequency_hz[j]),
        change_ppm=float(1e6 * found.change[k]),
        change_sd_ppm=float(1e6 * found.sd[k]),
        normalised_drop=float(found.score[k]),
        fell=fell,
        loss_ratio=None,
        loss_ratio_sd=None,
        normalised_loss_rise=None,
        loss_rose=None,
        reason=WOOD,
        judged=bool(found.judged[k]),
    )


def _limitations(around: Around, baselines: Sequence[ScanForComparison], earlier: ScanForComparison) -> tuple[str, ...]:
    only = (ONLY_NEWEST.format(n=len(baselines), name=earlier.name),) if len(baselines) > 1 else ()
    return (BETWEEN[around], *only, NOT_TOLD)


def _summary(
    refused: str | None, found: Sequence[Indication], measured: Measured, earlier: ScanForComparison, around: Around
) -> str:
    if refused:
        return f"Nothing is concluded from the comparison: {refused}"
    if found:
        return found[0].sentence
    compared = counted(int(measured.judged.sum()), "tone")
    if around == "one job":
        return (
            f"{compared} compared with {_since(earlier)}: no change beyond what one job does to a plate in its piano."
        )
    return (
        f"{compared} compared with {_since(earlier)}: no change beyond what seasons do to screws and wood. Whether a smaller change hides "
        "behind that cannot be told."
    )
