"""Vibration of a free thin plate with piecewise thickness, by Morley elements.

Kirchhoff theory: bending only, no shear, no rotary inertia, no motion in the plane of the plate. The Morley element
(scikit-fem) is quadratic in a triangle, with the deflection at the corners and the slope across each side as unknowns.
It is non-conforming and its eigenvalues come from below as the square of the element size.

Conventions: positions in m, thickness in m, moduli in Pa, density in kg/m3, frequencies in Hz. Mode shapes are
mass-normalised (unit 1/sqrt(kg)). Rigid motions are kept as the first three modes at 0 Hz.

``assemble``          element energies and the global matrices of one mesh
``solve_modes``       lowest modes by shift and invert
``shape_at_points``   deflection and slope of modes at points
``energy_shares``     share of a mode's strain and kinetic energy in labelled patches
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from scipy import sparse
from scipy.sparse import linalg as splinalg
from skfem import Basis, ElementTriMorley, MeshTri

from bench.plates.lanczos import lowest_modes

QUADRATURE_ORDER = 4  # exact for the product of two quadratics


class ElasticField(Struct, frozen=True, eq=False):
    """What the plate is made of, per triangle.

    ``bending_stiffness_nm`` : (n_triangles,) float64, N m, D = E h^3 / 12 (1 - nu^2).
    ``mass_per_area_kg_m2`` : (n_triangles,) float64, kg/m2.
    ``poisson`` : float, 0 to 0.5.
    """

    bending_stiffness_nm: np.ndarray
    mass_per_area_kg_m2: np.ndarray
    poisson: float


class System(Struct, frozen=True, eq=False):
    """Assembled plate: global matrices and what is needed to look at modes afterwards."""

    mesh: MeshTri
    basis: Basis
    stiffness: sparse.csc_matrix
    mass: sparse.csc_matrix
    element_stiffness: np.ndarray
    element_mass: np.ndarray
    tie: sparse.csr_matrix | None = None

    def free_to_all(self, vectors: np.ndarray) -> np.ndarray:
        """Expand unknowns after ties to all element unknowns."""
        return vectors if self.tie is None else np.asarray(self.tie @ vectors)


class Modes(Struct, frozen=True, eq=False):
    """Modes of a system: ``frequency_hz`` (n,) rising, ``vectors`` (unknowns, n) mass-normalised."""

    frequency_hz: np.ndarray
    vectors: np.ndarray


def make_mesh(points_m: np.ndarray, triangles: np.ndarray) -> MeshTri:
    """scikit-fem mesh from (2, n) points and (3, m) corner numbers."""
    return MeshTri(np.ascontiguousarray(points_m), np.ascontiguousarray(triangles), sort_t=True)


def element_matrices(basis: Basis, field: ElasticField) -> tuple[np.ndarray, np.ndarray]:
    """(m, 6, 6) stiffness and mass of each triangle."""
    functions = [basis.basis[i][0] for i in range(6)]
    weights = basis.dx
    value = np.stack([np.asarray(f) for f in functions], axis=1)
    hess = np.stack([np.stack([f.hess[0, 0], f.hess[1, 1], f.hess[0, 1]])[:, :, 0] for f in functions])
    area = weights.sum(axis=1)
    nu = field.poisson
    law = np.array([[1.0, nu, 0.0], [nu, 1.0, 0.0], [0.0, 0.0, 2.0 * (1.0 - nu)]])
    stiff = np.einsum(
        "iae,ab,jbe,e->eij",
        hess,
        law,
        hess,
        area * field.bending_stiffness_nm,
        optimize=True,
    )
    mass = np.einsum(
        "eiq,ejq,eq,e->eij",
        value,
        value,
        weights,
        field.mass_per_area_kg_m2,
        optimize=True,
    )
    return stiff, mass


def assemble(
    mesh: MeshTri,
    field: ElasticField,
    tied_vertices: np.ndarray | None = None,
    hinges: np.ndarray | None = None,
    hinge_stiffness_n: np.ndarray | None = None,
) -> System:
    """Assemble a plate, optionally with hinge lines.

    ``tied_vertices`` : (2, k) int, pairs of vertices that keep one deflection (a crack of part depth).
    ``hinges`` : (2, k) int, pairs of boundary sides joined by a rotational spring.
    ``hinge_stiffness_n`` : (k,) N m per rad and m of line; 0 leaves the pair free.
    """
    element = ElementTriMorley()
    basis = Basis(mesh, element, intorder=QUADRATURE_ORDER)
    stiff, mass = element_matrices(basis, field)
    k_all, m_all = _scatter(basis, stiff), _scatter(basis, mass)
    if hinges is not None and hinges.size:
        assert hinge_stiffness_n is not None
        k_all = k_all + _hinge_matrix(basis, hinges, hinge_stiffness_n)
    tie = None
    if tied_vertices is not None and tied_vertices.size:
        tie = _tie_matrix(basis, tied_vertices)
        k_all, m_all = tie.T @ k_all @ tie, tie.T @ m_all @ tie
    return System(mesh, basis, k_all.tocsc(), m_all.tocsc(), stiff, mass, tie)


def _scatter(basis: Basis, blocks: np.ndarray) -> sparse.csr_matrix:
    dofs = basis.element_dofs
    rows = np.repeat(dofs.T[:, :, None], 6, axis=2)
    cols = np.repeat(dofs.T[:, None, :], 6, axis=1)
    shape = (basis.N, basis.N)
    return sparse.coo_matrix((blocks.ravel(), (rows.ravel(), cols.ravel())), shape=shape).tocsr()


def hinge_rows(basis: Basis, hinges: np.ndarray) -> sparse.csr_matrix:
    """(k, unknowns) relative rotation of each hinge; slopes of boundary sides point outward on both faces."""
    count = hinges.shape[1]
    dofs = basis.facet_dofs[0]
    cols = np.concatenate([dofs[hinges[0]], dofs[hinges[1]]])
    rows = np.tile(np.arange(count), 2)
    return sparse.coo_matrix((np.ones(2 * count), (rows, cols)), shape=(count, basis.N)).tocsr()


def hinge_lengths_m(mesh: MeshTri, hinges: np.ndarray) -> np.ndarray:
    """(k,) length of each hinge's side in m."""
    ends = mesh.p[:, mesh.facets[:, hinges[0]]]
    return np.asarray(np.hypot(*(ends[:, 1] - ends[:, 0])))


def _hinge_matrix(basis: Basis, hinges: np.ndarray, stiffness: np.ndarray) -> sparse.csr_matrix:
    jump = hinge_rows(basis, hinges)
    return jump.T @ sparse.diags(stiffness * hinge_lengths_m(basis.mesh, hinges)) @ jump


def _tie_matrix(basis: Basis, pairs: np.ndarray) -> sparse.csr_matrix:
    master = np.arange(basis.N)
    nodal = basis.nodal_dofs[0]
    for keep, drop in pairs.T:
        root = master[nodal[keep]]
        master[master == master[nodal[drop]]] = root
    kept, column = np.unique(master, return_inverse=True)
    data = np.ones(basis.N)
    return sparse.coo_matrix((data, (np.arange(basis.N), column)), shape=(basis.N, len(kept))).tocsr()


def solve_modes(system: System, count: int, shift_hz: float = 60.0) -> Modes:
    """Lowest ``count`` modes, the three rigid ones included, by block Lanczos with shift and invert.

    The shift lies below zero, at -(2 pi shift_hz)^2, because the stiffness of a free plate is singular.
    """
    sigma = -((2.0 * np.pi * shift_hz) ** 2)
    factor = splinalg.splu(
        (system.stiffness - sigma * system.mass).tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    values, vectors = lowest_modes(factor.solve, system.mass, count, sigma)
    return Modes(np.sqrt(np.maximum(values, 0.0)) / (2.0 * np.pi), system.free_to_all(vectors))


def shape_at_points(system: System, modes: Modes, points_m: np.ndarray) -> np.ndarray:
    """(3, n_points, n_modes): deflection (1/sqrt(kg)) and its slopes along x and y (1/(m sqrt(kg)))."""
    mesh, basis = system.mesh, system.basis
    cells = mesh.element_finder()(*points_m)
    local = basis.mapping.invF(points_m[:, :, None], tind=cells)
    out = np.zeros((3, points_m.shape[1], modes.vectors.shape[1]))
    for i in range(6):
        shape = basis.elem.gbasis(basis.mapping, local, i, tind=cells)[0]
        nodal = modes.vectors[basis.element_dofs[i, cells]]
        parts = [np.asarray(shape)[:, 0], shape.grad[0][:, 0], shape.grad[1][:, 0]]
        for row, part in enumerate(parts):
            out[row] += part[:, None] * nodal
    return out


def energy_shares(system: System, modes: Modes, label: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """(count, n_modes) shares of strain and of kinetic energy in the patches 0..count-1 of ``label`` (per triangle)."""
    local = np.ascontiguousarray(modes.vectors[system.basis.element_dofs].transpose(1, 0, 2))
    stiff = np.sum(local * (system.element_stiffness @ local), axis=1)
    mass = np.sum(local * (system.element_mass @ local), axis=1)
    member = sparse.coo_matrix((np.ones(len(label)), (label, np.arange(len(label)))), shape=(count, len(label)))
    strain, kinetic = member @ stiff, member @ mass
    bends = modes.frequency_hz > 1.0  # a rigid motion has no strain to share out
    total = np.where(bends, strain.sum(axis=0), 1.0)
    return np.asarray(np.where(bends, strain, 0.0) / total), np.asarray(kinetic / kinetic.sum(axis=0))


def element_deflection(system: System, modes: Modes) -> np.ndarray:
    """(n_triangles, n_modes) mean deflection of each triangle."""
    value = np.stack([np.asarray(system.basis.basis[i][0]) for i in range(6)], axis=0)
    weight = system.basis.dx / system.basis.dx.sum(axis=1, keepdims=True)
    mean = np.einsum("ieq,eq->ie", value, weight)
    out = np.zeros((system.basis.element_dofs.shape[1], modes.vectors.shape[1]))
    for i in range(6):
        out += mean[i][:, None] * modes.vectors[system.basis.element_dofs[i]]
    return out
