"""A later scan measured against a plate's baseline: what moved, by how much, and against which scatter.

    measure(later, baselines, contact, unlike, settings)   Measured, all in arrays
    false_discoveries(p, share)                            which of many tests stand out
    largest_mean(values, count)                            mean of the largest few

What all modes share is taken out first (screening/compare/thermal_shift.py says it as a temperature). What is left, over the scatter
expected of it (screening/compare/repeatability.py), is the normalised drop. An open crack only lowers modes and lowers few of them much, so
the statistic is the mean of the three largest drops, what supports did between these scans allowed for (screening/compare/moved_supports.py), or by microphone, where no mode stands out far, the odds over all modes
(screening/compare/likelihood_ratio.py); for a closed crack that rubs it is the mean of the five largest rises of
the loss factor, the plate's median taken out, supports allowed for as well. No mode counts for more than a cap in either: one wild pair must not make a
call, and a flaw moves several modes. Which single modes are named is decided by false-discovery control over all modes
judged (Benjamini and Hochberg 1995), with a heavy-tailed null (Student's t), or by the odds of each; and only while the statistic passes its limit.

Judged: paired modes from 100 to 1500 Hz that the baseline heard again and that enough stations hear on both sides.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.records import FloatArray, Scan
from tapscan.screening.compare.change import TOP_DROPS, TOP_RISES, Change, largest_capped
from tapscan.screening.compare.condition_changes import ConditionChanges
from tapscan.screening.compare.likelihood_ratio import fall_likelihood_ratio, fallen_chance
from tapscan.screening.compare.moved_supports import supports_allowed
from tapscan.screening.compare.pairing import ModeTable, Pairing, mode_table, pair_modes
from tapscan.screening.compare.repeatability import (
    Baseline,
    any_supports_sd,
    fit_factor,
    join,
    log_loss,
    log_loss_sd,
    prior_frequency_sd,
    prior_loss_sd,
    risen_level,
    shared_stations,
)
from tapscan.screening.compare.shared_shift import Flags, shared_shift
from tapscan.settings import Settings
from tapscan.settings.definition import threshold_of

RATHER = 0.5
OWN_SCATTER = 2  # baseline scans that show what the room does to this plate's modes
FEW_STATIONS = 4  # with fewer, a mode heard at any is judged


class Measured(Struct, frozen=True, eq=False):
    """A later scan beside a baseline."""

    baseline: Baseline
    later: ModeTable
    pairing: Pairing
    shift: float  # ln(later / reference scan), shared
    shift_sd: float
    frequency: Change
    loss: Change
    small: Change | None = (
        None  # frequency against the scatter of careful hands, where the wider one of any supports decides
    )
    seen: int = 1  # times the plate was set down anew, over more days than one; 1: how it repeats was not seen

    @property
    def earlier_index(self) -> NDArray[np.intp]:
        """(k,) number of each pair's mode in the baseline's reference scan."""
        return np.asarray(self.pairing.pairs[:, 0])

    @property
    def later_index(self) -> NDArray[np.intp]:
        """(k,) number of each pair's mode in the later scan."""
        return np.asarray(self.pairing.pairs[:, 1])


def measure(
    later: Scan,
    baselines: Sequence[Scan],
    contact: bool,
    unlike: ConditionChanges,
    settings: Settings,
    foreign_hz: Sequence[float] = (),
    *,
    one_day: bool = False,
    lifted: tuple[Scan, Scan] | None = None,
) -> Measured:
    """Raises ValueError without baselines.

    contact : all scans with a pickup on the iron. foreign_hz : tones of a room, the mains or strings in any of the scans, which may pull a mode beside them.
    one_day : the baseline scans were made within a day, so they do not show what another day brings.
    lifted : two scans of the plate as it is now, the older first, set down anew on another day; where the baseline does not show how the plate repeats, they do.
    """
    baseline = join(baselines, contact, settings)
    table = _table(later, baselines, baseline)
    prior = _prior(baseline, contact, unlike, settings)
    known = baseline.log_frequency
    scatter = np.sqrt(np.nan_to_num(known.mean_sd) ** 2 + known.level * prior**2)
    pairing = pair_modes(baseline.table, table, scatter, settings)
    i, j = pairing.pairs.T
    merged = _perhaps_merged(baseline, table, pairing, np.asarray(foreign_hz, dtype=float), settings)
    judged = _judged(baseline, table, i, j, unlike, settings) & ~merged
    apart = table.log_frequency[j] - known.mean[i]
    fit = fit_factor(later, settings) * table.frequency_sd[j]
    seen, level = _seen(baseline, one_day, lifted, contact, settings)
    sd = np.sqrt(level[i]) * np.hypot(known.mean_sd[i] / np.sqrt(known.level[i]), np.hypot(prior[i], fit))
    shift, shift_sd = shared_shift(apart, sd, judged)
    by_likelihood_ratio = not contact and baseline.scans >= OWN_SCATTER
    careful = limit_of("drop", baseline.scans, settings)
    small = _change(apart - shift, sd, -1.0, judged, TOP_DROPS, careful, settings) if contact else None
    wide = np.hypot(sd, _unseen(baseline.table.frequency_hz[i], seen, settings)) if contact else sd
    limit = _limit(by_likelihood_ratio, contact, seen, (apart - shift) / sd, judged, settings)
    drops = _change(apart - shift, wide, -1.0, judged, TOP_DROPS, limit, settings, by_likelihood_ratio)
    changes = drops, _loss(later, baseline, table, pairing, judged, contact, settings)
    changes = supports_allowed(*changes, baseline.table.frequency_hz[i], settings) if contact else changes
    return Measured(baseline, table, pairing, shift, shift_sd, *changes, small, seen)


def _limit(by_ratio: bool, contact: bool, seen: int, rises: FloatArray, judged: Flags, settings: Settings) -> float:
    if by_ratio:
        return float(np.log(settings.compare.fall_likelihood_ratio))
    limit = limit_of("drop", seen, settings)
    return limit if contact else limit * _overdispersion_in_room(rises, judged, settings)


def _table(later: Scan, baselines: Sequence[Scan], baseline: Baseline) -> ModeTable:
    places = set(shared_stations([later, *baselines]))
    return mode_table(later.modes, [s if s in places else "" for s in baseline.stations])


def _seen(
    baseline: Baseline, one_day: bool, lifted: tuple[Scan, Scan] | None, contact: bool, settings: Settings
) -> tuple[int, FloatArray]:
    """How often the plate was seen to repeat, and (modes of the baseline,) how much more it scatters than is given beforehand."""
    level = baseline.log_frequency.level
    if not contact or (baseline.scans > 1 and not one_day):
        return baseline.scans, level
    if lifted is None:
        return 1, level
    return 2, np.maximum(level, risen_level(*lifted, baseline.table.frequency_hz, settings))


def _unseen(frequency_hz: FloatArray, seen: int, settings: Settings) -> FloatArray:
    """Relative sd between two scans of what supports of any kind may do and this plate's own repeats have not shown yet."""
    limits = settings.repeatability
    share = {1: 1.0, 2: limits.supports_left_two}.get(seen, limits.supports_left_three)
    return np.asarray(share * np.sqrt(2) * any_supports_sd(frequency_hz, settings, seen))


def _prior(baseline: Baseline, contact: bool, unlike: ConditionChanges, settings: Settings) -> FloatArray:
    f, alone = baseline.table.frequency_hz, baseline.scans == 1
    prior = unlike.support_factor * prior_frequency_sd(f, contact, settings, alone=alone)
    return np.asarray(np.hypot(prior, 1e-6 * unlike.extra_ppm))


def _judged(
    baseline: Baseline,
    later: ModeTable,
    i: NDArray[np.intp],
    j: NDArray[np.intp],
    unlike: ConditionChanges,
    settings: Settings,
) -> Flags:
    f = baseline.table.frequency_hz[i]
    inside = (f >= max(settings.compare.lowest_hz, unlike.lowest_hz)) & (f <= settings.compare.highest_hz)
    again = baseline.log_frequency.heard[i] >= min(2, baseline.scans)
    stations = sum(1 for s in later.stations if s)
    if stations < FEW_STATIONS:
        return np.asarray(inside & again)
    least = settings.compare.share_of_places * stations
    heard_later = (later.pattern[j] > 0).sum(axis=1)
    return np.asarray(inside & again & (heard_later >= least) & (baseline.places_heard[i] >= least))


def _perhaps_merged(
    baseline: Baseline, later: ModeTable, pairing: Pairing, foreign_hz: FloatArray, settings: Settings
) -> Flags:
    """(k,) a neighbour that one side alone heard, or a foreign tone, lies so near that the pair's mode there may be the two in one.

    The fit of a merged mode knows nothing of the other and states too small an error.
    """
    loss = baseline.log_loss.mean[np.isfinite(baseline.log_loss.mean)]
    reach = settings.pairing.merged_reach * float(np.exp(np.median(loss))) if len(loss) else 0.0
    heard = baseline.log_frequency.heard >= min(2, baseline.scans)
    lost = [n for n in pairing.lone(len(baseline.table), 0) if heard[n]]
    gained = pairing.lone(len(later), 1)
    before, after = baseline.table.frequency_hz, later.frequency_hz
    i, j = pairing.pairs[:, 0], pairing.pairs[:, 1]
    foreign = _near(before[i], foreign_hz, reach) | _near(after[j], foreign_hz, reach)
    return foreign | _near(before[i], before[lost], reach) | _near(after[j], after[gained], reach)


def _near(frequency_hz: FloatArray, others_hz: FloatArray, reach: float) -> Flags:
    """(k,) whether any of the others lies within `reach` times the frequency."""
    if not len(others_hz):
        return np.zeros(len(frequency_hz), dtype=bool)
    return np.asarray(np.abs(frequency_hz[:, None] - others_hz[None, :]).min(axis=1) < reach * frequency_hz)


def _change(
    value: FloatArray,
    sd: FloatArray,
    sign: float,
    judged: Flags,
    top: int,
    limit: float,
    settings: Settings,
    by_likelihood_ratio: bool = False,
) -> Change:
    score = sign * value / sd
    usable = judged & np.isfinite(score)
    enough = usable.sum() >= max(settings.compare.modes, top)
    limit = limit if by_likelihood_ratio else limit * more_modes(int(usable.sum()), settings)
    statistic = None
    if enough:
        statistic = (
            fall_likelihood_ratio(score[usable])
            if by_likelihood_ratio
            else largest_capped(score[usable], top, settings)
        )
    chance = np.zeros(len(value))
    if statistic is not None and statistic > limit:
        chance[usable] = fallen_chance(score[usable]) if by_likelihood_ratio else _discovered(score[usable], settings)
    weight = chance * np.clip(sign * np.nan_to_num(value), 0.0, None)
    return Change(value, sd, score, usable, chance > RATHER, weight, statistic, limit, by_likelihood_ratio)


def _discovered(score: FloatArray, settings: Settings) -> Flags:
    return false_discoveries(_tail(score, settings.compare.freedom), settings.compare.false_share)


def _overdispersion_in_room(rises: FloatArray, judged: Flags, settings: Settings) -> float:
    """Factor on the limit for drops, at least 1. A crack raises no mode; a microphone moved in a room raises as many as it lowers."""
    usable = rises[judged & np.isfinite(rises)]
    if len(usable) < TOP_DROPS:
        return 1.0
    return max(1.0, largest_capped(usable, TOP_DROPS, settings) / settings.compare.rises_free)


def _loss(
    later: Scan,
    baseline: Baseline,
    table: ModeTable,
    pairing: Pairing,
    judged: Flags,
    contact: bool,
    settings: Settings,
) -> Change:
    modes = {m.id: m for m in later.modes}
    i = pairing.pairs[:, 0]
    mine = [modes[table.names[k]] for k in pairing.pairs[:, 1]]
    value = np.array([log_loss(m) for m in mine], dtype=float) - baseline.log_loss.mean[i]
    prior = prior_loss_sd(baseline.table.frequency_hz[i], contact, settings)
    fit = fit_factor(later, settings) * np.array([log_loss_sd(m) for m in mine], dtype=float)
    sd = np.hypot(baseline.log_loss.mean_sd[i], np.sqrt(baseline.log_loss.level[i]) * np.hypot(prior, fit))
    known = judged & np.isfinite(value) & (baseline.log_loss.heard[i] >= min(2, baseline.scans))
    if known.any():
        value = value - np.median(value[known])
    found = _change(value, sd, 1.0, known, TOP_RISES, limit_of("loss", baseline.scans, settings), settings)
    named = found.named & (value >= settings.compare.loss_least_rise)
    return Change(value, sd, found.score, found.judged, named, found.weight * named, found.statistic, found.limit)


def more_modes(judged: int, settings: Settings) -> float:
    """Factor on a limit of the largest few of so many scores, at least 1: the largest of n Student t of f degrees of freedom grow as n to the 1/f (order statistics of heavy tails, textbook)."""
    return float(max(1.0, judged / settings.compare.usual_modes) ** (1 / settings.compare.freedom))


def limit_name(kind: str, scans: int) -> str:
    """The threshold of the mean of the largest drops ("drop") or rises of the loss ("loss"), by the number of baseline scans."""
    word = {1: "one", 2: "two"}.get(scans, "three")
    return f"{kind}_limit_{word}"


def limit_of(kind: str, scans: int, settings: Settings) -> float:
    """Its value."""
    return threshold_of(settings.compare, limit_name(kind, scans)).value


def _tail(score: FloatArray, freedom: float) -> FloatArray:
    """One-sided chance of a score this large by Student's t."""
    from scipy.special import stdtr

    return np.asarray(stdtr(freedom, -score))


def false_discoveries(chance: FloatArray, share: float) -> Flags:
    """Which tests stand out when a `share` of false ones among them is allowed (Benjamini and Hochberg 1995).

    chance : (n,) probability of each result by chance, 0..1.
    """
    from scipy.stats import false_discovery_control

    if not len(chance):
        return np.zeros(0, dtype=bool)
    return np.asarray(false_discovery_control(chance) <= share)
