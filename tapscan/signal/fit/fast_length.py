"""Lengths that Fourier transforms take fast: products of small primes.

up_from(n)     the next from n samples on
down_from(n)   the last up to n samples; real: of real samples, which know fewer primes
"""

from bisect import bisect_left, bisect_right
from functools import lru_cache


def up_from(n: int) -> int:
    """Of complex samples."""
    fast = _fast(_power_over(n))
    return fast[bisect_left(fast, n)]


def down_from(n: int, *, real: bool = False) -> int:
    """At least 1."""
    fast = _fast(_power_over(n), (2, 3, 5)) if real else _fast(_power_over(n))
    return fast[bisect_right(fast, n) - 1]


def _power_over(n: int) -> int:
    """Of two."""
    return 1 << max(1, n).bit_length()


@lru_cache(maxsize=64)
def _fast(most: int, primes: tuple[int, ...] = (2, 3, 5, 7, 11)) -> tuple[int, ...]:
    """All products of these primes up to `most`."""
    found = [1]
    for prime in primes:
        for product in found:  # grows on the way
            if product * prime <= most:
                found.append(product * prime)
    return tuple(sorted(found))
