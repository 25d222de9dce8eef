"""A later scan beside the plate's earlier ones."""

from typing import Literal

from msgspec import Struct, field

from tapscan.estimate import Estimate
from tapscan.places import State
from tapscan.records.bar import ChainChange
from tapscan.records.places import LikelyPlace, Whereabouts
from tapscan.records.scan import Indication, RuleNotRun, Scan
from tapscan.sensors import NO_SENSOR, Sensor

LARGEST = 3
Around = Literal["one job", "seasons"]


class ScanConditions(Struct, frozen=True):
    """How a scan was made; what is not known is None."""

    state: State | None = None
    supports: str | None = None  # what it lay on or hung from and where, in the shop's words
    air_c: float | None = None  # temperature of the air, degrees Celsius
    iron_c: float | None = None  # temperature of the iron, degrees Celsius
    hours_in_room: float | None = None  # how long the plate had stood in the room, h
    sensor: Sensor = NO_SENSOR
    hammer: str | None = None
    fittings: tuple[str, ...] | None = None  # left on the plate; () means looked, and bare
    iron_end_c: float | None = None  # temperature of the iron at its other end, where a second reading was taken


class ScanForComparison(Struct, frozen=True):
    """One scan as the comparison needs it."""

    name: str  # PLATE/DATE[-n]
    date: str  # ISO 8601
    conditions: ScanConditions
    scan: Scan
    indications: tuple[Indication, ...] = ()  # what the rules said of this scan on its own


class ModePair(Struct, frozen=True):
    """One mode in the baseline and in the later scan."""

    later_mode: str  # Mode.id in the later scan
    baseline_modes: tuple[str | None, ...]  # Mode.id in each baseline scan, None where it was not heard
    baseline_hz: float  # mean over the baseline scans, common shifts between them taken out
    later_hz: float
    change_ppm: float  # ln(later / baseline) in parts per million, common shift taken out; negative: it fell
    change_sd_ppm: float  # repeatability expected of this change
    normalised_drop: float  # -change / sd; positive: it fell
    fell: bool  # stands out after control of the false-discovery rate
    loss_ratio: float | None  # loss factor later / baseline, the plate's own trend taken out
    loss_ratio_sd: float | None  # of the natural logarithm of that ratio
    normalised_loss_rise: float | None  # ln(loss_ratio) / sd; positive: it rose
    loss_rose: bool | None  # stands out after control of the false-discovery rate
    reason: str | None = None  # why loss_ratio is None
    judged: bool | None = None  # within reach of the comparison; None: stored before this was kept

    @property
    def change(self) -> Estimate:
        """Change of the frequency, parts per million."""
        return Estimate(self.change_ppm, self.change_sd_ppm)

    @property
    def loss_change(self) -> Estimate:
        """Loss factor, later over baseline."""
        known = self.loss_ratio is not None and self.loss_ratio_sd is not None
        return Estimate(self.loss_ratio, (self.loss_ratio or 0.0) * (self.loss_ratio_sd or 0.0) if known else None)


class CommonShift(Struct, frozen=True):
    """The one ratio by which all modes moved, and the temperature that would do it."""

    shift_ppm: float  # ln(later / baseline) shared by the modes
    shift_sd_ppm: float
    apparent_k: float  # change of temperature that would do it, central coefficient; positive: warmer
    apparent_low_k: float
    apparent_high_k: float  # range of the coefficient and the standard deviation
    thermometer_k: float | None  # later minus baseline, by the thermometer
    agrees: bool | None  # None: no thermometer on both sides
    sentence: str
    reason: str | None = None  # why thermometer_k is None


class UnpairedMode(Struct, frozen=True):
    """A mode found on one side only."""

    mode: str  # Mode.id in its own scan
    frequency_hz: float
    miss_chance: float  # chance that a mode this strong is missed by the other side, 0..1
    counts: bool  # strong enough that a miss is unlikely


class AddedMass(Struct, frozen=True):
    """How far the drops look like one extra weight at one place."""

    station: str  # place whose amplitudes explain the drops best
    explained: float  # share of the drops' squares that one weight there explains, 0..1
    plate_share: float  # apparent weight over the plate's own, were it at an edge; 0.005 is 0.5 kg on 100 kg
    score: float  # log odds of a weight against a crack, from simulated plates
    limit: float  # score above which a weight is the likelier explanation
    likelier: bool
    between: tuple[float, float] | None = (
        None  # the same from a free corner to among nodal lines; none in what was compared before it was told
    )


class StationChange(Struct, frozen=True):
    """How strongly the modes that changed move at one station."""

    station: str
    weight: float  # 0..1, largest station = 1


class Comparison(Struct, frozen=True):
    """A later scan beside the plate's baseline."""

    later: str  # ScanForComparison.name
    baselines: tuple[str, ...]
    pairs: tuple[ModePair, ...]
    common: CommonShift | None
    lost: tuple[UnpairedMode, ...]  # in the baseline, not in the later scan
    gained: tuple[UnpairedMode, ...]  # in the later scan only
    # mean of the three largest normalised drops; by_likelihood_ratio: log odds that some modes fell
    statistic: float | None
    statistic_limit: float | None
    loss_statistic: float | None
    loss_statistic_limit: float | None
    unlike: tuple[str, ...]  # how the scans differ in ways that matter, and what cannot be concluded
    explanation: AddedMass | None
    where: tuple[StationChange, ...]
    indications: tuple[Indication, ...]  # of the comparison itself, rule change-since-baseline
    carried: tuple[Indication, ...]  # the later scan's own indications, with status new or unchanged
    rules_not_run: tuple[RuleNotRun, ...]
    limitations: tuple[str, ...]
    summary: str
    settings_sha256: str
    reason: str | None = None  # why there is no statistic
    # by microphone with two baseline scans or more
    by_likelihood_ratio: bool = field(default=False, name="by_odds")
    places: tuple[LikelyPlace, ...] = ()  # the first of `located` that tells any
    places_reason: str | None = "nothing changed"  # why there is none
    located: tuple[
        Whereabouts, ...
    ] = ()  # of what fell, of what lost its ring, of a weight; only where such a thing was found
    good_news: str | None = None  # where nothing fell: how many tones were compared, and with what
    common_reason: str | None = None  # why there is no common shift
    chain: tuple[ChainChange, ...] = ()  # the reference bar now beside each baseline scan that has one
    chain_reason: str | None = None  # why there is none
    undecided: str | None = None  # a small drop that only more scans can settle: neither a finding nor good news
    around: Around | None = (
        None  # of a plate in its piano: what lies between the two scans; None: the plate is out of it
    )

    @property
    def twice(self) -> bool:
        """Of a plate in its piano: two scans of the earlier visit and two of the later one."""
        return self.around is not None and len(self.baselines) > 1

    @property
    def largest_drops(self) -> tuple[ModePair, ...]:
        """The three judged pairs that fell furthest in their own scatter, largest first; not capped, as the statistic is."""
        judged = (p for p in self.pairs if p.judged)
        return tuple(sorted(judged, key=lambda p: -p.normalised_drop)[:LARGEST])
