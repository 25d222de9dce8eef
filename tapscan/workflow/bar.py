"""The reference bar's taps listened to.

BarFiles                      which recordings are of the bar
read_bar(files, settings, ...)    BarReadings, for Scan.bar
"""

from collections.abc import Sequence
from contextlib import ExitStack

import numpy as np
from msgspec import Struct

from tapscan.records import BarReading, BarReadings, Strike
from tapscan.settings import Settings
from tapscan.settings.fit import Fit
from tapscan.signal.plate.bar_modes import bar_modes, level_of
from tapscan.signal.plate.station_analysis import StationResult, Wanted
from tapscan.workers import Workers
from tapscan.workflow.listen import Heard, listen_all
from tapscan.workflow.places import Planned, analyse_places

USUAL_NAME = "reference bar"
EVERYWHERE_DB = -200.0  # a bar has few tones, and the high ones tell most of the sensor
BAR_TURNS = FIRST, LAST = (
    "bar-first",
    "bar-last",
)  # where the guide says what is to be tapped, and in names of recordings
WHERE = {FIRST: "the reference bar, before the plate", LAST: "the reference bar, after the plate"}


class BarFiles(Struct, frozen=True):
    """Recordings of the bar before and after the plate; either may be missing."""

    name: str
    first: tuple[str, ...] = ()
    last: tuple[str, ...] = ()

    @property
    def paths(self) -> tuple[str, ...]:
        """All of them."""
        return (*self.first, *self.last)


def read_bar(
    files: BarFiles, settings: Settings, contact: bool, workers: Workers, unreadable: list[str]
) -> BarReadings:
    """`unreadable` gets what cannot be read."""
    first, last = (
        _reading(paths, settings, contact, workers, unreadable) if paths else None
        for paths in (files.first, files.last)
    )
    return BarReadings(files.name, first, last)


def _reading(
    paths: Sequence[str], settings: Settings, contact: bool, workers: Workers, unreadable: list[str]
) -> BarReading | None:
    with ExitStack() as stack:
        found = listen_all(paths, settings, workers, stack)
        heard = [h for h in found if isinstance(h, Heard)]
        if bad := [str(f) for f in found if not isinstance(f, Heard)]:
            unreadable += bad
            return None
        plan = [
            Planned(f, k, FIRST, None, f"B{f + 1}.{k + 1}") for f, h in enumerate(heard) for k in range(len(h.spans))
        ]
        every = settings.but(Fit, high_tone_db=EVERYWHERE_DB)
        results = analyse_places(heard, plan, Wanted(every, contact=contact), workers, unreadable)
    return _told(heard, results[0] if results else None, settings)


def _told(heard: Sequence[Heard], place: StationResult | None, settings: Settings) -> BarReading:
    used = [s for s in place.strikes if s.usable] if place else []
    modes = bar_modes(place, settings) if place and used else ()
    level, level_sd = level_of(np.array([s.level_db for s in used])) if used else (None, None)
    noise = [s.level_db - s.snr_db for s in used if s.snr_db is not None]
    return BarReading(
        recordings=tuple(h.recording.sha256 for h in heard),
        sample_rate_hz=heard[0].recording.sample_rate_hz,
        taps=len(place.strikes) if place else 0,
        used=len(used),
        modes=modes,
        level_db=level,
        level_sd_db=level_sd,
        noise_db=float(np.median(noise)) if noise else None,
        reason=None if modes else _why_none(heard, used),
        compressed=any(h.recording.compression for h in heard),
    )


def _why_none(heard: Sequence[Heard], used: Sequence[Strike]) -> str:
    silent = next((h.recording.reason for h in heard if h.recording.reason), None)
    if not used:
        return silent or "no tap on the bar could be used"
    return (
        "nothing rang as a bar does: lay it on two soft supports, 22 % of its length from each end, and tap it clearly"
    )
