"""Detection against size from hits and misses, in the manner of MIL-HDBK-1823A (2009); formulas from memory.

    fit(sizes, hits)        Pod: logit model on the logarithm of size by maximum likelihood
    Pod.size_at(p)          a50 at .5, a90 at .9
    Pod.a90_95()            size at which the lower 95 % bound of detection is .9 (Wald, on the logit); None where it never is
    Pod.band(sizes)         lower and upper bound, the same way
    levelled(sizes, hits)   Levelled, where the share found levels off under one however large the flaw; else None
    interval(k, n)          95 % interval of a rate as words

Which bound: one-sided 95 % Wald on the logit; the handbook's likelihood ratio gives other figures (for the worked example 5.06 instead of 5.43).
No model where sizes do not separate: `fit` says so.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from scipy.optimize import brentq, minimize
from scipy.special import expit
from scipy.stats import chi2, norm

from bench.study import clopper_pearson

STEPS = 100
ONE_SIDED_95 = float(norm.ppf(0.95))


class Pod(Struct, frozen=True, eq=False):
    """logit(p) = b[0] + b[1] ln(size)."""

    b: np.ndarray
    covariance: np.ndarray
    log_likelihood: float

    def at(self, size: float) -> float:
        """Probability of detection."""
        return float(1 / (1 + np.exp(-(self.b[0] + self.b[1] * np.log(size)))))

    def size_at(self, p: float) -> float:
        """The size found with probability p."""
        return float(np.exp((np.log(p / (1 - p)) - self.b[0]) / self.b[1]))

    def _bound(self, size: float, sign: float) -> float:
        row = np.array([1.0, np.log(size)])
        spread = float(np.sqrt(row @ self.covariance @ row))
        return float(1 / (1 + np.exp(-(row @ self.b + sign * ONE_SIDED_95 * spread))))

    def band(self, sizes: Sequence[float]) -> list[tuple[float, float]]:
        """One-sided 95 % bounds."""
        return [(self._bound(s, -1.0), self._bound(s, 1.0)) for s in sizes]

    def a90_95(self) -> float | None:
        """None where the lower bound does not reach .9 within a hundred times a90."""
        start = self.size_at(0.9)
        if self._bound(100 * start, -1.0) < 0.9:
            return None
        return float(
            np.exp(brentq(lambda x: self._bound(float(np.exp(x)), -1.0) - 0.9, np.log(start), np.log(100 * start)))
        )


def fit(sizes: Sequence[float], hits: Sequence[bool]) -> Pod | None:
    """Newton steps; None where hits and misses do not overlap in size, so that no model fits (ask for more sizes)."""
    x = np.column_stack([np.ones(len(sizes)), np.log(sizes)])
    y = np.asarray(hits, dtype=float)
    if y.min() == y.max() or max(np.log(sizes)[y == 0]) <= min(np.log(sizes)[y == 1]):
        return None
    b = np.zeros(2)
    for _ in range(STEPS):
        p = 1 / (1 + np.exp(-x @ b))
        information = (x * (p * (1 - p))[:, None]).T @ x
        step = np.linalg.solve(information, x.T @ (y - p))
        b += step
        if np.abs(step).max() < 1e-12:
            break
    p = 1 / (1 + np.exp(-x @ b))
    likelihood = float(np.sum(y * np.log(p + 1e-300) + (1 - y) * np.log(1 - p + 1e-300)))
    return Pod(b, np.linalg.inv(information), likelihood) if b[1] > 0 else None


class Levelled(Struct, frozen=True):
    """p = top / (1 + exp(-(b0 + b1 ln(size)))), top under one: some places are never found."""

    top: float
    b0: float
    b1: float

    def size_at(self, p: float) -> float | None:
        """The size found with probability p; None where none is."""
        return None if p >= self.top else float(np.exp((np.log(p / (self.top - p)) - self.b0) / self.b1))


def levelled(sizes: Sequence[float], hits: Sequence[bool], pod: Pod) -> Levelled | None:
    """None where a top explains the counts no better than none (likelihood ratio, one degree of freedom, 5 %)."""
    x, y = np.log(sizes), np.asarray(hits, dtype=float)

    def misfit(v: np.ndarray) -> float:
        p = np.clip(expit(v[0]) * expit(v[1] + np.exp(v[2]) * x), 1e-12, 1 - 1e-12)
        return float(-np.sum(y * np.log(p) + (1 - y) * np.log1p(-p)))

    found = minimize(misfit, [2.0, pod.b[0], np.log(pod.b[1])], method="Nelder-Mead", options={"maxiter": 4000})
    if 2 * (-found.fun - pod.log_likelihood) < chi2.ppf(0.95, 1):
        return None
    return Levelled(float(expit(found.x[0])), float(found.x[1]), float(np.exp(found.x[2])))


def interval(hits: int, count: int) -> str:
    """Clopper-Pearson, 95 %."""
    low, high = clopper_pearson(hits, count)
    return f"{hits:4d} of {count:4d}   {100 * low:5.1f} to {100 * high:5.1f} %"
