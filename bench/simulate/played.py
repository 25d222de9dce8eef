"""Simulated keys played one by one on a strung piano, heard by a pickup on the iron or by a phone.

Two or three strings a note with stretched partials and a damper; plate modes with the losses of a plate screwed to wood, soundboard modes; hammer knock and key thump. Levels: 4 N a
partial, a board of 2000 kg/s, a plate that radiates 30 dB less (guesses); plate modes of loss .035 falling to .02 (computed, no plate was measured in a piano); board modes of loss about .02 (Ege and Boutillon, arXiv
1212.3068). What is wrong: a buzz at some notes, a foreign tone of loss .01, a leaking damper. Everything is drawn from the generator; no piano was recorded.

``Piano``        what is the same at every note; ``piano(rng, scale)``
``Wrong``        what is wrong with it
``Played``       one key: which, when, how long it was held
``take(...)``    (n,) samples, rms of a note's beginning about .05
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from msgspec import Struct, field
from msgspec.structs import asdict
from scipy.fft import next_fast_len

from bench.simulate.nuisance import coloured_noise
from bench.simulate.string_scales import KEYS, Scale, strings

FORCE_N, BOARD_KG_S, IRON_KG_S = 4.0, 2000.0, 6500.0  # the last: an endless plate of 10 mm iron
PLATE_KG, BOARD_KG, BOARD_IN_IRON = 100.0, 9.0, 10 ** (-30 / 20)
MODAL_HZ = 1400.0  # above, levels are drawn smooth
HIGHEST_HZ = 9000.0
KNOCK_NS, THUMP_NS = 0.02, 0.008
NOTE_S = 2.1
ROWS = 256


class Modes(Struct, frozen=True, eq=False):
    """Modes of plate or board; shapes at a key go up and down along the keyboard."""

    frequency_hz: np.ndarray
    loss: np.ndarray
    mass_kg: float
    at_sensor: np.ndarray
    turns: np.ndarray
    phase: np.ndarray

    def at_key(self, key: int) -> np.ndarray:
        return np.asarray(np.sqrt(2.0) * np.sin(np.pi * self.turns * key / KEYS + self.phase))

    def mobility(self, key: int, size: int, rate: int) -> np.ndarray:
        """At the frequencies below MODAL_HZ of a transform of so many samples."""
        return np.asarray(_per_mode(self, size, rate) @ (self.at_sensor * self.at_key(key)) / self.mass_kg)


@lru_cache(4)
def _per_mode(modes: Modes, size: int, rate: int) -> np.ndarray:
    """(frequencies, modes) the same for every key."""
    frequency = np.fft.rfftfreq(size, 1 / rate)
    w = 2 * np.pi * frequency[frequency < MODAL_HZ][:, None]
    own = 2 * np.pi * modes.frequency_hz
    return np.asarray(1j * w / (own**2 * (1 + 1j * modes.loss) - w**2))


class Wrong(Struct, frozen=True):
    """Nothing, unless said."""

    buzz: tuple[int, ...] = ()  # keys
    buzz_db: float = -22.0  # over the rms of the note's first .3 s
    buzz_hz: float = 3000.0
    foreign_hz: float | None = None
    foreign_loss: float = 0.01
    foreign_at_sensor: float = 1.0
    leaking: int | None = None  # key


RIGHT = Wrong()


class Played(Struct, frozen=True):
    key: int
    at_s: float
    held_s: float
    level_db: float = 0.0


class Piano(Struct, frozen=True, eq=False):
    f0_hz: np.ndarray
    stiffness: np.ndarray
    damped: int  # keys with dampers
    plate: Modes
    board: Modes
    seed: int
    wrong: Wrong = field(default_factory=Wrong)


def piano(rng: np.random.Generator, scale: Scale, wrong: Wrong = RIGHT) -> Piano:
    """In tune within some cents, as a whole up to a quarter tone off."""
    f0, stiff = strings(scale)
    cents = rng.normal(-4, 9) + 3.0 * rng.standard_normal(KEYS)
    stiff = stiff * np.exp(0.08 * rng.standard_normal(KEYS))
    plate = _drawn(
        rng, 60, MODAL_HZ, 0.07, lambda f: np.interp(f, (100, 600, 1200), (0.035, 0.03, 0.02)), 0.25, PLATE_KG
    )
    board = _drawn(rng, 50, 800, 0.03, lambda f: 0.022 + 0 * f, 0.2, BOARD_KG)
    board = Modes(board.frequency_hz, np.maximum(board.loss, 0.016), *list(asdict(board).values())[2:])
    if wrong.foreign_hz is not None:
        plate = _with_foreign(rng, plate, wrong)
    damped = int(rng.integers(66, 71))
    return Piano(f0 * 2 ** (cents / 1200), stiff, damped, plate, board, int(rng.integers(1 << 60)), wrong)


def _drawn(rng, low, high, per_hz, loss, spread, mass) -> Modes:  # type: ignore[no-untyped-def]
    count = round((high - low) * per_hz)
    frequency = np.sort(rng.uniform(low, high, count))
    losses = loss(frequency) * np.exp(spread * rng.standard_normal(count))
    return Modes(
        frequency,
        losses,
        mass,
        rng.standard_normal(count),
        rng.uniform(0.5, 1 + frequency / 150),
        rng.uniform(0, np.pi, count),
    )


def _with_foreign(rng: np.random.Generator, plate: Modes, wrong: Wrong) -> Modes:
    return Modes(
        np.append(plate.frequency_hz, wrong.foreign_hz), np.append(plate.loss, wrong.foreign_loss), plate.mass_kg,
        np.append(plate.at_sensor, wrong.foreign_at_sensor), np.append(plate.turns, rng.uniform(0.5, 2.0)),
        np.append(plate.phase, rng.uniform(0, np.pi)),
    )  # fmt: skip


def take(
    rng: np.random.Generator, made: Piano, notes: list[Played], rate: int, sensor: str, noise_db: float = -58.0
) -> np.ndarray:
    """`sensor`: contact or microphone. `noise_db`: of its noise, over a note's beginning."""
    length = int((notes[-1].at_s + NOTE_S + 0.3) * rate)
    out = np.zeros(length)
    for note in notes:
        start = int(note.at_s * rate)
        one = _note(rng, made, note, rate, sensor)[: length - start]
        out[start : start + len(one)] += one
    if sensor == "microphone":
        out = _in_a_room(rng, out, rate)
    level = _level(out, notes, rate)
    slope = 3.0 if sensor == "microphone" else 1.0
    out = out / level + 10 ** (noise_db / 20) * _hiss(rng, length, rate, slope)
    return np.asarray(0.05 * out)


def _hiss(rng: np.random.Generator, count: int, rate: int, slope: float) -> np.ndarray:
    """Of rms 1; drawn at a length that is quick to transform."""
    return coloured_noise(rng, next_fast_len(count, real=True), rate, slope)[:count]


def _level(out: np.ndarray, notes: list[Played], rate: int) -> float:
    """Middle of the notes' rms."""
    each = [np.sqrt(np.mean(out[int(n.at_s * rate) : int((n.at_s + 0.3) * rate)] ** 2)) for n in notes]
    return float(np.median(each))


def _note(rng: np.random.Generator, made: Piano, note: Played, rate: int, sensor: str) -> np.ndarray:
    count = int(NOTE_S * rate)
    force = _string_force(rng, made, note, rate, count)
    size = 1 << int(np.ceil(np.log2(count + rate // 2)))
    frequency = np.fft.rfftfreq(size, 1 / rate)
    low = frequency < MODAL_HZ
    heard = np.zeros(len(frequency), complex)
    knock = np.fft.rfft(_knock(note, rate, count), size)
    smooth = _smooth(rng, frequency)
    iron = made.plate.mobility(note.key, size, rate)
    board = made.board.mobility(note.key, size, rate) + smooth[low] / BOARD_KG_S
    strings_ = np.fft.rfft(force, size)
    if sensor == "contact":
        heard[low] = strings_[low] * (iron + BOARD_IN_IRON * board) + knock[low] * (iron + BOARD_IN_IRON * board)
        heard[~low] = strings_[~low] * smooth[~low] / IRON_KG_S
    else:
        radiated = frequency / np.hypot(frequency, 90.0)
        quiet = 10 ** (-30 / 20)
        heard[low] = (strings_[low] + knock[low]) * (board + quiet * iron) * radiated[low]
        heard[~low] = strings_[~low] * smooth[~low] / BOARD_KG_S
        heard *= (1j * frequency / (120 + 1j * frequency)) ** 2  # a phone's
    heard[frequency > HIGHEST_HZ + 2000] = 0
    sound = np.fft.irfft(heard, size)[:count]
    sound += _rest_of_knock(rng, note, rate, sound)
    if note.key in made.wrong.buzz:
        sound += _buzz(rng, made, note, rate, sound)
    return np.asarray(sound)


def _smooth(rng: np.random.Generator, frequency: np.ndarray) -> np.ndarray:
    """Levels of 5 dB spread and phases that change over some 60 Hz."""
    knots = np.arange(0, frequency[-1] + 120, 60.0)
    level = np.interp(frequency, knots, 5.0 * rng.standard_normal(len(knots)))
    turn = np.interp(frequency, knots, np.cumsum(rng.uniform(-1.5, 1.5, len(knots))))
    return np.asarray(10 ** (level / 20) * np.exp(1j * turn))


def _partials(made: Piano, key: int, top_hz: float) -> np.ndarray:
    number = np.arange(1, 61)
    at = number * made.f0_hz[key] * np.sqrt(1 + made.stiffness[key] * number**2)
    return np.asarray(at[at < top_hz])


def _damping(made: Piano, key: int, at_hz: np.ndarray) -> np.ndarray:
    """1/s of a free string: of 20 s to -60 dB in the bass, 1 s at the top (from memory)."""
    return np.asarray(0.3 * 2 ** (0.55 * key / 12) + (at_hz / 2200) ** 2)


def _felt(made: Piano, key: int) -> float:
    """1/s that a damper adds."""
    if key >= made.damped:
        return 0.0
    return 0.6 if key == made.wrong.leaking else float(np.interp(key, (0, 30, 66), (13.0, 30.0, 50.0)))


def _string_force(rng: np.random.Generator, made: Piano, note: Played, rate: int, count: int) -> np.ndarray:
    at = _partials(made, note.key, min(HIGHEST_HZ, 0.45 * rate))
    number = np.arange(1, len(at) + 1)
    hammer_hz = 700.0 * 2 ** (note.key / 30)
    level = FORCE_N * (np.abs(np.sin(np.pi * number / 8.3)) + 0.08) / (1 + (at / hammer_hz) ** 2)
    level = level * 10 ** ((note.level_db + 2.0 * rng.standard_normal(len(at))) / 20)
    free, felt = _damping(made, note.key, at), _felt(made, note.key)
    apart = rng.normal(0, 0.6, 2)  # cents between the strings
    out = np.zeros(count)
    released = int(note.held_s * rate)
    for cents, share, slower in ((apart[0], 0.65, 1.3), (apart[1], 0.35, 0.6)):
        z = (-free * slower + 2j * np.pi * at * 2 ** (cents / 1200)) / rate
        start = share * level * np.exp(2j * np.pi * rng.random(len(at)))
        out[:released] += _ringing(z, start, released)
        held = start * np.exp(z * released)
        out[released:] += _ringing(z - felt * (1 + at / 4000) / rate, held, count - released)
    return out + _sympathy(rng, made, note, rate, count)


def _sympathy(rng: np.random.Generator, made: Piano, note: Played, rate: int, count: int) -> np.ndarray:
    """Undamped top strings, and the one whose damper leaks."""
    tops = rng.choice(np.arange(made.damped, KEYS), 4, replace=False)
    at = np.concatenate([_partials(made, int(k), HIGHEST_HZ)[:1] for k in tops])
    rates, force = _damping(made, 80, at), FORCE_N * 10 ** (rng.uniform(-60, -45, len(at)) / 20)
    key = made.wrong.leaking
    if key is not None and key != note.key:
        own = _partials(made, key, 1500.0)[:8]
        mine = _partials(made, note.key, 1600.0)
        near = (
            np.array([np.any(np.abs(1200 * np.log2(mine / f)) < 10) for f in own])
            if len(mine)
            else np.zeros(len(own), bool)
        )
        at, rates = np.append(at, own), np.append(rates, _damping(made, key, own) + 0.6)
        force = np.append(force, FORCE_N * 10 ** (np.where(near, -24.0, -48.0) / 20))
    z = (-rates + 2j * np.pi * at) / rate
    return _ringing(z, force * np.exp(2j * np.pi * rng.random(len(at))), count)


def _ringing(z: np.ndarray, start: np.ndarray, count: int) -> np.ndarray:
    """(count,) real part of the sum of start exp(z i), by one product of matrices."""
    columns = int(np.ceil(count / ROWS))
    rough = start[:, None] * np.exp(np.outer(z * ROWS, np.arange(columns)))
    fine = np.exp(np.outer(z, np.arange(ROWS)))
    return np.asarray((rough.T @ fine).real.ravel()[:count])


def _knock(note: Played, rate: int, count: int) -> np.ndarray:
    """Half a sine of 4 ms at the key's bed, a softer one when the damper is back."""
    out, width = np.zeros(count), int(0.004 * rate)
    pulse = np.sin(np.pi * np.arange(width) / width)
    pulse *= rate / pulse.sum()
    out[:width] += KNOCK_NS * 10 ** (note.level_db / 20) * pulse
    back = int((note.held_s + 0.02) * rate)
    out[back : back + width] += THUMP_NS * pulse
    return out


def _rest_of_knock(rng: np.random.Generator, note: Played, rate: int, sound: np.ndarray) -> np.ndarray:
    """The dull noise of hammer and key, 18 dB under the note's beginning and gone in .1 s; at the release 12 dB less."""
    level = np.sqrt(np.mean(sound[: int(0.1 * rate)] ** 2))
    out = np.zeros(len(sound))
    for at, share in ((0.0, 1.0), (note.held_s + 0.01, 0.25)):
        first, long = int(at * rate), int(0.2 * rate)
        burst = _hiss(rng, long, rate, 6.0) * np.exp(-np.arange(long) / (0.025 * rate))
        out[first : first + long] += 10 ** (-18 / 20) * 3 * share * level * burst
    return out


def _buzz(rng: np.random.Generator, made: Piano, note: Played, rate: int, sound: np.ndarray) -> np.ndarray:
    """Contacts once a period, uneven, as long as the string moves far."""
    count = len(sound)
    period = 1 / min(200.0, max(25.0, made.f0_hz[note.key]))
    steps = int(note.held_s / period) + 1
    times = (np.arange(steps) + 0.12 * rng.standard_normal(steps)) * period
    strength = np.exp(0.5 * rng.standard_normal(steps)) * np.exp(-np.maximum(times, 0) / 0.9)
    train = np.zeros(count)
    where = np.clip((times * rate).astype(int), 0, count - 1)
    np.add.at(train, where[times < note.held_s], strength[times < note.held_s])
    long = int(0.006 * rate)
    t = np.arange(long) / rate
    click = rng.standard_normal(long) * np.exp(-t / 0.0012) + np.sin(2 * np.pi * made.wrong.buzz_hz * t) * np.exp(
        -t / 0.0015
    )
    buzz = np.convolve(train, click)[:count]
    buzz *= 1 + 0.5 * rng.standard_normal(count)
    first = slice(0, int(0.3 * rate))
    wanted = 10 ** (made.wrong.buzz_db / 20) * np.sqrt(np.mean(sound[first] ** 2))
    return np.asarray(buzz * wanted / np.sqrt(np.mean(buzz[first] ** 2)))


def _in_a_room(rng: np.random.Generator, sound: np.ndarray, rate: int) -> np.ndarray:
    """A furnished room: direct sound, and decaying noise behind it."""
    t60 = rng.uniform(0.35, 0.6)
    long = int(t60 * rate)
    tail = rng.standard_normal(long) * np.exp(-6.9 * np.arange(long) / long)
    response = 0.35 * tail / np.sqrt(np.sum(tail**2))
    response[0] += 1.0
    size = 1 << int(np.ceil(np.log2(len(sound) + long)))
    return np.asarray(np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(response, size), size)[: len(sound)])
