"""A plain shoebox room around a microphone: image sources, one absorption for all walls and frequencies.

A plate is not a point, and real walls absorb more at some frequencies than at others; this room only adds the reverberation
that hides a plate's own decay. Method: Allen and Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950, from memory.

``Room``             size, reverberation time, places
``impulse_response`` direct sound (gain 1, at time 0) and reflections
``in_room``          samples as heard in the room
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
from msgspec import Struct

SOUND_SPEED_M_S = 343.2
OVERSAMPLING = 4


class Room(Struct, frozen=True):
    """``size_m`` : inner lengths. ``t60_s`` : 0.2 to 2. ``source_m``, ``microphone_m`` : places, in m.

    ``seed`` : of the small scatter of the image places that keeps a bare box from ringing (5 cm).
    """

    t60_s: float
    size_m: tuple[float, float, float] = (6.1, 4.7, 2.9)
    source_m: tuple[float, float, float] = (2.3, 1.9, 1.1)
    microphone_m: tuple[float, float, float] = (2.3, 1.9, 1.5)
    seed: int = 0

    def reflection(self, t60_s: float) -> float:
        """Pressure reflection factor of the walls for a reverberation time by Eyring."""
        x, y, z = self.size_m
        volume, surface = x * y * z, 2.0 * (x * y + y * z + x * z)
        exponent = 55.3 * volume / (SOUND_SPEED_M_S * surface * t60_s)
        return float(np.exp(-exponent / 2.0))


def _images(length: float, source: float, order: int) -> tuple[np.ndarray, np.ndarray]:
    """Places of the images along one axis and how many walls each has met."""
    n = np.arange(-order, order + 1)
    place = np.concatenate([2 * n * length + source, 2 * n * length - source])
    return place, np.concatenate([np.abs(2 * n), np.abs(2 * n - 1)])


def impulse_response(room: Room, sample_rate_hz: float) -> np.ndarray:
    """(n,) response to -60 dB; the direct sound is 1 at sample 0, reflections follow by their extra path.

    A box decays more slowly than Eyring's formula says; the absorption is raised until the decay from -5 to -25 dB,
    above 100 Hz, is the wanted one within some per cent.
    """
    eyring_s, paths = room.t60_s, list(_paths(room, sample_rate_hz))
    for _ in range(4):
        response = _with_walls(paths, room.reflection(eyring_s), int(room.t60_s * OVERSAMPLING * sample_rate_hz))
        eyring_s *= room.t60_s / decay_time_s(response[1:], sample_rate_hz)
    response[0] += 1.0
    return response


def decay_time_s(response: np.ndarray, sample_rate_hz: float) -> float:
    """T60 from -5 to -25 dB of the backward-integrated energy above 100 Hz (ISO 3382 evaluation range, from memory)."""
    spectrum = np.fft.rfft(response)
    spectrum[np.fft.rfftfreq(len(response), 1.0 / sample_rate_hz) < 100.0] = 0.0
    energy = np.cumsum(np.fft.irfft(spectrum, len(response))[::-1] ** 2)[::-1]
    level = 10.0 * np.log10(np.maximum(energy / energy[0], 1e-30))
    start, end = int(np.argmax(level < -5.0)), int(np.argmax(level < -25.0))
    return float(-60.0 / np.polyfit(np.arange(start, end) / sample_rate_hz, level[start:end], 1)[0])


class _Paths(Struct, frozen=True, eq=False):
    """Of the images in one plane: walls met, the direct path's and their own length in m, and when they arrive in fine samples."""

    met: np.ndarray
    direct_m: float
    length_m: np.ndarray
    index: np.ndarray


def _paths(room: Room, sample_rate_hz: float) -> Iterator[_Paths]:
    """All that reflections hang on but the walls' absorption."""
    reach = room.t60_s * SOUND_SPEED_M_S
    axes = [
        _images(size, source, int(np.ceil(reach / (2 * size))) + 1)
        for size, source in zip(room.size_m, room.source_m, strict=True)
    ]
    squares = [(place - mic) ** 2 for (place, _), mic in zip(axes, room.microphone_m, strict=True)]
    direct = float(np.sqrt(sum((a - b) ** 2 for a, b in zip(room.source_m, room.microphone_m, strict=True))))
    plane = np.add.outer(squares[1], squares[2]).ravel()
    hits_plane = np.add.outer(axes[1][1], axes[2][1]).ravel()
    rng = np.random.default_rng(room.seed)
    for square, hits in zip(squares[0], axes[0][1], strict=True):
        met = hits + hits_plane
        distance = np.sqrt(square + plane) + 0.05 * rng.standard_normal(len(plane)) * (met > 1)
        near = (distance < reach) & (distance > direct) & (met > 0)
        late = (distance[near] - direct) / SOUND_SPEED_M_S
        yield _Paths(met[near], direct, distance[near], np.round(late * OVERSAMPLING * sample_rate_hz).astype(int))


def _with_walls(paths: list[_Paths], wall: float, fine_samples: int) -> np.ndarray:
    """(n,) reflections only."""
    fine = np.zeros(fine_samples + OVERSAMPLING * 64)
    for p in paths:
        gain = wall**p.met * p.direct_m / p.length_m
        fine += np.bincount(p.index, gain, minlength=len(fine))[: len(fine)]
    return _decimate(fine)


def _decimate(fine: np.ndarray) -> np.ndarray:
    """Band-limit and keep every fourth sample, without delay."""
    half = 32 * OVERSAMPLING
    t = np.arange(-half, half + 1) / OVERSAMPLING
    kernel = np.sinc(0.95 * t) * 0.95 * np.hanning(len(t))
    return np.asarray(np.convolve(fine, kernel)[half:-half][::OVERSAMPLING])


def in_room(samples: np.ndarray, response: np.ndarray) -> np.ndarray:
    """(n,) samples convolved with a response, same length."""
    size = 1 << int(np.ceil(np.log2(len(samples) + len(response))))
    heard = _spectrum(response.tobytes(), size)
    return np.asarray(np.fft.irfft(np.fft.rfft(samples, size) * heard, size)[: len(samples)])


@lru_cache(maxsize=2)  # all taps of a scan are heard in one room
def _spectrum(response: bytes, size: int) -> np.ndarray:
    return np.fft.rfft(np.frombuffer(response), size)
