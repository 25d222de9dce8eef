"""What was recorded: files, taps, and the sound of one tap."""

from typing import Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.faults import UNUSABLE

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Force = Literal["soft", "hard"]


class Compression(Struct, frozen=True):
    """Lossy coding that a recording went through."""

    codec: str  # as the decoder names it: aac, mp3, opus, vorbis, ...
    told_by: str  # 'container' or 'spectrum'


class Recording(Struct, frozen=True):
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


class Strike(Struct, frozen=True):
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


class Segment(Struct, frozen=True, eq=False):
    """The sound of one strike, cut so that sample 0 is the onset."""

    strike: Strike
    samples: FloatArray  # (n,) full scale = 1, sample 0 at the onset
    noise: FloatArray  # (m,) samples before the strike (or the quietest stretch), may be empty
    sample_rate_hz: int
    free_s: float = 0.0  # from the onset to where the plate rings freely (after the last blow of a double hit)
