"""What spoils a recording of any plate, sound or flawed alike: noise, talk, steps, gain riding, a phone codec, a rattle.

Everything is synthesised; nothing was recorded. Samples are (n,) float64. Randomness comes only from the generator passed in.

``coloured_noise``   noise whose spectrum falls by a stated slope
``babble``           speech-like murmur: a voice pitch, formants, syllables
``footsteps``        dull thumps
``gain_riding``      automatic gain of a phone
``aac_round_trip``   through the codec of a phone recording, by PyAV
``rattle``           a loose support screw that buzzes against the plate
"""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np

from tapscan.demo.plates import PlateModes
from tapscan.demo.taps import Tap, poles, ring, sensor_gain, station_shape

AAC_FRAME = 1024
CLATTER = 0.3  # rms of the hiss over that of the plate's answer; guessed


def coloured_noise(
    rng: np.random.Generator,
    count: int,
    sample_rate_hz: float,
    slope_db_per_octave: float,
) -> np.ndarray:
    """(count,) noise of rms 1 whose power falls by ``slope_db_per_octave`` (3 pink, 6 brown) above 20 Hz."""
    weight = _weight(count, sample_rate_hz, slope_db_per_octave)
    noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) * weight, count)
    return np.asarray(noise / np.sqrt(np.mean(noise**2)))


@lru_cache(2)  # in a take a short one is wanted for every note, and a long one once
def _weight(count: int, sample_rate_hz: float, slope_db_per_octave: float) -> np.ndarray:
    frequency = np.fft.rfftfreq(count, 1.0 / sample_rate_hz)
    weight = np.maximum(frequency, 20.0) ** (-slope_db_per_octave / 20.0 / np.log10(2.0))
    weight[0] = 0.0
    return np.asarray(weight)


def _smooth_walk(rng: np.random.Generator, count: int, sample_rate_hz: float, per_s: float) -> np.ndarray:
    """Random curve of unit spread that changes ``per_s`` times a second."""
    knots = rng.standard_normal(max(4, int(count / sample_rate_hz * per_s) + 3))
    return np.asarray(np.interp(np.linspace(0, len(knots) - 1, count), np.arange(len(knots)), knots))


def babble(rng: np.random.Generator, count: int, sample_rate_hz: float, pitch_hz: float = 125.0) -> np.ndarray:
    """(count,) speech-like murmur of rms 1: harmonics of a wandering pitch under three moving formants, in syllables."""
    pitch = pitch_hz * np.exp(0.08 * _smooth_walk(rng, count, sample_rate_hz, 3.0))
    phase = 2.0 * np.pi * np.cumsum(pitch) / sample_rate_hz
    centres = [c * np.exp(0.25 * _smooth_walk(rng, count, sample_rate_hz, 4.0)) for c in (500.0, 1500.0, 2500.0)]
    out = np.zeros(count)
    for number in range(1, int(min(3500.0, 0.45 * sample_rate_hz) / pitch_hz)):
        place = number * pitch
        level = sum(g / (1.0 + ((place - c) / 120.0) ** 2) for g, c in zip((1.0, 0.5, 0.25), centres, strict=True))
        out += level * np.cos(number * phase)
    syllables = np.clip(np.sin(2.0 * np.pi * 4.2 * np.arange(count) / sample_rate_hz) + 0.4, 0.0, None)
    out *= syllables * np.clip(_smooth_walk(rng, count, sample_rate_hz, 1.2) + 0.8, 0.0, None)
    return np.asarray(out / max(np.sqrt(np.mean(out**2)), 1e-12))


def footsteps(rng: np.random.Generator, count: int, sample_rate_hz: float, per_s: float = 1.8) -> np.ndarray:
    """(count,) steps with peak 1: short thumps of 60 to 180 Hz with a scuff, at a walking pace."""
    out = np.zeros(count)
    time = np.arange(round(0.25 * sample_rate_hz)) / sample_rate_hz
    at = rng.uniform(0.0, 1.0 / per_s)
    while at < count / sample_rate_hz:
        start = int(at * sample_rate_hz)
        thump = np.sin(2 * np.pi * rng.uniform(60, 180) * time) * np.exp(-time / 0.03)
        scuff = 0.15 * rng.standard_normal(len(time)) * np.exp(-time / 0.02)
        part = (thump + scuff)[: count - start] * rng.uniform(0.6, 1.0)
        out[start : start + len(part)] += part
        at += 1.0 / per_s * float(np.exp(0.08 * rng.standard_normal()))
    return np.asarray(out / max(np.max(np.abs(out)), 1e-12))


def gain_riding(
    samples: np.ndarray,
    sample_rate_hz: float,
    target: float = 0.1,
    attack_s: float = 0.01,
    release_s: float = 0.6,
    most: float = 12.0,
) -> np.ndarray:
    """(n,) as after automatic gain: the gain falls fast after a loud sound and creeps back, which bends every decay.

    ``target`` : level aimed at, full scale = 1. ``most`` : largest gain.
    """
    hop = max(1, round(0.001 * sample_rate_hz))
    padded = np.concatenate([samples, np.zeros(-len(samples) % hop)])
    peaks = np.abs(padded.reshape(-1, hop)).max(axis=1)
    fall, rise = np.exp(-0.001 / attack_s), np.exp(-0.001 / release_s)
    level, levels = float(target / most), []
    for peak in peaks:
        keep = fall if peak > level else rise
        level = keep * level + (1.0 - keep) * peak
        levels.append(level)
    gain = np.minimum(most, target / np.maximum(levels, 1e-9))
    at = (np.arange(len(gain)) + 0.5) * hop
    return np.asarray(samples * np.interp(np.arange(len(samples)), at, gain))


def aac_round_trip(samples: np.ndarray, sample_rate_hz: int, bit_rate: int = 96000) -> np.ndarray:
    """(n,) encoded as AAC in an MP4 container in memory and decoded again, in step with the input.

    Needs PyAV (imported here). ``sample_rate_hz`` : one that AAC knows, such as 16000, 44100, 48000.
    """
    import av

    store = io.BytesIO()
    with av.open(store, "w", format="mp4") as container:
        stream = container.add_stream("aac", rate=int(sample_rate_hz), layout="mono")
        stream.bit_rate = bit_rate
        padded = np.concatenate([samples, np.zeros(-len(samples) % AAC_FRAME + 2 * AAC_FRAME)]).astype(np.float32)
        for start in range(0, len(padded), AAC_FRAME):
            frame = av.AudioFrame.from_ndarray(padded[None, start : start + AAC_FRAME], format="fltp", layout="mono")
            frame.sample_rate, frame.pts = int(sample_rate_hz), start
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    store.seek(0)
    with av.open(store, "r") as source:
        out = np.concatenate([f.to_ndarray()[0] for f in source.decode(audio=0)]).astype(float)
    return _in_step(samples, out)


def _in_step(samples: np.ndarray, decoded: np.ndarray) -> np.ndarray:
    """Shift the decoded samples by the whole-sample delay that correlates best, at most three frames."""
    size = 1 << int(np.ceil(np.log2(len(samples) + len(decoded))))
    cross = np.fft.irfft(np.conj(np.fft.rfft(samples, size)) * np.fft.rfft(decoded, size), size)
    delay = int(np.argmax(cross[: 3 * AAC_FRAME]))
    out = np.zeros(len(samples))
    part = decoded[delay : delay + len(samples)]
    out[: len(part)] = part
    return out


def rattle(
    modes: PlateModes,
    tap: Tap,
    sensor: str,
    place: int,
    rng: np.random.Generator,
    gap_m: float = 2e-6,
    stiffness_n_m: float = 1e4,
    offset_m: tuple[float, float] = (0.0, 0.0),
) -> np.ndarray:
    """(n,) what a loose screw at clamp ``place`` adds to a tap, in the sensor's units (before scaling).

    The plate's displacement there, computed without the screw, presses on it beyond ``gap_m``; that force, with a
    little chatter, drives the plate once more, and a hiss of the same shape stands for the clatter in modes above the
    table. The screw does not slow the plate: one way only, an approximation.
    """
    rate, count = tap.sample_rate_hz, len(tap.samples)
    screw = modes.clamp[:, place]
    pole, omega = poles(modes), 2.0 * np.pi * modes.frequency_hz
    first = round(tap.onset_s * rate)
    kick = tap.force.impulse_ns * station_shape(modes, tap.station, offset_m)
    moved = ring(pole, -1j * kick * screw / omega, count - first, rate)
    press = stiffness_n_m * np.maximum(moved - gap_m, 0.0) * (1.0 + 0.3 * rng.standard_normal(count - first))
    size = 1 << int(np.ceil(np.log2(2 * (count - first))))
    answer = _answer(pole.tobytes(), (screw * sensor_gain(modes, sensor)).tobytes(), count - first, rate, size)
    added = np.fft.irfft(np.fft.rfft(press, size) * answer, size)[: count - first] / rate
    if press.any():
        hiss = press * rng.standard_normal(len(press))
        added = added + CLATTER * hiss * np.sqrt(np.mean(added**2) / np.mean(hiss**2))
    return np.asarray(np.concatenate([np.zeros(first), -added]))


@lru_cache(maxsize=2)  # one screw and one sensor in all taps of a scan
def _answer(pole: bytes, start: bytes, count: int, rate_hz: float, size: int) -> np.ndarray:
    """Spectrum of what the sensor hears of one blow at the screw."""
    rung = ring(np.frombuffer(pole, dtype=complex), np.frombuffer(start, dtype=complex), count, rate_hz)
    return np.fft.rfft(rung, size)
