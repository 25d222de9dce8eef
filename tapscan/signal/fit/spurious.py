"""Poles that are only the room's (or a curved decay's) work on a stronger mode.

    echoes(frequency_hz, decay_rate_per_s, amplitudes, stations)    (M,) bool
    without_satellites(poles)                                       those that do not only mend a far stronger one
    explained(pattern, frequency_hz, ...)                           share of one pattern that stronger neighbours hold

The microphone stays put while the hammer roves, so whatever a room does to a mode's sound it does alike at
every strike: the mode's spectrum is bent, its pattern of amplitudes over the strikes is not. A pole whose pattern is a
mixture of its stronger neighbours' patterns is therefore no mode of the plate. Between a few stations
any pattern is a mixture of others, so the rule needs at least EIGHT stations.
"""

from collections.abc import Sequence

import numpy as np

from tapscan.records import ComplexArray, FloatArray, Pole

LEAST_STATIONS = 8  # fewer have too few patterns to tell modes by
STATIONS_A_NEIGHBOUR = 4  # how many stations there must be for each neighbour that is asked
MIXTURE = 0.85  # share of the pattern's energy; of a chance pattern four neighbours hold about four in twenty
STRONGER = 2.0  # in energy
SATELLITE_WIDTHS, SATELLITE_SHARE = 0.5, 10**-2.6
REACH_WIDTHS, REACH_HZ = 4.0, 25.0
RIDGE = 1e-12  # patterns that are one but for rounding


def echoes(
    frequency_hz: FloatArray, decay_rate_per_s: FloatArray, amplitudes: ComplexArray, stations: int
) -> np.ndarray:
    """Which of M poles are mixtures of stronger ones. amplitudes : (M, S) over all strikes of all stations."""
    many = len(frequency_hz)
    if stations < LEAST_STATIONS or many < 2:
        return np.zeros(many, dtype=bool)
    gram = amplitudes.conj() @ amplitudes.T
    own = np.diag(gram).real
    energy = own / decay_rate_per_s
    away = np.abs(frequency_hz[:, None] - frequency_hz)
    near = (energy > STRONGER * energy[:, None]) & (
        away < np.maximum(REACH_WIDTHS * decay_rate_per_s / np.pi, REACH_HZ)
    )
    tail = _tails(near, energy, away, decay_rate_per_s)
    most = min(int(near.sum(axis=1).max()), stations // STATIONS_A_NEIGHBOUR)
    chosen = np.argsort(tail, axis=1)[:, ::-1][:, :most]
    used = np.take_along_axis(near, chosen, axis=1)
    scale = np.sqrt(own + 1e-300)
    mac = gram / np.outer(scale, scale)
    among = np.where(used[:, :, None] & used[:, None, :], mac[chosen[:, :, None], chosen[:, None, :]], 0.0)
    among += (~used + RIDGE)[:, :, None] * np.eye(most)
    held = np.where(used, mac[chosen, np.arange(many)[:, None]], 0.0)
    share = np.sum(held.conj() * np.linalg.solve(among, held[:, :, None])[:, :, 0], axis=1).real
    return np.asarray(share > MIXTURE)


def _tails(near: np.ndarray, energy: FloatArray, away: FloatArray, decay_rate_per_s: FloatArray) -> FloatArray:
    """What of each mode's energy is left at another's frequency; 0 where it is not near."""
    with np.errstate(over="ignore"):  # far from a mode that hardly decays nothing is left of it
        return np.where(near, energy / (1 + (2 * np.pi * away / decay_rate_per_s) ** 2), 0.0)


def explained(
    pattern: ComplexArray,
    frequency_hz: float,
    decay_rate_per_s: float,
    others: tuple[FloatArray, FloatArray, ComplexArray],
    stations: int,
) -> float:
    """Share of a pattern's (S,) energy that the patterns of its strongest near neighbours hold, 0 to 1."""
    f, d, a = others
    energy = np.sum(np.abs(a) ** 2, axis=1) / d
    own = float(np.sum(np.abs(pattern) ** 2)) / decay_rate_per_s
    away = np.abs(f - frequency_hz)
    near = (energy > STRONGER * own) & (away < np.maximum(REACH_WIDTHS * d / np.pi, REACH_HZ))
    if not near.any():
        return 0.0
    tail = _tails(near, energy, away, d)
    most = min(int(near.sum()), stations // STATIONS_A_NEIGHBOUR)
    chosen = np.argsort(tail)[::-1][:most]
    q, _ = np.linalg.qr(a[chosen].T)
    return float(np.sum(np.abs(q.conj().T @ pattern) ** 2) / np.sum(np.abs(pattern) ** 2))


def without_satellites(poles: Sequence[Pole]) -> list[Pole]:
    """Without poles that only mend a far stronger one next to them.

    Where a plate warms, or its damping changes with amplitude, the model fits no mode to the last bit, and at 50 dB over the noise
    what is left looks like a faint mode within the strong one's width.
    """
    if not poles:
        return []
    f, width = np.array([p.frequency_hz for p in poles]), np.array([p.decay_rate_per_s for p in poles]) / np.pi
    energy = np.array([np.sum(np.abs(p.amplitudes) ** 2) for p in poles]) / width
    near = np.abs(f[:, None] - f[None, :]) < SATELLITE_WIDTHS * width[None, :]
    overshadowed = (near & (energy[:, None] < SATELLITE_SHARE * energy[None, :])).any(axis=1)
    return [p for p, gone in zip(poles, overshadowed, strict=True) if not gone]
