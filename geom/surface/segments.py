"""Segments in space: chains of them, and the one nearest to a place."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.surface.boxtree import box_tree
from geom.surface.remesh import CORNER


def nearest_segment(places: Floats, start: Floats, end: Floats) -> tuple[Floats, Ints]:
    """Return the distance (n,) [m] from each place to the nearest segment, and its number (n,)."""
    number, distance, _ = box_tree(np.stack([start, end], axis=1)).nearest(places)
    return distance, number


def chains_of(vertices: Ints, start: Floats, end: Floats) -> Ints:
    """Return a chain number for each segment: segments are one chain while they run on without a corner.

    ``vertices`` (n, 2) are the vertex numbers of the ends; ``start`` and ``end`` (n, 3) their places [m].
    """
    count = len(vertices)
    parent = np.arange(count)

    def root(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = int(parent[k])
        return k

    meeting: dict[int, list[tuple[int, int]]] = {}
    for k, (a, b) in enumerate(vertices.tolist()):
        meeting.setdefault(a, []).append((k, 1))
        meeting.setdefault(b, []).append((k, -1))
    direction = end - start
    direction = direction / np.maximum(np.linalg.norm(direction, axis=1), 1e-300)[:, None]
    for pairs in meeting.values():
        if len(pairs) != 2:
            continue
        (i, si), (j, sj) = pairs
        if -si * sj * float(direction[i] @ direction[j]) >= CORNER:
            parent[root(i)] = root(j)
    roots = np.array([root(k) for k in range(count)], dtype=np.int64)
    return np.asarray(np.unique(roots, return_inverse=True)[1], dtype=np.int64)
