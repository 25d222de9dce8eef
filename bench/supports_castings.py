"""Castings on families of supports, and all the scans of each that bench/supports.py compares.

``Casting``      one unit of the study: pattern, family, number
``scans_of``     its scans by role: earlier ones, unchanged later ones, flawed ones, and three tight ones of one day with what comes after
``wider``        how many times as far its true modes scatter from scan to scan as on the pads of bench/compare_scans.py

Mode lists with modelled errors (bench/compare_scans.model_scan); simulated, no iron was measured.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from bench import study
from bench.compare_scans import PICKUP, draw_state, model_scan
from bench.simulate.supports import PICKUP_MOVE_M, Lay, family_named, gradient, lay, visit
from tapscan.demo.plates import Contact, Iron, PlateModes, State, Table, draw_iron, plate_modes
from tapscan.records import Scan
from tapscan.settings import Settings

SETTINGS = Settings()
EARLIER, LATER = 3, 10  # ten, so that a single call is no more than a tenth of a casting's pairs
KINDS = (
    "severed", "rim 30 mm", "corner 30 mm", "depth 50 %", "depth 25 %", "depth 10 %", "width 50 %", "width 25 %", "inner corner 30 mm", "pin 30 mm", "bolt 60 mm", "bolt 30 mm",
)  # fmt: skip
RUBBING = "closed crack that rubs"
SETTLED = ("depth 25 %", "depth 10 %", "width 25 %")  # scanned twice more beside one earlier scan
THERMOMETER_K = 0.5
TIGHT_SCATTER, TIGHT_CARELESS, TIGHT_KELVIN = 0.02, 0.0, 0.5
SOFTER = 0.8
AIR_KG_M3, DENSER = 1.2, 0.06  # a day of high pressure and 10 K colder air
KG_M2, BENDING_M2_S = 80.0, 12.0  # of the plate; the root of its bending stiffness over its mass per area
BANDS_HZ = ((150.0, 300.0), (300.0, 450.0), (450.0, 600.0), (600.0, 900.0))
VISITS = 8


class Casting(Struct, frozen=True):
    """One plate on its supports."""

    pattern: str
    family: str
    number: int
    study: str = "supports"  # other words, other luck

    def rng(self, role: str) -> np.random.Generator:
        """The same role is the same luck."""
        return np.random.default_rng(study.seed_of(self.study, f"{self.pattern}, {self.family}, {self.number}, {role}"))


class Heard(Struct, frozen=True, eq=False):
    """One scan, and what the thermometer said."""

    scan: Scan
    iron_c: float


class Poured(Struct, frozen=True, eq=False):
    """A casting with its table, its iron and its supports."""

    casting: Casting
    table: Table
    iron: Iron
    held: Lay

    def visited(self, role: str, label: str = "sound", **more: object) -> Heard:
        """One scan, the supports put there anew."""
        rng = self.casting.rng(role)
        return self.heard(visit(self.table, self.held, rng, **more), rng, label)

    def heard(self, state: State, rng: np.random.Generator, label: str = "sound", denser: float = 0.0) -> Heard:
        """With modelled errors; ``denser`` : air, relative."""
        plate = in_air(plate_modes(self.table, label, self.iron, state), denser)
        scan = model_scan(plate, PICKUP, rng, SETTINGS)
        return Heard(scan, state.temperature_c + THERMOMETER_K * float(rng.standard_normal()))


def pour(casting: Casting, table: Table) -> Poured:
    """Draw it."""
    rng = casting.rng("casting")
    return Poured(casting, table, draw_iron(table, rng), lay(table, family_named(casting.family), rng))


def scans_of(casting: Casting, table: Table) -> dict[str, Heard]:
    """By role: ``base N``, ``same N``, ``flaw KIND``, ``again KIND N``, ``tight N``, ``softer``, ``another day``, ``warm end N``."""
    it = pour(casting, table)
    found = {f"base {n}": it.visited(f"base {n}") for n in range(EARLIER)}
    found |= {f"same {n}": it.visited(f"same {n}") for n in range(LATER)}
    found |= {f"flaw {kind}": it.visited(f"flaw {kind}", **how) for kind, how in _flaws(casting, table)}
    for kind, how in _flaws(casting, table):
        if kind in SETTLED:
            found |= {f"again {kind} {n}": it.visited(f"again {kind} {n}", **how) for n in range(2)}
    return found | dict(_of_one_day(it)) | dict(_warm_ends(it))


def _flaws(casting: Casting, table: Table) -> Iterator[tuple[str, dict[str, str]]]:
    for kind in (*KINDS, RUBBING):
        start = "depth 50 %" if kind == RUBBING else kind
        labels = [x for x in table.labels if x.split(",")[0] == start]
        if labels:
            label = labels[casting.number % len(labels)]
            yield kind, {"rubbing": label} if kind == RUBBING else {"label": label}


def _of_one_day(it: Poured) -> Iterator[tuple[str, Heard]]:
    """Three scans by a careful hand on one day; a later one on softer supports; one on a denser day with the pickup put back elsewhere and one end warmer."""
    careful = replace(it.held, scatter=TIGHT_SCATTER, careless=TIGHT_CARELESS)
    first = visit(it.table, careful, it.casting.rng("tight"))
    warm = first.temperature_c
    for n in range(EARLIER):
        rng = it.casting.rng(f"tight {n}")
        state = replace(_again(it, careful, first, rng), temperature_c=warm + TIGHT_KELVIN * float(rng.uniform(-1, 1)))
        yield f"tight {n}", it.heard(state, rng)
    rng = it.casting.rng("softer")
    state = _softer(_again(it, careful, first, rng))
    yield "softer", it.heard(state, rng)
    rng = it.casting.rng("another day")
    state = _again(it, careful, first, rng)
    angle = rng.uniform(0, 2 * np.pi)
    at = state.contacts[-1]
    moved = replace(
        at, dx_m=at.dx_m + PICKUP_MOVE_M * float(np.cos(angle)), dy_m=at.dy_m + PICKUP_MOVE_M * float(np.sin(angle))
    )
    state = replace(
        state, contacts=(*state.contacts[:-1], moved), warmer_k=gradient(it.table, float(rng.choice([-1, 1])))
    )
    yield "another day", it.heard(state, rng, denser=DENSER)


def _again(it: Poured, held: Lay, first: State, rng: np.random.Generator) -> State:
    """By the careful hand; the pickup stays, and so do the points at which hard edges touch."""
    new = visit(it.table, held, rng)
    kept = tuple(
        replace(old, stiffness_n_m=old.stiffness_n_m * float(np.exp(held.scatter * rng.standard_normal())))
        for old in first.contacts[:-1]
    )
    return replace(new, contacts=(*kept, _still(first.contacts[-1])))


def _still(pickup: Contact) -> Contact:
    return replace(pickup, dx_m=0.0, dy_m=0.0)


def _softer(state: State) -> State:
    pads = tuple(replace(s, stiffness_n_m=SOFTER * s.stiffness_n_m) for s in state.supports)
    return replace(
        state,
        supports=pads,
        contacts=tuple(replace(c, stiffness_n_m=SOFTER * c.stiffness_n_m) for c in state.contacts),
    )


def in_air(plate: PlateModes, denser: float) -> PlateModes:
    """Air that swings with the plate weighs 2 rho / k per area (both sides, well below coincidence; textbook), k the wave number of bending."""
    wave = np.sqrt(2 * np.pi * plate.frequency_hz / BENDING_M2_S)
    lower = 0.5 * denser * 2 * AIR_KG_M3 / (wave * KG_M2)
    return replace(plate, frequency_hz=plate.frequency_hz * (1 - lower))


def _warm_ends(it: Poured) -> Iterator[tuple[str, Heard]]:
    for kelvin in (1.0, 2.0):
        rng = it.casting.rng(f"warm end {kelvin:.0f}")
        state = replace(visit(it.table, it.held, rng), warmer_k=gradient(it.table, kelvin * float(rng.choice([-1, 1]))))
        yield f"warm end {kelvin:.0f}", it.heard(state, rng)


def wider(casting: Casting, table: Table) -> float:
    """Geometric mean over bands of the rms scatter of the true modes, over that on the former pads."""
    it = pour(casting, table)
    mine = [visit(table, it.held, it.casting.rng(f"wider {n}")) for n in range(VISITS)]
    before = [draw_state(it.casting.rng(f"before {n}")) for n in range(VISITS)]
    return float(np.exp(np.mean(np.log(_scatter(it, mine)) - np.log(_scatter(it, before)))))


def _scatter(it: Poured, states: list[State]) -> np.ndarray:
    """(bands,) rms over the modes of their sd over the states, what all share taken out."""
    lists = [plate_modes(it.table, "sound", it.iron, s).frequency_hz for s in states]
    least = min(map(len, lists))
    x = np.log([f[-least:] for f in lists])
    x = x - np.median(x, axis=1, keepdims=True)
    f, sd = lists[0][-least:], x.std(axis=0, ddof=1)
    return np.array([np.sqrt(np.mean(sd[(f >= low) & (f < high)] ** 2)) for low, high in BANDS_HZ])
