"""Maximum-likelihood fit of damped modes to the spectra of several strikes.

    fit_poles(bins, spectra, poles, ...)   PoleFit: refined poles, amplitudes, standard errors

The spectrum of x[n] = Re c z^n, n = 0..N-1, at bin w is c (1 - z^N e^{-iwN}) / (1 - z e^{-iw}) / 2 (and a far,
smooth image). Frequencies and decay rates are shared by all strikes, amplitudes are not: they are
solved for linearly inside (variable projection; Golub and Pereyra, SIAM J. Num. Anal. 10 (1973) 413;
Kaufman's short Jacobian; from memory). A low polynomial in frequency stands for the tails of modes
outside the band. Noise is white within a band, so least squares is maximum likelihood there.

Standard errors come from the Fisher matrix: for E|W|^2 = v per bin, F = (2/v) Re J^H J.

Conventions: frequency in Hz, decay rate in 1/s (amplitude), arrays (K bins, S strikes).
"""

from __future__ import annotations

from functools import cached_property, lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.lapack import blas, inverse, lapack

BACKGROUND_TERMS = 3
STEPS = 12
SETTLED, UNDAMPED = 1e-3, 1.0  # of a standard error; a step damped no more is as long as it may become, but for a half
LOCAL_WIDTHS, LOCAL_BINS = 5.0, 8.0
ROUNDING = 1e-15  # of the energy: a smaller residual is not told from 0
RIDGES = (0.0, 1e-13, 1e-11, 1e-9)  # of a column's own energy


class PoleFit(Struct, frozen=True, eq=False, dict=True):
    """Outcome of a fit with M modes."""

    frequency_hz: FloatArray  # (M,)
    decay_rate_per_s: FloatArray  # (M,)
    amplitudes: ComplexArray  # (M, S) of x[n] = Re c z^n at sample 0
    clear: FloatArray  # (M,) energy lost when the mode is left out, summed over strikes, over v
    residual: ComplexArray  # (K, S)
    noise: float  # v, the noise energy a bin, as used
    fisher: FloatArray  # (2M, 2M) Re J^H J of all frequencies, then all decay rates
    local: FloatArray  # (M,) the noise energy a bin around each mode
    settled: bool = False  # nothing moved any more
    state: _State | None = None  # for a fit that goes on from here

    @cached_property
    def covariance(self) -> FloatArray:
        """(2M, 2M) of all frequencies, then all decay rates."""
        scale = 1 / np.sqrt(np.maximum(np.diag(self.fisher), 1e-300))
        spread = np.sqrt(np.tile(self.local, 2))
        with np.errstate(invalid="ignore", over="ignore"):  # a mode that nothing shows has no finite error
            return np.asarray(0.5 * _inverse(self.fisher, scale) * np.outer(scale * spread, scale * spread))


class _Task(Struct, frozen=True, eq=False):
    """What does not change while poles move. `energy` is the sum of all |spectra|^2."""

    bins_hz: FloatArray  # (K,)
    spectra: ComplexArray  # (K, S)
    conjugate: ComplexArray  # (K, S) of the spectra
    energy: float
    background: ComplexArray  # (terms, K)
    turns: ComplexArray  # (K,)
    length: int
    rate_hz: float

    @staticmethod
    def of(bins_hz: FloatArray, spectra: ComplexArray, background: ComplexArray, length: int, rate_hz: float) -> _Task:
        energy = float(np.vdot(spectra, spectra).real)
        turns = _turns(bins_hz, rate_hz)
        return _Task(bins_hz, spectra, spectra.conj(), energy, background, turns, length, rate_hz)


class _State(Struct, frozen=True, eq=False):
    """Everything known at one set of M poles; all from sums over the bins, so that no step forms the residual."""

    rows: ComplexArray  # (M + terms, K) the model
    coefficients: ComplexArray  # (M + terms, S)
    inverse: ComplexArray  # (M + terms, M + terms) of the model's own products
    normal: ComplexArray  # (M, M) conj(J) J by log z, without the unknown amplitudes' share
    pull: ComplexArray  # (M,) half the gradient of the squared residual by log z
    cost: float


def mode_spectra(
    bins_hz: FloatArray, frequency_hz: FloatArray, decay_rate_per_s: FloatArray, length: int, rate_hz: float
) -> tuple[ComplexArray, ComplexArray]:
    """Spectrum (K, M) of each mode at unit amplitude, and its derivative by log z.

    log z = (-decay_rate + 2 pi i frequency) / rate: by Hz it is 2 pi i / rate times that, by 1/s -1 / rate times.
    """
    both = np.empty((2, len(frequency_hz), len(bins_hz)), dtype=complex)
    _fill(both[0], both[1], _turns(bins_hz, rate_hz), frequency_hz, decay_rate_per_s, length, rate_hz)
    return both[0].T, both[1].T


def _turns(bins_hz: FloatArray, rate_hz: float) -> ComplexArray:
    """(K,) e^{-iw} of the bins."""
    return np.asarray(np.exp(-2j * np.pi / rate_hz * bins_hz))


def _fill(
    model: ComplexArray,
    slope: ComplexArray,
    turns: ComplexArray,
    frequency_hz: FloatArray,
    decay_rate_per_s: FloatArray,
    length: int,
    rate_hz: float,
) -> None:
    """(M, K) both, in the room given."""
    inverse, gone = _geometric(turns, frequency_hz, decay_rate_per_s, length, rate_hz)
    heard = 0.5 * (1 - gone)
    np.multiply(inverse, heard, out=model)
    np.subtract(model, heard + 0.5 * length * gone, out=slope)  # model (inverse - 1) - inverse length gone / 2
    np.multiply(slope, inverse, out=slope)


def mode_values(
    bins_hz: FloatArray, frequency_hz: FloatArray, decay_rate_per_s: FloatArray, length: int, rate_hz: float
) -> ComplexArray:
    """Spectrum (K, M) of each mode at unit amplitude."""
    inverse, gone = _geometric(_turns(bins_hz, rate_hz), frequency_hz, decay_rate_per_s, length, rate_hz)
    inverse *= 0.5 * (1 - gone)
    return inverse.T


def _geometric(
    turns: ComplexArray, frequency_hz: FloatArray, decay_rate_per_s: FloatArray, length: int, rate_hz: float
) -> tuple[ComplexArray, ComplexArray]:
    """(M, K) sum of the endless series and (M, 1) what of a mode is left after `length` samples."""
    log_z = (-decay_rate_per_s + 2j * np.pi * frequency_hz) / rate_hz
    turn = np.exp(log_z)[:, None] * turns
    np.subtract(1, turn, out=turn)
    return np.reciprocal(turn, out=turn), np.exp(length * log_z)[:, None]  # bins are whole multiples of rate / length


def fit_poles(
    bins_hz: FloatArray,
    spectra: ComplexArray,
    frequency_hz: FloatArray,
    decay_rate_per_s: FloatArray,
    *,
    length: int,
    rate_hz: float,
    noise: float,
    steps: int = STEPS,
    background_terms: int = BACKGROUND_TERMS,
    before: PoleFit | None = None,
) -> PoleFit:
    """Refine M start values by Levenberg-Marquardt steps on the projected residual.

    bins_hz : (K,). spectra : (K, S), a column a strike. frequency_hz, decay_rate_per_s : (M,) start values.
    steps : at most; fewer when nothing moves by a thousandth of its standard error. noise : E|W|^2 per bin before the strike, or the residual's if larger.
    before : a fit of the same spectra; where it ended at these very start values its last step is not made again.
    """
    m = len(frequency_hz)
    theta = np.concatenate([frequency_hz, decay_rate_per_s])
    task = _Task.of(bins_hz, spectra, _background(len(bins_hz), background_terms), length, rate_hz)
    state = _known(before, theta) or _project(theta, task)
    damping, settled = 1e-3, False
    for _ in range(steps):
        normal, gradient = _normal_equations(state, rate_hz)
        scale, damped = normal.diagonal(), normal.copy()
        damped.flat[:: 2 * m + 1] = scale + damping * scale + 1e-30
        trial = theta + bounded(np.asarray(-np.linalg.solve(damped, gradient), dtype=np.float64), theta, m)
        next_state = _project(trial, task)
        variance = max(noise, state.cost / spectra.size)
        settled = bool(np.max(np.abs(trial - theta) * np.sqrt(np.maximum(scale, 0) * 2 / variance)) < SETTLED)
        if next_state.cost <= state.cost:
            theta, state, damping = trial, next_state, damping / 10
        else:
            settled = settled and damping < UNDAMPED  # where so small a step does not help, rounding decides
            damping = min(damping * 20, 1e6)
        if settled or damping >= 1e6:
            break
    return _finish(theta, state, task, noise, settled)


def _known(before: PoleFit | None, theta: FloatArray) -> _State | None:
    """What an earlier fit knows of these values, in this order."""
    if before is None or not np.array_equal(np.concatenate([before.frequency_hz, before.decay_rate_per_s]), theta):
        return None
    return before.state


def smooth_terms(bins_hz: FloatArray, terms: int) -> ComplexArray:
    """(K, terms) low polynomials in frequency: what the tails of far modes look like."""
    return _background(len(bins_hz), terms).T.copy()


@lru_cache(maxsize=64)
def _background(many: int, terms: int) -> ComplexArray:
    """(terms, K), that nobody may change: many windows are as wide as each other."""
    x = np.linspace(-1, 1, many) if many > 1 else np.zeros(1)
    rows = np.ascontiguousarray(np.polynomial.legendre.legvander(x, max(terms, 1) - 1)[:, :terms].astype(complex).T)
    rows.flags.writeable = False
    return rows


def _project(theta: FloatArray, task: _Task) -> _State:
    m, terms = len(theta) // 2, len(task.background)
    rows = np.empty((2 * m + terms, len(task.bins_hz)), dtype=complex)
    _fill(rows[:m], rows[m + terms :], task.turns, theta[:m], theta[m:], task.length, task.rate_hz)
    rows[m : m + terms] = task.background
    upper, heard = blas.zherk(1.0, rows.T, trans=2), (rows @ task.conjugate).conj()  # conj(rows) times rows and spectra
    many = m + terms
    across = upper[:many, many:]
    mixed = across.conj().T
    inverse = _hermitian_inverse(upper[:many, :many])
    coefficients = inverse @ heard[:many]
    cost = max(task.energy - float(np.vdot(coefficients, heard[:many]).real), ROUNDING * task.energy)
    c, turned = coefficients[:m], coefficients[:m].conj()
    own = upper[many:, many:]
    own = np.where(_upper(m), own, own.conj().T)
    normal = (own - mixed @ inverse @ mixed.conj().T) * (turned @ c.T)
    pull = np.sum(turned * (heard[many:] - mixed @ coefficients), axis=1)
    return _State(rows[:many], coefficients, inverse, normal, pull, cost)


@lru_cache(maxsize=64)
def _upper(n: int) -> NDArray[np.bool_]:
    """(n, n) true on the diagonal and above."""
    return np.tri(n, dtype=bool).T


@lru_cache(maxsize=64)
def _one(n: int) -> ComplexArray:
    """(n, n) ones on the diagonal, that nobody may change."""
    one = np.eye(n, dtype=complex, order="F")
    one.flags.writeable = False
    return one


def _hermitian_inverse(upper: ComplexArray) -> ComplexArray:
    """Of a positive matrix, of which the upper half is given.

    Columns that are sums of each other but for rounding are held apart by a ridge under any noise.
    """
    scale = 1 / np.sqrt(upper.diagonal().real + 1e-300)
    both = scale[:, None] * scale
    scaled, one = upper * both, _one(len(upper))
    for ridge in RIDGES:
        _, found, wrong = lapack.zposv(scaled + ridge * one if ridge else scaled, one)
        if not wrong:
            return np.asarray(found * both)
    raise np.linalg.LinAlgError(f"zposv {wrong}: that column of the model is a sum of the others")


def _normal_equations(state: _State, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Re J^H J and half the gradient of the squared residual, J by Kaufman's approximation.

    Unknowns: all frequencies in Hz, then all decay rates in 1/s.
    """
    by_hz, by_rate = 2 * np.pi / rate_hz, -1 / rate_hz
    m = len(state.normal)
    normal, real, mixed = np.empty((2 * m, 2 * m)), state.normal.real, by_hz * by_rate * state.normal.imag
    normal[:m, :m], normal[m:, m:] = by_hz**2 * real, by_rate**2 * real
    normal[:m, m:], normal[m:, :m] = mixed, mixed.T
    return normal, -np.concatenate([by_hz * state.pull.imag, by_rate * state.pull.real])


def bounded(step: FloatArray, theta: FloatArray, m: int) -> FloatArray:
    """(2m,) step and theta, all frequencies, then all decay rates: decays stay positive, and no frequency jumps past a few linewidths in one step."""
    width = np.maximum(theta[m:] / np.pi, 0.05)
    f = np.minimum(np.maximum(step[:m], -2 * width), 2 * width)
    d = np.minimum(np.maximum(step[m:], -0.7 * theta[m:]), 2.0 * theta[m:])
    return np.concatenate([f, d])


def _finish(theta: FloatArray, state: _State, task: _Task, noise: float, settled: bool) -> PoleFit:
    m = len(theta) // 2
    residual = task.spectra - state.rows.T @ state.coefficients
    free = max(1, residual.size - state.coefficients.size - m)
    overall = max(noise, float(np.vdot(residual, residual).real) / free)
    local = np.maximum(overall, _local_residual(theta, residual, task.bins_hz) * residual.size / free)
    fisher, _ = _normal_equations(state, task.rate_hz)
    lever = np.diag(state.inverse).real[:m]
    c = state.coefficients[:m]
    clear = np.sum(np.abs(c) ** 2, axis=1) / lever / local
    return PoleFit(theta[:m], theta[m:], c, clear, residual, overall, fisher, local, settled, state)


def _inverse(normal: FloatArray, scale: FloatArray) -> FloatArray:
    """Of the normal matrix scaled to ones on its diagonal; infinite where a mode shows nothing or ran away, so that rounding alone is left of it."""
    none = np.full(normal.shape, np.inf)
    if not (np.isfinite(normal).all() and np.diag(normal).min(initial=np.inf) > 0):
        return none
    found = inverse(normal * np.outer(scale, scale))
    return none if found is None else found


def _local_residual(theta: FloatArray, residual: ComplexArray, bins_hz: FloatArray) -> FloatArray:
    """(M,) mean residual energy a bin around each mode: a ring that is no pure exponential shows there."""
    m = len(theta) // 2
    step = bins_hz[1] - bins_hz[0]
    reach = np.maximum(LOCAL_WIDTHS * theta[m:] / np.pi, LOCAL_BINS * step)
    parts = np.ascontiguousarray(residual).view(float)
    sums = np.concatenate([[0.0], np.cumsum(np.einsum("ij,ij->i", parts, parts) / residual.shape[1])])
    low = np.clip(np.searchsorted(bins_hz, theta[:m] - reach), 0, len(bins_hz) - 2)
    high = np.clip(np.searchsorted(bins_hz, theta[:m] + reach), low + 1, len(bins_hz))
    return (sums[high] - sums[low]) / (high - low)
