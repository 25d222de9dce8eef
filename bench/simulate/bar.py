"""The sound of a free steel bar that is tapped near its end: what a shop's reference bar gives. Simulated.

    draw_bar(rng)                Bar
    Bar.tones()                  frequency in Hz and mode shape number of both planes of bending
    set_up(bar, rng, ...)        SetUp: the bar as it lies that day, and what hears it
    recording(set_up, taps, rng) (n,) samples, full scale = 1, silenced by hand between the taps

Free-free bending after Euler and Bernoulli, cos b cosh b = 1 (b in Thomson, Theory of Vibration, appendix D; Blevins gives the same table), lowered by rotary inertia and shear to
first order (Timoshenko; from memory, some per cent at the fifth tone). Torsion and length are left out. A weight m at x lowers a tone by m / 2M times the square of its
shape there over its mean (Rayleigh).
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct, field
from scipy.optimize import brentq
from scipy.signal import butter, sosfilt

from tapscan.demo.taps import ring

STEEL_PA, STEEL_KG_M3, POISSON, SHEAR_SHARE = 210e9, 7850.0, 0.29, 0.85
PER_K = (-0.00016, -0.00011)  # 1/K, range of tapscan/settings/bar.py
SHAPES = 8
TAP_S, LEAD_S, SILENCED_S = 3.0, 1.0, 0.25


def roots(count: int) -> np.ndarray:
    """(count,) b with cos b cosh b = 1, the first 4.7300."""
    near = [(k + 0.5) * np.pi for k in range(1, count + 1)]
    return np.array([brentq(lambda b: np.cos(b) - 1 / np.cosh(b), b - 0.3, b + 0.3, xtol=1e-13) for b in near])


def shape(b: float, place: float) -> float:
    """Deflection of the tone `b` at `place` (0 to 1 of the length), mean square over the length 1."""
    sigma = (np.cosh(b) - np.cos(b)) / (np.sinh(b) - np.sin(b))
    x = b * min(place, 1 - place)
    side = 1.0 if place <= 0.5 else (1.0 if round(b / np.pi - 0.5) % 2 else -1.0)
    return float(side * (np.cosh(x) + np.cos(x) - sigma * (np.sinh(x) + np.sin(x))))


class Bar(Struct, frozen=True):
    """Sizes in m."""

    length_m: float
    width_m: float
    thickness_m: float
    per_k: float
    q: tuple[float, ...]  # of each tone, thin plane then wide

    @property
    def mass_kg(self) -> float:
        """Of steel."""
        return STEEL_KG_M3 * self.length_m * self.width_m * self.thickness_m

    def tones(self) -> tuple[np.ndarray, np.ndarray]:
        """Frequencies in Hz, and b of each; thin plane, then wide."""
        b = roots(SHAPES)
        f = np.concatenate([_bending_hz(b, self.length_m, d) for d in (self.thickness_m, self.width_m)])
        return f, np.tile(b, 2)


def _bending_hz(b: np.ndarray, length_m: float, depth_m: float) -> np.ndarray:
    plain = b**2 * depth_m / (2 * np.pi * length_m**2) * np.sqrt(STEEL_PA / (12 * STEEL_KG_M3))
    shear = 1 + 2 * (1 + POISSON) / SHEAR_SHARE
    return np.asarray(plain / np.sqrt(1 + (b * depth_m / length_m) ** 2 / 12 * shear))


def draw_bar(rng: np.random.Generator) -> Bar:
    """What a shop keeps: a third to two thirds of a metre."""
    q = np.exp(rng.normal(np.log(1500), 0.5, 2 * SHAPES))
    return Bar(
        rng.uniform(0.3, 0.6), rng.uniform(0.025, 0.045), rng.uniform(0.008, 0.014), rng.uniform(*PER_K), tuple(q)
    )


class Chain(Struct, frozen=True):
    """What hears the bar, and how it differs from usual."""

    rate_hz: int = 48_000
    clock: float = 0.0  # tones are read too high by this share
    warmer_k: float = 0.0
    gain_db: float = 0.0  # of all that comes in, noise included
    sensor_db: float = 0.0  # of the sensor, in front of a noise that stays
    low_pass_hz: float | None = None  # of the sensor
    noise_db: float = -68.0  # rms re full scale
    pickup_kg: float = 0.0  # at the middle of the bar
    other_supports: bool = False  # it lies on other, harder supports, away from its nodes


class SetUp(Struct, frozen=True, eq=False):
    """Tones as they are that day, and the hand."""

    chain: Chain
    frequency_hz: np.ndarray
    decay_rate_per_s: np.ndarray
    b: np.ndarray
    side: np.ndarray  # how strongly each plane is struck
    hand_db: float
    contact_s: float
    place: float = field(default=0.04)


def set_up(bar: Bar, chain: Chain, rng: np.random.Generator) -> SetUp:
    """Put on its supports anew: each tone moves by some millionths, low ones by more; three taps by another hand."""
    f, b = bar.tones()
    supports = rng.normal(0, 3e-6 + 20e-6 * (300 / f) ** 2)
    if chain.other_supports:
        supports = supports + np.abs(rng.normal(0, 400e-6 * (600 / f)))
    place = 0.5 + rng.normal(0, 0.001) / bar.length_m
    load = [-chain.pickup_kg / (2 * bar.mass_kg) * shape(x, place) ** 2 for x in b]
    f = f * (1 + supports + np.array(load) + bar.per_k * chain.warmer_k) * (1 + chain.clock)
    decay = np.pi * f / np.array(bar.q) * np.exp(rng.normal(0, 0.15, len(f)))
    side = np.repeat([1.0, rng.uniform(0.1, 0.4)], SHAPES)
    return SetUp(chain, f, decay, b, side, rng.normal(0, 2.0), 2.5e-4 * np.exp(rng.normal(0, 0.1)))


def recording(made: SetUp, taps: int, rng: np.random.Generator, silenced_s: float = SILENCED_S) -> np.ndarray:
    """(n,) some taps, TAP_S apart; so long before the next the bar is silenced."""
    rate = made.chain.rate_hz
    n = round(TAP_S * rate)
    sound = np.concatenate([np.zeros(round(LEAD_S * rate)), *(_tap(made, n, rng, silenced_s) for _ in range(taps))])
    if made.chain.low_pass_hz:
        sound = sosfilt(butter(2, made.chain.low_pass_hz, fs=rate, output="sos"), sound)
    sound = 10 ** (made.chain.sensor_db / 20) * sound + rng.normal(0, 10 ** (made.chain.noise_db / 20), len(sound))
    return np.asarray(10 ** (made.chain.gain_db / 20) * sound)


def _tap(made: SetUp, n: int, rng: np.random.Generator, silenced_s: float) -> np.ndarray:
    """Half-sine blow near the end; a finger silences the bar at last."""
    rate, f = made.chain.rate_hz, made.frequency_hz
    keep = f < 0.45 * rate
    place = float(np.clip(made.place + rng.normal(0, 0.008), 0.0, 0.2))
    contact = made.contact_s * np.exp(rng.normal(0, 0.05))
    half_sine = np.abs(np.cos(np.pi * f * contact) / (1 - (2 * f * contact) ** 2))
    size = np.array([shape(x, place) for x in made.b]) * made.side * half_sine
    size = 0.04 * 10 ** ((made.hand_db + rng.normal(0, 1.5)) / 20) * size
    time = np.arange(n) / rate
    poles = -made.decay_rate_per_s[keep] + 2j * np.pi * f[keep]
    rung = ring(poles, -1j * size[keep], n, rate)
    return np.asarray(rung * np.minimum(1.0, np.exp(-(time - (TAP_S - silenced_s)) * 40)))
