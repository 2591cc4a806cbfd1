"""`crossing_faces`: the pairs of faces of a mesh that pass through each other."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.repair import intersection_kernels as kernels
from geom.surface.boxtree_kernels import curve_codes

SHALLOW = 1e-6
"""A crossing less deep than this share of the diagonal is none: files in single precision round by as much."""

STEP = float(np.finfo(np.float32).eps)
"""Rounding of a coordinate of a file in single precision, as a share of the largest."""


def crossing_faces(vertices: Floats, faces: Ints, most: int = 0) -> Ints:
    """Return the pairs (k, 2) of faces that pass through each other, or lie on each other over an area.

    The depth of a crossing is the shortest shift that would part the two faces. One of less than ``SHALLOW`` of
    the diagonal, or four steps of single precision, is none: so neighbours cross only where one is folded back
    onto the other or pierces it away from what they share, and faces lower than that cross nothing. The first of
    each pair is the lower number; rows are sorted.

    Parameters
    ----------
    vertices : (n, 3) [m]
    faces : (m, 3)
    most : stop as soon as so many pairs are found, whichever they are; 0: find all
    """
    if len(faces) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    step, shallow = rounding(vertices, faces)
    vertices = np.ascontiguousarray(vertices, dtype=np.float64)
    faces = np.ascontiguousarray(faces, dtype=np.int64)
    middle = kernels.middles(vertices, faces)
    low = middle.min(axis=0)
    spacing = max(float((middle.max(axis=0) - low).max()), 1e-300) / 1024
    order = np.argsort(curve_codes(middle, low, spacing), kind="stable").astype(np.int64)
    del middle
    corners, normals = kernels.frames(vertices, faces, order, shallow)
    leaves = 1
    while leaves * kernels.LEAF < len(order):
        leaves *= 2
    face_boxes = kernels.face_boxes(corners, shallow)
    boxes = (*face_boxes, *kernels.tree_boxes(*face_boxes, leaves))
    pairs = order[kernels.crossing_pairs(corners, normals, boxes, shallow, step, most)]
    pairs = np.sort(pairs.reshape(-1, 2), axis=1)
    return np.asarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))], dtype=np.int64)


def rounding(vertices: Floats, faces: Ints) -> tuple[float, float]:
    """Return the step of single precision at the largest coordinate, and the least depth of a crossing [m]."""
    is_used = np.zeros(len(vertices), dtype=np.bool_)
    is_used[faces] = True
    used = vertices[is_used]
    step = 2 * STEP * float(np.abs(used).max(initial=0.0))
    return step, max(SHALLOW * float(np.linalg.norm(np.ptp(used, axis=0))), 2 * step)
