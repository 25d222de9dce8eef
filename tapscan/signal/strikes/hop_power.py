"""Power of the sound above rumble, and of the change of what lies under the knock's end, hop by hop: what taps are found by.

    HopPower(hop, rate, channels)
        .of(x, zero)   the next (channels, hops x hop) samples, and what they stand at in silence; (channels, 2, hops) mean squares

Both filters are second-order Butterworth (bilinear transform with the cut in its place; Oppenheim and Schafer, Discrete-Time Signal
Processing; from memory), each written as k x[n] + Re c r[n] with one complex pole, r[n] = p r[n-1] + x[n]. A stretch of sound then is one
product of matrices: its samples, and what poles and last sample carry over, times the response to each; its first half does not hear its second. A
row is some stretches on end: what all of them carry over is gathered in one product, and from row to row the poles go on by themselves, a banded
triangular system that BLAS solves. Some times faster than sample by sample, and scipy.signal, which a test holds it against, takes a third of a
second to import.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from msgspec import Struct

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.lapack import blas

RUMBLE_HZ = 40.0
KNOCK_HZ = 6000.0  # a blow of half a millisecond has little above; the noise of a fast converter has
STRETCH, ROW = 16, 48  # about so many samples: longer stretches cost more products, shorter ones more to carry over
CARRIED = 5  # two poles, complex, and a sample


class HopPower:
    """State of both filters over several channels."""

    def __init__(self, hop: int, sample_rate_hz: int, channels: int) -> None:
        self._filters = _filters(hop, sample_rate_hz)
        self._channels: list[_Carried | None] = [None] * channels
        self._room = _Room(0, self._filters)

    def of(self, x: FloatArray, zero: FloatArray) -> FloatArray:
        """Of sound above rumble, and of the change of its low part. zero : (channels, 1) a constant offset, at which the sound stood before it began."""
        hops = x.shape[1] // self._filters.hop
        if len(self._room.means) != hops:
            self._room = _Room(hops, self._filters)
        found = np.empty((len(x), 2, hops))
        for i, (one, offset) in enumerate(zip(x, zero[:, 0].tolist(), strict=True)):
            carried = self._channels[i] or _Carried(offset / (1 - self._filters.poles), offset)
            found[i], self._channels[i] = self._one(carried, one)
        return found

    def _one(self, carried: _Carried, x: FloatArray) -> tuple[FloatArray, _Carried]:
        """(2, hops) of one channel's samples, and what they leave to the next."""
        filters, room = self._filters, self._room
        after = self._carry(carried, x.reshape(-1, filters.row))
        sound, half = x.reshape(-1, filters.stretch), filters.stretch // 2
        np.matmul(sound[:, :half], filters.early, out=room.out[:, : 2 * half])
        np.matmul(sound, filters.late, out=room.out[:, 2 * half :])
        _add_product(room.carry.reshape(-1, CARRIED), filters.ringing, room.out)
        np.multiply(room.out, room.out, out=room.out)
        np.matmul(room.out.reshape(len(room.means), -1), filters.mean, out=room.means)
        return room.means.T, after

    def _carry(self, before: _Carried, rows: FloatArray) -> _Carried:
        """Fill in what each stretch finds carried over."""
        filters, room = self._filters, self._room
        np.matmul(rows, filters.gathering, out=room.carry)
        room.poles[0], room.numbers[1:] = before.poles, room.carry[:, :4]
        for i, band in enumerate(room.bands):
            blas.ztbsv(1, band, room.poles.reshape(-1), incx=2, offx=i, lower=1, diag=1, overwrite_x=1)
        room.first[:, :4] = room.numbers[:-1]
        room.first[0, 4], room.first[1:, 4] = before.last, room.carry[:-1, 4]
        after = _Carried(room.poles[-1].copy(), float(room.carry[-1, 4]))
        room.carry[:, :CARRIED] = 0.0
        _add_product(room.first, filters.onward, room.carry)
        return after


def _add_product(a: FloatArray, b: FloatArray, to: FloatArray) -> None:
    """To `to`, in its place; each in one piece, row by row."""
    blas.dgemm(1.0, b.T, a.T, 1.0, to.T, overwrite_c=1)


class _Carried(Struct):
    """What one block leaves to the next."""

    poles: ComplexArray  # (2,)
    last: float  # sample


class _Filters(Struct, frozen=True, eq=False):
    """What depends on the rate alone. Carried over are: Re, Im of the high filter's pole, Re, Im of the low one's, the last sample."""

    hop: int
    stretch: int
    row: int
    poles: ComplexArray  # (2,)
    gathering: FloatArray  # (row, stretches x 5): what the row's samples leave; its end's in the first five places
    onward: FloatArray  # (5, stretches x 5): what was carried to the row reaches each of its stretches
    early: FloatArray  # (half a stretch, 2 x half a stretch): both filters' answers to samples, in the first half
    late: FloatArray  # (stretch, 2 x the other half)
    ringing: FloatArray  # (5, 2 x stretch): to what is carried over, in both halves
    mean: FloatArray  # (2 x hop, 2)


@lru_cache(maxsize=4)
def _filters(hop: int, sample_rate_hz: int) -> _Filters:
    stretch = _divisor(hop, 1, STRETCH)
    row, half = _divisor(hop, stretch, ROW), stretch // 2
    high = _Pole.butterworth(RUMBLE_HZ / sample_rate_hz, np.array([1.0, -2.0, 1.0]))
    low = _Pole.butterworth(min(KNOCK_HZ / sample_rate_hz, 0.4), np.array([1.0, 2.0, 1.0]))
    answers = high.responses(stretch, 0)[:, 1:], np.diff(low.responses(stretch, 1))
    early, late = (np.hstack([a[:, part] for a in answers]) for part in (slice(half), slice(half, None)))
    which = np.repeat([0, 1, 0, 1], [half, half, stretch - half, stretch - half])
    mean = np.tile(np.eye(2)[which] / hop, (hop // stretch, 1))
    poles = np.array([high.p, low.p])
    gathering, onward = _gathered(poles, stretch, row)
    ringing = np.hstack([early, late])[stretch:]
    return _Filters(
        hop, stretch, row, poles, gathering, onward, early[:half].copy(), late[:stretch].copy(), ringing, mean
    )


def _divisor(of: int, by: int, near: int) -> int:
    """The divisor of `of`, itself a multiple of `by`, that is nearest to `near` on a logarithmic scale."""
    return min((n for n in range(by, of + 1, by) if of % n == 0), key=lambda n: abs(np.log(n / near)))


def _gathered(poles: ComplexArray, stretch: int, row: int) -> tuple[FloatArray, FloatArray]:
    """What a row's samples leave at each of its stretches, and what is carried to the row leaves there."""
    many = row // stretch
    gathering, onward = np.zeros((row, many, CARRIED)), np.zeros((CARRIED, many, CARRIED))
    onward[4, 0, 4] = 1.0
    for i in range(many):
        heard = i * stretch or row  # in the first place stands what the whole row leaves
        back = poles ** np.arange(heard - 1, -1, -1)[:, None]
        gathering[:heard, i, :4] = back.view(float)
        gathering[heard - 1, i, 4] = 1.0
        for k, turn in enumerate(poles ** (i * stretch)):
            onward[2 * k : 2 * k + 2, i, 2 * k : 2 * k + 2] = [[turn.real, turn.imag], [-turn.imag, turn.real]]
    return gathering.reshape(row, -1), onward.reshape(CARRIED, -1)


class _Room:
    """To work in, for blocks of so many hops: taken once, since memory that is new costs as much as the work."""

    def __init__(self, hops: int, filters: _Filters) -> None:
        rows, many = hops * filters.hop // filters.row, filters.row // filters.stretch
        self.out, self.means = np.empty((rows * many, 2 * filters.stretch)), np.empty((hops, 2))
        self.carry, self.first = np.empty((rows, many * CARRIED)), np.empty((rows, CARRIED))
        self.poles = np.empty((rows + 1, 2), dtype=complex)
        self.numbers = self.poles.view(float)
        self.bands = [np.asfortranarray(np.full((2, rows + 1), -(p**filters.row))) for p in filters.poles]


class _Pole:
    """A second-order filter as k x[n] + Re c r[n], r[n] = p r[n-1] + x[n]."""

    def __init__(self, k: float, c: complex, p: complex) -> None:
        self.k, self.c, self.p = k, c, p

    @classmethod
    def butterworth(cls, cut: float, zeros: FloatArray) -> _Pole:
        """Of second order. cut : share of the sampling rate. zeros : of the filter, high or low pass, by powers of 1/z."""
        t = np.tan(np.pi * cut)
        norm = 1 + np.sqrt(2) * t + t**2
        a1, a2 = 2 * (t**2 - 1) / norm, (1 - np.sqrt(2) * t + t**2) / norm
        b = zeros * ((1.0 if zeros[1] < 0 else t**2) / norm)
        p = complex(-a1 / 2, np.sqrt(a2 - a1**2 / 4))
        return cls(b[2] / a2, 2 * complex((b[0] + b[1] / p + b[2] / p**2) / (1 - p.conjugate() / p)), p)

    def responses(self, n: int, place: int) -> FloatArray:
        """(n + 5, 1 + n) of n samples, two poles of which this is number `place`, and the last sample: what each gives in that last sample and on."""
        ringing = self.c * self.p ** np.arange(n + 1)
        out = np.zeros((n + 5, 1 + n))
        for i in range(n):
            out[i, 1 + i :] = ringing[: n - i].real
            out[i, 1 + i] += self.k
        out[n + 2 * place], out[n + 2 * place + 1] = ringing.real, -ringing.imag
        out[-1, 0] = self.k
        return out
