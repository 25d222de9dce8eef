"""The shop's reference bar: what was heard of it with a scan, and what that says of the chain from sensor to recorder."""

from typing import Literal

from msgspec import Struct

from tapscan.estimate import Estimate

ChainSign = Literal["clock", "clock or temperature", "level", "gain", "response", "noise", "bar"]


class BarMode(Struct, frozen=True):
    """One tone of the bar."""

    frequency_hz: float
    frequency_sd_hz: float
    decay_rate_per_s: float
    decay_rate_sd_per_s: float
    level_db: float  # amplitude at the onset, full scale = 1, middle of the taps
    level_sd_db: float | None  # of one tap, seen between the taps; None: one tap

    @property
    def frequency(self) -> Estimate:
        """Hz."""
        return Estimate(self.frequency_hz, self.frequency_sd_hz)


class BarReading(Struct, frozen=True):
    """The bar struck some three times in a row."""

    recordings: tuple[str, ...]  # SHA-256 of the files
    sample_rate_hz: int | None
    taps: int  # found
    used: int  # of them
    modes: tuple[BarMode, ...]  # in order of frequency; empty: see reason
    level_db: float | None  # rms of a tap's first half second, dB re full scale, middle of the taps
    level_sd_db: float | None  # of one tap, seen between the taps; None: one tap
    noise_db: float | None  # rms before the taps, dB re full scale, middle of the taps
    reason: str | None = None  # why there are no modes
    compressed: bool = False  # lossy: levels and noise are the codec's


class BarReadings(Struct, frozen=True):
    """The bar of one scan."""

    name: str  # as the shop calls it
    first: BarReading | None  # before the plate
    last: BarReading | None  # after the plate
    drift: "ChainChange | None" = None  # the last taps beside the first; None: see drift_reason
    drift_reason: str | None = None


class ChainChange(Struct, frozen=True):
    """One reading of the bar beside an earlier one. What cannot be told is None; `reason` where nothing can."""

    bar: str
    before: str  # the scan, and which of its readings
    after: str
    modes: int  # tones found in both
    shift_ppm: float | None  # ln(after / before) shared by the tones, parts per million
    shift_sd_ppm: float | None
    alike: bool | None  # all tones moved alike, within their scatter
    thermometer_k: float | None  # after minus before
    expected_ppm: float | None  # what that makes of steel
    expected_sd_ppm: float | None
    apparent_k: tuple[float, float] | None  # temperatures between which the shift would be that of steel
    level_db: float | None  # taps, after less before
    level_sd_db: float | None
    noise_db: float | None  # after less before
    response_db_per_octave: float | None  # how the levels of high tones changed against low ones
    response_sd: float | None
    decay_ratio: float | None  # middle of the tones, after over before
    seen: tuple[ChainSign, ...]  # what stands out
    sentences: tuple[str, ...]
    reason: str | None = None
