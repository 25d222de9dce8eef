"""Whether the modes of a plate depend on how hard it is hit: hard taps beside soft ones.

    shifts_by_force(columns, settings)     Shifts of every shared mode, hard less soft
    force_step_db(sounds)               how much louder the hard taps were

Each band is fitted twice (maximum likelihood, polefit), over all stations: to the soft strikes and to the hard ones. Either both begin with
all shared modes, or with those alone that the soft strikes need: a mode that moves as a whole is found twice among the shared ones, once for
each force, and only the second way sees it move; a mode that moves while it rings leaves tones beside it, and the first way sees it better.
Frequency and decay are free in each group, amplitudes in each strike. A plate that answers in proportion to the tap gives
the same modes twice. Faces that touch during a hard tap and not during a soft one do not (bilinear stiffness of a crack: Chati, Rand
and Mukherjee 1997, from memory); loose parts and the damping of flake iron (Golovin 2012) depend on force as well.

Standard errors are those of both fits together. A fit that lost a mode (moved it by more than FAR_WIDTHS of its linewidths) tells nothing of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray
from tapscan.settings import Settings
from tapscan.signal.fit.polefit import PoleFit, fit_poles
from tapscan.signal.fit.subbands import Band, plan_bands
from tapscan.signal.observe.strike_spectra import Columns
from tapscan.signal.plate.columns import HIGHEST_HZ, MODEL_ERROR, StationSound

IntArray = NDArray[np.intp]
BoolArray = NDArray[np.bool_]
STEPS, ROUGH_STEPS = 20, 3
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


def shifts_by_force(columns: Columns, settings: Settings, *, from_soft: bool) -> Shifts:
    """Hard strikes less soft ones, over all stations. Both kinds must be there.

    from_soft : both fits begin with the modes that the soft strikes need, instead of with all shared modes.
    """
    f = columns.frequency_hz
    out = Shifts(*(np.full(len(f), np.nan) for _ in range(4)))
    for band in plan_bands(LOWEST_HZ, HIGHEST_HZ):
        soft, hard = (_Group.of(columns, band, columns.forces == word) for word in ("soft", "hard"))
        index = np.nonzero(soft.inside)[0]
        if len(soft.bins) < 4 * len(index):
            continue
        if from_soft:
            index = _needed(soft, index, columns, settings)
        if not len(index):
            continue
        start = columns.frequency_hz[index], columns.decay_rate_per_s[index]
        first = soft.fit(*start)
        second = hard.fit(first.frequency_hz, first.decay_rate_per_s) if from_soft else hard.fit(*start)
        own = (f[index] >= band.low_hz) & (f[index] < band.high_hz)
        _enter(out, index, own, first, second)
    return out


def force_step_db(sounds: Sequence[StationSound]) -> float | None:
    """Level of the hard taps less that of the soft ones, dB, middle of the stations that have both; None where none has."""
    steps = []
    for sound in sounds:
        level = {w: [v for v, f in zip(sound.level_db, sound.forces, strict=True) if f == w] for w in ("soft", "hard")}
        if sound.forces and level["soft"] and level["hard"]:
            steps.append(float(np.median(level["hard"]) - np.median(level["soft"])))
    return float(np.median(steps)) if steps else None


@dataclass(frozen=True, eq=False)
class _Group:
    """The strikes of one force in one band, each weighed by its noise."""

    bins: FloatArray  # (K,)
    values: ComplexArray  # (K, S)
    inside: BoolArray  # (M,) which modes lie in the window
    length: int
    rate_hz: float

    @staticmethod
    def of(columns: Columns, band: Band, group: BoolArray) -> _Group:
        """The band with its margins; tails of modes outside taken away."""
        bins, values, inside = columns.window(band.low_hz - band.margin_hz, band.high_hz + band.margin_hz)
        values = values[:, group]
        floor = np.maximum(columns.floor(band)[group], MODEL_ERROR * np.mean(np.abs(values) ** 2, axis=0))
        return _Group(bins, values / np.sqrt(floor + 1e-300), inside, columns.length, columns.rate)

    def fit(self, frequency_hz: FloatArray, decay_rate_per_s: FloatArray, steps: int = STEPS) -> PoleFit:
        """From these start values on."""
        return fit_poles(
            self.bins,
            self.values,
            frequency_hz,
            decay_rate_per_s,
            length=self.length,
            rate_hz=self.rate_hz,
            noise=1.0,
            steps=steps,
        )


def _needed(soft: _Group, index: IntArray, columns: Columns, settings: Settings) -> IntArray:
    """Which of these shared modes the soft strikes need; the weakest is left out until all are clear of the noise."""
    count = soft.values.shape[1]
    least = 10 ** (settings.fit.mode_snr_db / 10) + count + 4 * np.sqrt(count)
    while len(index):
        fit = soft.fit(columns.frequency_hz[index], columns.decay_rate_per_s[index], ROUGH_STEPS)
        weakest = int(np.argmin(fit.clear))
        if fit.clear[weakest] >= least:
            break
        index = np.delete(index, weakest)
    return index


def _enter(out: Shifts, index: IntArray, own: BoolArray, soft: PoleFit, hard: PoleFit) -> None:
    """What the two fits of one band say of the band's own modes."""
    count = len(index)
    f, d = soft.frequency_hz, soft.decay_rate_per_s
    variance = np.diag(soft.covariance) + np.diag(hard.covariance)
    away = hard.frequency_hz - f
    told = own & (np.abs(away) < FAR_WIDTHS * d / np.pi)
    keep = told & np.isfinite(variance[:count]) & np.isfinite(variance[count:])
    mine = index[keep]
    out.frequency_ppm[mine] = (1e6 * away / f)[keep]
    out.frequency_sd_ppm[mine] = (1e6 * np.sqrt(variance[:count]) / f)[keep]
    out.log_decay[mine] = np.log(hard.decay_rate_per_s / d)[keep]
    out.log_decay_sd[mine] = (np.sqrt(variance[count:]) / d)[keep]
