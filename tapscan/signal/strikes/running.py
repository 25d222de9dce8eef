"""Filters that run along a signal: the same figures as scipy.ndimage's, which takes longer to import than most recordings take to search.

mean_around(x, many)            mean of so many values around each, the ends held on
largest_on_end(x, many)         largest of each so many on end
median_after(x, many)           median of each value and those that follow, zeros after the end
low_around(x, percent, many)    rank of so many values around each, the ends mirrored
"""

from bisect import bisect_left, insort

import numpy as np

from tapscan.records import FloatArray


def mean_around(x: FloatArray, many: int) -> FloatArray:
    """(n,) as a running sum, so that a long one costs no more than a short one."""
    before = many // 2
    held = np.concatenate([np.full(before, x[0]), x, np.full(many - 1 - before, x[-1])])
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


LONG, OF_SCIPY = 30_000, "scipy.ndimage"  # from so many values on its import is worth while


def low_around(x: FloatArray, percent: float, many: int, long: int = LONG) -> FloatArray:
    """(n,) the value that so many percent of those around it stand below. long : more are left to scipy."""
    if len(x) > long:
        from scipy.ndimage import percentile_filter

        return np.asarray(percentile_filter(x, percent, size=many, mode="reflect"))
    before = many // 2
    values = np.concatenate([x[:before][::-1], x, x[::-1][: many - 1 - before]]).tolist()
    rank, inside = int(many * percent / 100), sorted(values[:many])
    found = [inside[rank]]
    for old, new in zip(values, values[many:], strict=False):
        del inside[bisect_left(inside, old)]
        insort(inside, new)
        found.append(inside[rank])
    return np.array(found)
