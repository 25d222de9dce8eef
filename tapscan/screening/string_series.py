"""Tones that come from strings: partials of one stretched series that decay together.

    string_series(modes, settings)    list of Series, the longest first; no mode belongs to two

The partials of a stiff string lie at f_n = n f0 sqrt(1 + B n^2) (Fletcher, J. Acoust. Soc. Am. 36 (1964) 203, from memory). B is
near 3.5e-4 at middle C and doubles every eight semitones above it (Young, J. Acoust. Soc. Am. 24 (1952) 267); below it lies
between 5e-5 and 3e-4 (from memory). Three partials in a row that leave no other B are asked for, each lasting longer than
the plate does, all lasting about equally long. A plate's own modes keep to no such series.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from tapscan.records import Mode
from tapscan.settings import Settings

MIDDLE_C_HZ, MIDDLE_C_STIFFNESS = 261.6, 3.5e-4
SEMITONES_TO_DOUBLE = 8.0
BASS_STIFFNESS = 1.2e-4  # middle of 5e-5 and 3e-4 on a ratio scale
MOST_PARTIALS = 10
LOWEST_HZ, HIGHEST_HZ = 27.0, 4300.0  # fundamentals of a piano


class Series(Struct, frozen=True):
    """Partials 1, 2, 3 ... of one string among the modes."""

    fundamental_hz: float  # f0
    inharmonicity: float  # B
    modes: tuple[str, ...]  # Mode.id of each partial, in order
    cents: float  # largest distance of a partial from the series


def usual_inharmonicity(fundamental_hz: float) -> float:
    """B as pianos have it, good to a factor of three or so."""
    semitones = 12 * np.log2(fundamental_hz / MIDDLE_C_HZ)
    treble = MIDDLE_C_STIFFNESS * 2 ** (semitones / SEMITONES_TO_DOUBLE)
    return float(max(treble, BASS_STIFFNESS))


def string_series(modes: Sequence[Mode], settings: Settings) -> list[Series]:
    """Series among the modes whose decay is known."""
    decays = [m.t60_s for m in modes if m.t60_s]
    if not decays:
        return []
    longer = settings.strings.longer * float(np.median(decays))
    lasting = [m for m in modes if m.t60_s and m.t60_s > longer]
    found = [s for m in lasting if (s := _from_first(m, lasting, settings)) is not None]
    taken: set[str] = set()
    kept = []
    for series in sorted(found, key=lambda s: (-len(s.modes), s.cents)):
        if not taken & set(series.modes):
            taken |= set(series.modes)
            kept.append(series)
    return kept


def _from_first(first: Mode, modes: Sequence[Mode], settings: Settings) -> Series | None:
    """The longest series whose first partial is `first`."""
    if not LOWEST_HZ <= first.frequency_hz <= HIGHEST_HZ:
        return None
    row = [first]
    best: Series | None = None
    for number in range(2, MOST_PARTIALS + 1):
        nearest = _partial(number, row, modes, settings)
        if nearest is None:
            break
        row.append(nearest)
        fitted = _fitted(row, settings)
        if fitted is None:
            break
        best = fitted
    return best if best is not None and len(best.modes) >= settings.strings.partials else None


def _partial(number: int, row: Sequence[Mode], modes: Sequence[Mode], settings: Settings) -> Mode | None:
    """The mode nearest to where partial `number` should lie and decaying like the others, None if none is near enough."""
    f0 = row[0].frequency_hz
    usual, factor = usual_inharmonicity(f0), settings.strings.stiffness_factor
    low, middle, high = (_place(f0, b, number) for b in (usual / factor, usual, usual * factor))
    if len(row) > 2:
        base, stiffness = _line(row)
        middle = number * base * np.sqrt(1 + stiffness * number**2)
    reach = 2 ** (settings.strings.cents / 1200)
    near = [m for m in modes if low / reach <= m.frequency_hz <= high * reach and _together([*row, m], settings)]
    return min(near, key=lambda m: abs(m.frequency_hz - middle)) if near else None


def _place(first_hz: float, inharmonicity: float, number: int) -> float:
    """Partial `number` of the string whose first partial is `first_hz`."""
    return float(number * first_hz * np.sqrt((1 + inharmonicity * number**2) / (1 + inharmonicity)))


def _together(row: Sequence[Mode], settings: Settings) -> bool:
    times = [m.t60_s or 0.0 for m in row]
    return max(times) <= settings.strings.decay_ratio * min(times)


def _line(row: Sequence[Mode]) -> tuple[float, float]:
    """f0 and B by least squares: (f / n)^2 is a line over n^2."""
    n = np.arange(1, len(row) + 1)
    slope, start = np.polyfit(n**2, (np.array([m.frequency_hz for m in row]) / n) ** 2, 1)
    return float(np.sqrt(max(start, 1e-9))), float(slope / max(start, 1e-9))


def _fitted(row: Sequence[Mode], settings: Settings) -> Series | None:
    """The series through these partials, None where they do not keep to one or its B is no string's."""
    names = tuple(m.id for m in row)
    if len(row) < 3:
        return Series(row[0].frequency_hz, usual_inharmonicity(row[0].frequency_hz), names, 0.0)
    base, stiffness = _line(row)
    usual, factor = usual_inharmonicity(base), settings.strings.stiffness_factor
    if not usual / factor <= stiffness <= usual * factor:
        return None
    n = np.arange(1, len(row) + 1)
    wanted = n * base * np.sqrt(1 + stiffness * n**2)
    away = np.abs(1200 * np.log2(np.array([m.frequency_hz for m in row]) / wanted)).max()
    return Series(base, stiffness, names, float(away)) if away <= settings.strings.cents else None
