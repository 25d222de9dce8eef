"""Which mode of one scan is which mode of another: one-to-one pairing.

    mode_table(modes, stations)            frequencies and amplitude patterns as arrays
    coarse_shift(earlier, later, settings) the ratio that most modes share, before any pairing
    pair_costs(earlier, later, scatter, shift, settings)   (n, m) costs
    assign(costs, price)                   the cheapest pairing; a mode may stay alone at a price
    pair_modes(earlier, later, scatter, settings)   shift and pairing, each refined by the other

Cost, in natural log units: half the square of the frequency difference over the expected scatter, but never more than a
mode that a flaw has moved would cost; plus what unlike amplitude patterns cost. The hammer roves and its force is not
known, so patterns are compared by the cosine of the angle between them: two scans of one mode have .9 to 1, two
different modes about .64 (2/pi, for normal deflections). Cracks lower frequencies, so a rise beyond scatter costs more than a drop.

Method: linear assignment with dummy partners (scipy.optimize.linear_sum_assignment). Cost and prices are ours.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from tapscan.records import FloatArray, Mode
from tapscan.settings import Settings

IMPOSSIBLE = 1e6
CHANCE_CORRELATION = 2 / np.pi  # mean cosine of two unrelated patterns of normal deflections, signs unknown
FEW_STATIONS = 3  # fewer shared stations make no pattern
COARSE_STEP_PPM = 40.0
ROUNDS = 3


class ModeTable(Struct, frozen=True, eq=False):
    """Modes as arrays, in order of frequency."""

    names: tuple[str, ...]
    frequency_hz: FloatArray  # (n,)
    frequency_sd: FloatArray  # (n,) relative, 0 where unknown
    pattern: FloatArray  # (n, stations) amplitude, each row of length 1; 0 where not heard
    stations: tuple[str, ...]
    energy: FloatArray  # (n,) squares of the amplitudes over the stations, summed

    def __len__(self) -> int:
        return len(self.names)

    @property
    def log_frequency(self) -> FloatArray:
        """(n,) natural logarithm of the frequency in Hz."""
        return np.asarray(np.log(self.frequency_hz))


class Pairing(Struct, frozen=True, eq=False):
    """`pairs` (k, 2) numbers of modes; `shift` is ln(later / earlier) that most modes share; `cost` (k,)."""

    pairs: NDArray[np.intp]
    shift: float
    cost: FloatArray
    shape_correlation: FloatArray  # (k,) cosine of the amplitude patterns, 0..1

    def lone(self, count: int, side: int) -> list[int]:
        """Numbers of the modes left alone; `side` 0 earlier, 1 later."""
        return sorted(set(range(count)) - {int(i) for i in self.pairs[:, side]})


def mode_table(modes: Sequence[Mode], stations: Sequence[str]) -> ModeTable:
    """Modes as arrays over the given stations; amplitudes elsewhere are left out."""
    ordered = sorted(modes, key=lambda m: m.frequency_hz)
    place = {s: k for k, s in enumerate(stations)}
    amplitude = np.zeros((len(ordered), len(stations)))
    for i, mode in enumerate(ordered):
        for s in mode.amplitudes:
            if s.station in place:
                amplitude[i, place[s.station]] = 10 ** (s.amplitude_db / 20)
    length = np.linalg.norm(amplitude, axis=1, keepdims=True)
    frequency = np.array([m.frequency_hz for m in ordered], dtype=float)
    sd = np.array([m.noise_sd_hz or 0.0 for m in ordered], dtype=float)
    pattern = amplitude / np.where(length > 0, length, 1.0)
    return ModeTable(
        tuple(m.id for m in ordered),
        frequency,
        sd / np.maximum(frequency, 1e-9),
        pattern,
        tuple(stations),
        length[:, 0] ** 2,
    )


def shape_correlation(earlier: ModeTable, later: ModeTable) -> FloatArray:
    """(n, m) cosine of the amplitude patterns over the shared stations, 0..1."""
    return np.asarray(earlier.pattern @ later.pattern.T)


def coarse_shift(earlier: ModeTable, later: ModeTable, settings: Settings) -> float:
    """ln(later / earlier) that the most pairs of like pattern agree on, within the settings' widest shift."""
    widest = settings.pairing.widest_shift_ppm * 1e-6
    apart = later.log_frequency[None, :] - earlier.log_frequency[:, None]
    weight = np.maximum(shape_correlation(earlier, later) - CHANCE_CORRELATION, 0.0) ** 2 + 1e-3
    near = np.abs(apart) < 1.2 * widest
    if not near.any():
        return 0.0
    step = COARSE_STEP_PPM * 1e-6
    edges = np.arange(-widest - 5 * step, widest + 5 * step, step)
    votes, _ = np.histogram(apart[near], edges, weights=weight[near])
    smooth = np.convolve(votes, [0.25, 0.75, 1.0, 0.75, 0.25], mode="same")
    best = int(np.argmax(smooth))
    return float((edges[best] + edges[best + 1]) / 2)


def pair_costs(
    earlier: ModeTable, later: ModeTable, scatter: FloatArray, shift: float, settings: Settings
) -> FloatArray:
    """(n, m) costs in natural log units; `scatter` (n,) relative sd expected of each difference."""
    apart = later.log_frequency[None, :] - earlier.log_frequency[:, None] - shift
    sd = np.sqrt(scatter[:, None] ** 2 + earlier.frequency_sd[:, None] ** 2 + later.frequency_sd[None, :] ** 2)
    scale = np.where(apart < 0, settings.pairing.drop_scale, settings.pairing.rise_scale)
    moved = settings.pairing.moved_cost + np.abs(apart) / scale
    cost = np.minimum(0.5 * (apart / sd) ** 2, moved)
    if len(earlier.stations) >= FEW_STATIONS:
        unlike = (1 - shape_correlation(earlier, later)) / (1 - CHANCE_CORRELATION)
        cost = cost + settings.pairing.unlike_cost * np.minimum(unlike, 1.5)
    return np.asarray(np.where(np.abs(apart) > settings.pairing.reach, IMPOSSIBLE, cost))


def assign(costs: FloatArray, price: float) -> NDArray[np.intp]:
    """(k, 2) pairs that make the sum of costs, and `price` for each mode left alone, the least."""
    n, m = costs.shape
    square = np.zeros((n + m, n + m))
    square[:n, :m] = costs
    square[:n, m:] = IMPOSSIBLE
    square[n:, :m] = IMPOSSIBLE
    square[np.arange(n), m + np.arange(n)] = price
    square[n + np.arange(m), np.arange(m)] = price
    from scipy.optimize import linear_sum_assignment  # a tenth of a second, which a single scan need not pay

    rows, columns = linear_sum_assignment(square)
    real = (rows < n) & (columns < m)
    return np.stack([rows[real], columns[real]], axis=1)


def pair_modes(earlier: ModeTable, later: ModeTable, scatter: FloatArray, settings: Settings) -> Pairing:
    """Pair two scans; the shared shift is found first coarsely, then from the pairs.

    scatter : (n,) relative sd expected of the frequency difference of each earlier mode.
    """
    none = np.empty((0, 2), dtype=np.intp)
    if not len(earlier) or not len(later):
        return Pairing(none, 0.0, np.empty(0), np.empty(0))
    shift = coarse_shift(earlier, later, settings)
    wide = np.maximum(scatter, COARSE_STEP_PPM * 1e-6)
    pairs = none
    for number in range(ROUNDS):
        costs = pair_costs(earlier, later, wide if number == 0 else scatter, shift, settings)
        pairs = assign(costs, settings.pairing.alone_cost)
        apart = later.log_frequency[pairs[:, 1]] - earlier.log_frequency[pairs[:, 0]]
        sd = np.hypot(scatter[pairs[:, 0]], later.frequency_sd[pairs[:, 1]])
        shift = robust_mean(apart, sd) if len(pairs) else shift
    costs = pair_costs(earlier, later, scatter, shift, settings)
    alike = shape_correlation(earlier, later)
    return Pairing(pairs, shift, costs[pairs[:, 0], pairs[:, 1]], alike[pairs[:, 0], pairs[:, 1]])


def robust_mean(values: FloatArray, sd: FloatArray) -> float:
    """Weighted mean around the weighted median by Tukey's biweight (from memory): far values weigh nothing.

    values, sd : (k,) in one unit.
    """
    order = np.argsort(values)
    weight = 1 / np.maximum(sd, 1e-9) ** 2
    weight = np.minimum(weight, 10 * np.median(weight))  # no single mode may rule
    total = np.cumsum(weight[order])
    centre = float(values[order][np.searchsorted(total, 0.5 * total[-1])])
    for _ in range(5):
        spread = max(1.4826 * float(np.median(np.abs(values - centre))), 1e-7)
        reach = 4.685 * np.maximum(np.sqrt(sd**2 + 0.0), spread)
        inside = np.clip(1 - ((values - centre) / reach) ** 2, 0, None) ** 2
        if not np.any(inside > 0):
            break
        centre = float(np.sum(weight * inside * values) / np.sum(weight * inside))
    return centre
