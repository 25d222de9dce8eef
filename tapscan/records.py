"""What travels between the rooms: frozen dataclasses, the unit in every field's note.

Unknown is None, and a `reason` beside it says why. Records that hold arrays compare by identity.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

Force = Literal["soft", "hard"]
Origin = Literal["plate", "string", "room", "hum", "unknown"]
Interpretation = Literal["relevant", "nonrelevant", "false"]
Status = Literal["new", "unchanged"]
Disposition = Literal["relevant indication", "inconclusive", "no relevant indication"]
State = Literal["as-found", "old-finish", "stripped", "primed", "finished", "fitted-out", "in-piano-unstrung", "strung"]
STATES: tuple[State, ...] = (
    "as-found",
    "old-finish",
    "stripped",
    "primed",
    "finished",
    "fitted-out",
    "in-piano-unstrung",
    "strung",
)
IN_PIANO: tuple[State, ...] = ("as-found", "in-piano-unstrung", "strung")


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
        """Clipped and hopelessly weak strikes are shown but not used for modes."""
        return not {"clipped", "weak"} & set(self.faults)


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
class Scan:
    """Everything the rules may read."""

    recordings: tuple[Recording, ...]
    strikes: tuple[Strike, ...]
    modes: tuple[Mode, ...]
    state: State | None = None
    layout: str | None = None
    places: tuple[tuple[str, str], ...] = ()  # station and where it is, in the layout's words

    def where(self, station: str) -> str:
        """Station with its place in words, as far as the layout tells."""
        place = dict(self.places).get(station)
        return f"{station} ({place})" if place else station


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
    assignment: tuple[str, ...] = ()  # how strikes were given to stations, and what is missing
    pictures: tuple["StationPicture", ...] = field(default=(), compare=False)


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
