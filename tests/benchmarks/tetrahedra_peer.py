"""The reference cell as a user of general libraries would solve it: gmsh, scikit-fem, pyamg. The whole cell, no symmetry.

Quadratic tetrahedra, small at the edges of the bar and growing away from them; conjugate gradients, algebraic multigrid.
"""

import warnings
from typing import Any

import gmsh
import numpy as np
import pyamg
import skfem
from benchmarks.workloads import KAPPA, RESISTANCE, worst
from helpers.timing import timed
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import cg
from skfem.helpers import dot, grad

SHARES = (0.01, 0.10, 0.50, 0.90, 0.99)
BAR, ANODE = "bar", "anode"


def meshed(edge: float, growth: float, most: float) -> tuple[skfem.MeshTet, dict[str, np.ndarray]]:
    """Return tetrahedra [mm] of the liquid, and the corners of the facets on bar and anode.

    ``edge`` is the size at the edges of the bar [mm]; ``growth`` is added for each mm away from them, up to ``most``.
    """
    gmsh.initialize()
    gmsh.option.setNumber("General.Terminal", 0)
    gmsh.option.setNumber("General.NumThreads", 1)
    occ = gmsh.model.occ
    liquid = occ.addBox(0, 0, 0, 200, 150, 150)
    bar = occ.addBox(130, 25, 65, 3, 100, 20)
    holes = [(3, occ.addCylinder(129, y, 75, 5, 0, 0, 4)) for y in (45, 105)]
    bar_body = occ.cut([(3, bar)], holes)[0]
    anode = occ.addBox(69, 25, 25, 1, 100, 100)
    occ.cut([(3, liquid)], [*bar_body, (3, anode)])
    occ.synchronize()
    faces: dict[str, list[int]] = {BAR: [], ANODE: []}
    for _, tag in gmsh.model.getEntities(2):
        low, _, _, high, _, _ = gmsh.model.getBoundingBox(2, tag)
        if low > 68 and high < 71:
            faces[ANODE].append(tag)
        elif low > 129 and high < 134:
            faces[BAR].append(tag)
    _sizes(faces, edge, growth, most)
    gmsh.model.mesh.generate(3)
    tags, places, _ = gmsh.model.mesh.getNodes()
    number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    number[tags] = np.arange(len(tags))
    tets = number[gmsh.model.mesh.getElementsByType(4)[1]].reshape(-1, 4)
    on = {
        name: number[np.concatenate([gmsh.model.mesh.getElementsByType(2, tag)[1] for tag in own])].reshape(-1, 3)
        for name, own in faces.items()
    }
    gmsh.finalize()
    return skfem.MeshTet(places.reshape(-1, 3).T, tets.T), on


def _sizes(faces: dict[str, list[int]], edge: float, growth: float, most: float) -> None:
    """Tell gmsh how large elements are to be: by the distance to the edges of bar and anode."""
    mesh_field = gmsh.model.mesh.field
    fields = []
    for name, size in ((BAR, edge), (ANODE, 8 * edge)):
        lines = gmsh.model.getBoundary([(2, tag) for tag in faces[name]], combined=False, oriented=False)
        near = mesh_field.add("Distance")
        mesh_field.setNumbers(near, "CurvesList", sorted({tag for _, tag in lines}))
        mesh_field.setNumber(near, "Sampling", int(100 / size))
        grown = mesh_field.add("MathEval")
        mesh_field.setString(grown, "F", f"min({most}, {size} + {growth} * F{near})")
        fields.append(grown)
    least = mesh_field.add("Min")
    mesh_field.setNumbers(least, "FieldsList", fields)
    mesh_field.setAsBackgroundMesh(least)
    for name in ("MeshSizeExtendFromBoundary", "MeshSizeFromPoints", "MeshSizeFromCurvature"):
        gmsh.option.setNumber(f"Mesh.{name}", 0)


@skfem.BilinearForm
def _laplace(u, v, w):  # type: ignore[no-untyped-def]
    return dot(grad(u), grad(v))


@skfem.BilinearForm
def _mass(u, v, w):  # type: ignore[no-untyped-def]
    return u * v


def _facets(mesh: skfem.MeshTet, corners: np.ndarray) -> np.ndarray:
    """Return the numbers of the facets with these corners."""
    outside = mesh.boundary_facets()
    n = mesh.nvertices
    own, wanted = (np.sort(c.astype(np.int64), axis=0) for c in (mesh.facets[:, outside], corners.T))
    keys, asked = ((c[0] * n + c[1]) * n + c[2] for c in (own, wanted))
    return outside[np.isin(keys, asked)]


def solved(edge: float, growth: float, most: float) -> tuple[np.ndarray, int]:
    """Mesh, assemble, solve: the percentiles, and how many unknowns."""
    mesh, on = meshed(edge, growth, most)
    element = skfem.ElementTetP2()
    basis = skfem.Basis(mesh, element, intorder=2)
    cathode = skfem.FacetBasis(mesh, element, facets=_facets(mesh, on[BAR]), intorder=4)
    matrix = csr_matrix(_laplace.assemble(basis) + _mass.assemble(cathode) * (1e-3 / (KAPPA * RESISTANCE)))
    potential = np.zeros(basis.N)
    fixed = basis.get_dofs(_facets(mesh, on[ANODE])).all()
    potential[fixed] = 1.0
    free = np.setdiff1d(np.arange(basis.N), fixed)
    inner = csr_matrix(matrix[free][:, free])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        levels = pyamg.smoothed_aggregation_solver(inner, symmetry="symmetric")
        right = -(matrix @ potential)[free]
        potential[free], failed = cg(inner, right, rtol=1e-5, M=levels.aspreconditioner())
    assert not failed, "conjugate gradients did not converge"
    local = np.asarray(cathode.interpolate(potential)).ravel()
    areas = cathode.dx.ravel()
    order = np.argsort(local)
    grown = np.cumsum(areas[order]) - 0.5 * areas[order]
    mean = float(local @ areas) / areas.sum()
    return np.interp(SHARES, grown / areas.sum(), local[order] / mean), len(free)


def reference(edge: float, growth: float, most: float, runs: int = 2) -> dict[str, Any]:
    """Solve the reference cell."""
    cpu, wall, (found, unknowns) = timed(lambda: solved(edge, growth, most), runs)
    return {"cpu": cpu, "wall": wall, "unknowns": unknowns, "error": worst(found)}
