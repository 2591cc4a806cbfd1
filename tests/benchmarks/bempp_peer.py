"""The reference cell by bempp-cl: constant elements, Galerkin, dense. On geom's own panels, whose meshing is not counted.

Potentials count from the sheet of the anode: with its default quadrature the double layer is far off on a sheet of 1 mm
where the potential is not zero.
"""

from typing import Any

import bempp_cl.api as bempp
import numpy as np
from benchmarks.workloads import KAPPA, RESISTANCE, WALLS, worst
from helpers.cells import reference_cell
from helpers.timing import timed
from scipy.sparse.linalg import LinearOperator, gmres

from geom.advice.measures import percentiles
from geom.electrode.laws import Linear
from geom.panels import PART, Panels, mesh_cell

bempp.DEFAULT_DEVICE_INTERFACE = "numba"


def solved(panels: Panels) -> np.ndarray:
    """Assemble and solve: the percentiles."""
    surface = panels.surface
    grid = bempp.Grid(surface.vertices.T.copy(), surface.faces.T.astype(np.uint32), surface.tag.astype(np.uint32))
    space = bempp.function_space(grid, "DP", 0)
    charged = bempp.function_space(grid, "DP", 0, segments=[PART, *panels.anodes])
    laplace = bempp.operators.boundary.laplace
    single = laplace.single_layer(charged, space, space, assembler="dense").weak_form().A
    double = laplace.double_layer(space, space, space, assembler="dense").weak_form().A
    areas, electrodes = surface.areas, panels.electrodes
    on_part = surface.tag[electrodes] == PART
    cathode, anode = electrodes[on_part], electrodes[~on_part]
    matrix = double
    matrix[np.arange(len(areas)), np.arange(len(areas))] += 0.5 * areas
    rate = 1.0 / (KAPPA * RESISTANCE)
    matrix[:, cathode] += single[:, on_part] * rate
    matrix[:, anode] = -single[:, ~on_part]
    right = -single[:, on_part].sum(axis=1) * rate
    diagonal = np.diag(matrix).copy()
    diagonal[anode] = -np.abs(diagonal[anode])
    there = LinearOperator(matrix.shape, lambda v: v / diagonal, dtype=np.float64)
    found, failed = gmres(matrix, right, rtol=1e-5, M=there, restart=200)
    assert not failed, "no convergence"
    local = found[cathode] + 1.0
    ratio = local / np.average(local, weights=areas[cathode])
    return np.array(list(percentiles(ratio, areas[cathode]).values()))


def reference(scale: float, runs: int = 1) -> dict[str, Any]:
    """Solve the reference cell."""
    panels = mesh_cell(reference_cell(Linear(RESISTANCE)), scales=(scale, WALLS * scale))
    solved(mesh_cell(reference_cell(Linear(RESISTANCE)), scales=(6.0, 6.0 * WALLS)))  # compiles
    cpu, wall, found = timed(lambda: solved(panels), runs, warm=False)
    return {"cpu": cpu, "wall": wall, "panels": len(panels.body), "error": worst(found)}
