"""Does a set of faces bound one solid? Looks and counts; changes nothing. Arrays in, arrays out."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats, Ints


@dataclass(frozen=True, eq=False)
class EdgeReport:
    """The edges of a set of faces, sorted by what is wrong with them. Each row is two vertices."""

    open: Ints  # (k, 2) edges of one face only
    crowded: Ints  # (k, 2) edges of more than two faces
    twisted: Ints  # (k, 2) edges of two faces that run along it the same way
    pairs: Ints  # (k, 2) of half-edges 3 * face + side that meet properly

    @property
    def is_closed(self) -> bool:
        """Every edge joins exactly two faces that are wound alike."""
        return not (len(self.open) or len(self.crowded) or len(self.twisted))


def edge_report(faces: Ints) -> EdgeReport:
    """Sort the edges of ``faces`` (m, 3)."""
    start, stop = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    order = np.lexsort((high, low))
    first = np.ones(len(order), dtype=np.bool_)
    first[1:] = (low[order][1:] != low[order][:-1]) | (high[order][1:] != high[order][:-1])
    begin = np.flatnonzero(first)
    count = np.diff(np.append(begin, len(order)))
    ends = np.stack([low, high], axis=1)[order[begin]]
    double = begin[count == 2]
    one, two = order[double], order[double + 1]
    alike = start[one] == start[two]
    pairs = np.stack([one[~alike], two[~alike]], axis=1)
    return EdgeReport(ends[count == 1], ends[count > 2], ends[count == 2][alike], pairs)


def body_of_face(faces: Ints, pairs: Ints) -> Ints:
    """Number (m,) of the connected body each face belongs to; faces are joined by whole edges."""
    return _groups(pairs // 3, len(faces))


def touching_vertices(faces: Ints, pairs: Ints) -> Ints:
    """Vertices where more than one fan of faces meets: the surface touches itself there."""
    one, two = pairs[:, 0], pairs[:, 1]
    after_one, after_two = one - one % 3 + (one + 1) % 3, two - two % 3 + (two + 1) % 3
    # a half-edge starts at corner 3 * face + side, its partner ends there
    joined = np.concatenate([np.stack([one, after_two], axis=1), np.stack([after_one, two], axis=1)])
    fan = _groups(joined, 3 * len(faces))
    _, corner = np.unique(fan, return_index=True)
    vertex, fans = np.unique(faces.reshape(-1)[corner], return_counts=True)
    return np.asarray(vertex[fans > 1], dtype=np.int64)


def _groups(links: Ints, count: int) -> Ints:
    """Label (count,) of the connected component of each node."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(links), dtype=np.bool_), (links[:, 0], links[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def smooth_groups(pairs: Ints, normals: Floats, corner: float) -> Ints:
    """Label (m,) of the smooth piece of each face: pieces end where normals turn by more than ``corner``."""
    face = pairs // 3
    cosine = np.einsum("ij,ij->i", normals[face[:, 0]], normals[face[:, 1]])
    return _groups(face[cosine > np.cos(corner)], len(normals))


def doubled_faces(faces: Ints) -> Ints:
    """Faces (k,) that lie on the same three corners as an earlier one, either way round."""
    _, first = np.unique(np.sort(faces, axis=1), axis=0, return_index=True)
    return np.setdiff1d(np.arange(len(faces)), first)


def welded(vertices: Floats, faces: Ints, distance: float) -> tuple[Floats, Ints, Bools]:
    """Join vertices that are equal or within ``distance`` of each other [m].

    Returns
    -------
    vertices, faces, and which faces (m,) kept three different corners
    """
    from scipy.spatial import cKDTree

    points, number = np.unique(vertices, axis=0, return_inverse=True)
    number = number.reshape(-1)
    near = cKDTree(points).query_pairs(distance, output_type="ndarray") if distance > 0 else np.zeros((0, 2))
    if len(near):
        label = _groups(np.asarray(near, dtype=np.int64), len(points))
        _, keep = np.unique(label, return_index=True)
        points, number = points[keep], label[number]
    joined = number[faces]
    real = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    return points, joined, real
