"""Cells that are stacks of prisms, solved by quadratic tetrahedra: scikit-fem, and nothing of geom's own engine.

The section of the cell is triangulated once (Delaunay of a graded set of points), carried through graded layers, each
prism is split in three tetrahedra, and what lies in metal is dropped.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
import skfem
from scipy.sparse import csr_array
from scipy.sparse.linalg import LinearOperator, cg, splu
from scipy.spatial import Delaunay, cKDTree
from skfem.helpers import dot, grad

CLOSE = 1e-6  # a facet this near to metal is on it [m]


@dataclass(frozen=True, eq=False)
class Metal:
    """A right prism of metal: its section in the plane of the layers, and where it begins and stops across them."""

    section: shapely.Polygon
    low: float
    high: float

    def holds(self, xy: np.ndarray, z: np.ndarray, margin: float = 0.0) -> np.ndarray:
        """Return which places lie in the metal, or within ``margin`` of it."""
        shape = self.section.buffer(margin, join_style="mitre") if margin else self.section
        inside = shapely.contains_xy(shape, xy[..., 0], xy[..., 1])
        return inside & (z > self.low - margin) & (z < self.high + margin)


@dataclass(frozen=True, eq=False)
class TetField:
    """Current density at the quadrature points of the cathode, each with its share of the area."""

    places: np.ndarray  # (n, 3): two coordinates of the section, then the one across the layers [m]
    normals: np.ndarray  # (n, 3) into the metal
    areas: np.ndarray  # (n,) [m²]
    current_density: np.ndarray  # (n,) [A/m²]
    unknowns: int
    iterations: int

    @property
    def area(self) -> float:
        """Of the meshed cathode [m²]."""
        return float(self.areas.sum())

    @property
    def current(self) -> float:
        """Into the meshed cathode [A]."""
        return float(self.areas @ self.current_density)

    def mean(self, rows: np.ndarray) -> float:
        """Return the mean current density over some of the points, in means over all of them."""
        return float(np.average(self.current_density[rows], weights=self.areas[rows])) * self.area / self.current

    def percentiles(self, shares: Sequence[float]) -> np.ndarray:
        """Return local over mean current density below which a share of the area lies."""
        order = np.argsort(self.current_density)
        grown = np.cumsum(self.areas[order]) - 0.5 * self.areas[order]
        return np.interp(shares, grown / self.area, self.current_density[order]) * self.area / self.current


def lines(sizes: Mapping[float, float], growth: float, most: float) -> np.ndarray:
    """Return coordinates from the least to the greatest key, through every key, with about the size asked at each.

    Away from a key the spacing grows by ``growth`` for each unit of distance, up to ``most``.
    """
    stops = np.array(sorted(sizes))
    asked = np.array([sizes[s] for s in stops])
    pieces = [stops[:1]]
    for low, high in pairwise(stops):
        fine = np.linspace(low, high, 400)
        spacing = np.minimum(most, (asked[:, None] + growth * np.abs(fine - stops[:, None])).min(axis=0))
        count = np.concatenate([[0.0], np.cumsum(0.5 * (1 / spacing[1:] + 1 / spacing[:-1]) * np.diff(fine))])
        wanted = np.linspace(0.0, count[-1], max(1, round(float(count[-1]))) + 1)
        pieces.append(np.interp(wanted, count, fine)[1:-1])
        pieces.append([high])
    return np.concatenate(pieces)


def grid(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return (n, 2) the crossings of two sets of lines."""
    return np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)


def rings(centre: tuple[float, float], radii: np.ndarray, angles: np.ndarray) -> np.ndarray:
    """Return (n, 2) points on circles about a centre."""
    r, a = (v.ravel() for v in np.meshgrid(radii, angles, indexing="ij"))
    exact = np.stack([np.cos(a), np.sin(a)], axis=1)
    exact[np.abs(exact) < 1e-12] = 0.0
    return np.asarray(centre) + r[:, None] * exact


def filling(taken: np.ndarray, box: shapely.Polygon, growth: float, most: float, least: float) -> np.ndarray:
    """Return (n, 2) points of hexagonal lattices in ``box``, the further from the ``taken`` ones the wider apart."""
    tree, size, points = cKDTree(taken), most, []
    near_tree = tree
    low_x, low_y, high_x, high_y = box.bounds
    sizes = [least * 2**k for k in range(20) if least * 2**k <= most]
    for size in sizes:
        row = np.arange(low_y, high_y, size * np.sqrt(0.75))
        lattice = grid(np.arange(low_x, high_x, size), row)
        lattice[:, 0] += 0.5 * size * (np.searchsorted(row, lattice[:, 1]) % 2)
        lattice = lattice[shapely.contains_xy(box.buffer(-0.4 * size), lattice[:, 0], lattice[:, 1])]
        asked = least + growth * tree.query(lattice)[0]
        lattice = lattice[(asked >= size) & ((asked < 2 * size) | (size == sizes[-1]))]
        lattice = lattice[near_tree.query(lattice)[0] > 0.75 * size]
        points.append(lattice)
        near_tree = cKDTree(np.concatenate([taken, *points]))
    return np.concatenate(points)


def stack(points: np.ndarray, layers: np.ndarray, metals: Sequence[Metal]) -> tuple[skfem.MeshTet, list[np.ndarray]]:
    """Return the tetrahedra of what is not metal, and for each metal the facets that lie on it.

    The two new corners of a diagonal are chosen by their numbers, so that neighbouring prisms agree.
    """
    flat = np.sort(triangles(points), axis=1)
    n = len(points)
    middle_xy, middle_z = points[flat].mean(axis=1), 0.5 * (layers[1:] + layers[:-1])
    wet = np.ones((len(layers) - 1, len(flat)), dtype=bool)
    for metal in metals:
        wet &= ~metal.holds(middle_xy[None, :, :], middle_z[:, None])
    level, triangle = np.nonzero(wet)
    a = flat[triangle].T + n * level
    b = a + n
    tets = np.concatenate([[a[0], a[1], a[2], b[2]], [a[0], a[1], b[1], b[2]], [a[0], b[0], b[1], b[2]]], axis=1)
    used, renumbered = np.unique(tets, return_inverse=True)
    places = np.stack([*points[used % n].T, layers[used // n]])
    mesh = skfem.MeshTet(places, renumbered.reshape(tets.shape))
    outside = mesh.boundary_facets()
    middle = mesh.p[:, mesh.facets[:, outside]].mean(axis=1)
    return mesh, [outside[metal.holds(middle[:2].T, middle[2], CLOSE)] for metal in metals]


def triangles(points: np.ndarray) -> np.ndarray:
    """Return (m, 3) the Delaunay triangles of points with a convex outline, without flat ones along it."""
    found = Delaunay(points).simplices
    a, b, c = points[found].transpose(1, 2, 0)
    twice = np.abs((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
    longest = np.max([(p - q)[0] ** 2 + (p - q)[1] ** 2 for p, q in ((a, b), (b, c), (c, a))], axis=0)
    return found[twice > 1e-6 * longest]


@skfem.BilinearForm
def _laplace(u, v, w):  # type: ignore[no-untyped-def]
    return dot(grad(u), grad(v))


@skfem.BilinearForm
def _mass(u, v, w):  # type: ignore[no-untyped-def]
    return u * v


def solve_tetrahedra(
    mesh: skfem.MeshTet, metals: Sequence[np.ndarray], conductivity: float, resistance: float, voltage: float = 1.0
) -> TetField:
    """Solve the cell with linear polarization on the first metal, the cathode, and none on the second, the anode.

    The potential counts from the metal of the cathode, so that current density is potential over ``resistance``.
    """
    element = skfem.ElementTetP2()
    basis = skfem.Basis(mesh, element, intorder=2)
    on_cathode = skfem.FacetBasis(mesh, element, facets=metals[0], intorder=4)
    matrix = conductivity * _laplace.assemble(basis) + _mass.assemble(on_cathode) / resistance
    fixed = basis.get_dofs(metals[1]).all()
    potential = np.zeros(basis.N)
    potential[fixed] = voltage
    free = np.setdiff1d(np.arange(basis.N), fixed)
    matrix = csr_array(matrix)
    right = -(matrix @ potential)[free]
    inner = csr_array(matrix[free][:, free])
    potential[free], steps = _conjugate_gradients(inner, right, _linear_within(basis, free))
    local = on_cathode.interpolate(potential) / resistance
    return TetField(
        places=np.asarray(on_cathode.global_coordinates()).reshape(3, -1).T,
        normals=np.asarray(on_cathode.normals).reshape(3, -1).T,
        areas=on_cathode.dx.ravel(),
        current_density=np.asarray(local).ravel(),
        unknowns=len(free),
        iterations=steps,
    )


def _linear_within(basis: skfem.Basis, free: np.ndarray) -> csr_array:
    """Return the matrix that carries a piecewise linear function to the quadratic unknowns that are free."""
    mesh = basis.mesh
    corners, edges = np.arange(mesh.nvertices), np.arange(mesh.edges.shape[1])
    rows = np.concatenate([basis.nodal_dofs[0], basis.edge_dofs[0], basis.edge_dofs[0]])
    columns = np.concatenate([corners, mesh.edges[0], mesh.edges[1]])
    values = np.concatenate([np.ones(len(corners)), np.full(2 * len(edges), 0.5)])
    whole = csr_array((values, (rows, columns)), shape=(basis.N, mesh.nvertices))
    kept = np.isin(basis.nodal_dofs[0], free)
    return csr_array(whole[free][:, np.flatnonzero(kept)])


def _conjugate_gradients(matrix: csr_array, right: np.ndarray, within: csr_array) -> tuple[np.ndarray, int]:
    """Solve by conjugate gradients: a direct solve on the linear functions between two damped Jacobi sweeps."""
    coarse = splu((within.T @ matrix @ within).tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    damped = 0.6 / matrix.diagonal()

    def cycle(residual: np.ndarray) -> np.ndarray:
        step = damped * residual
        step += damped * (residual - matrix @ step)
        step += within @ coarse.solve(within.T @ (residual - matrix @ step))
        step += damped * (residual - matrix @ step)
        return step + damped * (residual - matrix @ step)

    steps = 0

    def count(_: np.ndarray) -> None:
        nonlocal steps
        steps += 1

    there = LinearOperator(matrix.shape, cycle, dtype=np.float64)
    found, failed = cg(matrix, right, rtol=1e-6, atol=0.0, M=there, maxiter=300, callback=count)
    assert not failed, "conjugate gradients did not converge"
    return found, steps
