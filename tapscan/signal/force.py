"""Whether the modes of a plate depend on how hard it is hit: hard taps beside soft ones.

    shifts_by_force(columns)     Shifts of every shared mode, hard less soft
    force_step_db(sounds)               how much louder the hard taps were

Each band is fitted twice (maximum likelihood, polefit) from the shared modes on: once to one group of strikes, once to the other, over
all stations; frequency and decay are free in each group, strengths in each strike. A plate that answers in proportion to the tap gives
the same modes twice. Faces that touch during a hard tap and not during a soft one do not (bilinear stiffness of a crack: Chati, Rand
and Mukherjee 1997, from memory); loose parts and the damping of flake iron (Golovin 2012) depend on force as well.

Standard errors are those of both fits together. A fit that lost a mode (moved it by more than FAR_WIDTHS of its linewidths) tells nothing of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapscan.records import FloatArray
from tapscan.signal.columns import Columns
from tapscan.signal.polefit import PoleFit, fit_poles
from tapscan.signal.subbands import Band, plan_bands
from tapscan.signal.together import HIGHEST_HZ, MODEL_ERROR, StationSound

IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
FAR_WIDTHS = 3.0
LOWEST_HZ = 80.0


@dataclass(frozen=True, eq=False)
class Shifts:
    """(M,) arrays, one value a shared mode; nan where it could not be told.

    ``frequency_ppm`` : hard less soft, in parts per million of the frequency. ``log_decay`` : ln of the decay rates, hard over soft.
    """

    frequency_ppm: FloatArray
    frequency_sd_ppm: FloatArray
    log_decay: FloatArray
    log_decay_sd: FloatArray


def shifts_by_force(columns: Columns) -> Shifts:
    """Hard strikes less soft ones, over all stations. Both kinds must be there."""
    f, d = columns.frequency_hz, columns.decay_rate_per_s
    out = Shifts(*(np.full(len(f), np.nan) for _ in range(4)))
    for band in plan_bands(LOWEST_HZ, HIGHEST_HZ):
        own = (f >= band.low_hz) & (f < band.high_hz)
        if not own.any():
            continue
        soft, hard = (_fit(columns, band, columns.forces == word) for word in ("soft", "hard"))
        if soft is not None and hard is not None:
            inside = (f > band.low_hz - band.margin_hz) & (f < band.high_hz + band.margin_hz)
            _enter(out, np.nonzero(inside)[0], own, f, d, soft, hard)
    return out


def force_step_db(sounds: Sequence[StationSound]) -> float | None:
    """Level of the hard taps less that of the soft ones, dB, middle of the stations that have both; None where none has."""
    steps = []
    for sound in sounds:
        level = {w: [v for v, f in zip(sound.level_db, sound.forces, strict=True) if f == w] for w in ("soft", "hard")}
        if sound.forces and level["soft"] and level["hard"]:
            steps.append(float(np.median(level["hard"]) - np.median(level["soft"])))
    return float(np.median(steps)) if steps else None


def _fit(columns: Columns, band: Band, group: BoolArray) -> PoleFit | None:
    """One group's modes in the band, from the shared ones on; each strike weighed by its noise."""
    bins, values, inside = columns.window(band.low_hz - band.margin_hz, band.high_hz + band.margin_hz)
    if len(bins) < 4 * inside.sum() or not group.any():
        return None
    values = values[:, group]
    floor = np.maximum(columns.floor(band)[group], MODEL_ERROR * np.mean(np.abs(values) ** 2, axis=0))
    return fit_poles(
        bins,
        values / np.sqrt(floor + 1e-300),
        columns.frequency_hz[inside],
        columns.decay_rate_per_s[inside],
        length=columns.length,
        rate_hz=columns.rate,
        noise=1.0,
    )


def _enter(
    out: Shifts, index: IntArray, own: BoolArray, f: FloatArray, d: FloatArray, first: PoleFit, second: PoleFit
) -> None:
    """What two fits of one band say of the band's own modes."""
    count = len(index)
    variance = np.diag(first.covariance) + np.diag(second.covariance)
    away = second.frequency_hz - first.frequency_hz
    told = np.abs(away) < FAR_WIDTHS * d[index] / np.pi
    for fit in (first, second):
        told &= np.abs(fit.frequency_hz - f[index]) < FAR_WIDTHS * d[index] / np.pi
    keep = told & own[index] & np.isfinite(variance[:count]) & np.isfinite(variance[count:])
    mine = index[keep]
    out.frequency_ppm[mine] = 1e6 * away[keep] / f[mine]
    out.frequency_sd_ppm[mine] = 1e6 * np.sqrt(variance[:count][keep]) / f[mine]
    out.log_decay[mine] = np.log(second.decay_rate_per_s / first.decay_rate_per_s)[keep]
    out.log_decay_sd[mine] = np.sqrt(variance[count:][keep]) / d[mine]
