"""A crack whose faces touch during the tap: the same plate, stepped in time.

The table's part-depth case is the open crack. Two contact springs, one for each half of the crack's width, press on its
faces when the mouth has closed by more than ``gap_m``; a negative gap means the crack is pressed shut at rest and opens
only when the tap pulls it by more than that. The step is a kick by the contact force and an exact drift of the free
modes, so it adds no damping of its own. Modes left out of the table would let closed faces give a little; the contact
stiffness stands for that too, which is why it is fitted and not infinite. Once the motion stays within the gap the rest is linear and in closed form.

Source of the idea: bilinear crack stiffness (Chati, Rand and Mukherjee 1997, from memory). Contact stiffness and lever
are guesses; see docs/simulated-plates.md.

``Breathing``       gap, contact stiffness, lever
``restoring_ratio``  the contact stiffness at which pressed faces restore the sound plate
``closed_modes``    the linear modes with the faces pressed together
``breathing_taps``  taps on such a plate, many at once; a second or two for a whole scan
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench.simulate.contact_steps import Motion
from tapscan.demo.plates import PlateModes, Table
from tapscan.demo.taps import (
    Force,
    Tap,
    make_tap,
    poles,
    ring,
    sensor_gain,
    station_shape,
)

STEP_RATE_HZ = 96000.0
CHECK_SAMPLES = 512  # a multiple of those of a block


class Breathing(Struct, frozen=True):
    """A touching crack.

    ``gap_m`` : -1e-5 to 1e-5, rest opening of the mouth. ``closed_ratio`` : stiffness added by touching faces over
    that of the open part-depth crack; None takes ``restoring_ratio``. ``lever_m`` : mouth to hinge point, so that
    opening = lever times rotation.
    """

    gap_m: float
    closed_ratio: float | None = None
    lever_m: float = 0.028

    def contact_stiffness(self, modes: PlateModes) -> np.ndarray:
        """(2,) N m/rad that touching faces add at each half of the crack."""
        if not modes.hinge_stiffness.any():
            raise ValueError(f"{modes.label!r} has no part-depth crack; take a case of kind depth")
        ratio = restoring_ratio(modes.table, modes.label) if self.closed_ratio is None else self.closed_ratio
        return np.asarray(ratio * modes.hinge_stiffness)


@cache
def restoring_ratio(table: Table, label: str) -> float:
    """``closed_ratio`` that brings the first 60 free modes of a part-depth case closest to the sound plate's."""
    case, a = table.case_index(label), table.arrays
    omega2 = (2.0 * np.pi * a["frequency_hz"][case]) ** 2
    turn, stiffness = a["hinge_rotation"][case], a["hinge_stiffness"][case]
    wanted = a["frequency_hz"][0][3:63]

    def miss(log_ratio: float) -> float:
        values = np.linalg.eigvalsh(np.diag(omega2) + np.exp(log_ratio) * (turn * stiffness) @ turn.T)
        return float(np.sum(np.log(np.sqrt(values[3:63]) / (2.0 * np.pi * wanted)) ** 2))

    grid = np.linspace(np.log(0.05), np.log(50.0), 25)
    for _ in range(3):
        best = grid[np.argmin([miss(x) for x in grid])]
        step = grid[1] - grid[0]
        grid = np.linspace(best - step, best + step, 13)
    return float(np.exp(best))


class Strike(Struct, frozen=True):
    """What hits: station, force, its name, offset in m."""

    station: str
    force: Force
    force_name: str = ""
    offset_m: tuple[float, float] = (0.0, 0.0)


def _closed_basis(modes: PlateModes, crack: Breathing) -> tuple[np.ndarray, np.ndarray]:
    """Squared angular frequencies and (n, n) shapes of the closed state in the open state's modes."""
    rotational = crack.contact_stiffness(modes)
    omega2 = (2.0 * np.pi * modes.frequency_hz) ** 2
    values, mix = np.linalg.eigh(np.diag(omega2) + (modes.hinge * rotational) @ modes.hinge.T)
    return values, mix


def closed_modes(modes: PlateModes, crack: Breathing) -> PlateModes:
    """Modes with the faces pressed together, in the basis of the open crack's modes."""
    values, mix = _closed_basis(modes, crack)
    return replace(
        modes,
        frequency_hz=np.sqrt(values) / (2.0 * np.pi),
        decay_rate_per_s=(mix**2).T @ modes.decay_rate_per_s,
        station=np.tensordot(mix.T, modes.station, axes=1),
        clamp=mix.T @ modes.clamp,
        pickup=mix.T @ modes.pickup,
        microphone=mix.T @ modes.microphone,
        hinge=mix.T @ modes.hinge,
    )


def _motion(modes: PlateModes, crack: Breathing, sensor: str, rate_hz: float, sub: int) -> Motion:
    """At so many steps a second."""
    omega, mouth = 2.0 * np.pi * modes.frequency_hz, crack.lever_m * modes.hinge
    linear = crack.contact_stiffness(modes) / crack.lever_m**2
    return Motion(
        turn=np.exp(poles(modes) / rate_hz),
        opening_of=mouth / omega[:, None],
        kick=(linear / rate_hz)[:, None] * mouth.T,
        hear=sensor_gain(modes, sensor) * (1.0 + 1j * modes.decay_rate_per_s / omega),
        gap_m=crack.gap_m,
        sub=sub,
    )


def breathing_taps(
    modes: PlateModes,
    crack: Breathing,
    strikes: Sequence[Strike],
    sensor: str,
    sample_rate_hz: float,
    duration_s: float,
    onset_s: float = 0.1,
) -> list[Tap]:
    """Taps on a plate whose crack breathes; the true list is that of the state at rest (open, or closed if pressed shut).

    ``modes`` : of a case of kind depth. All strikes share ``onset_s``, moved to the nearest sample.
    """
    sub = int(np.ceil(STEP_RATE_HZ / sample_rate_hz))
    run = _motion(modes, crack, sensor, sub * sample_rate_hz, sub)
    first = round(onset_s * sample_rate_hz)
    count = round(duration_s * sample_rate_hz)
    at_rest = modes if crack.gap_m > 0 else closed_modes(modes, crack)
    sound = np.zeros((len(strikes), count))
    state, at = _pushed(run, modes, strikes, sound, first, sub * sample_rate_hz)
    state, at = _until_linear(run, state, sound, at)
    if at < count:
        mix = np.eye(state.shape[1]) if crack.gap_m > 0 else _closed_basis(modes, crack)[1]
        _finish(modes, at_rest, mix, state, sensor, sound, at, sample_rate_hz)
    onset_s = first / sample_rate_hz
    return [
        _tap(at_rest, strike, sensor, sample_rate_hz, onset_s, samples)
        for samples, strike in zip(sound, strikes, strict=True)
    ]


def _tap(at_rest: PlateModes, strike: Strike, sensor: str, rate_hz: float, onset_s: float, samples: np.ndarray) -> Tap:
    """A stepped tap with the true list of the linear plate at rest."""
    linear = make_tap(
        at_rest,
        strike.station,
        strike.force,
        sensor,
        rate_hz,
        onset_s + 0.05,
        onset_s,
        strike.offset_m,
        strike.force_name,
    )
    return replace(linear, samples=samples)


def _pushed(
    run: Motion, modes: PlateModes, strikes: Sequence[Strike], sound: np.ndarray, first: int, step_rate_hz: float
) -> tuple[np.ndarray, int]:
    """Fill ``sound`` while the hammer pushes; returns the state and the sample it is of, where a block of steps may begin."""
    shapes = np.stack([station_shape(modes, s.station, s.offset_m) for s in strikes])
    impulse, contact = (np.array([getattr(s.force, x) for s in strikes]) for x in ("impulse_ns", "contact_s"))
    state = np.zeros(shapes.shape, dtype=complex)
    last, step, sample = contact.max() * step_rate_hz + 1, 0, first
    while sample < sound.shape[1] and (step < last or (sample - 1) % run.block.samples):
        sound[:, sample] = run.sound(state)
        for step in range((sample - first) * run.sub, (sample - first + 1) * run.sub):
            t = np.minimum(step / step_rate_hz, contact)
            push = impulse * np.pi / (2.0 * contact) * np.sin(np.pi * t / contact) / step_rate_hz
            run.step(state, push[:, None] * shapes)
        sample += 1
    return state, sample


def _until_linear(run: Motion, state: np.ndarray, sound: np.ndarray, at: int) -> tuple[np.ndarray, int]:
    """Fill ``sound`` from sample ``at`` on; returns the state and the sample from which all taps are linear."""
    while at < sound.shape[1]:
        if (at - 1) % CHECK_SAMPLES == 0 and run.stays_linear(state):
            break
        heard, state = run.block.after(state)
        part = sound[:, at : at + run.block.samples]
        part[:] = heard[:, : part.shape[1]]
        at += run.block.samples
    return state, at


def _finish(
    modes: PlateModes,
    at_rest: PlateModes,
    mix: np.ndarray,
    state: np.ndarray,
    sensor: str,
    sound: np.ndarray,
    at: int,
    rate_hz: float,
) -> None:
    """The linear rest of each tap in closed form, in the modes of the state at rest."""
    q = state.imag / (2.0 * np.pi * modes.frequency_hz)
    velocity = state.real - modes.decay_rate_per_s * q
    q, velocity = q @ mix, velocity @ mix
    omega_rest = 2.0 * np.pi * at_rest.frequency_hz
    start = velocity + at_rest.decay_rate_per_s * q + 1j * omega_rest * q
    hear = sensor_gain(at_rest, sensor) * (1.0 + 1j * at_rest.decay_rate_per_s / omega_rest)
    for row, z in zip(sound, start, strict=True):
        row[at:] = ring(poles(at_rest), z * hear, len(row) - at, rate_hz)
