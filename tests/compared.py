"""Scans of one invented plate for tests of the comparison: modes and deflections by chance, changed as asked."""

import numpy as np

from tapscan.records import Comparison, ModalAmplitude, Mode, Scan, ScanConditions, ScanForComparison, Strike
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tests.snapshots import same_as_before, without_figures

SETTINGS = Settings()
STATIONS = [f"S{k}" for k in range(1, 11)]
COUNT = 60
STRIPPED = ScanConditions(state="stripped", sensor=Sensor("contact"), iron_c=20.0, fittings=())


def drawn(seed=0):
    """Frequencies (COUNT,) and deflections (COUNT, stations) of an invented plate, by chance alone."""
    rng = np.random.default_rng(seed)
    frequency = 60 + np.cumsum(rng.uniform(8, 32, COUNT))
    return frequency, np.abs(rng.standard_normal((COUNT, len(STATIONS)))) + 0.05


def scan(change=0.0, loss=1.0, seed=1, scatter=2e-5, drop=(), state="stripped"):
    """A scan of that plate; change (COUNT,) relative, loss (COUNT,) factor, `drop`: modes left out."""
    frequency, shape = drawn()
    rng = np.random.default_rng(seed)
    f = frequency * (1 + change) * np.exp(scatter * rng.standard_normal(COUNT))
    eta = 0.005 * np.ones(COUNT) * loss * np.exp(0.01 * rng.standard_normal(COUNT))
    level = 20 * np.log10(shape) + 0.5 * rng.standard_normal(shape.shape)
    modes = [_mode(f"M{i}", f[i], eta[i], level[i]) for i in range(COUNT) if i not in drop]
    strikes = tuple(Strike("T", "F", s, None, 0.0, 2.0, 0.5, -20.0, 50.0) for s in STATIONS)
    return Scan((), strikes, tuple(modes), state=state)


def _mode(name, f, eta, level):
    decay = np.pi * f * eta
    at = tuple(ModalAmplitude(s, float(d)) for s, d in zip(STATIONS, level, strict=True))
    tone = (None, None, None, None, 0, 0, None, None)
    return Mode(name, float(f), 1e-6 * f, decay, 1e-3 * decay, 6.9 / decay, 1 / eta, float(eta), *tone, "plate", at)


def named(scan_, day, conditions=STRIPPED, indications=()):
    return ScanForComparison(f"A1/{day}", day, conditions, scan_, indications)


BASE = [named(scan(seed=10 + k), f"2026-01-0{k + 1}") for k in range(3)]


def crack(size=3e-3):
    """Drops in a sparse set of modes."""
    out = np.zeros(COUNT)
    out[[20, 31, 44, 50]] = -size * np.array([1.0, 0.4, 0.7, 0.2])
    return out


def words_held(c: Comparison, part: str) -> None:
    """All sentences of a comparison are those of `snapshots/comparison.txt`, without figures."""
    told = [line for i in c.indications for line in (i.sentence, *(f"{x.name}, {x.unit}" for x in i.conditions))]
    said = (c.summary, *told, c.undecided, *c.unlike, *c.limitations)
    same_as_before("comparison", without_figures("\n".join(dict.fromkeys(filter(None, said)))), part=part)
