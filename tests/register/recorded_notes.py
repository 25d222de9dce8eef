"""What tests of keys that are recorded live share: a simulated take (bench/simulate/played.py), and a recorder that it is fed to."""

import datetime as dt
from functools import cache

import numpy as np

from bench.simulate.played import Played, Wrong, piano, take
from bench.simulate.string_scales import SCALES
from tapscan.records import ScanConditions, Sensor
from tapscan.register.entries import NewScan
from tapscan.sensors import read_kind
from tapscan.workflow.record import Event
from tapscan.workflow.record_notes import NoteRecorder

RATE = 44_100
KEYS = tuple(range(20, 52, 4))  # F2 to A4
BUZZING = KEYS[2:6]
FIRST_S, BETWEEN_S, HELD_S = 1.2, 1.75, 0.4


def facts(sensor: str = "contact", **changes) -> NewScan:
    """Of a strung piano."""
    return NewScan(dt.date(2026, 3, 14), ScanConditions(state="strung", sensor=Sensor(read_kind(sensor))), **changes)


@cache
def played(keys: tuple[int, ...] = KEYS, foreign_hz: float | None = 175.4, seed: int = 3) -> np.ndarray:
    """(n,) by pickup, with a tone that rings on; the keys of BUZZING buzz."""
    rng = np.random.default_rng(seed)
    one = piano(rng, SCALES["grand 155"], Wrong(buzz=BUZZING, buzz_db=-20.0, foreign_hz=foreign_hz))
    notes = [Played(key, FIRST_S + k * BETWEEN_S, HELD_S) for k, key in enumerate(keys)]
    return take(rng, one, notes, RATE, "contact", -58.0)


def fed(recorder: NoteRecorder, samples: np.ndarray, block: int = 882) -> list[Event]:
    """All events, and what comes in the quiet after it."""
    quiet = 1e-4 * np.random.default_rng(1).standard_normal(RATE)
    every = np.concatenate([samples, quiet])
    return [e for i in range(0, len(every), block) for e in recorder.hear(every[i : i + block])]
