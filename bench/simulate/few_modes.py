"""Structures of few modes whose places disagree: beams, frames of near pairs, and modes strewn at random.

    drawn(kind, places, rng)         Structure
    taps_of(structure, rng)          {place: samples}, full scale = 1, and how clear each mode is

A mass that roves with the hammer, or a hand that holds the thing elsewhere, lowers each mode at each place by its own amount, the more the more
the mode moves there (Rayleigh): scatter of a mode's frequency from place to place. Closed-form sums of damped cosines, no plate
and nothing of tapscan/demo: the road of the estimator is not used. SIMULATED.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from tapscan.records import FloatArray

KINDS = ("beam", "pairs", "strewn")
LOW_HZ, HIGH_HZ = 70.0, 1440.0
RATE_HZ, TAP_S, ONSET_S = 8_000, 3.0, 0.3
FORCES = {"soft": 0.25, "hard": 1.0}
CONTACT_S = 4e-4
ORDER = ("soft", "hard", "hard")
LEAST_WIDTHS = 3.0  # between two modes: linewidths, and
LEAST_PPM = 4000.0  # of the frequency: beyond the largest scatter of a place
HUM_HZ = 50.0
FORCE_SPREAD = 0.2
WANDER_HZ = 6.0  # drift of the amplifier: noise below


class Structure(Struct, frozen=True, eq=False):
    """M modes at K places."""

    kind: str
    frequency_hz: FloatArray  # (M, K) at each place
    loss_factor: FloatArray  # (M,)
    shape: FloatArray  # (M, K) hammer, times the sensor's
    snr_db: float  # rms of the first half second of the middle tap over the noise
    hum_db: float  # rms of the hum over that of the same
    wander_db: float

    @property
    def middle_hz(self) -> FloatArray:
        """(M,) as heard, places weighed by the energy they show."""
        weight = self.shape**2
        return np.asarray(np.sum(weight * self.frequency_hz, axis=1) / np.sum(weight, axis=1))

    @property
    def scatter_hz(self) -> FloatArray:
        """(M,) standard deviation from place to place."""
        return np.asarray(self.frequency_hz.std(axis=1))


def drawn(kind: str, places: int, rng: np.random.Generator) -> Structure:
    """5 to 15 modes; the scatter of the places 100 to 500 ppm, hum and drift at random."""
    many = int(rng.integers(5, 16))
    loss = np.exp(rng.uniform(np.log(0.0015), np.log(0.01))) * np.exp(0.2 * rng.standard_normal(many))
    f, loss = _frequencies(kind, many, loss, rng)
    shape, sensor = _shapes(kind, len(f), places, rng)
    mass = shape**2 / np.mean(shape**2)
    lowered = np.exp(rng.uniform(np.log(100.0), np.log(500.0))) * 1e-6 * mass / mass.std()
    warming = rng.uniform(-30.0, 30.0) * 1e-6 * np.linspace(-0.5, 0.5, places)
    return Structure(
        kind=kind,
        frequency_hz=f[:, None] * (1 - lowered + warming),
        loss_factor=loss,
        shape=shape * sensor[:, None],
        snr_db=float(rng.uniform(30.0, 55.0)),
        hum_db=float(rng.uniform(-50.0, -25.0)),
        wander_db=float(rng.uniform(-50.0, -25.0)),
    )


def _frequencies(kind: str, many: int, loss: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Those that fit below HIGH_HZ and lie no nearer than they may; in order."""
    if kind == "beam":
        f = rng.uniform(LOW_HZ, 90.0) * ((2 * np.arange(1, many + 1) + 1) / 3) ** 2  # free bar, Rayleigh
    else:
        f = np.sort(np.exp(rng.uniform(np.log(LOW_HZ), np.log(HIGH_HZ), many)))
    if kind == "pairs":
        f[1::2] = f[: len(f[1::2]) * 2 : 2] * (1 + rng.uniform(0.005, 0.03, len(f[1::2])))
        f = np.sort(f)
    kept: list[int] = []
    for i in np.flatnonzero(f < HIGH_HZ):
        least = max(LEAST_WIDTHS * loss[i], 1e-6 * LEAST_PPM)
        if not kept or f[i] / f[kept[-1]] - 1 > least:
            kept.append(int(i))
    return f[kept], loss[kept]


def _shapes(kind: str, many: int, places: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """(M, K) where the hammer falls and (M,) where the sensor is."""
    if kind == "beam":
        order, at = np.arange(1, many + 1) + 0.5, rng.uniform(0.0, 1.0, places)
        return np.cos(np.pi * np.outer(order, at)), np.cos(np.pi * order * rng.uniform(0.0, 0.1))
    return rng.standard_normal((many, places)), rng.choice([-1.0, 1.0], many) * np.exp(0.5 * rng.standard_normal(many))


def taps_of(structure: Structure, rng: np.random.Generator) -> tuple[dict[str, FloatArray], FloatArray]:
    """(n,) of each place, its taps one after the other; and (M,) how clear each mode is (see clear_db)."""
    places = structure.shape.shape[1]
    hands = FORCE_SPREAD * rng.standard_normal((places, len(ORDER)))
    clean = [
        [_tap(structure, k, FORCES[w] * np.exp(h), rng) for w, h in zip(ORDER, hands[k], strict=True)]
        for k in range(places)
    ]
    first, half = round(ONSET_S * RATE_HZ), RATE_HZ // 2
    level = float(np.median([np.sqrt(np.mean(t[first : first + half] ** 2)) for taps in clean for t in taps]))
    noise = level * 10 ** (-structure.snr_db / 20)
    out = {f"S{k + 1}": np.concatenate(taps) for k, taps in enumerate(clean)}
    out = {name: x + _noise(len(x), level, noise, structure, rng) for name, x in out.items()}
    peak = max(float(np.abs(x).max()) for x in out.values())
    return {name: 0.5 * x / peak for name, x in out.items()}, clear_db(structure, noise)


def _tap(structure: Structure, place: int, force: float, rng: np.random.Generator) -> FloatArray:
    t = np.arange(round(TAP_S * RATE_HZ)) / RATE_HZ - ONSET_S - float(rng.uniform(0, 1 / RATE_HZ))
    f = structure.frequency_hz[:, place, None]
    pushed = np.sinc(f * CONTACT_S)  # of a pulse of that length
    rings = np.exp(-np.pi * f * structure.loss_factor[:, None] * t) * np.sin(2 * np.pi * f * t)
    return np.asarray(np.where(t >= 0, force * (structure.shape[:, place] * pushed[:, 0]) @ rings, 0.0))


def _noise(count: int, level: float, rms: float, structure: Structure, rng: np.random.Generator) -> FloatArray:
    """White, mains and three of its overtones, and drift."""
    t = np.arange(count) / RATE_HZ
    hum = sum(rng.uniform(0.3, 1) * np.sin(2 * np.pi * (n * HUM_HZ * t + rng.uniform())) for n in (1, 2, 3, 5))
    spectrum = np.fft.rfft(rng.standard_normal(count))
    spectrum[np.fft.rfftfreq(count, 1 / RATE_HZ) > WANDER_HZ] = 0.0
    wander = np.fft.irfft(spectrum, count)
    own = {structure.hum_db: hum, structure.wander_db: wander}
    return np.asarray(
        rms * rng.standard_normal(count) + sum(level * 10 ** (db / 20) * x / x.std() for db, x in own.items())
    )


def clear_db(structure: Structure, noise: float) -> FloatArray:
    """(M,) how far a mode's line stands over the noise in the plain spectrum of a hard tap's record, at the place that shows it best."""
    decay = np.pi * structure.frequency_hz * structure.loss_factor[:, None]
    size = FORCES["hard"] * np.abs(structure.shape * np.sinc(structure.frequency_hz * CONTACT_S))
    line = (size / decay * RATE_HZ / 2) ** 2
    floor = noise**2 * (TAP_S - ONSET_S) * RATE_HZ
    return np.asarray(10 * np.log10((line / floor).max(axis=1)))
