"""Ten seconds of what is no tap: noise, mains hum, speech-like babble, music; and how many modes tapscan takes from it.

Computed sounds, each drawn by seed; the babble is bench.simulate.nuisance's. A mode given with a decay and no word of doubt counts as called sure.
"""

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from bench.simulate.nuisance import babble
from tapscan.demo.taps import ring
from tapscan.records import FloatArray
from tapscan.workflow.check import Request, check

RATE_HZ, SECONDS = 16_000, 10
COUNT = RATE_HZ * SECONDS


def _noise(rng: np.random.Generator) -> FloatArray:
    return np.asarray(rng.standard_normal(COUNT))


def _hum(rng: np.random.Generator) -> FloatArray:
    t = np.arange(COUNT) / RATE_HZ
    mains = float(rng.choice([50.0, 60.0]))
    steady = sum(np.sin(2 * np.pi * mains * k * t + rng.uniform(0, 2 * np.pi)) / k for k in range(1, 9))
    return np.asarray(steady + 0.03 * rng.standard_normal(COUNT))


def _speech(rng: np.random.Generator) -> FloatArray:
    return babble(rng, COUNT, RATE_HZ, float(rng.uniform(90, 240)))


def _music(rng: np.random.Generator) -> FloatArray:
    """Chords of one to four struck or plucked notes with six partials, 2 to 5 a second."""
    out, at = np.zeros(COUNT), 0.0
    while at < SECONDS - 0.3:
        start = int(at * RATE_HZ)
        for _ in range(int(rng.integers(1, 5))):
            f, harmonic = 440 * 2 ** (int(rng.integers(-24, 13)) / 12), np.arange(1, 7)
            swells = 1 / rng.uniform(0.003, 0.03)
            pole = -rng.uniform(0.5, 5, 6) * harmonic**0.5 + 2j * np.pi * f * harmonic
            both = np.concatenate([-1j / harmonic, 1j / harmonic])  # what rings, less what has not swelled yet
            out[start:] += ring(np.concatenate([pole, pole - swells]), both, COUNT - start, RATE_HZ)
        at += float(rng.uniform(0.2, 0.5))
    return out


SOUNDS: dict[str, Callable[[np.random.Generator], FloatArray]] = {
    "noise": _noise,
    "hum": _hum,
    "speech": _speech,
    "music": _music,
}


def modes_taken(kind: str, seed: int) -> int:
    """Modes with a decay from one recording."""
    x = SOUNDS[kind](np.random.default_rng([seed, 9]))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{kind}.wav"
        soundfile.write(path, 0.5 * x / np.abs(x).max(), RATE_HZ, subtype="PCM_24")
        screening = check([str(path)], Request()).screening
    return sum(m.decay_rate_per_s is not None and m.reason is None for m in screening.scan.modes) if screening else 0
