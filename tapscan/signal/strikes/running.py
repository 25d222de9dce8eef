"""Filters that run along a series, to the last digit as scipy.ndimage has them, whose import takes longer than they do on a whole scan.

    running_mean(x, size)          the ends go on as they are
    running_low(x, size, share)    the value that this share of the size lies under; the ends are mirrored

"One in, one out": each mean is the one before with a sample more and a sample less.
"""

from bisect import bisect_left, insort

import numpy as np

from tapscan.records import FloatArray


def running_mean(x: FloatArray, size: int) -> FloatArray:
    """(n,) of `size` on end, the later half with the middle one; one in, one out, as scipy sums them."""
    before = size // 2
    padded = np.concatenate([np.full(before, x[0]), x, np.full(size - before - 1, x[-1])])
    first = np.cumsum(padded[:size])[-1:]
    return np.asarray(np.cumsum(np.concatenate([first, padded[size:] - padded[:-size]])) / size)


def running_low(x: FloatArray, size: int, share: float) -> FloatArray:
    """(n,) of `size` on end, at most n."""
    if len(x) > 100_000:  # here the import costs less
        from scipy.ndimage import percentile_filter

        return np.asarray(percentile_filter(x, 100 * share, size=size, mode="reflect"))
    before, rank = size // 2, int(size * share)
    padded = np.concatenate([x[:before][::-1], x, x[::-1][: size - before - 1]]).tolist()
    held = sorted(padded[:size])
    low = [held[rank]]
    for gone, new in zip(padded, padded[size:], strict=False):
        del held[bisect_left(held, gone)]
        insort(held, new)
        low.append(held[rank])
    return np.array(low)
