"""`Cell` to `Panels`: graded triangles on every wetted surface, each remembering its body and feature."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.findings import Finding
from geom.surface.surface import Surface

TANK, PART, FIRST_ANODE = 0, 1, 2
"""Body numbers: walls, floor and liquid surface; the part; anode k is FIRST_ANODE + k."""


@dataclass(frozen=True, eq=False)
class Panels:
    """Triangles for the solver, normals out of the electrolyte; rows of the part come first.

    ``surface.tag`` is the body. The first ``part_count`` panels are the wetted part, in the tank frame.
    """

    surface: Surface
    part_count: int
    feature: Ints  # (part_count,) index into part.features
    edge_distance: Floats  # (part_count,) distance of the centroid to the nearest sharp outside edge [m]; inf without
    edge_chain: Ints  # (part_count,) which sharp edge that is; -1 without
    anode_count: int
    findings: tuple[Finding, ...] = ()

    @property
    def body(self) -> Ints:
        """(n,) body of each panel."""
        return self.surface.tag

    def rows(self, body: int) -> Ints:
        """Return the panel numbers of one body."""
        return np.flatnonzero(self.surface.tag == body)
