"""What a scan could have found: where it listened, by what limits, beside which earlier scans, and from which taps."""

from collections.abc import Mapping

from msgspec import Struct


class Tap(Struct, frozen=True):
    """A tap or a played note, usable or not."""

    recording: str  # Recording.id
    onset_s: float
    level_db: float


class Heard(Struct, frozen=True):
    """Empty where nobody asked."""

    where: Mapping[str, str] = {}  # places that gave a usable tap, or keys -> where that is in words, by which layout
    spots: Mapping[str, tuple[float, float]] = {}  # of these places, where the layout has them: Station.x, Station.y
    settings_sha256: str = ""
    beside: tuple[str, ...] = ()  # days of the scans it was compared with, DATE[-n]
    taps: tuple[Tap, ...] = ()
    files: tuple[str, ...] = ()  # SHA-256
    room_unread: bool = False  # it turned out since that a room may be in the sound, and the checks have not read that


def day_of(name: str) -> str:
    """DATE[-n] of PLATE/DATE[-n], whatever the plate is called by now."""
    return name.rpartition("/")[2]
