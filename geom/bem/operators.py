"""The dense operators of one geometry: kept, they serve any number of solves."""

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from geom.arrays import Floats, Ints
from geom.bem.blocks import Blocks, blocks_of
from geom.bem.kernels import layer_matrices


class Triangles(Protocol):
    """What the assembly needs to know of the panels."""

    @property
    def corners(self) -> Floats:
        """(n, 3, 3) [m]"""

    @property
    def centroids(self) -> Floats:
        """(n, 3) [m]"""

    @property
    def normals(self) -> Floats:
        """(n, 3), out of the electrolyte"""

    @property
    def areas(self) -> Floats:
        """(n,) [m²]"""


@dataclass(frozen=True, eq=False)
class Operators:
    """``free * phi + double @ phi = single @ dphi/dn`` at the centroids of all panels.

    ``free`` is set from the row sums of ``double``, so that a constant potential is an exact solution.
    """

    double: NDArray[Any]  # (n, n) double layer, single precision unless asked otherwise
    single: NDArray[Any]  # (n, electrode panels) single layer [m]
    free: Floats  # (n,) near 1/2
    electrodes: Ints  # (electrode panels,) panel of each column of `single`
    areas: Floats  # (n,) [m²]
    enclosed: bool
    blocks: Blocks  # near neighbours, for the preconditioner

    @property
    def gauss_error(self) -> float:
        """Largest departure of a row sum from what Gauss's theorem says for a smooth closed panels."""
        return float(np.abs(self.free - 0.5).max())


def assemble(
    panels: Triangles, electrode_panels: Ints, *, enclosed: bool = True, dtype: type = np.float32
) -> Operators:
    """Return the operators of a closed set of panels.

    Parameters
    ----------
    panels : a closed set, normals out of the electrolyte
    electrode_panels : (k,) panels that carry current
    enclosed : the panels bound the electrolyte; False: the electrolyte goes on for ever round them, with
        potential zero far away
    dtype : storage of the matrices; integrals are worked out in double precision either way
    """
    n = len(panels.areas)
    column = np.full(n, -1, dtype=np.int64)
    column[electrode_panels] = np.arange(len(electrode_panels))
    corners = np.array(panels.corners)
    centroids = np.array(panels.centroids)
    radii = np.linalg.norm(corners - centroids[:, None], axis=2).max(axis=1)
    double: NDArray[Any] = np.zeros((n, n), dtype=dtype)
    single: NDArray[Any] = np.zeros((n, len(electrode_panels)), dtype=dtype)
    sums = np.zeros(n)
    layer_matrices(
        centroids, corners, np.array(panels.normals), np.array(panels.areas), radii, column, double, single, sums
    )
    free = -sums if enclosed else 1.0 - sums
    return Operators(
        double, single, free, np.asarray(electrode_panels), np.array(panels.areas), enclosed, blocks_of(centroids)
    )
