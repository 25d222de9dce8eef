"""The outcome of one scan, ready to be shown and stored."""

from typing import Literal

from msgspec import Struct, field

from tapscan.records.comparison import Comparison
from tapscan.records.pattern import BesidePattern
from tapscan.records.scan import Indication, RuleNotRun, Scan
from tapscan.records.sound import FloatArray

Disposition = Literal["relevant indication", "inconclusive", "no relevant indication"]


class Fingerprint(Struct, frozen=True):
    """Two scans' modes beside each other; shares are of the shorter list, 0..1."""

    heard_again: float  # as near and as alike as one plate's
    alike: float  # of very alike pattern, whatever the frequency
    # mean cosine of the patterns of those paired by pattern
    shape_correlation: float = field(name="likeness")
    rose: float  # of the very alike ones


class Doubt(Struct, frozen=True):
    """Why the scan may not be of this plate, or not in this order."""

    kind: Literal["which plate", "which places"]
    beside: str  # the earlier scan that tells so
    sentence: str
    fingerprint: Fingerprint
    places: tuple[str, ...] = ()  # tapped in each other's stead
    sounds_like: str | None = None  # scan of another plate that this one repeats
    give_back: tuple[tuple[str, str], ...] = ()  # where taps stand, and the place they seem to belong to


class Screening(Struct, frozen=True):
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
    pictures: tuple["StationPicture", ...] = ()
    comparison: "Comparison | None" = None  # with the plate's earlier scans, when made
    doubts: tuple[Doubt, ...] = ()  # nobody said that it is this plate, in this order
    made_sure: bool = False  # a person said so
    lead: str = ""  # plain words without a figure, before the summary; empty: stored before it was kept
    pattern: "BesidePattern | None" = None  # beside other plates of its pattern, where there are any


class StationPicture(Struct, frozen=True, eq=False):
    """Enough of one station's best strike to draw its spectrum and its decay."""

    station: str
    strike: str
    frequency_hz: FloatArray  # (k,) bins
    spectrum_db: FloatArray  # (k,) energy spectral density, dB re its largest bin
    noise_db: FloatArray | None  # (k,) the same scale
    time_s: FloatArray  # (t,) from the onset
    envelope_db: FloatArray  # (t,) level re full scale
