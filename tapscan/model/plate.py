"""Free vibration of a thin plate of stepped thickness, by Morley elements of scikit-fem.

    shapes_of(triangles, iron, count)   Shapes: frequencies, deflection at the corners, bending moments in the triangles, and each region's
                                        part of stiffness and mass, from which altered.py makes a plate of other thicknesses

Kirchhoff theory: bending only. Iron: 105 GPa, Poisson's ratio 0.26, 7200 kg/m3 (gray iron, handbook order). Shapes are mass-normalised, 1/sqrt(kg).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct

from tapscan.model.iron import Iron
from tapscan.model.mesh import Triangles
from tapscan.records import FloatArray

if TYPE_CHECKING:
    from skfem import Basis

MODULUS_PA, POISSON, DENSITY_KG_M3 = 105e9, 0.26, 7200.0
RIGID = 3  # motions of a free plate that do not bend it
TERMS = 3  # of the bending energy: curvature across, curvature along, and what is left; each scales otherwise with the plate's height
SHIFT_HZ = 40.0


class Shapes(Struct, frozen=True, eq=False):
    """Bending modes in order of frequency."""

    frequency_hz: FloatArray  # (n,)
    deflection: FloatArray  # (points, n), 1/sqrt(kg)
    moment: FloatArray  # (3, triangles, n): Mxx, Myy, Mxy in N m/m per unit of modal coordinate
    stiffness_nm: FloatArray  # (triangles,) N m
    still: FloatArray  # (points, RIGID) of the motions that do not bend
    stiffness: FloatArray  # (regions, TERMS, m, m) 1/s2, between all motions, m = RIGID + n, the rigid first
    mass: FloatArray  # (regions, m, m)


def shapes_of(triangles: Triangles, iron: Iron, count: int) -> Shapes:
    """The lowest `count` modes that bend."""
    from scipy.sparse.linalg import LinearOperator, eigsh, splu
    from skfem import Basis, ElementTriMorley, MeshTri

    mesh = MeshTri(np.ascontiguousarray(triangles.points_m.T), np.ascontiguousarray(triangles.corners.T), sort_t=True)
    basis = Basis(mesh, ElementTriMorley(), intorder=4)
    thickness = np.array([r.thickness_m for r in iron.regions])[triangles.region]
    soft, light = (np.array([getattr(r, k) for r in iron.regions])[triangles.region] for k in ("stiffness", "mass"))
    bending = soft * MODULUS_PA * thickness**3 / (12 * (1 - POISSON**2))
    stiffness, mass = _matrices(basis, bending, light * DENSITY_KG_M3 * thickness)
    start = np.random.default_rng(1).standard_normal(basis.N)  # else each run gives other digits
    sigma = -((2 * np.pi * SHIFT_HZ) ** 2)
    symmetric = {"permc_spec": "MMD_AT_PLUS_A", "diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}
    solve = splu((stiffness - sigma * mass).tocsc(), **symmetric).solve  # half of what eigsh's own factors hold
    inverse = LinearOperator(stiffness.shape, solve, dtype=float)
    values, vectors = eigsh(stiffness, k=count + RIGID, M=mass, sigma=sigma, v0=start, OPinv=inverse)
    order = np.argsort(values)
    motions = vectors[:, order]
    frequency = np.sqrt(np.maximum(values[order][RIGID:], 0)) / (2 * np.pi)
    curvature, deflection = _curvature(basis, motions), motions[basis.nodal_dofs[0]]
    return Shapes(
        frequency,
        deflection[:, RIGID:],
        _moments(curvature[:, :, RIGID:], bending),
        bending,
        deflection[:, :RIGID],
        _stiffness_parts(curvature, bending * basis.dx.sum(axis=1), triangles, len(iron.regions)),
        _mass_parts(basis, motions, light * DENSITY_KG_M3 * thickness, triangles, len(iron.regions)),
    )


def _matrices(basis: Basis, bending: FloatArray, mass: FloatArray) -> tuple[Any, Any]:
    """Sparse stiffness and mass matrix."""
    from skfem import BilinearForm
    from skfem.helpers import dd, ddot, eye, trace

    moved = _mass_form()

    @BilinearForm
    def bent(u: Any, v: Any, w: Any) -> Any:
        curvature = dd(u)
        return w.bending * ddot((1 - POISSON) * curvature + POISSON * eye(trace(curvature), 2), dd(v))

    points = basis.dx.shape[1]
    return (
        bent.assemble(basis, bending=np.tile(bending[:, None], points)).tocsc(),
        moved.assemble(basis, mass=np.tile(mass[:, None], points)).tocsc(),
    )


def _mass_form() -> Any:
    from skfem import BilinearForm

    return BilinearForm(lambda u, v, w: w.mass * u * v)


def _curvature(basis: Basis, motions: FloatArray) -> FloatArray:
    """(3, triangles, m) xx, yy, xy. A Morley element bends evenly, so one place in each triangle tells all of it."""
    found = np.zeros((3, basis.dx.shape[0], motions.shape[1]))
    for i in range(6):
        hess = basis.basis[i][0].hess
        part = np.stack([hess[0, 0][:, 0], hess[1, 1][:, 0], hess[0, 1][:, 0]])
        found += part[:, :, None] * motions[basis.element_dofs[i]]
    return found


def _moments(curvature: FloatArray, bending: FloatArray) -> FloatArray:
    xx, yy, xy = curvature
    return np.asarray(bending[:, None] * np.stack([xx + POISSON * yy, yy + POISSON * xx, (1 - POISSON) * xy]))


def _stiffness_parts(curvature: FloatArray, weight: FloatArray, triangles: Triangles, regions: int) -> FloatArray:
    """`weight` (triangles,): bending stiffness times area."""
    out = []
    for number in range(regions):
        mine = triangles.region == number
        (xx, yy, xy), w = curvature[:, mine], weight[mine, None]
        crossed = POISSON * xx.T @ (w * yy)
        out.append([xx.T @ (w * xx), yy.T @ (w * yy), crossed + crossed.T + 2 * (1 - POISSON) * xy.T @ (w * xy)])
    return np.array(out)


def _mass_parts(basis: Basis, motions: FloatArray, mass: FloatArray, triangles: Triangles, regions: int) -> FloatArray:
    moved = _mass_form()
    each = (
        moved.assemble(basis, mass=np.tile((mass * (triangles.region == k))[:, None], (1, basis.dx.shape[1])))
        for k in range(regions)
    )
    return np.array([motions.T @ (part @ motions) for part in each])
