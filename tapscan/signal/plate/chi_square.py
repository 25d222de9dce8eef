"""The chi-square distribution, without the third of a second that the import of scipy.special takes.

beyond(value, free)   the share of it above a value: the incomplete gamma function Q(free / 2, value / 2)
"""

import math


def beyond(value: float, free: float) -> float:
    """Free : degrees of freedom, more than 0. By a series below the middle and a continued fraction above; from memory."""
    a, x = free / 2, value / 2
    if x <= 0:
        return 1.0
    scale = math.exp(a * math.log(x) - x - math.lgamma(a))
    return 1 - scale * _series(a, x) if x < a + 1 else scale * _fraction(a, x)


def _series(a: float, x: float, settled: float = 1e-15) -> float:
    """P(a, x) over the scale."""
    term = total = 1 / a
    for n in range(1, 10_000):
        term *= x / (a + n)
        total += term
        if term < settled * total:
            break
    return total


def _fraction(a: float, x: float, settled: float = 1e-15, smallest: float = 1e-300) -> float:
    """Q(a, x) over the scale, by Lentz's method."""
    b = x + 1 - a
    c, d = 1 / smallest, 1 / b
    total = d
    for n in range(1, 10_000):
        part, b = -n * (n - a), b + 2
        d = 1 / (part * d + b or smallest)
        c = b + part / c or smallest
        total *= c * d
        if abs(c * d - 1) < settled:
            break
    return total
