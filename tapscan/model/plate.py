"""Free vibration of a thin plate of stepped thickness, by Morley elements of scikit-fem.

    shapes_of(triangles, iron, count)   Shapes: frequencies, deflection at the corners, bending moments in the triangles

Kirchhoff theory: bending only. Iron: 105 GPa, Poisson's ratio 0.26, 7200 kg/m3 (gray iron, handbook order). Shapes are mass-normalised, 1/sqrt(kg).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from tapscan.model.iron import Iron
from tapscan.model.mesh import Triangles
from tapscan.records import FloatArray

if TYPE_CHECKING:
    from skfem import Basis

MODULUS_PA, POISSON, DENSITY_KG_M3 = 105e9, 0.26, 7200.0
RIGID = 3  # motions of a free plate that do not bend it
SHIFT_HZ = 40.0


@dataclass(frozen=True, eq=False)
class Shapes:
    """Bending modes in order of frequency."""

    frequency_hz: FloatArray  # (n,)
    deflection: FloatArray  # (points, n), 1/sqrt(kg)
    moment: FloatArray  # (3, triangles, n): Mxx, Myy, Mxy in N m/m per unit of modal coordinate
    stiffness_nm: FloatArray  # (triangles,) N m


def shapes_of(triangles: Triangles, iron: Iron, count: int) -> Shapes:
    """The lowest `count` modes that bend."""
    from scipy.sparse.linalg import eigsh
    from skfem import Basis, ElementTriMorley, MeshTri

    mesh = MeshTri(np.ascontiguousarray(triangles.points_m.T), np.ascontiguousarray(triangles.corners.T), sort_t=True)
    basis = Basis(mesh, ElementTriMorley(), intorder=4)
    thickness = np.array([r.thickness_m for r in iron.regions])[triangles.region]
    soft, light = (np.array([getattr(r, k) for r in iron.regions])[triangles.region] for k in ("stiffness", "mass"))
    bending = soft * MODULUS_PA * thickness**3 / (12 * (1 - POISSON**2))
    stiffness, mass = _matrices(basis, bending, light * DENSITY_KG_M3 * thickness)
    start = np.random.default_rng(1).standard_normal(basis.N)  # else each run gives other digits
    values, vectors = eigsh(stiffness, k=count + RIGID, M=mass, sigma=-((2 * np.pi * SHIFT_HZ) ** 2), v0=start)
    order = np.argsort(values)[RIGID:]
    shapes = vectors[:, order]
    frequency = np.sqrt(np.maximum(values[order], 0)) / (2 * np.pi)
    return Shapes(frequency, shapes[basis.nodal_dofs[0]], _moments(basis, shapes, bending), bending)


def _matrices(basis: Basis, bending: FloatArray, mass: FloatArray) -> tuple[Any, Any]:
    """Sparse stiffness and mass matrix."""
    from skfem import BilinearForm
    from skfem.helpers import dd, ddot, eye, trace

    @BilinearForm
    def bent(u: Any, v: Any, w: Any) -> Any:
        curvature = dd(u)
        return w.bending * ddot((1 - POISSON) * curvature + POISSON * eye(trace(curvature), 2), dd(v))

    @BilinearForm
    def moved(u: Any, v: Any, w: Any) -> Any:
        return w.mass * u * v

    points = basis.dx.shape[1]
    return (
        bent.assemble(basis, bending=np.tile(bending[:, None], points)).tocsc(),
        moved.assemble(basis, mass=np.tile(mass[:, None], points)).tocsc(),
    )


def _moments(basis: Basis, shapes: FloatArray, bending: FloatArray) -> FloatArray:
    """A Morley element bends evenly, so one place in each triangle tells all of it."""
    curvature = np.zeros((3, len(bending), shapes.shape[1]))
    for i in range(6):
        hess = basis.basis[i][0].hess
        part = np.stack([hess[0, 0][:, 0], hess[1, 1][:, 0], hess[0, 1][:, 0]])
        curvature += part[:, :, None] * shapes[basis.element_dofs[i]]
    xx, yy, xy = curvature
    return np.asarray(bending[:, None] * np.stack([xx + POISSON * yy, yy + POISSON * xx, (1 - POISSON) * xy]))
