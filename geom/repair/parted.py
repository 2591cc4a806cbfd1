"""Closed bodies written one after the other in a file: each gets corners of its own, however they lie on each other."""

import numpy as np

from geom.arrays import Ints
from geom.repair.work import Work
from geom.surface.soundness import triples

MOST = 2_000  # bodies that are parted; more are the cells of a grid, whose joints are found face by face
FLAT = 1e-9  # least volume of a body, as a share of area times overall size


def bodies_parted(work: Work) -> Work:
    """Part bodies that share edges, so that they are joined as bodies and not torn at the edges they share.

    A body is the least number of faces in a row of the file that leave no edge open. Bodies on the very same
    corners stay together: one body given twice. Where any faces are left over or enclose nothing, none is parted.
    """
    if not len(work.edges.crowded) or len(work.edges.open):
        return work
    body = bodies_in_row(work)
    number = int(body.max()) + 1
    if not 1 < number <= MOST:
        return work
    area, volume = np.bincount(body, work.areas), np.bincount(body, _volumes(work, body))
    if (np.abs(volume) <= FLAT * area * work.diagonal).any():
        return work
    body = _copies_as_one(work, body, number)
    key = np.repeat(body, 3) * len(work.vertices) + work.faces.reshape(-1)
    used, faces = np.unique(key, return_inverse=True)
    if len(used) == len(work.vertices):
        return work
    return work.with_faces(work.vertices[used % len(work.vertices)], faces.reshape(-1, 3), work.source)


def bodies_in_row(work: Work) -> Ints:
    """Number (m,) of the body of each face: a body ends where every edge so far has an even number of faces."""
    runs, number = work.runs, len(work.faces)
    edge = np.repeat(np.arange(len(runs.count)), runs.count)
    face = runs.order[np.lexsort((runs.order, edge))] // 3
    place = np.arange(len(face)) - runs.begin[edge]
    step = np.where(place % 2 == 0, 1, -1)  # a face opens an edge, the next on it closes it
    is_open = np.cumsum(np.bincount(face, step, number)).round().astype(np.int64)
    return np.cumsum(np.append(0, is_open[:-1] == 0)).astype(np.int64)


def _volumes(work: Work, body: Ints) -> np.ndarray:
    """(m,) volume between each face and the first corner of its body, wound alike or not [m³]."""
    first = np.searchsorted(body, np.arange(int(body.max()) + 1))
    reach = work.vertices[work.faces[:, 0]] - work.vertices[work.faces[first, 0]][body]
    return np.asarray(np.abs(np.einsum("ij,ij->i", reach, work.area_vectors)) / 3)


def _copies_as_one(work: Work, body: Ints, number: int) -> Ints:
    """Give bodies on the same corners one number."""
    corner = triples(work.faces)
    start = np.searchsorted(body, np.arange(number + 1))
    known: dict[bytes, int] = {}
    same = [known.setdefault(np.unique(corner[start[k] : start[k + 1]]).tobytes(), k) for k in range(number)]
    return np.array(same, dtype=np.int64)[body]
