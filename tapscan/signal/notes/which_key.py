"""Which key was played, told by the partials alone.

    Keyboard(cents)             strings of a piano that is so many cents off A4 = 440 Hz
    key_scores(spectrum, ...)   Heard: how well each key fits

Every key is tried with several pitches and stiffnesses; what speaks for it is what stands out at its partials, and against it what stands out half
way between them (after Camacho and Harris, J. Acoust. Soc. Am. 124 (2008) 1638, from memory; with stretched partials). Half-way places tell
a key from the one an octave above, the norm of the sum from the one an octave below.
"""

from functools import lru_cache
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.records import FloatArray
from tapscan.signal.notes.strings import KEYS, partials, usual_stiffness, usual_tuning

IntArray = NDArray[np.intp]

FIRST_S, LONG_S, SHORT_S = (
    0.03,
    0.5,
    0.15,
)  # after the onset: the knock is over; long enough for the bass, short enough for the top
TOP_KEY = 54  # from here on the short window
PADDED = 4
FROM_HZ, TO_HZ = 45.0, 9000.0
PARTIALS = 24
STIFFNESS_FACTORS = (0.4, 0.65, 1.0, 1.6, 2.5)
RANGE_DB, CAP_DB = 55.0, 30.0  # what lies further under the strongest is not looked at; how far one partial can speak
BROAD_OCTAVES, BROAD_HZ = 0.25, 60.0  # what is called the floor round a line
AGAINST = 0.55  # weight of the places half way
THIRDS, BELOW = (1 / 3, 2 / 3, 4 / 3), 0.5  # places that the key a twelfth below has; their weight
PLAIN_SCORE, DISTRUST = 40.0, 0.5  # a low key that fits worse is a thump more often than a key
ODD, EVEN, LOPSIDED = slice(0, 6, 2), slice(1, 6, 2), 0.7  # of the first six partials; weight of what the odd ones lack


class Heard(Struct, frozen=True, eq=False):
    """(88,) `score` and `cents` of each key's best fit, `stiffness` as a factor on the usual one."""

    score: FloatArray
    cents: FloatArray
    factor: FloatArray


class Lines(Struct, frozen=True, eq=False):
    """What stands out of one note: `db` (k,) over its surroundings, 0 to CAP_DB, at steps of `step_hz`."""

    db: FloatArray
    step_hz: float


def lines_of(samples: FloatArray, rate: int, seconds: float) -> Lines:
    """Of (n,) samples from the onset on, over so many seconds."""
    cut = samples[round(FIRST_S * rate) : round((FIRST_S + seconds) * rate)]
    size = PADDED * int(2 ** np.ceil(np.log2(max(64, len(cut)))))
    level = 20 * np.log10(np.abs(np.fft.rfft(cut * np.hanning(len(cut)), size)) + 1e-12)
    step = rate / size
    level = level[: int(TO_HZ / step) + 1]
    beyond = int(FROM_HZ / step)
    top = float(level[beyond:].max())
    floor = np.maximum(_floor(level, step), top - RANGE_DB)
    over = np.clip(level - floor, 0.0, CAP_DB)
    over[:beyond] = 0.0
    return Lines(np.asarray(over), step)


def _floor(level: FloatArray, step: float) -> FloatArray:
    """Mean level round each bin, over a quarter octave or 60 Hz to each side."""
    total = np.concatenate([[0.0], np.cumsum(level)])
    at = np.arange(len(level))
    reach = np.maximum(BROAD_HZ / step, (2**BROAD_OCTAVES - 1) * at).astype(int)
    low, high = np.maximum(at - reach, 0), np.minimum(at + reach, len(level) - 1) + 1
    return np.asarray((total[high] - total[low]) / (high - low))


def _places(cents: tuple[float, ...], half: bool | None, keys: tuple[int, int]) -> FloatArray:
    """(K, C, B, n) places in Hz of partials, half way between them, or (None) a third of the way."""
    key = np.arange(*keys)
    first = usual_tuning()[key, None, None, None] * 2 ** (np.array(cents)[None, :, None, None] / 1200)
    stiff = usual_stiffness(key)[:, None, None, None] * np.array(STIFFNESS_FACTORS)[None, None, :, None]
    number = np.array(THIRDS) if half is None else np.arange(1, PARTIALS + 1) - (0.5 if half else 0.0)
    return partials(first, stiff, number[None, None, None, :])


def key_scores(samples: FloatArray, rate: int, cents: tuple[float, ...]) -> Heard:
    """Of (n,) samples from the onset on. `cents` : pitches to try, off A4 = 440 Hz."""
    parts = [
        _scores(lines_of(samples, rate, seconds), cents, keys)
        for seconds, keys in ((LONG_S, (0, TOP_KEY)), (SHORT_S, (TOP_KEY, KEYS)))
    ]
    score, c, b = (np.concatenate([p[i] for p in parts]) for i in range(3))
    low = np.minimum(0.0, score[:TOP_KEY] - PLAIN_SCORE)  # a real low note has many lines
    score[:TOP_KEY] += DISTRUST * low
    return Heard(score, np.array(cents)[c], np.array(STIFFNESS_FACTORS)[b])


class _Looked(Struct, frozen=True, eq=False):
    """Where one spectrum's bins are looked at for every key, pitch and stiffness: the same for all notes of a recording."""

    at: IntArray  # (K, C, B, n) bins of the partials
    between: IntArray  # half way between them
    third: IntArray
    weight: FloatArray  # (K, C, B, n)
    norm: FloatArray  # (K, C, B)
    odd: tuple[Any, Any]  # whether a partial lies inside what is looked at, and how many do, at least 1
    even: tuple[Any, Any]


@lru_cache(maxsize=8)
def _looked(cents: tuple[float, ...], keys: tuple[int, int], step_hz: float, count: int) -> _Looked:
    def bins(half: bool | None) -> IntArray:
        return np.minimum((_places(cents, half, keys) / step_hz + 0.5).astype(int), count - 1)

    at = _places(cents, False, keys)
    inside = (at >= FROM_HZ) & (at < count * step_hz)
    weight = inside / np.sqrt(np.arange(1, PARTIALS + 1))
    norm = np.sqrt(np.sum(weight**2, axis=-1) + 1e-12)
    odd, even = ((inside[..., w], np.maximum(1, inside[..., w].sum(axis=-1))) for w in (ODD, EVEN))
    return _Looked(bins(False), bins(True), bins(None), weight, norm, odd, even)


def _scores(lines: Lines, cents: tuple[float, ...], keys: tuple[int, int]) -> tuple[FloatArray, FloatArray, FloatArray]:
    looked = _looked(cents, keys, lines.step_hz, len(lines.db))
    heard, beside = lines.db[looked.at], lines.db[looked.between]
    score = np.sum(looked.weight * (heard - AGAINST * beside), axis=-1) / looked.norm
    score -= BELOW * lines.db[looked.third].mean(axis=-1)
    score -= LOPSIDED * np.maximum(0.0, _mean(heard[..., EVEN], *looked.even) - _mean(heard[..., ODD], *looked.odd))
    flat = score.reshape(len(score), -1)
    best = flat.argmax(axis=1)
    c, b = np.unravel_index(best, score.shape[1:])
    return flat[np.arange(len(flat)), best], c, b


def _mean(heard: FloatArray, inside: Any, many: Any) -> FloatArray:
    return np.asarray((heard * inside).sum(axis=-1) / many)
