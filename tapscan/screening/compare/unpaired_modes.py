"""Modes found on one side only, and whether that means anything.

    lost_modes(measured, foreign_hz, settings)     in every baseline scan, not in the later one
    gained_modes(measured, foreign_hz, settings)   in the later scan, near no mode of any baseline scan
    one_sided(lost, gained, settings)              many that count, all lost or all new: a matter of hearing

A mode is missed when too few stations hear it, or when it merges with a neighbour closer than its width. The chance that it
is missed is taken from the share of stations that hear it where it was found: a scan needs two stations to keep a mode. A lost or
new mode counts only where that chance is small, and no tone of a room, a string or the mains (`foreign_hz`, of all the scans) lies so near that it may hide it.
A cut moves modes and leaves as many as there were: how many a plate has up to a frequency goes with its size and thickness (Weyl 1912, from memory). So a plate that
lost modes has new ones as well; where strong modes are missing on one side only, that scan heard less, as beside a rattle or in noise.
"""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace

from tapscan.records import FloatArray, UnpairedMode
from tapscan.screening.compare.measure import Measured
from tapscan.settings import Settings

MERGED = 0.5  # chance of a miss where a neighbour lies within the width
TYPICAL_LOSS = 0.005  # where a mode's own is unknown
LEAST_WIDTHS = 1.0
NEAR = 0.004  # relative: closer than this to a mode of the other side it may be that mode, moved


def miss_chance(heard: float, stations: int, stations_there: int) -> float:
    """Chance that fewer than two of `stations_there` stations hear a mode heard at `heard` of `stations`; 0..1."""
    p = (heard + 0.5) / (stations + 1)
    n = stations_there
    if n < 2:
        return (1 - p) ** n
    return float((1 - p) ** n + n * p * (1 - p) ** (n - 1))


def lost_modes(measured: Measured, foreign_hz: Sequence[float], settings: Settings) -> tuple[UnpairedMode, ...]:
    """Modes of the baseline without partner."""
    base = measured.baseline
    lone = measured.pairing.lone(len(base.table), 0)
    there = np.log(measured.later.frequency_hz)
    foreign = np.log(np.asarray(foreign_hz, dtype=float))
    out = []
    for k in lone:
        f = float(base.table.frequency_hz[k])
        if base.log_frequency.heard[k] < base.scans or not _inside(f, settings):
            continue
        loss = float(np.exp(base.log_loss.mean[k])) if np.isfinite(base.log_loss.mean[k]) else TYPICAL_LOSS
        near = _near(float(base.log_frequency.mean[k]) + measured.shift, there, loss) or _near(np.log(f), foreign, loss)
        out.append(_unpaired(base.table.names[k], f, base.places_heard[k], measured, near, settings))
    return tuple(out)


def gained_modes(measured: Measured, foreign_hz: Sequence[float], settings: Settings) -> tuple[UnpairedMode, ...]:
    """Modes of the later scan without partner in the reference scan, nor near one of another baseline scan."""
    base = measured.baseline
    lone = measured.pairing.lone(len(measured.later), 1)
    there = np.concatenate([t.log_frequency - s for t, s in zip(base.tables, base.shifts, strict=True)])
    foreign = np.log(np.asarray(foreign_hz, dtype=float))
    out = []
    for k in lone:
        f = float(measured.later.frequency_hz[k])
        if not _inside(f, settings):
            continue
        near = _near(float(np.log(f)) - measured.shift, there, TYPICAL_LOSS) or _near(np.log(f), foreign, TYPICAL_LOSS)
        heard = float((measured.later.pattern[k] > 0).sum())
        out.append(_unpaired(measured.later.names[k], f, heard, measured, near, settings))
    return tuple(out)


def one_sided(lost: Sequence[UnpairedMode], gained: Sequence[UnpairedMode], settings: Settings) -> bool:
    """Whether as many as make an indication count, and hardly any of the one kind."""
    counts = [sum(u.counts for u in some) for some in (lost, gained)]
    return sum(counts) >= settings.compare.lost_or_new and min(counts) < settings.compare.lost_and_new


def _inside(frequency_hz: float, settings: Settings) -> bool:
    return settings.compare.lowest_hz <= frequency_hz <= settings.compare.highest_hz


def _near(log_f: float, there: FloatArray, loss: float) -> bool:
    """A mode of the other side lies so near that the two may have merged, or be one."""
    return bool(len(there) and np.min(np.abs(there - log_f)) < max(LEAST_WIDTHS * loss, NEAR))


def _unpaired(
    name: str, frequency_hz: float, heard: float, measured: Measured, near: bool, settings: Settings
) -> UnpairedMode:
    stations = sum(1 for s in measured.later.stations if s)
    chance = max(miss_chance(float(heard), stations, stations), MERGED if near else 0.0)
    return UnpairedMode(name, frequency_hz, chance, chance <= settings.compare.miss_chance)


def uncounted(modes: Sequence[UnpairedMode]) -> tuple[UnpairedMode, ...]:
    """Still shown, and counting for nothing."""
    return tuple(replace(m, counts=False) for m in modes)
