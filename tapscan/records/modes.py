"""What a tap says of the iron: damped modes, and what is seen beside them."""

from typing import Literal

from msgspec import Struct, field

from tapscan.estimate import Estimate, of_rate
from tapscan.records.sound import Force

Origin = Literal["plate", "string", "room", "hum", "unknown"]


class Pole(Struct, frozen=True):
    """One damped mode as heard at one station."""

    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float  # amplitude ~ exp(-decay_rate * t)
    decay_rate_sd_per_s: float
    amplitudes: tuple[complex, ...]  # at the onset, full scale = 1, one a strike
    snr_db: float  # energy over the noise energy density it must beat: matched-filter SNR, best strike
    # times that the sds of frequency and decay rate are what noise alone makes
    widened: tuple[float, float] = (1.0, 1.0)


class Tone(Struct, frozen=True):
    """Prominence of one mode at one station in a stated window after the strike."""

    tone_to_noise_db: float | None
    prominence_ratio_db: float | None
    prominent: bool | None
    reason: str | None = None


class ModalAmplitude(Struct, frozen=True):
    """How strongly one station excites one mode, normalised per strike."""

    station: str
    # initial amplitude of the mode over the rms of the strike, median of strikes
    amplitude_db: float = field(name="strength_db")
    # +1 or -1: whether this place moves with the mode's strongest place or against it; None: not told
    sign: int | None = None


class Mode(Struct, frozen=True):
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
    amplitudes: tuple[ModalAmplitude, ...] = field(name="strengths")
    reason: str | None = None
    # times that the sds of frequency and decay rate are what noise alone makes
    widened: tuple[float, float] = (1.0, 1.0)

    @property
    def noise_sd_hz(self) -> float | None:
        """Standard deviation of the frequency by noise alone: limits of comparisons were chosen with it, and go on with it until they are chosen anew."""
        return None if self.frequency_sd_hz is None else self.frequency_sd_hz / self.widened[0]

    @property
    def frequency(self) -> Estimate:
        """Hz."""
        return Estimate(self.frequency_hz, self.frequency_sd_hz)

    @property
    def decay_rate(self) -> Estimate:
        """1/s."""
        return Estimate(self.decay_rate_per_s, self.decay_rate_sd_per_s)

    @property
    def t60(self) -> Estimate:
        """Time to -60 dB, s."""
        return of_rate(self.t60_s, self.decay_rate)

    @property
    def loss(self) -> Estimate:
        """Loss factor."""
        return of_rate(self.loss_factor, self.decay_rate)

    @property
    def quality(self) -> Estimate:
        """Q."""
        return of_rate(self.q, self.decay_rate)


class ForceShift(Struct, frozen=True):
    """How one mode differs between hard and soft taps."""

    mode: str  # Mode.id
    begun: Literal["all taps", "soft taps"]  # whose modes both fits began with
    frequency_ppm: float  # hard less soft, in parts per million of the frequency
    frequency_sd_ppm: float
    log_decay: float  # natural logarithm of the decay rates, hard over soft
    log_decay_sd: float

    @property
    def frequency(self) -> Estimate:
        """Change of the frequency, parts per million."""
        return Estimate(self.frequency_ppm, self.frequency_sd_ppm)


class SteadyTone(Struct, frozen=True):
    """What stands at a mode's frequency before the taps."""

    mode: str  # Mode.id
    before_db: float  # amplitude before the tap over the mode's at the onset, middle of the stations that hear it
    # power of that line over what lies beside it, middle of the strikes
    snr_db: float = field(name="clear_db")


class LateSound(Struct, frozen=True):
    """What the modes leave unexplained in one strike, late in its ring."""

    strike: str  # Strike.id
    station: str
    force: Force | None
    late_db: float  # unexplained power over the noise before the tap
    share_db: float  # unexplained power over all power in the same time
    unevenness: float  # standard deviation over mean of the unexplained power from frame to frame; 1 is steady noise


NO_ROOM = "no room was heard"  # as the reason of a scan without one
ROOM_TOLD = NO_ROOM, "not measured"


def room_untold(left_in: bool | None, room: object, reason: str | None) -> bool:
    """Of fields of Scan: it was taken for a pickup's, which hears no room; where that was a mistake, a room may be in the sound that nobody could tell apart."""
    return left_in is not None and not left_in and not room and reason not in ROOM_TOLD


class RoomRing(Struct, frozen=True):
    """What goes on driving the tones after the blow: by microphone the room's own ring, by pickup a loose part."""

    share_db: float  # energy that free modes leave unexplained, over all, below 600 Hz
    t60_s: float | None  # time to -60 dB, middle of the bands
    t60_low_s: float | None  # the middle half of the bands lies between this
    t60_high_s: float | None  # and this
    t60_reason: str | None = None


class RoomLimit(Struct, frozen=True):
    """The frequency above which a room hides the plate: there what dies away is the room."""

    hidden_above_hz: float  # no mode is given above
    t60_s: float  # time to -60 dB of what is heard there, middle of bands and stations
    stations: int  # that tell so
    of_stations: int  # that were asked


class SelfScatter(Struct, frozen=True):
    """How a scan agrees with itself, in units of its standard deviations of frequency; 1 is what noise alone makes."""

    strikes: float  # odd strikes against even ones: root mean square over modes
    modes: int  # that were held against each other
    widened_by: float  # what standard deviations were multiplied by; 1: chance makes as much
    places: float | None  # places against each other, after that; None: one place
    places_widened: bool  # each mode's standard deviation is at least what its places scatter by
    level: float  # of both chi-square tests

    @property
    def in_words(self) -> str:
        """One sentence."""
        wider = f", so every \u00b1 was widened by {self.widened_by:.1f}" if self.widened_by > 1 else ""
        places = f"; places differ by {self.places:.1f} times" if self.places is not None else ""
        by_places = " and each \u00b1 covers how its places differ" if self.places_widened else ""
        return f"Taps of this scan differ from each other by {self.strikes:.1f} times what the noise explains (1 is right){wider}{places}{by_places}."
