"""A plate in its piano: iron on screws, nose bolts and pin block, wood that moves under them, strings that soften the struts and ring along.

``install``       one casting in one piano: stiffness and loss of each screw, the wood's own modes, the tension
``Visit``         what differs at one scan: screws, tension, wood, warmth, one screw loosened
``around_one_job``, ``another_season``   a visit drawn
``modes_in_piano``   PlateModes with complex shapes, for `tapscan.demo.taps`
``with_strings``  taps with the strings' partials in them
``permitted``     stations where a strung plate may be struck

Sources. Soundboard in playing condition: loss about 2 %, .05 modes per Hz falling to .01 (Ege and Boutillon, arXiv 1212.3068, abstract). Stiffness under one screw 3e6 to 3e7 N/m: a technician's dial gauge moved
.0015 in under 10 lb, about 1.2e6 N/m, on a treble plate that gives itself (anecdote). No modes or losses of a plate measured in a piano were found in print. All else is assumed: losses of wooden joints
.05 to .2, mass and number of the case's modes, struts 10 % softer by 19 tons (P over the Euler load, the order), strings 40 dB under the iron by pickup, 55 dB with felt between them.
Screws turned tighter are taken for up to 3 % stiffer; how stiffness follows torque is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from tapscan.demo.plates import (
    REFERENCE_TEMPERATURE_C,
    Iron,
    PlateModes,
    State,
    Table,
    draw_iron,
    free_eigenvalues,
    material_loss,
    radiation_loss_factor,
)
from tapscan.demo.taps import Tap, ring

Array = NDArray[np.float64]
STIFFNESS_N_M = {"screw": (1e7, 0.6), "nose bolt": (2e7, 0.4), "pin block": (5e6, 0.5)}  # middle, sd of ln
STRING_N_M = 3.5e4  # 230 strings of 750 N on 0.6 m, over eight places
LOSS = {"screw": (0.05, 0.2), "nose bolt": (0.03, 0.1), "pin block": (0.05, 0.2), "string": (0.0, 0.01)}
LEAST_SCREWS = 12
CASE_MODES, CASE_HZ, CASE_KG, CASE_LOSS = 24, (40.0, 700.0), (20.0, 80.0), (0.02, 0.05)
BOARD_DENSITY, BOARD_HZ, BOARD_KG, BOARD_LOSS = (0.05, 0.01), (60.0, 1500.0), (2.0, 5.0), 0.02
BOARD_AT_SCREWS = 0.1  # of the board's motion reaches the rim
STRUT_SOFTER = 0.10
HIGHEST_HZ = 1900.0
KEYS, PARTIALS, DAMPED_KEYS = 88, 6, 66
STRING_DB = {"open": -40.0, "felt": -55.0}
Strings = Literal["open", "felt", "none"]


class Installed(Struct, frozen=True, eq=False):
    """One casting in one piano. Arrays are by fixing; ``wood_*`` by mode of case and board. ``wood_shape`` : (wood modes, fixings), 1/sqrt(kg)."""

    table: Table
    iron: Iron
    stiffness_n_m: Array
    loss: Array
    wood_hz: Array
    wood_loss: Array
    wood_shape: Array
    cents: Array  # (keys,) how each key is out of tune

    @property
    def screws(self) -> NDArray[np.intp]:
        """Numbers of the fixings that are plate screws, and there."""
        return np.nonzero((_kinds(self.table) == "screw") & (self.stiffness_n_m > 0))[0]


class Visit(Struct, frozen=True, eq=False):
    """One scan. ``stiffness`` : (fixings,) factor. ``tension`` : over 19 tons. ``wood`` : factor on the wood's frequencies."""

    stiffness: Array
    tension: float = 1.0
    wood: float = 1.0
    temperature_c: float = REFERENCE_TEMPERATURE_C
    cents: float = 0.0  # the whole scale, since installed


def _kinds(table: Table) -> NDArray[np.str_]:
    return np.array([f["description"] for f in table.meta["fixings"]])


def install(table: Table, rng: np.random.Generator) -> Installed:
    """Draw casting, screws and wood."""
    iron, kinds = draw_iron(table, rng), _kinds(table)
    middle = np.array([STIFFNESS_N_M.get(k, (STRING_N_M, 0.0)) for k in kinds])
    stiffness = middle[:, 0] * np.exp(middle[:, 1] * rng.standard_normal(len(kinds)))
    screws = np.nonzero(kinds == "screw")[0]
    left_out = rng.choice(screws, rng.integers(0, len(screws) - LEAST_SCREWS + 1), replace=False)
    stiffness[left_out] = 0.0
    low, high = np.array([LOSS[k] for k in kinds]).T
    hz, loss, shape = _wood(table, kinds, rng)
    cents = 3.0 * rng.standard_normal(KEYS)
    return Installed(table, iron, stiffness, rng.uniform(low, high), hz, loss, shape, cents)


def _wood(table: Table, kinds: NDArray[np.str_], rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Modes of case and soundboard, as waves over the plane with random direction and phase."""
    case = np.sort(np.exp(rng.uniform(*np.log(CASE_HZ), CASE_MODES)))
    board = [BOARD_HZ[0]]
    while board[-1] < BOARD_HZ[1]:
        share = np.log(board[-1] / BOARD_HZ[0]) / np.log(BOARD_HZ[1] / BOARD_HZ[0])
        density = BOARD_DENSITY[0] * (BOARD_DENSITY[1] / BOARD_DENSITY[0]) ** share
        board.append(board[-1] + rng.exponential(1 / density))
    at = np.array([(f["x_m"], f["y_m"]) for f in table.meta["fixings"]])
    reach = np.where(np.isin(kinds, ["string"]), 1.0, BOARD_AT_SCREWS)
    moves = np.where(np.isin(kinds, ["string"]), 0.0, 1.0)  # strings pull at the board, all else stands on the case
    rows = [_wave(f, at, CASE_KG, rng) * moves for f in case] + [_wave(f, at, BOARD_KG, rng) * reach for f in board]
    loss = np.concatenate([rng.uniform(*CASE_LOSS, CASE_MODES), np.full(len(board), BOARD_LOSS)])
    return np.concatenate([case, board]), loss, np.array(rows)


def _wave(hz: float, at: Array, kg: tuple[float, float], rng: np.random.Generator) -> Array:
    """Half waves about 0.5 m long at 300 Hz, shorter with the root of the frequency; mass-normalised."""
    number = np.pi / 0.5 * np.sqrt(hz / 300.0)
    angle, phase = rng.uniform(0, 2 * np.pi, 2)
    wave = np.cos(number * (at @ (np.cos(angle), np.sin(angle))) + phase)
    return np.asarray(np.sqrt(2) * wave / np.sqrt(rng.uniform(*kg)))


def first_visit(held: Installed) -> Visit:
    """As it was installed."""
    return Visit(np.ones(len(held.stiffness_n_m)))


def around_one_job(held: Installed, before: Visit, rng: np.random.Generator, scatter: float = 0.015) -> Visit:
    """The same day or the next: nothing done to speak of, a pitch raise of up to 40 cents, or the screws turned a little tighter."""
    job = rng.integers(3)
    raised = rng.uniform(0.0, 40.0) if job == 1 else 0.0
    tighter = rng.uniform(0.0, 0.03) if job == 2 else 0.0
    cents = before.cents + raised + 2.0 * rng.standard_normal()
    return replace(
        _again(held, before, rng, scatter, tighter),
        tension=before.tension * 2 ** (2 * (cents - before.cents) / 1200),
        wood=before.wood * float(np.exp(0.001 * rng.standard_normal())),
        temperature_c=before.temperature_c + float(rng.uniform(-1, 1)),
        cents=cents,
    )


def another_season(held: Installed, before: Visit, rng: np.random.Generator, scatter: float) -> Visit:
    """Humid or dry: wood up to 3 % stiffer or softer as a whole, out of tune or tuned again, within 5 K."""
    wet = float(rng.uniform(-1, 1))
    cents = before.cents + 10.0 * wet + 5.0 * float(rng.standard_normal())
    return replace(
        _again(held, before, rng, scatter, 0.5 * scatter * wet),
        tension=before.tension * 2 ** (2 * (cents - before.cents) / 1200),
        wood=before.wood * (1 - 0.015 * wet),
        temperature_c=before.temperature_c + float(rng.uniform(-5, 5)),
        cents=cents,
    )


def _again(held: Installed, before: Visit, rng: np.random.Generator, scatter: float, tighter: float) -> Visit:
    each = np.where(_kinds(held.table) == "string", 0.0, scatter * rng.standard_normal(len(before.stiffness)) + tighter)
    return replace(before, stiffness=before.stiffness * np.exp(each))


def loosened(held: Installed, visit: Visit, rng: np.random.Generator, left: float) -> Visit:
    """One screw holds with so much of its stiffness."""
    factor = np.ones(len(visit.stiffness))
    factor[rng.choice(held.screws)] = left
    return replace(visit, stiffness=visit.stiffness * factor)


def modes_in_piano(held: Installed, visit: Visit, label: str = "sound") -> PlateModes:
    """Complex modes of iron, screws and wood together up to HIGHEST_HZ; what the plate's own places see of them."""
    table, case = held.table, held.table.case_index(label)
    state = State(temperature_c=visit.temperature_c, supports=())
    eigen = free_eigenvalues(table, case, held.iron, state) * _softened(table, case, visit.tension)
    wood = (2 * np.pi * held.wood_hz * visit.wood) ** 2
    loss = np.concatenate([material_loss(table, case, held.iron, state), held.wood_loss])
    spring = held.stiffness_n_m * visit.stiffness
    pull = np.concatenate([table.arrays["fixing_shape"][case].astype(float), -held.wood_shape])
    stiff = np.diag(np.concatenate([eigen, wood])) + (pull * spring) @ pull.T
    values, mix = np.linalg.eigh(stiff)
    mix = mix[:, (values > (2 * np.pi * 20) ** 2) & (values < (2 * np.pi * 1.15 * HIGHEST_HZ) ** 2)]
    lossy = (mix.T * (np.concatenate([eigen, wood]) * loss)) @ mix + ((mix.T @ pull) * (spring * held.loss)) @ (
        pull.T @ mix
    )
    squared, turned = np.linalg.eig(mix.T @ stiff @ mix + 1j * lossy)
    turned = turned / np.sqrt((turned**2).sum(axis=0))  # a symmetric matrix: no conjugate
    root = np.sqrt(squared)
    order = np.argsort(root.real)
    order = order[root.real[order] < 2 * np.pi * HIGHEST_HZ]
    return _seen_by_plate(table, label, case, (mix @ turned)[: len(eigen), order], root[order])


def _softened(table: Table, case: int, tension: float) -> Array:
    """(modes,) factor on the stiffness: struts under tension."""
    struts = np.array([p.startswith("strut") for p in table.meta["patches"]])
    return np.asarray(1 - STRUT_SOFTER * tension * table.arrays["strain_share"][case][:, struts].sum(axis=1))


def _seen_by_plate(
    table: Table, label: str, case: int, mix: NDArray[np.complex128], root: NDArray[np.complex128]
) -> PlateModes:
    a, hz = table.arrays, root.real / (2 * np.pi)
    none = np.zeros((len(hz), 0))
    return PlateModes(
        table=table,
        label=label,
        frequency_hz=hz,
        decay_rate_per_s=root.imag + np.pi * hz * radiation_loss_factor(hz),
        station=np.tensordot(mix.T, a["station_shape"][case], axes=1),
        clamp=none,
        pickup=mix.T @ a["pickup_shape"][case],
        microphone=none,
        hinge=np.zeros((len(hz), 2)),
    )


def permitted(table: Table, count: int) -> list[str]:
    """Struts' middles on top and the outer edge, as the shipped layouts allow on strings (4 or 8 of them)."""
    said = {s["name"]: s["description"] for s in table.meta["stations"]}
    struts = [n for n, d in said.items() if d.startswith("strut") and d.endswith(", middle")]
    edge = [n for n, d in said.items() if d.startswith("web by the edge")]
    nose = [n for n, d in said.items() if d.startswith("strut") and d.endswith("near the bar")]
    half = count // 2
    found = struts[-half:] + nose[: max(0, half - len(struts))]
    return [*found, *(edge[i] for i in np.linspace(0, len(edge) - 1, count - len(found)).round().astype(int))]


def with_strings(
    taps: Sequence[Tap], held: Installed, visit: Visit, strings: Strings, rng: np.random.Generator
) -> list[Tap]:
    """Each tap with partials of all strings, dampers down; felt makes them fainter and shorter."""
    if strings == "none":
        return list(taps)
    hz, decay = _partials(held, visit, strings)
    return [replace(t, samples=t.samples + _ringing(t, hz, decay, STRING_DB[strings], rng)) for t in taps]


def _partials(held: Installed, visit: Visit, strings: Strings) -> tuple[Array, Array]:
    """Hz and 1/s. Inharmonicity 1.2e-4, above middle C 3.5e-4 doubling every eight semitones (as in screening/string_series.py)."""
    key = np.arange(KEYS)
    first = 27.5 * 2 ** (key / 12 + (held.cents + visit.cents) / 1200)
    stiff = np.maximum(1.2e-4, 3.5e-4 * 2 ** ((key - 39) / 8))
    n = np.arange(1, PARTIALS + 1)
    hz = first[:, None] * n * np.sqrt(1 + stiff[:, None] * n**2)
    t60_s = np.where(key < DAMPED_KEYS, 0.3, 1.5)[:, None] * np.ones(PARTIALS) * (0.4 if strings == "felt" else 1.0)
    heard = hz < HIGHEST_HZ
    return hz[heard], np.log(1000) / t60_s[heard]


def _ringing(tap: Tap, hz: Array, decay: Array, level_db: float, rng: np.random.Generator) -> Array:
    """All partials together so far under the tap's first half second."""
    start = round(tap.onset_s * tap.sample_rate_hz)
    size = rng.rayleigh(1.0, len(hz)) / np.sqrt(1 + (hz / 400.0) ** 2)
    first = size * np.exp(2j * np.pi * rng.random(len(hz)))
    heard = ring(-decay + 2j * np.pi * hz, first, len(tap.samples) - start, tap.sample_rate_hz)
    half = round(0.5 * tap.sample_rate_hz)
    level = np.sqrt(np.mean(tap.samples[start : start + half] ** 2)) * 10 ** (level_db / 20)
    return np.concatenate([np.zeros(start), level / np.sqrt(np.mean(heard[:half] ** 2)) * heard])
