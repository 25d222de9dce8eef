"""Power of the sound above rumble, and of the change of what lies under the knock's end, hop by hop: what taps are found by.

    HopPower(hop, rate, channels)
        .of(x, zero)   the next (channels, hops x hop) samples, and what counts as silence; (channels, 2, hops) mean squares

Both filters are second-order Butterworth (bilinear transform with the cut in its place; Oppenheim and Schafer, Discrete-Time Signal
Processing; from memory), each written as k x[n] + Re c r[n] with one complex pole, r[n] = p r[n-1] + x[n]. A stretch of sound then needs one
product of matrices: its samples and what poles and last sample carry over, times the response to each. From stretch to stretch the poles
go on by themselves, a banded triangular system that BLAS solves. Some times faster than sample by sample, and scipy.signal, which a test holds
it against, takes a third of a second to import.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapscan.records import ComplexArray, FloatArray
from tapscan.signal.fit.lapack import blas

RUMBLE_HZ = 40.0
KNOCK_HZ = 6000.0  # a blow of half a millisecond has little above; the noise of a fast converter has


class HopPower:
    """State of both filters over several channels."""

    def __init__(self, hop: int, sample_rate_hz: int, channels: int) -> None:
        self.hop = hop
        self.stretch = _stretch(hop)
        high = _Pole.butterworth(RUMBLE_HZ / sample_rate_hz, np.array([1.0, -2.0, 1.0]))
        low = _Pole.butterworth(min(KNOCK_HZ / sample_rate_hz, 0.4), np.array([1.0, 2.0, 1.0]))
        self._poles = np.array([high.p, low.p])
        self._responses = np.hstack([high.responses(self.stretch, 0)[:, 1:], np.diff(low.responses(self.stretch, 1))])
        back = self._poles[:, None] ** np.arange(self.stretch - 1, -1, -1)
        self._gathering = np.concatenate([back.real, back.imag]).T.copy()
        self._channels = [_Carried(np.zeros(2, dtype=complex)) for _ in range(channels)]
        self._room = _Room(0, self.stretch, self._poles)

    def of(self, x: FloatArray, zero: FloatArray) -> FloatArray:
        """Of sound above rumble, and of the change of its low part. zero : (channels, 1) a constant offset."""
        many = x.shape[1] // self.stretch
        if len(self._room.told) != many:
            self._room = _Room(many, self.stretch, self._poles)
        channels = zip(self._channels, x, zero[:, 0].tolist(), strict=True)
        return np.stack([self._one(c, one.reshape(many, -1), offset) for c, one, offset in channels])

    def _one(self, carried: _Carried, sound: FloatArray, offset: float) -> FloatArray:
        """(2, hops) of one channel's (n, stretch) samples."""
        room, q = self._room, self.stretch
        told, poles = room.told, room.poles
        x = np.subtract(sound, offset, out=told[:, :q])
        told[0, -1], told[1:, -1] = carried.last, x[:-1, -1]
        np.matmul(x, self._gathering, out=room.new)
        poles[0], poles[1:].real, poles[1:].imag = carried.poles, room.new[:, :2], room.new[:, 2:]
        for i, band in enumerate(room.bands):
            poles[:, i] = blas.ztbsv(1, band, poles[:, i], lower=1, diag=1, overwrite_x=1)
        told[:, q : q + 2], told[:, q + 2 : q + 4] = poles[:-1].real, poles[:-1].imag
        carried.poles, carried.last = poles[-1].copy(), float(x[-1, -1])
        np.matmul(told, self._responses, out=room.out)
        parts = room.out.reshape(len(x), 2, q)
        sums, each = np.einsum("nfi,nfi->fn", parts, parts), self.hop // q
        return np.asarray(sum(sums[:, i::each] for i in range(each)) / self.hop)


@dataclass
class _Carried:
    """What one block leaves to the next."""

    poles: ComplexArray  # (2,)
    last: float = 0.0  # sample


class _Room:
    """To work in, for blocks of n stretches: taken once, since memory that is new costs as much as the work. Five are carried over: two poles, complex, and a sample."""

    def __init__(self, n: int, stretch: int, poles: ComplexArray) -> None:
        self.told, self.out = np.empty((n, stretch + 5)), np.empty((n, 2 * stretch))
        self.new, self.poles = np.empty((n, 4)), np.empty((n + 1, 2), dtype=complex, order="F")
        self.bands = [np.asfortranarray(np.full((2, n + 1), -(p**stretch))) for p in poles]


def _stretch(hop: int) -> int:
    """The divisor of a hop nearest to 24 samples: more cost more products, fewer more steps between stretches."""
    return min((n for n in range(1, hop + 1) if hop % n == 0), key=lambda n: abs(np.log(n / 24)))


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
        out[n + place], out[n + 2 + place] = ringing.real, -ringing.imag
        out[-1, 0] = self.k
        return out
