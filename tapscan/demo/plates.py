"""Invented plates from modal tables: which plate, which flaw, how it hangs, how warm it is.

The tables come from ``bench/plates`` (finite elements); see docs/simulated-plates.md for what they are and are not.
Nothing here is measured on iron.

A plate's sound is fixed in three steps, each with its own seed:

``load_table``     one pattern: all its cases (sound and flawed), places, patches
``draw_iron``      one casting of that pattern: thickness, modulus and damping, as castings scatter
``plate_modes``    that casting with one flaw, in one state (supports, temperature, things left on it)

Units: Hz, m, kg, N/m, K; ``loss_factor`` is 1/Q; ``decay_rate_per_s`` is pi f times the loss factor. Mode shapes are
mass-normalised, 1/sqrt(kg).
"""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct, field

REFERENCE_TEMPERATURE_C = 20.0
EXPANSION_PER_K = 10.8e-6  # gear handbook value for gray iron, 0 to 100 C
MODULUS_SLOPE_PER_K = -3.3e-4  # gray iron, ASME B31.1-1995 table, -73 to 93 C (read second-hand)
IRON_KG_M3 = 7200.0
CHILLED_LOSS_RATIO = 0.08  # loss factor of chilled over sound iron; order from handbook damping tables, from memory
RUBBING_LOSS = 0.3  # loss factor of rubbing crack faces; guessed
COINCIDENCE_HZ = 1760.0  # of a 9.5 mm iron plate in air
AIR_IMPEDANCE_PA_S_M = 413.0
MEAN_MASS_PER_AREA_KG_M2 = 80.0


class Table(Struct, frozen=True, eq=False):
    """One pattern's modal table; the arrays are described in ``bench/plates/tables.py``."""

    name: str
    meta: dict[str, Any]
    arrays: dict[str, np.ndarray]

    @property
    def labels(self) -> list[str]:
        """Labels of the cases; "sound" is first."""
        return [c["label"] for c in self.meta["cases"]]

    @property
    def station_names(self) -> list[str]:
        """Names of the stations, in the order tapped."""
        return [s["name"] for s in self.meta["stations"]]

    @property
    def n_modes(self) -> int:
        """Modes a case, the three rigid ones included."""
        return int(self.arrays["frequency_hz"].shape[1])

    def case_index(self, label: str) -> int:
        """Number of a case by label, or by kind where only one case has it; ``ValueError`` lists candidates."""
        if label in self.labels:
            return self.labels.index(label)
        found = [i for i, c in enumerate(self.meta["cases"]) if c["kind"] == label]
        if len(found) == 1:
            return found[0]
        near = [self.labels[i] for i in found] or self.labels
        raise ValueError(f"{self.name}: no single case {label!r}; there are: {'; '.join(near)}")


def pattern_names() -> tuple[str, ...]:
    """Names of the shipped patterns."""
    folder = resources.files("tapscan.demo") / "tables"
    return tuple(sorted(p.name[:-4] for p in folder.iterdir() if p.name.endswith(".npz")))


def read_table(path: Path) -> Table:
    """Read a table from a file, such as one of a bigger set made by ``python -m bench.plates cache``."""
    with np.load(path) as data:
        meta = json.loads(str(data["meta"]))
        arrays = {k: np.asarray(data[k], dtype=float) for k in data.files if k != "meta"}
    return Table(meta["pattern"], meta, arrays)


@cache
def load_table(name: str) -> Table:
    """Shipped table by pattern name; ``ValueError`` with the known names."""
    if name not in pattern_names():
        raise ValueError(f"no pattern {name!r}; known: {', '.join(pattern_names())}")
    with resources.as_file(resources.files("tapscan.demo") / "tables" / f"{name}.npz") as path:
        return read_table(path)


class Iron(Struct, frozen=True, eq=False):
    """What sets one casting apart from its pattern.

    ``log_modulus`` : float, ln of the modulus over the pattern's. ``thickness_change`` : (patches,) relative.
    ``loss_factor`` : (modes,) material loss factor of each mode of the sound plate.
    """

    log_modulus: float
    thickness_change: np.ndarray
    loss_factor: np.ndarray


def draw_iron(
    table: Table,
    rng: np.random.Generator,
    mean_loss_factor: float | None = None,
    loss_scatter: float = 0.17,
    patch_thickness_sd: float = 0.028,
) -> Iron:
    """A casting of a pattern.

    ``mean_loss_factor`` : drawn log-uniform from .002 to .010 where None. ``loss_scatter`` : relative, mode to mode.
    ``patch_thickness_sd`` : relative; 0 with ``log_modulus`` replaced by 0 gives the drawing itself.
    """
    mean = float(np.exp(rng.uniform(np.log(0.002), np.log(0.010)))) if mean_loss_factor is None else mean_loss_factor
    sigma = np.sqrt(np.log1p(loss_scatter**2))
    scatter = np.exp(sigma * rng.standard_normal(table.n_modes) - sigma**2 / 2)
    overall = 0.010 * rng.standard_normal()
    patches = overall + patch_thickness_sd * rng.standard_normal(len(table.meta["patches"]))
    return Iron(0.025 * float(rng.standard_normal()), patches, mean * scatter)


class Support(Struct, frozen=True):
    """A spring under the plate: ``place`` is a number in the table's supports (pads 0 to 3, slings 4 and 5).

    ``shift_m`` : -0.03 to 0.03, moved along the edge. ``loss_factor`` : of the spring.
    """

    place: int
    stiffness_n_m: float = 3e4
    shift_m: float = 0.0
    loss_factor: float = 0.1


class Contact(Struct, frozen=True):
    """Something that touches the plate at a station, or ``dx_m``, ``dy_m`` beside it (by the slope there: within some 15 mm).

    A spring to the ground and a mass that moves with the iron; either may be 0.
    """

    station: int
    dx_m: float = 0.0
    dy_m: float = 0.0
    stiffness_n_m: float = 0.0
    loss_factor: float = 0.0
    mass_kg: float = 0.0


PADS = tuple(Support(i) for i in range(4))


class State(Struct, frozen=True):
    """How the plate is at the time of a scan.

    ``masses_kg`` : (clamp place, kg) of things left on it. ``finish_m`` : 0 to 5e-4, thickness of a coat on one side,
    1300 kg/m3, no stiffness. ``rubbing`` : label of a part-depth case whose crack is closed and rubs, or "". ``warmer_k`` :
    (patches,) kelvin above ``temperature_c`` of each patch of the iron, or empty.
    """

    temperature_c: float = REFERENCE_TEMPERATURE_C
    supports: tuple[Support, ...] = PADS
    masses_kg: tuple[tuple[int, float], ...] = ()
    finish_m: float = 0.0
    rubbing: str = ""
    contacts: tuple[Contact, ...] = ()
    warmer_k: tuple[float, ...] = ()


class PlateModes(Struct, frozen=True, eq=False):
    """Modes of one plate in one state.

    ``frequency_hz``, ``decay_rate_per_s`` : (n,). ``station`` : (n, 3, stations) deflection and slopes. ``clamp``,
    ``pickup`` : (n, places). ``microphone`` : (n, microphones) complex. ``hinge`` : (n, 2) rotation across the crack.
    """

    table: Table
    label: str
    frequency_hz: np.ndarray
    decay_rate_per_s: np.ndarray
    station: np.ndarray
    clamp: np.ndarray
    pickup: np.ndarray
    microphone: np.ndarray
    hinge: np.ndarray
    hinge_stiffness: np.ndarray = field(default_factory=lambda: np.zeros(2))

    @property
    def loss_factor(self) -> np.ndarray:
        """(M,) loss factor 1/Q of each mode."""
        return np.asarray(self.decay_rate_per_s / (np.pi * self.frequency_hz))


def radiation_loss_factor(frequency_hz: np.ndarray) -> np.ndarray:
    """Rough loss by sound: unbaffled plate below coincidence, so the efficiency falls as f^1.5 (order only)."""
    efficiency = np.minimum(1.0, (frequency_hz / COINCIDENCE_HZ) ** 1.5)
    omega = 2.0 * np.pi * np.maximum(frequency_hz, 1.0)
    return np.asarray(AIR_IMPEDANCE_PA_S_M * efficiency / (omega * MEAN_MASS_PER_AREA_KG_M2))


def temperature_factor(temperature_c: float) -> float:
    """Frequency over frequency at 20 C of free uniform iron: 1 + (beta_E + alpha) dT / 2, the same for all modes."""
    return 1.0 + 0.5 * (MODULUS_SLOPE_PER_K + EXPANSION_PER_K) * (temperature_c - REFERENCE_TEMPERATURE_C)


def free_eigenvalues(table: Table, case: int, iron: Iron, state: State) -> np.ndarray:
    """Squared angular frequencies of the free plate, by first-order energy sensitivities."""
    a = table.arrays
    strain, kinetic = a["strain_share"][case], a["kinetic_share"][case]
    change = (3.0 * strain - kinetic) @ iron.thickness_change + iron.log_modulus
    depth = np.asarray(table.meta["patch_thickness_m"])
    change = change - kinetic @ (1300.0 * state.finish_m / (IRON_KG_M3 * depth))
    if state.warmer_k:
        change = change + strain @ ((MODULUS_SLOPE_PER_K + EXPANSION_PER_K) * np.asarray(state.warmer_k))
    omega = 2.0 * np.pi * a["frequency_hz"][case] * temperature_factor(state.temperature_c)
    return np.asarray(omega**2 * np.exp(change))


def material_loss(table: Table, case: int, iron: Iron, state: State) -> np.ndarray:
    """(modes,) loss factor of the iron itself in each mode, and of a crack that rubs."""
    a = table.arrays
    loss = iron.loss_factor.copy()
    if table.meta["cases"][case]["kind"] == "chill":
        loss *= 1.0 - (1.0 - CHILLED_LOSS_RATIO) * a["chill_share"][case]
    if state.rubbing:
        loss += RUBBING_LOSS * a["hinge_share"][table.case_index(state.rubbing)]
    return np.asarray(loss)


def _support_shape(table: Table, case: int, support: Support) -> np.ndarray:
    offsets = np.asarray(table.meta["support_offsets_m"])
    if not offsets[0] <= support.shift_m <= offsets[-1]:
        raise ValueError(f"support moved by {support.shift_m} m; the table reaches {offsets[-1]} m: is it in mm?")
    others = offsets[:, None] - offsets + np.eye(len(offsets))
    reach = support.shift_m - offsets[None, :] + np.zeros((len(offsets), 1))
    reach[np.diag_indices(len(offsets))] = 1.0
    weight = np.prod(reach / np.where(np.eye(len(offsets)) > 0, 1.0, others), axis=1)
    return np.asarray(table.arrays["support_shape"][case][:, support.place, :] @ weight)


def plate_modes(table: Table, label: str, iron: Iron, state: State | None = None) -> PlateModes:
    """Modes of a casting with a flaw (``label`` of a case) in a state.

    Springs and masses are put on in the basis of the free plate's modes: a dense eigenproblem of the table's size,
    some milliseconds. Losses add by energy: material, springs, radiation. Modes below 1 Hz are left out.
    """
    state = state or State()
    case = table.case_index(label)
    a = table.arrays
    eigen = free_eigenvalues(table, case, iron, state)
    omega2, mix, spring_loss = _put_on(table, case, eigen, state)
    lost = (mix**2).T @ (eigen * material_loss(table, case, iron, state))
    lost = lost + np.sum(mix * (spring_loss @ mix), axis=0)
    frequency = np.sqrt(omega2) / (2.0 * np.pi)
    loss = lost / omega2 + radiation_loss_factor(frequency)
    coupling = a["microphone"][case]
    return PlateModes(
        table=table,
        label=table.labels[case],
        frequency_hz=frequency,
        decay_rate_per_s=np.pi * frequency * loss,
        station=np.tensordot(mix.T, a["station_shape"][case], axes=1),
        clamp=mix.T @ a["clamp_shape"][case],
        pickup=mix.T @ a["pickup_shape"][case],
        microphone=mix.T @ (coupling[..., 0] + 1j * coupling[..., 1]),
        hinge=mix.T @ a["hinge_rotation"][case],
        hinge_stiffness=a["hinge_stiffness"][case],
    )


def _put_on(table: Table, case: int, eigen: np.ndarray, state: State) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Squared angular frequencies above (2 pi)^2, shapes in the free modes, and the springs' loss matrix."""
    stiffness, spring_loss, mass = np.diag(eigen), np.zeros((len(eigen), len(eigen))), np.eye(len(eigen))
    for support in state.supports:
        shape = _support_shape(table, case, support)
        spring = support.stiffness_n_m * np.outer(shape, shape)
        stiffness = stiffness + spring
        spring_loss = spring_loss + support.loss_factor * spring
    for touch in state.contacts:
        shape = table.arrays["station_shape"][case][:, :, touch.station] @ (1.0, touch.dx_m, touch.dy_m)
        spring = touch.stiffness_n_m * np.outer(shape, shape)
        stiffness, spring_loss = stiffness + spring, spring_loss + touch.loss_factor * spring
        mass = mass + touch.mass_kg * np.outer(shape, shape)
    for place, kilograms in state.masses_kg:
        shape = table.arrays["clamp_shape"][case][:, place]
        mass = mass + kilograms * np.outer(shape, shape)
    omega2, mix = _eigen(stiffness, mass)
    keep = omega2 > (2.0 * np.pi) ** 2
    return omega2[keep], mix[:, keep], spring_loss


def _eigen(stiffness: np.ndarray, mass: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Generalised symmetric eigenproblem by Cholesky, mass-normalised, without importing scipy."""
    if np.array_equal(mass, np.eye(len(mass))):  # nothing was put on: the same figures, sooner
        values, vectors = np.linalg.eigh(stiffness)
        return values, vectors
    lower = np.linalg.cholesky(mass)
    half = np.linalg.solve(lower, stiffness)
    values, vectors = np.linalg.eigh(np.linalg.solve(lower, half.T))
    return values, np.linalg.solve(lower.T, vectors)
