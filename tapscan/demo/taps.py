"""The sound of taps on simulated plates, in milliseconds, with the true list of modes.

A tap is a half-sine force at a station; the plate answers by modal superposition, in closed form both during and after
the contact; a sensor picks up the velocity at a point (contact pickup, m/s) or the sound pressure (microphone, Pa, a
rough Rayleigh sum that is not to be trusted in level below about 700 Hz).

``make_tap``    one tap
``scan``        all stations by strikes, with noise at a stated ratio
``snr_noise_rms``  what a stated ratio means: rms of the first 0.5 s of the median strike over full-band noise rms

Randomness comes only from the generator that is passed in: the same seed makes the same samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from tapscan.demo.plates import PlateModes

BLOCK = 256
SNR_WINDOW_S = 0.5
REFERENCE_VELOCITY_M_S = 0.05


class Force(Struct, frozen=True):
    """A half-sine: ``impulse_ns`` 0.02 to 0.5 N s, ``contact_s`` 2e-4 to 6e-4 s."""

    impulse_ns: float
    contact_s: float


SOFT = Force(0.03, 5e-4)
HARD = Force(0.30, 3e-4)
FORCES = {"soft": SOFT, "hard": HARD}


class TrueModes(Struct, frozen=True, eq=False):
    """What an estimator should find: ``frequency_hz``, ``decay_rate_per_s``, ``strength`` (n,), strength in sensor units."""

    frequency_hz: np.ndarray
    decay_rate_per_s: np.ndarray
    strength: np.ndarray


class Tap(Struct, frozen=True, eq=False):
    """One tap: ``samples`` (n,) float64; ``onset_s`` from the first sample; ``force_name`` "soft" or "hard"."""

    samples: np.ndarray
    sample_rate_hz: float
    onset_s: float
    station: str
    force_name: str
    force: Force
    truth: TrueModes


class Damping(Struct, frozen=True):
    """Amplitude-dependent damping: the decay rate grows by ``excess`` at a velocity of 0.05 m/s, in proportion."""

    excess: float = 0.0


def sensor_names(modes: PlateModes) -> list[str]:
    """Names of the sensors of a plate: contact pickups, then microphones."""
    meta = modes.table.meta
    return [s["name"] for s in meta["pickups"]] + [m["name"] for m in meta["microphones"]]


def sensor_gain(modes: PlateModes, sensor: str) -> np.ndarray:
    """(n,) complex: sensor signal per modal velocity."""
    names = sensor_names(modes)
    if sensor not in names:
        raise ValueError(f"no sensor {sensor!r}; there are: {', '.join(names)}")
    number, pickups = names.index(sensor), modes.pickup.shape[1]
    if number < pickups:
        return np.asarray(modes.pickup[:, number].astype(complex))
    return np.asarray(modes.microphone[:, number - pickups] * poles(modes))


def poles(modes: PlateModes) -> np.ndarray:
    """(n,) complex, 1/s."""
    return np.asarray(-modes.decay_rate_per_s + 2j * np.pi * modes.frequency_hz)


def station_shape(modes: PlateModes, station: str, offset_m: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """(n,) deflection where the hammer lands: at the station or ``offset_m`` beside it (first order)."""
    names = modes.table.station_names
    if station not in names:
        raise ValueError(f"no station {station!r}; there are {names[0]} to {names[-1]}")
    w = modes.station[:, :, names.index(station)]
    return np.asarray(w[:, 0] + w[:, 1] * offset_m[0] + w[:, 2] * offset_m[1])


def force_integral(force: Force, pole: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    """(times, n): integral of the force times exp(-pole t) from 0 to ``time_s`` (at most the contact time)."""
    t = np.clip(time_s, 0.0, force.contact_s)[:, None]
    b = np.pi / force.contact_s
    turned = np.exp(-pole * t) * (-pole * np.sin(b * t) - b * np.cos(b * t)) + b
    return np.asarray(force.impulse_ns * b / 2.0 * turned / (pole**2 + b**2))


def ring(
    pole: np.ndarray,
    start: np.ndarray,
    count: int,
    sample_rate_hz: float,
    bend: np.ndarray | None = None,
) -> np.ndarray:
    """(count,) real part of the sum of start exp(pole i / rate), in blocks of two matrix products.

    ``bend`` : (n,), 1 and more reduces the envelope as a / (1 + bend (1 - exp(-decay t))), the closed form of a decay
    rate that grows with amplitude.
    """
    turns = _turns((pole / sample_rate_hz).tobytes(), -(-count // BLOCK))
    outer = start * turns.outer
    if bend is None or not bend.any():
        return np.asarray((outer.real @ turns.inner.real - outer.imag @ turns.inner.imag).ravel()[:count])
    less = 1.0 / (1.0 + bend * (1.0 - turns.edges))
    total = (outer * less[:-1]) @ turns.inner + (outer * np.diff(less, axis=0)) @ turns.slope
    return np.asarray(total.real.ravel()[:count])


class _Turns(Struct, frozen=True, eq=False):
    """Of n modes: ``inner`` (n, BLOCK) within a block, ``slope`` the same from 0 to its end, ``outer`` (blocks, n) where blocks begin, ``edges`` (blocks + 1, n) how far they have decayed there."""

    inner: np.ndarray
    slope: np.ndarray
    outer: np.ndarray
    edges: np.ndarray


@lru_cache(maxsize=4)  # all taps of a scan ring in the same modes
def _turns(steps: bytes, blocks: int) -> _Turns:
    step = np.frombuffer(steps, dtype=complex)
    inner = np.exp(np.outer(step, np.arange(BLOCK)))
    outer = np.exp(np.outer(np.arange(blocks) * BLOCK, step))
    edges = np.exp(np.outer(np.arange(blocks + 1) * BLOCK, step.real))
    return _Turns(inner, inner * (np.arange(BLOCK) / BLOCK), outer, edges)


def respond(
    modes: PlateModes,
    shape: np.ndarray,
    gain: np.ndarray,
    force: Force,
    count: int,
    sample_rate_hz: float,
    onset_s: float,
    damping: Damping,
) -> tuple[np.ndarray, np.ndarray]:
    """(count,) sensor signal of one force pulse and (n,) strength of each mode when the force has ended."""
    pole = poles(modes)
    factor = shape * gain * (1.0 + 1j * modes.decay_rate_per_s / (2.0 * np.pi * modes.frequency_hz))
    time = np.arange(count) / sample_rate_hz - onset_s
    first, free = np.searchsorted(time, [0.0, force.contact_s])
    out = np.zeros(count)
    during = time[first:free]
    out[first:free] = (force_integral(force, pole, during) * np.exp(np.outer(during, pole)) @ factor).real
    end = force_integral(force, pole, np.array([force.contact_s]))[0]
    if free < count:
        moving = 2.0 * np.abs(shape * end) / np.sqrt(modes.table.meta["mass_kg"])
        bend = damping.excess * moving / REFERENCE_VELOCITY_M_S
        start = factor * end * np.exp(pole * time[free])
        out[free:] = ring(pole, start, count - int(free), sample_rate_hz, bend)
    return out, np.abs(factor * end * np.exp(pole * force.contact_s))


def make_tap(
    modes: PlateModes,
    station: str,
    force: Force,
    sensor: str,
    sample_rate_hz: float,
    duration_s: float,
    onset_s: float = 0.1,
    offset_m: tuple[float, float] = (0.0, 0.0),
    force_name: str = "",
    damping: Damping | None = None,
    second_hit: tuple[float, float] | None = None,
) -> Tap:
    """One tap, without noise.

    ``duration_s`` : of the record, onset included. ``second_hit`` : (delay in s, impulse over that of the first hit).
    The true list holds the modes below half the sample rate; modes above are left out of the sound as well.
    """
    heard = modes.frequency_hz < 0.48 * sample_rate_hz
    modes = select_modes(modes, heard)
    count = round(duration_s * sample_rate_hz)
    shape, gain = station_shape(modes, station, offset_m), sensor_gain(modes, sensor)
    damping = damping or Damping()
    samples, strength = respond(modes, shape, gain, force, count, sample_rate_hz, onset_s, damping)
    if second_hit is not None:
        again = replace(force, impulse_ns=force.impulse_ns * second_hit[1])
        late, _ = respond(
            modes,
            shape,
            gain,
            again,
            count,
            sample_rate_hz,
            onset_s + second_hit[0],
            damping,
        )
        samples = samples + late
    truth = TrueModes(modes.frequency_hz, modes.decay_rate_per_s, strength)
    return Tap(samples, sample_rate_hz, onset_s, station, force_name, force, truth)


def select_modes(modes: PlateModes, keep: np.ndarray) -> PlateModes:
    """The modes for which ``keep`` (n,) is true."""
    return replace(
        modes,
        frequency_hz=modes.frequency_hz[keep],
        decay_rate_per_s=modes.decay_rate_per_s[keep],
        station=modes.station[keep],
        clamp=modes.clamp[keep],
        pickup=modes.pickup[keep],
        microphone=modes.microphone[keep],
        hinge=modes.hinge[keep],
    )


def snr_noise_rms(taps: Sequence[Tap], snr_db: float) -> float:
    """Noise rms that puts the median strike ``snr_db`` above it, by the rms of its first 0.5 s."""
    levels = []
    for tap in taps:
        start = round(tap.onset_s * tap.sample_rate_hz)
        part = tap.samples[start : start + round(SNR_WINDOW_S * tap.sample_rate_hz)]
        levels.append(np.sqrt(np.mean(part**2)))
    return float(np.median(levels) * 10.0 ** (-snr_db / 20.0))


def draw_force(rng: np.random.Generator, name: str) -> Force:
    """A soft or hard hand: impulse +-25 %, contact time +-8 % around ``SOFT`` or ``HARD``."""
    if name not in FORCES:
        raise ValueError(f"force {name!r}: say soft or hard")
    base = FORCES[name]
    return Force(
        base.impulse_ns * float(np.exp(0.25 * rng.standard_normal())),
        base.contact_s * float(rng.uniform(0.92, 1.08)),
    )


def scan(
    modes: PlateModes | Sequence[PlateModes],
    sensor: str,
    sample_rate_hz: float,
    rng: np.random.Generator,
    order: Sequence[str] = ("soft", "hard", "hard"),
    stations: Sequence[str] | None = None,
    duration_s: float = 3.0,
    snr_db: float | None = 50.0,
    hit_scatter_m: float = 0.006,
    damping: Damping | None = None,
    peak: float | None = 0.5,
) -> list[Tap]:
    """Taps of a whole scan: every station, one strike for each word of ``order``.

    ``modes`` : one plate, or one for each station in turn (a plate that warms or creeps during the scan).
    ``hit_scatter_m`` : standard deviation of the hammer's place, per axis over sqrt(2). ``snr_db`` : None: no noise.
    ``peak`` : the loudest sample of the scan, full scale = 1; None keeps physical units, of the noise as well.
    """
    first = modes if isinstance(modes, PlateModes) else modes[0]
    stations = list(stations or first.table.station_names)
    plates = [modes] * len(stations) if isinstance(modes, PlateModes) else list(modes)
    taps = []
    for plate, station in zip(plates, stations, strict=True):
        for word in order:
            dx, dy = hit_scatter_m / np.sqrt(2.0) * rng.standard_normal(2)
            force = draw_force(rng, word)
            onset_s = 0.1 + float(rng.uniform(0.0, 1.0 / sample_rate_hz))
            tap = make_tap(plate, station, force, sensor, sample_rate_hz, duration_s, onset_s, (dx, dy), word, damping)
            taps.append(tap)
    if snr_db is not None:
        taps = add_noise(taps, snr_noise_rms(taps, snr_db), rng)
    return taps if peak is None else scale_to(taps, peak)


def add_noise(taps: Sequence[Tap], rms: float, rng: np.random.Generator) -> list[Tap]:
    """The taps with white noise of one rms."""
    return [replace(t, samples=t.samples + rms * rng.standard_normal(len(t.samples))) for t in taps]


def scale_to(taps: Sequence[Tap], peak: float) -> list[Tap]:
    """All taps by one gain, so that the loudest sample of all is ``peak``; amplitudes follow."""
    gain = peak / max(float(np.max(np.abs(t.samples))) for t in taps)
    return [
        replace(t, samples=t.samples * gain, truth=replace(t.truth, strength=t.truth.strength * gain)) for t in taps
    ]
