"""Filters that run along a signal: the same figures as scipy.ndimage's, which takes longer to import than most recordings take to search.

mean_around(x, many)            mean of so many values around each, the ends held on or mirrored
largest_on_end(x, many)         largest of each so many on end
median_after(x, many)           median of each value and those that follow, zeros after the end
low_around(x, percent, many)    rank of so many values around each, the ends mirrored
by_turns(x, rank, many)         rank of each so many values on end
"""

from bisect import bisect_left, insort
from collections.abc import Callable
from functools import cache

import numpy as np

from tapscan.records import FloatArray
from tapscan.signal.fit.compiled import compiled


def mean_around(x: FloatArray, many: int, *, mirrored: bool = False) -> FloatArray:
    """(n,) as a running sum, so that a long one costs no more than a short one. mirrored : at the ends, the last value twice; else it is held on."""
    before = many // 2
    held = np.pad(x, (before, many - 1 - before), mode="symmetric" if mirrored else "edge")
    first = np.add.accumulate(held[:many])[-1]
    return np.asarray(np.add.accumulate(np.concatenate([[first], held[many:] - held[: len(x) - 1]])) / many)


def largest_on_end(x: FloatArray, many: int) -> FloatArray:
    """(n - many + 1,): each stretch is two that overlap, of a power of two values."""
    most, reach = x, 1
    while 2 * reach <= many:
        most, reach = np.maximum(most[:-reach], most[reach:]), 2 * reach
    return np.maximum(most[: len(x) - many + 1], most[many - reach :][: len(x) - many + 1])


def median_after(x: FloatArray, many: int) -> FloatArray:
    """(n,) `many` is odd."""
    windows = np.lib.stride_tricks.sliding_window_view(np.concatenate([x, np.zeros(many - 1)]), many)
    return np.partition(windows, many // 2, axis=1)[:, many // 2]


LONG = 30_000  # from so many values on the import of all of scipy.ndimage is worth while


def low_around(x: FloatArray, percent: float, many: int) -> FloatArray:
    """(n,) the value that so many percent of those around it stand below."""
    before, rank = many // 2, int(many * percent / 100)
    values = np.concatenate([x[:before][::-1], x, x[::-1][: many - 1 - before]])
    own = _of_scipy()
    if own is not None:
        return own(values, rank, many)[before:][: len(x)]
    if len(x) > LONG:
        from scipy.ndimage import percentile_filter

        return np.asarray(percentile_filter(x, percent, size=many, mode="reflect"))
    return by_turns(values, rank, many)


def by_turns(values: FloatArray, rank: int, many: int) -> FloatArray:
    """(n - many + 1,) value of this rank among each so many on end."""
    told = values.tolist()
    inside = sorted(told[:many])
    found = [inside[rank]]
    for old, new in zip(told, told[many:], strict=False):
        del inside[bisect_left(inside, old)]
        insort(inside, new)
        found.append(inside[rank])
    return np.array(found)


@cache
def _of_scipy() -> Callable[[FloatArray, int, int], FloatArray] | None:
    """(n,) with the value of this rank among so many around each: the file that scipy.ndimage keeps it in, where that answers as it has so far."""
    module = compiled("ndimage", "_rank_filter_1d")
    if module is None:
        return None

    def ranked(values: FloatArray, rank: int, many: int) -> FloatArray:
        found = np.empty(len(values))
        module.rank_filter(values, rank, many, found, 2, 0.0, 0)  # 2: mirrored at the ends, which are cut off
        return found

    tried = np.cos(np.arange(40.0) ** 2)
    try:
        answers = ranked(tried, 1, 10)
    except (AttributeError, TypeError):  # of a scipy that asks otherwise
        return None
    return ranked if np.array_equal(answers[5:36], by_turns(tried, 1, 10)) else None
