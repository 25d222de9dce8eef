"""The comparison of two scans of a plate in its piano.

applies(later)                                   whether a scan was made in the piano
earlier_of(later, baselines)                     the one it is compared with
only_newest(baselines, earlier)                  the sentence that says so where there are more
around_of(later, earlier, one_job, settings)     what lies between the two scans
compare_in_piano(later, earlier, refused, settings, one_job, others)    Comparison
no_pickup(*scans)                                why scans in the piano may not be compared, or None
others_not_run(rules, comparison)                of the rules that did not run, all but the one that the comparison asked

One earlier scan is taken, the newest in the same state: how often this errs was counted beside one. Two scans of the earlier visit and two of the later one are taken where there are (twice.py). Damping, places and common warmth are not told there: wood and screws rule them.
"""

from collections.abc import Sequence
from datetime import date

import numpy as np
from msgspec.structs import replace

from tapscan.places import IN_PIANO
from tapscan.records import Comparison, Indication, ModePair, RuleNotRun, ScanForComparison
from tapscan.records.comparison import Around
from tapscan.screening.compare.carried import carry
from tapscan.screening.piano.measure import Measured, measure
from tapscan.screening.piano.twice import changed_twice
from tapscan.screening.rule import condition
from tapscan.screening.rules import IN_PIANO_REASON, RULE_LIMITS, change_since_baseline
from tapscan.screening.rules import change_in_piano as rule
from tapscan.settings import Settings, settings_sha256
from tapscan.wording import counted, listed

Others = tuple[ScanForComparison, ScanForComparison]  # of the visit before, and of the one after
ELSEWHERE = "many are strong at other places than before"
CLEAR = 3.0  # standard deviations: a tone that moved by more is counted
PICKUP = (
    "by microphone, or by a sensor that was not told, a plate in the piano cannot be compared: strings, soundboard and room drown it. "
    "It takes a pickup on the iron, on the same spot both times"
)
WOOD = "in the piano wood and screws rule how fast tones die away, and a common change may be theirs"
NO_PLACE = "where a change lies is not told for a plate in the piano"
BY_DATES: dict[Around, str] = {
    "one job": "By their dates, {apart}, the two scans count as before and after one job",
    "seasons": "By their dates, {apart}, more than one job counts as lying between the two scans",
}
AS_TOLD: dict[Around, str] = {
    "one job": "Somebody said that only one job lies between the two scans",
    "seasons": "Somebody said that more than one job lies between the two scans",
}
MEANS: dict[Around, str] = {
    "one job": "screws, wood and tension then hardly differ.",
    "seasons": "plate screws then hold otherwise and wood is drier or damper, and that hides all but large changes.",
}
ONCE: dict[Around, str] = {
    "one job": "One scan before the job and one after it: many torn edges go unnoticed so. Two scans before and two after, of the same places, tell far more.",
    "seasons": "One scan of the visit then and one of this visit: more torn corners and missing screws go unnoticed so. Scan the same places twice at every visit.",
}
TWICE: dict[Around, str] = {
    "one job": "Two scans before the job, {before}, and two after it, {after}: how far scans of one visit differ was measured on this piano and taken out.",
    "seasons": "Two scans of the visit then, {before}, and two of this visit, {after}: how far scans of one visit differ was measured on this piano and taken out.",
}
NOT_TOLD = (
    "No change says nothing of a crack that was there already in the earlier scan, nor of one that the strings press shut. "
    "Small cracks, screw holes and the pin field are mostly beyond this test in the piano. "
    "Places that were tapped in each other's stead are not noticed in the piano."
)
ONLY_NEWEST = (
    "Of {n} earlier scans only {name} was compared: how often this errs in the piano was counted beside one scan alone."
)


def applies(later: ScanForComparison) -> bool:
    """By its state."""
    return later.conditions.state in IN_PIANO


def earlier_of(later: ScanForComparison, baselines: Sequence[ScanForComparison]) -> ScanForComparison:
    """The newest in the same state; where there is none the newest of all, and that is refused."""
    same = [b for b in baselines if b.conditions.state == later.conditions.state]
    return max(same or baselines, key=lambda b: (b.date, b.name))


def only_newest(baselines: Sequence[ScanForComparison], earlier: ScanForComparison) -> tuple[str, ...]:
    """Empty where there is one."""
    return (ONLY_NEWEST.format(n=len(baselines), name=earlier.name),) if len(baselines) > 1 else ()


def around_of(later: ScanForComparison, earlier: ScanForComparison, one_job: bool | None, settings: Settings) -> Around:
    """`one_job` : as a person told; None: by the dates."""
    if one_job is None:
        one_job = _days_apart(later, earlier) <= settings.piano.job_days
    return "one job" if one_job else "seasons"


def _days_apart(later: ScanForComparison, earlier: ScanForComparison) -> int:
    return abs((date.fromisoformat(later.date[:10]) - date.fromisoformat(earlier.date[:10])).days)


def compare_in_piano(
    later: ScanForComparison,
    earlier: ScanForComparison,
    refused: str | None,
    settings: Settings,
    one_job: bool | None = None,
    others: Others | None = None,
) -> Comparison:
    """`refused` : why nothing may be concluded. `others` : one more scan of the earlier visit, and of the later one."""
    around = around_of(later, earlier, one_job, settings)
    found, others = _measured(later, earlier, others, around, settings)
    refused = refused or no_pickup(later, earlier) or _too_little(found, settings)
    others = None if refused else others  # nothing that was measured of them is told
    indications = () if refused else _found(found, earlier, around, settings)
    more = () if refused else (*_told_by(later, earlier, others, around), NOT_TOLD)
    return Comparison(
        later=later.name,
        baselines=(earlier.name, others[0].name) if others else (earlier.name,),
        pairs=() if refused else _pairs(found, bool(indications)),
        common=None,
        lost=(),
        gained=(),
        statistic=None if refused else found.statistic,
        statistic_limit=None if refused else found.limit,
        loss_statistic=None,
        loss_statistic_limit=None,
        unlike=(),
        explanation=None,
        where=(),
        indications=indications,
        carried=carry(later, (earlier,), _partners(found), settings),
        rules_not_run=(RuleNotRun(rule.NAME, refused),) if refused else (),
        limitations=(_between(later, earlier, around, one_job), *more),
        summary=_summary(refused, indications, found, earlier, around),
        settings_sha256=settings_sha256(settings, RULE_LIMITS),
        reason=refused,
        places_reason=NO_PLACE,
        common_reason=WOOD,
        around=around,
    )


def _measured(
    later: ScanForComparison,
    earlier: ScanForComparison,
    others: Others | None,
    around: Around,
    settings: Settings,
) -> tuple[Measured, Others | None]:
    """With the others' figure where it is known; else without them."""
    found, limits = measure(earlier.scan, later.scan, around, settings), settings.piano
    many = "job_limit_many" if around == "one job" else "season_limit_many"
    if others is None or found.limit_name != many:
        return found, None
    left = changed_twice((earlier.scan, others[0].scan), (later.scan, others[1].scan), around, settings)
    if left is None:
        return found, None
    name = "twice_limit" if around == "one job" else "season_twice_limit"
    found = replace(found, statistic=left, limit=getattr(limits, name), limit_name=name)
    return found if around == "one job" else replace(found, drops=None), others


def _told_by(
    later: ScanForComparison, earlier: ScanForComparison, others: Others | None, around: Around
) -> tuple[str, ...]:
    if others is None:
        return (ONCE[around],)
    before, after = sorted((earlier.name, others[0].name)), sorted((later.name, others[1].name))
    return (TWICE[around].format(before=listed(before), after=listed(after)),)


def others_not_run(rules: Sequence[RuleNotRun], comparison: Comparison) -> tuple[RuleNotRun, ...]:
    """Of the two rules for changes one is asked, by where the plate is; the other says so."""
    rest = tuple(r for r in rules if r.rule not in (rule.NAME, change_since_baseline.NAME))
    if comparison.around:
        return (*rest, RuleNotRun(change_since_baseline.NAME, IN_PIANO_REASON))
    return (*rest, RuleNotRun(rule.NAME, rule.NOT_THERE))


def _between(later: ScanForComparison, earlier: ScanForComparison, around: Around, one_job: bool | None) -> str:
    """By what it was told, dates or a person, and what follows."""
    days = _days_apart(later, earlier)
    apart = f"{counted(days, 'day')} apart" if days else "of one day"
    return f"{(BY_DATES if one_job is None else AS_TOLD)[around].format(apart=apart)}: {MEANS[around]}"


def _partners(found: Measured) -> dict[str, tuple[str]]:
    return {found.later.names[int(j)]: (found.earlier.names[int(i)],) for i, j in found.pairing.pairs}


def no_pickup(*scans: ScanForComparison) -> str | None:
    """Why these, made in the piano, tell nothing of each other; None where a pickup heard them all."""
    return None if all(s.conditions.sensor.contact for s in scans) else PICKUP


def _too_little(found: Measured, settings: Settings) -> str | None:
    limits = settings.piano
    if found.statistic is not None:
        return None
    return (
        f"{int(found.judged.sum())} tones at {counted(len(found.earlier.stations), 'place')} could be matched with the earlier scan; it takes {limits.modes:.0f} tones "
        f"and {limits.places:.0f} places that were tapped both times"
    )


def _found(found: Measured, earlier: ScanForComparison, around: Around, settings: Settings) -> tuple[Indication, ...]:
    if found.statistic is None or found.statistic <= found.limit:
        return ()
    fell = _fell(found)
    order = [int(k) for k in np.argsort(-np.where(fell, found.score, -np.inf))[: int(fell.sum())]]
    names = tuple(found.later.names[found.pairing.pairs[k, 1]] for k in order)
    since = (
        f"Since {_since(earlier)} the plate in the piano has changed by more than {_usual(around)}: {_how(found, fell)}"
    )
    sentence = f"{since}. A loose plate screw does that, and so does a strut or a corner that has parted."
    what = rule.BEYOND_SCREWS if found.drops is None else rule.BOTH
    told = condition(settings.piano, found.limit_name, what, found.statistic)
    return (rule.finding(sentence, names, told),)


def _fell(found: Measured) -> np.ndarray:
    return np.asarray(found.judged & (found.score > CLEAR))


def _how(found: Measured, fell: np.ndarray) -> str:
    compared = int(found.judged.sum())
    if not fell.any():
        return f"none of the {compared} tones compared has clearly become lower, but {ELSEWHERE}"
    elsewhere = f", and {ELSEWHERE}" if (found.statistic or 0.0) > 2 * (found.drops or 0.0) else ""
    worst = int(np.argmax(np.where(fell, found.score, -np.inf)))
    hz = found.later.frequency_hz[found.pairing.pairs[worst, 1]]
    return (
        f"{int(fell.sum())} of the {compared} tones compared {'has' if fell.sum() == 1 else 'have'} become lower, the clearest one, now at {hz:.0f} Hz, by {-100 * found.change[worst]:.2f} % "
        f"(± {200 * found.sd[worst]:.2f} %){elsewhere}"
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
