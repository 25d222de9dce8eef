"""Lengths that Fourier transforms take fast: products of small primes.

    next_fast_len(n)         the least at or above n, of complex transforms
    prev_fast_len(n, real)   the greatest at or below n, of real or complex ones

As scipy.fft has them, which a test holds them against: its import takes as long as a tenth of a scan. numpy's transforms give the same digits.
"""

from collections.abc import Iterator
from functools import cache


@cache
def next_fast_len(n: int) -> int:
    """A product of 2, 3, 5, 7 and 11."""
    return min(odd << (-(-n // odd) - 1).bit_length() for odd in _odd(2 * n, (3, 5, 7, 11)))


@cache
def prev_fast_len(n: int, real: bool = False) -> int:
    """A product of 2, 3 and 5; of complex transforms 7 and 11 as well."""
    return max(odd << ((n // odd).bit_length() - 1) for odd in _odd(n, (3, 5) if real else (3, 5, 7, 11)))


def _odd(most: int, primes: tuple[int, ...]) -> Iterator[int]:
    """All products of these primes up to `most`, and 1."""
    if not primes:
        yield 1
        return
    for rest in _odd(most, primes[1:]):
        product = rest
        while product <= most:
            yield product
            product *= primes[0]
