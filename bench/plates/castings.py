"""Castings of one pattern whose thickness differs from place to place, so that their modes veer and cross.

No casting is meshed: mass and stiffness of each cell of the plate are projected once on the lowest modes of each case (sound and flawed), and a
casting is a small dense eigenproblem in that basis, with stiffness as the cube of the cell's thickness and mass as the thickness. What the basis leaves
out is what lies above its last mode.

``casting_arrays``   the arrays of `bench.plates.tables` and beside them ``cell_stiffness``, ``cell_mass`` (cases, cells, n (n + 1) / 2) float32
``draw_thickness``   (cells,) ln of the thickness of one casting over its pattern's
``cast``             a Table of that casting, every case of it, for `tapscan.demo.plates.plate_modes`; beside a Table's arrays it has
                     ``basis_share`` (cases, modes, modes of the drawing), the share of each mode's energy by mode of the drawing
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from msgspec.structs import replace

from bench.plates.cases import Case, Flaw, solve_case
from bench.plates.mesh import PlateMesh
from bench.plates.pattern import Pattern
from bench.plates.tables import RIGID, case_arrays, patch_labels
from tapscan.demo.plates import Table

SQUARE_M = 0.17  # side of the squares within which the roughness of a casting is one
PATCH_SHARE, ROUGH_SHARE, OVERALL_SHARE = (
    0.55,
    1.0,
    0.2,
)  # of the scatter: by part of the plate, by square, of the plate as a whole
MODULUS_SHARE = 0.5  # of the modulus as a whole, in the same measure
LINEAR = ("support_shape", "clamp_shape", "pickup_shape", "microphone", "hinge_rotation")


def _cells(pattern: Pattern, mesh: PlateMesh) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(m,) cell of each triangle; part and square of each cell."""
    part, _ = patch_labels(pattern, mesh)
    centre = mesh.points_m[:, mesh.triangles].mean(axis=1)
    x, y = np.floor(centre / SQUARE_M).astype(int)
    _, square = np.unique(x + 1000 * y, return_inverse=True)
    both, cell = np.unique(np.stack([part, square]), axis=1, return_inverse=True)
    return cell.ravel(), both[0], both[1]


def _projected(case: Case, cell: np.ndarray, cells: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """(cells, n (n + 1) / 2) stiffness and mass of each cell in the basis of the case's modes."""
    vectors = case.modes.vectors[:, :count]
    local = np.ascontiguousarray(vectors[case.system.basis.element_dofs].transpose(1, 0, 2))
    lower = np.tril_indices(count)
    out = np.zeros((2, cells, len(lower[0])), dtype=np.float32)
    for number in range(cells):
        here = np.nonzero(cell == number)[0]
        shape = local[here].reshape(-1, count)
        for row, blocks in enumerate((case.system.element_stiffness, case.system.element_mass)):
            pushed = (blocks[here] @ local[here]).reshape(-1, count)
            out[row, number] = (shape.T @ pushed)[lower]
    return out[0], out[1]


def casting_arrays(
    pattern: Pattern, mesh: PlateMesh, flaws: list[Flaw], count: int, meta: dict[str, Any], say: Any = None
) -> dict[str, np.ndarray]:
    """Every case solved and projected; `meta` is that of bench.plates.tables."""
    cell, part, square = _cells(pattern, mesh)
    rows = []
    for flaw in flaws:
        case = solve_case(pattern, mesh, flaw, count)
        arrays = {k: np.asarray(v, dtype=np.float32) for k, v in case_arrays(pattern, mesh, case).items()}
        arrays["cell_stiffness"], arrays["cell_mass"] = _projected(case, cell, len(part), count)
        rows.append(arrays)
        if say is not None:
            say(f"{pattern.name}: {flaw.label}")
    stacked = {key: np.stack([row[key] for row in rows]) for key in rows[0]}
    extra = {"cell_part": part, "cell_square": square, "meta": np.array(json.dumps(meta))}
    return stacked | extra


def read_castings(path: Path) -> Table:
    """What `casting_arrays` left, as a Table with the further arrays."""
    with np.load(path) as data:
        meta = json.loads(str(data["meta"]))
        return Table(meta["pattern"], meta, {k: np.asarray(data[k]) for k in data.files if k != "meta"})


def draw_thickness(table: Table, rng: np.random.Generator, scatter: float) -> tuple[np.ndarray, float]:
    """(cells,) ln of the thickness, and ln of the modulus; `scatter` is the sd of the thickness from square to square."""
    part, square = table.arrays["cell_part"], table.arrays["cell_square"]
    patches = PATCH_SHARE * scatter * rng.standard_normal(int(part.max()) + 1)
    rough = ROUGH_SHARE * scatter * rng.standard_normal(int(square.max()) + 1)
    overall = OVERALL_SHARE * scatter * float(rng.standard_normal())
    return patches[part] + rough[square] + overall, MODULUS_SHARE * scatter * float(rng.standard_normal())


def cast(table: Table, thickness: np.ndarray, log_modulus: float) -> Table:
    """All cases of one casting."""
    rows = [_cast_case(table, case, thickness, log_modulus) for case in range(len(table.labels))]
    return replace(table, arrays={key: np.stack([row[key] for row in rows]) for key in rows[0]})


def _whole(packed: np.ndarray, count: int) -> np.ndarray:
    out = np.zeros((count, count))
    lower = np.tril_indices(count)
    out[lower] = packed
    return out + np.tril(out, -1).T


def _cast_case(table: Table, case: int, thickness: np.ndarray, log_modulus: float) -> dict[str, np.ndarray]:
    a = {k: v[case] for k, v in table.arrays.items() if not k.startswith("cell_")}
    stiff, heavy = table.arrays["cell_stiffness"][case], table.arrays["cell_mass"][case]
    count = len(a["frequency_hz"])
    omega2 = (2 * np.pi * a["frequency_hz"].astype(float)) ** 2
    springs = np.diag(omega2) - _whole(stiff.sum(axis=0), count)  # hinges of a part-depth crack, which stay as they are
    bent = _whole(np.exp(3 * thickness + log_modulus) @ stiff, count)
    hinged = bool(np.any(a["hinge_stiffness"] > 0))
    stiffness = bent + springs if hinged else bent
    mass = _whole(np.exp(thickness) @ heavy, count)
    values, mix = _eigen(stiffness, mass)
    values[:RIGID] = 0.0
    out = {key: np.tensordot(mix.T, a[key].astype(float), axes=1) for key in ("station_shape", *LINEAR)}
    out["frequency_hz"] = np.sqrt(np.maximum(values, 0.0)) / (2 * np.pi)
    weight = mix**2 * omega2[:, None]
    out["chill_share"] = (a["chill_share"] @ weight) / np.maximum(values, 1.0)
    out["basis_share"] = (
        weight / np.maximum(weight.sum(axis=0), 1e-9)
    ).T  # of each mode's energy, by mode of the drawing
    out["hinge_share"] = (out["hinge_rotation"] ** 2 @ a["hinge_stiffness"]) / np.maximum(values, 1.0)
    out["strain_share"] = np.zeros_like(a["strain_share"], dtype=float)  # the thickness is in the modes already
    out["kinetic_share"] = a["kinetic_share"].astype(float)
    out["hinge_stiffness"] = a["hinge_stiffness"].astype(float)
    return out


def _eigen(stiffness: np.ndarray, mass: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    lower = np.linalg.cholesky(mass)
    half = np.linalg.solve(lower, stiffness)
    whole = np.linalg.solve(lower, half.T)
    values, vectors = np.linalg.eigh((whole + whole.T) / 2)
    return values, np.linalg.solve(lower.T, vectors)
