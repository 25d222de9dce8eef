"""What goes on round a piano while somebody plays keys: talk (espeak-ng), a phone that rings, a truck that passes. Samples are (n,), rms 1 while it lasts.

The talk is made by espeak-ng (Debian) of sentences invented here. By microphone all of it comes through the air; into a pickup on the iron some 30 dB less, the truck's shaking of
the floor 20 dB less (guesses).
"""

from __future__ import annotations

import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from bench.simulate.nuisance import coloured_noise

SENTENCES = (
    "We looked at the bass bridge first, and then at the six screws along the tail. She says it was moved twice since the spring.",
    "Could you play that one again? Softer, please. I think the lid prop is loose, or it is the lamp over there on the shelf.",
    "Thursday suits me better. The lift in the yard is out of order, so four people have to carry it up the stairs, slowly.",
)
PICKUP_DB = {"talk": -30.0, "phone": -30.0, "truck": -20.0}


@lru_cache(maxsize=12)
def _spoken(number: int, speed: int, rate: int) -> np.ndarray:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "talk.wav"
        voice = ("en", "en+f3", "en+m5")[number % 3]
        subprocess.run(
            ["espeak-ng", "-v", voice, "-s", str(speed), "-w", str(path), SENTENCES[number % 3]],
            check=True,
            capture_output=True,
        )
        said, own = soundfile.read(path)
    step = np.gcd(own, rate)
    said = resample_poly(said, rate // step, own // step)
    return np.asarray(said / np.sqrt(np.mean(said**2)))


def talk(rng: np.random.Generator, count: int, rate: int) -> np.ndarray:
    """One sentence somewhere."""
    said = _spoken(int(rng.integers(3)), int(rng.choice((140, 170))), rate)
    return _somewhere(rng, said, count)


def phone(rng: np.random.Generator, count: int, rate: int) -> np.ndarray:
    """Three times a second of two tones in turn, with overtones."""
    t = np.arange(int(6.0 * rate)) / rate
    low, high = rng.uniform(600, 900), rng.uniform(1000, 1400)
    pitch = np.where((t * 16).astype(int) % 2 == 0, low, high)
    phase = 2 * np.pi * np.cumsum(pitch) / rate
    ring = sum(np.sin(k * phase) / k for k in (1, 2, 3, 4)) * ((t % 2.0) < 1.0)
    return _somewhere(rng, np.asarray(ring / np.sqrt(np.mean(ring**2))), count)


def truck(rng: np.random.Generator, count: int, rate: int) -> np.ndarray:
    """Rumble with an engine's harmonics that swells and goes."""
    long = int(9.0 * rate)
    t = np.arange(long) / rate
    engine = sum(np.sin(2 * np.pi * k * rng.uniform(24, 30) * t) / k for k in range(1, 7))
    rumble = coloured_noise(rng, long, rate, 6.0) + 0.6 * engine
    rumble *= np.exp(-0.5 * ((t - 4.5) / 1.8) ** 2)
    return _somewhere(rng, np.asarray(rumble / np.sqrt(np.mean(rumble**2))), count)


def _somewhere(rng: np.random.Generator, sound: np.ndarray, count: int) -> np.ndarray:
    out = np.zeros(count)
    sound = sound[:count]
    first = int(rng.integers(0, count - len(sound) + 1))
    out[first : first + len(sound)] = sound
    return out


KINDS = {"talk": talk, "phone": phone, "truck": truck}


def spoil(
    rng: np.random.Generator, samples: np.ndarray, rate: int, kind: str, sensor: str, level_db: float
) -> np.ndarray:
    """`level_db` : of what comes through the air, over a note's beginning (.05)."""
    level_db += PICKUP_DB[kind] if sensor == "contact" else 0.0
    return np.asarray(samples + 0.05 * 10 ** (level_db / 20) * KINDS[kind](rng, len(samples), rate))
