"""What a page may carry beside the screening, made by the workflow from recordings and from earlier scans.

Extras       everything together; all of it may be missing
Sound        something to listen to, with a picture of its time and frequency
ToneDecay    the energy left of one named tone
Course       a few modes over all scans of the plate
"""

from msgspec import Struct

from tapscan.records import FloatArray
from tapscan.report.about import UNNAMED, Head
from tapscan.report.shop import Shop
from tapscan.report.time_frequency import TimeFrequency


class Sound(Struct, frozen=True, eq=False):
    """`group` is what it belongs to: the title of an indication, or of a quiet place."""

    group: str
    title: str
    words: str
    mp3: bytes
    picture: TimeFrequency | None = None
    marks_hz: tuple[float, ...] = ()  # modes to point at in the picture
    before: TimeFrequency | None = None  # the same place in an earlier scan; the sound then plays both in turn


class ToneDecay(Struct, frozen=True, eq=False):
    """Energy left of one mode in one strike, noise taken away; empty arrays and a reason where it could not be had."""

    mode: str  # Mode.id
    frequency_hz: float
    station: str
    strike: str
    time_s: FloatArray  # (n,) from the onset
    level_db: FloatArray  # (n,) re its start
    start_db: float  # where the straight line begins
    decay_rate_per_s: float  # the mode's: amplitude ~ exp(-rate t)
    decay_rate_sd_per_s: float | None
    reason: str | None = None


class CourseLine(Struct, frozen=True):
    """One mode of the first scan through time."""

    frequency_hz: float
    change_ppm: tuple[float | None, ...]  # against the first scan, the shared change taken out; None: not heard
    sd_ppm: tuple[float | None, ...]
    said: str  # steady, drift, step, in words


class Course(Struct, frozen=True):
    """Scans in order of date, all made in one state."""

    scans: tuple[str, ...]
    dates: tuple[str, ...]  # ISO 8601
    shared_ppm: tuple[float, ...]  # what all modes did together, against the first scan
    lines: tuple[CourseLine, ...]
    followed: int  # modes of the first scan that could be followed
    fewest: int  # scans from which on a drift can be told from a step
    left_out: tuple[str, ...] = ()  # scans made in another state or by another sensor
    shared_by: str = "as warmth does"  # what moves all tones together


class Extras(Struct, frozen=True):
    """What a page may carry beside the screening."""

    shop: Shop | None = None
    sounds: tuple[Sound, ...] = ()
    decays: tuple[ToneDecay, ...] = ()
    course: Course | None = None
    summary: bool = False  # one page for a buyer
    whom: str = ""  # whom the page is for
    head: Head = UNNAMED
    client: bool = False  # in a paper for a client: figures without the books that limits come from
    full: bool = False  # every section, in place of the three or four pages that a person reads


NOTHING = Extras()
