"""One damped mode in each of many sets of strikes, all at once.

    fit_one_pole(bins, spectra, ...)   OnePole: what `polefit.fit_poles` tells of a single mode, with the same steps

Sets of a few strikes and some hundred bins are so small that calling a library takes longer than its work; places by place they took half of a fit. Here
all sets take each step together; one that has settled takes no more. The smooth background is taken out beforehand, which is what solving for it in each step comes to.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.polefit import (
    BACKGROUND_TERMS,
    RIDGES,
    ROUNDING,
    SETTLED,
    STEPS,
    UNDAMPED,
    bounded,
    smooth_terms,
)


class OnePole(NamedTuple):
    """Of B sets."""

    frequency_hz: FloatArray  # (B,)
    decay_rate_per_s: FloatArray  # (B,)
    amplitudes: ComplexArray  # (B, S) at sample 0
    left: FloatArray  # (B,) energy of the residual


class _Task(NamedTuple):
    """What stays while poles move; the smooth background is taken out of all spectra."""

    turns: ComplexArray  # (K,)
    smooth: FloatArray  # (K, terms) orthonormal
    spectra: ComplexArray  # (B, K, S)
    energy: FloatArray  # (B,) of all spectra, the background among them
    rest: FloatArray  # (B,) without it
    length: int
    rate_hz: float

    def of(self, which: NDArray[np.bool_]) -> _Task:
        """Some of the sets."""
        return self._replace(spectra=self.spectra[which], energy=self.energy[which], rest=self.rest[which])


class _State(NamedTuple):
    """At one pole a set."""

    model: ComplexArray  # (B, K)
    amplitudes: ComplexArray  # (B, S)
    normal: FloatArray  # (B,) squared derivative of the model by log z
    pull: ComplexArray  # (B,) half the gradient of the squared residual by log z
    cost: FloatArray  # (B,)


def fit_one_pole(
    bins_hz: FloatArray,
    spectra: ComplexArray,
    frequency_hz: FloatArray,
    decay_rate_per_s: FloatArray,
    *,
    length: int,
    rate_hz: float,
    noise: float,
    strikes: NDArray[np.intp],
    steps: int = STEPS,
) -> OnePole:
    """bins_hz : (K,). spectra : (B, K, S), zeros where a set has fewer strikes. frequency_hz, decay_rate_per_s : (B,) start values.

    strikes : (B,) how many each set has. noise : as in `fit_poles`.
    """
    task, theta = _task(bins_hz, spectra, length, rate_hz), np.array([frequency_hz, decay_rate_per_s])
    state, damping = _project(theta, task), np.full(len(spectra), 1e-3)
    by = np.array([2 * np.pi / rate_hz, -1 / rate_hz])[:, None]
    goes_on = np.ones(len(spectra), dtype=bool)
    for _ in range(steps):
        if not goes_on.any():
            break
        pull, normal = state.pull[goes_on], by**2 * state.normal[goes_on]
        step = by * np.array([pull.imag, pull.real]) / (normal * (1 + damping[goes_on]) + 1e-30)
        here = theta[:, goes_on]
        trial = here + bounded(step.ravel(), here.ravel(), here.shape[1]).reshape(2, -1)
        found = _project(trial, task.of(goes_on))
        better = found.cost <= state.cost[goes_on]
        variance = np.maximum(noise, found.cost / (strikes[goes_on] * len(bins_hz)))
        moved = np.abs(trial - here) * np.sqrt(np.maximum(normal, 0) * 2 / variance)
        now = np.flatnonzero(goes_on)
        settled = (moved.max(axis=0) < SETTLED) & (better | (damping[now] < UNDAMPED))
        damping[now] = np.where(better, damping[now] / 10, np.minimum(damping[now] * 20, 1e6))
        _take(theta, state, now[better], trial, found, better)
        goes_on[now] = ~settled & (damping[now] < 1e6)
    residual = task.spectra - state.model[:, :, None] * state.amplitudes[:, None, :]
    return OnePole(theta[0], theta[1], state.amplitudes, _energy(residual))


def _task(bins_hz: FloatArray, spectra: ComplexArray, length: int, rate_hz: float) -> _Task:
    smooth, _ = np.linalg.qr(smooth_terms(bins_hz, BACKGROUND_TERMS).real)
    turns, energy = np.exp(-2j * np.pi / rate_hz * bins_hz), _energy(spectra)
    rest = spectra - smooth @ (smooth.T @ spectra)
    return _Task(turns, smooth, rest, energy, _energy(rest), length, rate_hz)


def _energy(values: ComplexArray) -> FloatArray:
    """(B,) of (B, K, S)."""
    return np.asarray(np.sum(values.real**2 + values.imag**2, axis=(1, 2)))


def _size(values: ComplexArray) -> FloatArray:
    """(B,) sum of squares of (B, n)."""
    return np.asarray(np.sum(values.real**2 + values.imag**2, axis=1))


def _take(
    theta: FloatArray,
    state: _State,
    which: NDArray[np.intp],
    trial: FloatArray,
    found: _State,
    better: NDArray[np.bool_],
) -> None:
    """The better poles, into sets of these numbers."""
    theta[:, which] = trial[:, better]
    for old, new in zip(state, found, strict=True):
        old[which] = new[better]


def _project(theta: FloatArray, task: _Task) -> _State:
    """Theta : (2, B) frequencies and decay rates."""
    log_z = (-theta[1] + 2j * np.pi * theta[0]) / task.rate_hz
    gone = np.exp(task.length * log_z)[:, None]
    inverse = 1 / (1 - np.exp(log_z)[:, None] * task.turns)
    model = inverse * (0.5 * (1 - gone))
    slope = (model - (0.5 * (1 - gone) + 0.5 * task.length * gone)) * inverse
    least = RIDGES[1] * _size(model)  # a mode as wide as all bins is no more than background
    model, slope = (x - (x @ task.smooth) @ task.smooth.T for x in (model, slope))
    size = np.maximum(_size(model), least)
    heard = np.matmul(model.conj()[:, None, :], task.spectra)[:, 0]  # (B, S)
    amplitudes = heard / size[:, None]
    cost = np.maximum(task.rest - _size(heard) / size, ROUNDING * task.energy)
    along = np.sum(slope.conj() * model, axis=1)
    bent = _size(slope) - np.abs(along) ** 2 / size
    turned = np.matmul(slope.conj()[:, None, :], task.spectra)[:, 0] - along[:, None] * amplitudes
    pull = np.sum(amplitudes.conj() * turned, axis=1)
    return _State(model, amplitudes, bent * _size(amplitudes), pull, cost)
