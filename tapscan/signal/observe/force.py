"""Whether the modes of a plate depend on how hard it is hit: hard taps beside soft ones.

    shifts_by_force(columns, settings, workers)  gives Shifts of every shared mode, hard less soft, begun in two ways
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

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray
from tapscan.settings import Settings
from tapscan.signal.fit.polefit import PoleFit, fit_poles
from tapscan.signal.fit.subbands import Band, plan_bands
from tapscan.signal.observe.strike_spectra import StrikeSpectra, Window
from tapscan.signal.plate.joint_spectra import HIGHEST_HZ, MODEL_ERROR, StationSound
from tapscan.workers import ALONE, Workers

IntArray = NDArray[np.intp]
STEPS, ROUGH_STEPS = 20, 3
FAR_WIDTHS = 3.0
LOWEST_HZ = 80.0


class Shifts(Struct, frozen=True, eq=False):
    """(M,) arrays, one value a shared mode; nan where it could not be told.

    ``frequency_ppm`` : hard less soft, in parts per million of the frequency. ``log_decay`` : ln of the decay rates, hard over soft.
    """

    frequency_ppm: FloatArray
    frequency_sd_ppm: FloatArray
    log_decay: FloatArray
    log_decay_sd: FloatArray


def shifts_by_force(
    columns: StrikeSpectra, settings: Settings, workers: Workers = ALONE
) -> Callable[[], tuple[Shifts, Shifts]]:
    """Hard strikes less soft ones, over all stations: begun with all shared modes, and with those that the soft strikes need.

    Both kinds of strike must be there. Others begin at once; the answer is waited for when it is called for.
    """
    bands = [(b, columns.length_for(*_reach(b))) for b in reversed(plan_bands(LOWEST_HZ, HIGHEST_HZ))]
    columns.share((length for _, length in bands), workers)
    work = [*_work(columns, bands, settings)]
    answers = workers.begun(_answered, work)

    def shifts() -> tuple[Shifts, Shifts]:
        f = columns.frequency_hz
        every, needed = (Shifts(*(np.full(len(f), np.nan) for _ in range(4))) for _ in range(2))
        for one, found in zip(work, answers, strict=True):
            for out, (few, *fits) in zip((every, needed), found, strict=False):
                _enter(out, one.which[few], one.band, f, *fits)
        return every, needed

    return shifts


class _Work(NamedTuple):
    """One band; bands do not wait for each other."""

    band: Band
    window: Window
    noise: FloatArray  # (S,) mean square of each bin
    forces: NDArray[np.object_]  # (S,)
    which: IntArray  # (m,) which of the shared modes lie in the window
    frequency_hz: FloatArray  # (m,) theirs
    decay_rate_per_s: FloatArray
    settings: Settings


_Fits = tuple[IntArray, PoleFit, PoleFit]  # which of the window's modes; the fits of the soft and the hard strikes


def _work(columns: StrikeSpectra, bands: Sequence[tuple[Band, int]], settings: Settings) -> Iterator[_Work]:
    for band, length in bands:  # what takes longest first
        window = columns.window(*_reach(band), length)
        index = np.nonzero(columns.inside(*_reach(band)))[0]
        if len(window.bins) < 4 * len(index) or not len(index):
            continue
        noise = columns.noise(band.low_hz, band.high_hz) * length
        f, d = columns.frequency_hz[index], columns.decay_rate_per_s[index]
        yield _Work(band, window, noise, columns.forces, index, f, d, settings)


def _fitted(work: _Work) -> list[_Fits]:
    """Begun with all shared modes; then with those that the soft strikes need, where there are any."""
    (soft, hard), f, d = _groups(work), work.frequency_hz, work.decay_rate_per_s
    every = np.arange(len(work.which))
    fits = soft.fit(f, d), hard.fit(f, d)
    found = [(every, *fits)]
    few = every if _all_clear(fits[0], work.settings) else _needed(soft, work)
    if len(few) < len(every):  # else both ways end where the first did
        if not len(few):
            return found
        first = soft.fit(f[few], d[few])
        fits = first, hard.fit(first.frequency_hz, first.decay_rate_per_s)
    return [*found, (few, *fits)]


def _answered(work: _Work) -> list[_Fits]:
    """Without what is left of the sound, which is large and not asked for."""
    return [(few, _bare(soft), _bare(hard)) for few, soft, hard in _fitted(work)]


def _bare(fit: PoleFit) -> PoleFit:
    return replace(fit, residual=fit.residual[:0], state=None)


def force_step_db(sounds: Sequence[StationSound]) -> float | None:
    """Level of the hard taps less that of the soft ones, dB, middle of the stations that have both; None where none has."""
    steps = []
    for sound in sounds:
        level = {w: [v for v, f in zip(sound.level_db, sound.forces, strict=True) if f == w] for w in ("soft", "hard")}
        if sound.forces and level["soft"] and level["hard"]:
            steps.append(float(np.median(level["hard"]) - np.median(level["soft"])))
    return float(np.median(steps)) if steps else None


class _Group(Struct, frozen=True, eq=False):
    """The strikes of one force in one band, each weighed by its noise."""

    bins: FloatArray  # (K,)
    values: ComplexArray  # (K, S)
    length: int
    rate_hz: float

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


def _reach(band: Band) -> tuple[float, float]:
    return band.low_hz - band.margin_hz, band.high_hz + band.margin_hz


def _groups(work: _Work) -> tuple[_Group, _Group]:
    """Soft and hard strikes: the band with its margins; tails of modes outside taken away."""
    window, values = work.window, work.window.without_tails()
    floor = np.maximum(work.noise, MODEL_ERROR * np.mean(np.abs(values) ** 2, axis=0))
    values = values / np.sqrt(floor + 1e-300)
    soft, hard = (
        _Group(window.bins, values[:, work.forces == word], window.length, window.rate) for word in ("soft", "hard")
    )
    return soft, hard


def _needed(soft: _Group, work: _Work) -> IntArray:
    """Which of the window's modes the soft strikes need; the weakest is left out until all are clear of the noise."""
    few = np.arange(len(work.which))
    while len(few):
        fit = soft.fit(work.frequency_hz[few], work.decay_rate_per_s[few], ROUGH_STEPS)
        if _all_clear(fit, work.settings):
            break
        few = np.delete(few, int(np.argmin(fit.clear)))
    return few


def _all_clear(fit: PoleFit, settings: Settings) -> bool:
    """Whether every mode stands clear of the noise in these strikes."""
    count = fit.residual.shape[1]
    least = 10 ** (settings.fit.mode_snr_db / 10) + count + 4 * np.sqrt(count)
    return float(fit.clear.min()) >= least


def _enter(out: Shifts, index: IntArray, band: Band, shared_hz: FloatArray, soft: PoleFit, hard: PoleFit) -> None:
    """What the two fits of one band say of the band's own modes among those shared."""
    count = len(index)
    own = (shared_hz[index] >= band.low_hz) & (shared_hz[index] < band.high_hz)
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
