"""Special functions without the third of a second that the import of scipy.special takes; a test holds them against it.

beyond(value, free)    share of the chi-square distribution above a value: the incomplete gamma function Q(free / 2, value / 2)
student(free)          what 95 % of Student's t lie within
digamma(x)             of positive numbers, as the next two
trigamma(x), tetragamma(x)

Series, continued fractions and asymptotic expansions as Abramowitz and Stegun have them (6.3.18, 6.4.11, 26.4, 26.5.8, 26.7.5); from memory.
"""

import math
from collections.abc import Iterable, Iterator
from itertools import count

import numpy as np

from tapscan.records import FloatArray


def beyond(value: float, free: float) -> float:
    """Free : degrees of freedom, more than 0. A series below the middle, a continued fraction above."""
    a, x = free / 2, value / 2
    if x <= 0:
        return 1.0
    scale = math.exp(a * math.log(x) - x - math.lgamma(a))
    return 1 - scale * _gamma_series(a, x) if x < a + 1 else scale / _lentz(x + 1 - a, _gamma_parts(a, x))


def _gamma_series(a: float, x: float, settled: float = 1e-16) -> float:
    """P(a, x) over the scale."""
    n, term, total = a, 1 / a, 1 / a
    while term > settled * total:
        n += 1
        term *= x / n
        total += term
    return total


def _gamma_parts(a: float, x: float) -> Iterator[tuple[float, float]]:
    return ((-n * (n - a), x + 2 * n + 1 - a) for n in count(1))


def _lentz(first: float, parts: Iterable[tuple[float, float]], settled: float = 1e-15, tiny: float = 1e-300) -> float:
    """First + a1 / (b1 + a2 / (b2 + ..., by parts (a, b)."""
    total = first or tiny
    c, d = total, 0.0
    for a, b in parts:
        d = 1 / (b + a * d or tiny)
        c = b + a / c or tiny
        total *= c * d
        if abs(c * d - 1) < settled:
            break
    return total


def student(free: FloatArray) -> FloatArray:
    """(M,) of degrees of freedom (M,), more than 0."""
    values, which = np.unique(free, return_inverse=True)
    return np.array([_student(v) for v in values.tolist()])[which]


def _student(free: float, many: float = 1000.0, steps: int = 60) -> float:
    """Newton on the logarithms from the normal distribution's on, which for many degrees of freedom needs a correction alone."""
    z = 1.959963984540054
    if free > many:
        z2 = z * z
        parts = (
            (z2 + 1) / 4,
            ((5 * z2 + 16) * z2 + 3) / 96,
            (((3 * z2 + 19) * z2 + 17) * z2 - 15) / 384,
            ((((79 * z2 + 776) * z2 + 1482) * z2 - 1920) * z2 - 945) / 92160,
        )
        return z * (1 + sum(p / free**k for k, p in enumerate(parts, 1)))
    t = z
    for _ in range(steps):
        outside = _outside(t, free)
        step = math.log(outside / 0.05) * outside / (2 * t * _density(t, free))  # of ln t
        t *= math.exp(step)
        if abs(step) < 1e-9:  # the next would be less than its square
            break
    return t


def _density(t: float, free: float) -> float:
    log_beta = math.lgamma(0.5) + math.lgamma(free / 2) - math.lgamma((free + 1) / 2)
    return math.exp(-0.5 * (free + 1) * math.log1p(t * t / free) - log_beta) / math.sqrt(free)


def _outside(t: float, free: float) -> float:
    """Share of Student's t beyond +-t: the incomplete beta function I_x(free / 2, 1 / 2)."""
    x = free / (free + t * t)
    if x < (free + 2) / (free + 5):
        return _incomplete_beta(x, 1 - x, free / 2, 0.5)
    return 1 - _incomplete_beta(t * t / (free + t * t), x, 0.5, free / 2)


def _incomplete_beta(x: float, rest: float, a: float, b: float) -> float:
    """Rest : 1 - x."""
    scale = math.exp(a * math.log(x) + b * math.log(rest) + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b))
    return scale / (a * _lentz(1.0, _beta_parts(x, a, b)))


def _beta_parts(x: float, a: float, b: float) -> Iterator[tuple[float, float]]:
    for m in count():
        yield -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
        yield (m + 1) * (b - m - 1) * x / ((a + 2 * m + 1) * (a + 2 * m + 2)), 1.0


def digamma(x: FloatArray) -> FloatArray:
    """(M,) derivative of ln gamma (M,)."""
    far, near = _far(x)
    at = 1 / far**2
    return np.asarray(np.log(far) - 0.5 / far - at * _bernoulli(at, 0) - (1 / near).sum(axis=0))


def trigamma(x: FloatArray) -> FloatArray:
    """(M,) second derivative of ln gamma (M,)."""
    far, near = _far(x)
    at = 1 / far**2
    return np.asarray(1 / far + 0.5 * at + at / far * _bernoulli(at, 1) + (1 / near**2).sum(axis=0))


def tetragamma(x: FloatArray) -> FloatArray:
    """(M,) third derivative of ln gamma (M,)."""
    far, near = _far(x)
    at = 1 / far**2
    return np.asarray(-at - at / far - at**2 * _bernoulli(at, 2) - 2 * (1 / near**3).sum(axis=0))


def _far(x: FloatArray, steps: int = 12) -> tuple[FloatArray, FloatArray]:
    """X and so many steps on, where the expansion is exact; (steps, M) the steps between."""
    return x + steps, x + np.arange(steps).reshape(-1, *np.ones(np.ndim(x), dtype=int))


def _bernoulli(at: FloatArray, derivative: int) -> FloatArray:
    """(M,) sum of B_2k f_k at^(k-1), f_k = 1 / 2k, 1 and 2k + 1 for the derivatives of ln gamma from the first on."""
    numbers = (1 / 6, -1 / 30, 1 / 42, -1 / 30, 5 / 66, -691 / 2730, 7 / 6, -3617 / 510)
    terms = [b * (1 / (2 * k), 1.0, 2 * k + 1)[derivative] for k, b in enumerate(numbers, 1)]
    return np.asarray(np.polynomial.polynomial.polyval(at, terms))
