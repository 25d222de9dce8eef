"""What travels between the rooms: frozen dataclasses, the unit in every field's note.

Unknown is None, and a `reason` beside it says why. Records that hold arrays compare by identity.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tapscan.faults import UNUSABLE
from tapscan.places import IN_PIANO, STATES, Layout, State  # noqa: F401  the states are known by this name too
from tapscan.sensors import NO_SENSOR, Sensor

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

Force = Literal["soft", "hard"]
Origin = Literal["plate", "string", "room", "hum", "unknown"]
Interpretation = Literal["relevant", "nonrelevant", "false"]
Status = Literal["new", "unchanged"]
Disposition = Literal["relevant indication", "inconclusive", "no relevant indication"]


@dataclass(frozen=True)
class Compression:
    """Lossy coding that a recording went through."""

    codec: str  # as the decoder names it: aac, mp3, opus, vorbis, ...
    told_by: str  # 'container' or 'spectrum'


@dataclass(frozen=True)
class Recording:
    """Facts of one sound file; the samples stay in the file."""

    id: str
    file: str  # name as given, text only
    sha256: str  # of the file's bytes
    sample_rate_hz: int  # native, 8000..192000
    channels: int  # native count, >= 1
    channel_used: int | None  # 0-based; None when no channel holds a strike
    duration_s: float
    faults: tuple[str, ...] = ()
    reason: str | None = None  # why no channel was used
    compression: Compression | None = None  # None: no lossy coding was told by what was looked at
    compression_looked_at: tuple[str, ...] = ()  # container, spectrum; empty: stored before this was looked at


@dataclass(frozen=True)
class Strike:
    """One tap, as found in a recording."""

    id: str
    recording: str  # Recording.id
    station: str
    force: Force | None
    onset_s: float  # from the start of the recording
    duration_s: float  # from onset to noise floor, next strike or end of file
    peak: float  # largest |sample|, full scale = 1
    level_db: float  # rms of the first 0.5 s (or less), dB re full scale
    snr_db: float | None  # the same rms over the noise before the strike
    faults: tuple[str, ...] = ()
    reason: str | None = None  # why snr_db is None

    @property
    def usable(self) -> bool:
        """Clipped and hopelessly weak strikes, and what is no tap, are shown but not used for modes."""
        return not UNUSABLE & set(self.faults)


@dataclass(frozen=True, eq=False)
class Segment:
    """The sound of one strike, cut so that sample 0 is the onset."""

    strike: Strike
    samples: FloatArray  # (n,) full scale = 1, sample 0 at the onset
    noise: FloatArray  # (m,) samples before the strike (or the quietest stretch), may be empty
    sample_rate_hz: int
    free_s: float = 0.0  # from the onset to where the plate rings freely (after the last blow of a double hit)


@dataclass(frozen=True)
class Pole:
    """One damped mode as heard at one station."""

    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float  # amplitude ~ exp(-decay_rate * t)
    decay_rate_sd_per_s: float
    amplitudes: tuple[complex, ...]  # at the onset, full scale = 1, one a strike
    clear_db: float  # energy over the noise energy density it must beat: matched-filter SNR, best strike


@dataclass(frozen=True)
class Tone:
    """Prominence of one mode at one station in a stated window after the strike."""

    tone_to_noise_db: float | None
    prominence_ratio_db: float | None
    prominent: bool | None
    reason: str | None = None


@dataclass(frozen=True)
class Strength:
    """How strongly one station excites one mode, normalised per strike."""

    station: str
    strength_db: float  # initial amplitude of the mode over the rms of the strike, median of strikes


@dataclass(frozen=True)
class Mode:
    """A mode of the plate, merged over stations."""

    id: str
    frequency_hz: float
    frequency_sd_hz: float | None
    decay_rate_per_s: float | None
    decay_rate_sd_per_s: float | None
    t60_s: float | None  # time to -60 dB
    q: float | None
    loss_factor: float | None
    level_db: float | None  # amplitude at the start of the tone window, best station, re full scale
    tone_to_noise_db: float | None  # median over stations that hear it
    prominence_ratio_db: float | None
    prominent: bool | None
    stations_prominent: int
    stations_judged: int
    note: str | None  # nearest note name, A4 = 440 Hz
    cents: float | None  # deviation from that note
    origin: Origin
    strengths: tuple[Strength, ...]
    reason: str | None = None


@dataclass(frozen=True)
class ForceShift:
    """How one mode differs between hard and soft taps."""

    mode: str  # Mode.id
    begun: Literal["all taps", "soft taps"]  # whose modes both fits began with
    frequency_ppm: float  # hard less soft, in parts per million of the frequency
    frequency_sd_ppm: float
    log_decay: float  # natural logarithm of the decay rates, hard over soft
    log_decay_sd: float


@dataclass(frozen=True)
class SteadyTone:
    """What stands at a mode's frequency before the taps."""

    mode: str  # Mode.id
    before_db: float  # amplitude before the tap over the mode's at the onset, middle of the stations that hear it
    clear_db: float  # power of that line over what lies beside it, middle of the strikes


@dataclass(frozen=True)
class LateSound:
    """What the modes leave unexplained in one strike, late in its ring."""

    strike: str  # Strike.id
    station: str
    force: Force | None
    late_db: float  # unexplained power over the noise before the tap
    share_db: float  # unexplained power over all power in the same time
    unevenness: float  # standard deviation over mean of the unexplained power from frame to frame; 1 is steady noise


@dataclass(frozen=True)
class Condition:
    """One figure a rule looked at, with its limit."""

    name: str
    value: float | str | None
    limit: float | str | None
    unit: str
    source: str


@dataclass(frozen=True)
class Indication:
    """What a rule has to say. A person evaluates it."""

    id: str
    rule: str
    interpretation: Interpretation
    status: Status | None
    stations: tuple[str, ...]
    modes: tuple[str, ...]
    sentence: str
    conditions: tuple[Condition, ...]
    other_explanations: tuple[str, ...]


@dataclass(frozen=True)
class RuleNotRun:
    """A rule that lacked its input; never to be read as passed."""

    rule: str
    reason: str


@dataclass(frozen=True)
class RoomRing:
    """What goes on driving the tones after the blow: by microphone the room's own ring, by pickup a loose part."""

    share_db: float  # energy that free modes leave unexplained, over all, below 600 Hz
    t60_s: float | None  # time to -60 dB, middle of the bands
    t60_low_s: float | None  # the middle half of the bands lies between this
    t60_high_s: float | None  # and this
    t60_reason: str | None = None


@dataclass(frozen=True)
class RoomLimit:
    """The frequency above which a room hides the plate: there what dies away is the room."""

    hidden_above_hz: float  # no mode is given above
    t60_s: float  # time to -60 dB of what is heard there, middle of bands and stations
    stations: int  # that tell so
    of_stations: int  # that were asked


@dataclass(frozen=True)
class Scan:
    """Everything the rules may read."""

    recordings: tuple[Recording, ...]
    strikes: tuple[Strike, ...]
    modes: tuple[Mode, ...]
    state: State | None = None
    layout: str | None = None
    places: tuple[tuple[str, str], ...] = ()  # station and where it is, in the layout's words
    map: Layout | None = None  # the layout with its positions, for the map and for what may be struck
    parts_held: bool = False  # hook, screws and pads were held still during the taps
    part_of: int | None = (
        None  # places that the layout has, where only a part of them was tapped on purpose or for want of time
    )
    taps_amiss: tuple[str, ...] = ()  # what is missing or double against the layout
    force_shifts: tuple[ForceShift, ...] = ()  # empty: see force_shifts_reason
    force_shifts_reason: str | None = "not measured"  # why there is none
    force_step_db: float | None = None  # how much louder the hard taps were, middle of the stations
    steady_tones: tuple[SteadyTone, ...] = ()
    steady_tones_reason: str | None = "not measured"
    late_sounds: tuple[LateSound, ...] = ()
    late_sounds_reason: str | None = "not measured"
    room: RoomRing | None = None  # none: see room_reason
    room_reason: str | None = "not measured"
    room_limit: RoomLimit | None = None  # none: see room_limit_reason
    room_limit_reason: str | None = "not measured"

    def where(self, station: str) -> str:
        """Station with its place in words, as far as the layout tells."""
        place = dict(self.places).get(station)
        return f"{station} ({place})" if place else station


@dataclass(frozen=True)
class Fingerprint:
    """Two scans' modes beside each other; shares are of the shorter list, 0..1."""

    heard_again: float  # as near and as alike as one plate's
    alike: float  # of very alike pattern, whatever the frequency
    likeness: float  # mean cosine of the patterns of those paired by pattern
    rose: float  # of the very alike ones


@dataclass(frozen=True)
class Doubt:
    """Why the scan may not be of this plate, or not in this order."""

    kind: Literal["which plate", "which places"]
    beside: str  # the earlier scan that tells so
    sentence: str
    fingerprint: Fingerprint
    places: tuple[str, ...] = ()  # tapped in each other's stead
    sounds_like: str | None = None  # scan of another plate that this one repeats


@dataclass(frozen=True)
class Screening:
    """The whole outcome of one scan, ready to be printed, saved or rendered."""

    scan: Scan
    disposition: Disposition
    headline: str  # plain words
    summary: str  # plain words, one or two sentences
    next_steps: tuple[str, ...]
    indications: tuple[Indication, ...]
    rules_not_run: tuple[RuleNotRun, ...]
    limitations: tuple[str, ...]
    settings_sha256: str
    limits_sha256: tuple[tuple[str, str], ...] = ()  # of the thresholds that each part of the measured rates depends on
    assignment: tuple[str, ...] = ()  # how strikes were given to stations, and what is missing
    pictures: tuple["StationPicture", ...] = field(default=(), compare=False)
    comparison: "Comparison | None" = field(default=None, compare=False)  # with the plate's earlier scans, when made
    doubts: tuple[Doubt, ...] = ()  # nobody said that it is this plate, in this order
    made_sure: bool = False  # a person said so


@dataclass(frozen=True, eq=False)
class StationPicture:
    """Enough of one station's best strike to draw its spectrum and its decay."""

    station: str
    strike: str
    frequency_hz: FloatArray  # (k,) bins
    spectrum_db: FloatArray  # (k,) energy spectral density, dB re its largest bin
    noise_db: FloatArray | None  # (k,) the same scale
    time_s: FloatArray  # (t,) from the onset
    envelope_db: FloatArray  # (t,) level re full scale


@dataclass(frozen=True)
class ScanConditions:
    """How a scan was made; what is not known is None."""

    state: State | None = None
    supports: str | None = None  # what it lay on or hung from and where, in the shop's words
    air_c: float | None = None  # temperature of the air, degrees Celsius
    iron_c: float | None = None  # temperature of the iron, degrees Celsius
    hours_in_room: float | None = None  # how long the plate had stood in the room, h
    sensor: Sensor = NO_SENSOR
    hammer: str | None = None
    fittings: tuple[str, ...] | None = None  # left on the plate; () means looked, and bare


@dataclass(frozen=True)
class ScanForComparison:
    """One scan as the comparison needs it."""

    name: str  # PLATE/DATE[-n]
    date: str  # ISO 8601
    conditions: ScanConditions
    scan: Scan
    indications: tuple[Indication, ...] = ()  # what the rules said of this scan on its own


@dataclass(frozen=True)
class ModePair:
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


@dataclass(frozen=True)
class CommonShift:
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


@dataclass(frozen=True)
class UnpairedMode:
    """A mode found on one side only."""

    mode: str  # Mode.id in its own scan
    frequency_hz: float
    miss_chance: float  # chance that a mode this strong is missed by the other side, 0..1
    counts: bool  # strong enough that a miss is unlikely


@dataclass(frozen=True)
class AddedMass:
    """How far the drops look like one extra weight at one place."""

    station: str  # place whose strengths explain the drops best
    explained: float  # share of the drops' squares that one weight there explains, 0..1
    plate_share: float  # apparent weight over the plate's own, good to a factor of two; 0.005 is 0.5 kg on 100 kg
    score: float  # log odds of a weight against a crack, from simulated plates
    limit: float  # score above which a weight is the likelier explanation
    likelier: bool


@dataclass(frozen=True)
class StationChange:
    """How strongly the modes that changed move at one station."""

    station: str
    weight: float  # 0..1, largest station = 1


@dataclass(frozen=True)
class Comparison:
    """A later scan beside the plate's baseline."""

    later: str  # ScanForComparison.name
    baselines: tuple[str, ...]
    pairs: tuple[ModePair, ...]
    common: CommonShift | None
    lost: tuple[UnpairedMode, ...]  # in the baseline, not in the later scan
    gained: tuple[UnpairedMode, ...]  # in the later scan only
    statistic: float | None  # mean of the three largest normalised drops; by_odds: log odds that some modes fell
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
    by_odds: bool = False  # by microphone with two baseline scans or more
    good_news: str | None = None  # where nothing fell: how many tones were compared, and with what
