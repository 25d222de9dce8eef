"""Stories of plates for bench/compare.py, and the scans made of them, one a line in a file that can be resumed.

A *casting* is one plate of a pattern. Its *roles* are its scans: ``base 0`` to ``base 2``, ``same 0`` ... (unchanged),
``flaw: LABEL``, ``mass: PLACE: KG``, ``rub: LABEL`` (closed crack that rubs), ``finish 0`` (0.3 mm of finish).

``scan_of``    the scan of one role, made or taken from the store
``Store``      finished scans in a jsonl file
"""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
from msgspec import Struct

from bench.compare_scans import RATE_HZ, Setting, draw_state
from tapscan.demo.plates import PlateModes, Table, draw_iron, plate_modes
from tapscan.records import ModalAmplitude, Mode, RoomRing, Scan, Strike
from tapscan.settings import Settings
from tapscan.signal.plate.decay import loss_factor, q_factor, t60_s

FINISH_M = 3e-4
Maker = Callable[[PlateModes, Setting, np.random.Generator, Settings], Scan]


class Casting(Struct, frozen=True, eq=False):
    """One plate: its pattern's table (``source`` says which set) and the seed it is drawn from."""

    source: str
    table: Table
    seed: int

    def truth(self, role: str) -> PlateModes:
        """The modes of the plate in one role; the same role is the same plate."""
        iron = draw_iron(self.table, np.random.default_rng([77, self.seed]))
        rng = np.random.default_rng([self.seed, *role.encode()])
        kind, _, rest = role.partition(": ")
        if kind == "mass":
            place, _, kilograms = rest.partition(": ")
            return plate_modes(self.table, "sound", iron, draw_state(rng, masses_kg=((int(place), float(kilograms)),)))
        if kind == "rub":
            return plate_modes(self.table, "sound", iron, draw_state(rng, rubbing=rest))
        if kind.startswith("finish"):
            return plate_modes(self.table, "sound", iron, draw_state(rng, finish_m=FINISH_M))
        return plate_modes(self.table, rest if kind == "flaw" else "sound", iron, draw_state(rng))


class Store:
    """Finished scans by key; None as path keeps them in memory only."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.rows: dict[str, str] = {}
        if path is not None and path.exists():
            text = path.read_text(encoding="utf-8")
            if text and not text.endswith("\n"):  # stopped within a line
                path.write_text(text[: text.rfind("\n") + 1], encoding="utf-8")
            for line in text.splitlines():
                key, _, row = line.partition("\t")
                if row.endswith("]"):
                    self.rows[key] = row

    def add(self, key: str, scan: Scan) -> None:
        """Keep one scan; written at once."""
        row = json.dumps(_packed(scan), separators=(",", ":"))
        self.rows[key] = row
        if self.path is not None:
            with self.path.open("a", encoding="utf-8") as file:
                file.write(f"{key}\t{row}\n")

    def get(self, key: str) -> Scan | None:
        """The scan stored under a key."""
        row = self.rows.get(key)
        return None if row is None else _read(row)


@lru_cache(maxsize=32)
def _read(row: str) -> Scan:
    """The last ones stay: one scan is asked for again and again."""
    return _unpacked(json.loads(row))


def key_of(casting: Casting, setting: Setting, role: str) -> str:
    """What one scan is stored under."""
    rate = f" at {setting.rate_hz} Hz" if setting.rate_hz != RATE_HZ else ""
    return f"{casting.source}|{casting.table.name}|{casting.seed}|{setting.name}{rate}|{role}"


def scan_of(casting: Casting, setting: Setting, role: str, store: Store, make: Maker, settings: Settings) -> Scan:
    """From the store, or made now and stored."""
    key = key_of(casting, setting, role)
    known = store.get(key)
    if known is None:
        rng = np.random.default_rng([1, casting.seed, *key.encode()])
        known = make(casting.truth(role), setting, rng, settings)
        store.add(key, known)
    return known


def _packed(scan: Scan) -> list[object]:
    stations = list(dict.fromkeys(s.station for s in scan.strikes))
    return [stations, [_packed_mode(m) for m in scan.modes], scan.room.share_db if scan.room else None]


def _packed_mode(m: Mode) -> list[object]:
    sd = None if m.decay_rate_sd_per_s is None else float(f"{m.decay_rate_sd_per_s:.3g}")
    heard = [[s.station, round(s.amplitude_db, 2)] for s in m.amplitudes]
    return [m.frequency_hz, float(f"{m.frequency_sd_hz or 0.0:.3g}"), m.decay_rate_per_s, sd, m.reason, heard]


def _unpacked(row: list) -> Scan:  # type: ignore[type-arg]
    stations, modes, *room = row
    strikes = tuple(Strike("T", "F", s, None, 0.0, 2.0, 0.5, -20.0, 50.0) for s in stations)
    ring = RoomRing(room[0], None, None, None, "not stored") if room and room[0] is not None else None
    return Scan((), strikes, tuple(_mode(f"M{i}", *m) for i, m in enumerate(modes, 1)), room=ring)


def _mode(
    name: str, f: float, f_sd: float, decay: float | None, sd: float | None, reason: str | None, heard: list
) -> Mode:  # type: ignore[type-arg]
    known = decay is not None
    tone = (None, None, None, None, 0, 0, None, None)
    rings = (t60_s(decay), q_factor(f, decay), loss_factor(f, decay)) if known else (None, None, None)
    return Mode(name, f, f_sd, decay, sd, *rings, *tone, "plate", tuple(ModalAmplitude(s, d) for s, d in heard), reason)
