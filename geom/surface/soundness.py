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


@dataclass(frozen=True, eq=False)
class EdgeRuns:
    """The half-edges 3 * face + side of a set of faces, sorted so that those on one edge stand together."""

    order: Ints  # (3 m,) half-edges
    begin: Ints  # (k,) where each edge begins in ``order``
    count: Ints  # (k,) half-edges on each edge
    start: Ints  # (3 m,) vertex that each half-edge starts at
    stop: Ints  # (3 m,)

    def ends(self, which: Bools) -> Ints:
        """(j, 2) vertices, the lower first, of the edges where ``which`` (k,) is true."""
        one = self.order[self.begin[which]]
        both = np.stack([self.start[one], self.stop[one]], axis=1)
        return np.sort(both, axis=1)

    def members(self, which: Bools) -> Ints:
        """(j,) half-edges on the edges where ``which`` (k,) is true, edge by edge."""
        return self.order[np.repeat(which, self.count)]


def edge_runs(faces: Ints) -> EdgeRuns:
    """Sort the half-edges of ``faces`` (m, 3) by the edge they lie on, in the order of its two vertices."""
    start = np.ascontiguousarray(faces).reshape(-1)
    stop = np.ascontiguousarray(faces[:, [1, 2, 0]]).reshape(-1)
    low, high = np.minimum(start, stop), np.maximum(start, stop)
    key = low * (int(high.max(initial=0)) + 1) + high
    order = np.argsort(key)
    key = key[order]
    first = np.ones(len(order), dtype=np.bool_)
    first[1:] = key[1:] != key[:-1]
    begin = np.flatnonzero(first)
    return EdgeRuns(order, begin, np.diff(np.append(begin, len(order))), start, stop)


def edge_report(faces: Ints) -> EdgeReport:
    """Sort the edges of ``faces`` (m, 3)."""
    return report_of(edge_runs(faces))


def report_of(runs: EdgeRuns) -> EdgeReport:
    """Sort edges by what is wrong with them."""
    is_double = runs.count == 2
    double = runs.begin[is_double]
    one, two = runs.order[double], runs.order[double + 1]
    one, two = np.minimum(one, two), np.maximum(one, two)
    alike = runs.start[one] == runs.start[two]
    is_twisted = np.zeros(len(is_double), dtype=np.bool_)
    is_twisted[np.flatnonzero(is_double)[alike]] = True
    if alike.any():
        one, two = one[~alike], two[~alike]
    pairs = np.stack([one, two], axis=1)
    return EdgeReport(runs.ends(runs.count == 1), runs.ends(runs.count > 2), runs.ends(is_twisted), pairs)


def body_of_face(faces: Ints, pairs: Ints) -> Ints:
    """Number (m,) of the connected body each face belongs to; faces are joined by whole edges."""
    return groups_of(pairs // 3, len(faces))


def fans_of(faces: Ints, pairs: Ints) -> tuple[Ints, int]:
    """Number (3 m,) of the fan that each corner 3 * face + k belongs to, and how many fans there are.

    A fan is the faces round one vertex that are joined by edges; a sound surface has one at each vertex.
    """
    from geom.surface.soundness_kernels import joined

    one, two = pairs[:, 0], pairs[:, 1]
    # a half-edge starts at corner 3 * face + side, its partner ends there
    first = np.concatenate([one, _next(one)])
    second = np.concatenate([_next(two), two])
    fan = np.zeros(3 * len(faces), dtype=np.int64)
    return fan, int(joined(first, second, fan))


def _next(half: Ints) -> Ints:
    return np.where(half % 3 == 2, half - 2, half + 1)


def touching_vertices(faces: Ints, pairs: Ints) -> Ints:
    """Vertices where more than one fan of faces meets: the surface touches itself there."""
    fan, count = fans_of(faces, pairs)
    vertex = np.zeros(count, dtype=np.int64)
    vertex[fan] = faces.reshape(-1)
    return np.flatnonzero(np.bincount(vertex) > 1)


def groups_of(links: Ints, count: int) -> Ints:
    """Label (count,) of the connected group of each node, numbered by first appearance; ``links`` (k, 2)."""
    from geom.surface.soundness_kernels import joined

    label = np.zeros(count, dtype=np.int64)
    joined(links[:, 0], links[:, 1], label)
    return label


def smooth_groups(pairs: Ints, normals: Floats, corner: float) -> Ints:
    """Label (m,) of the smooth piece of each face: pieces end where normals turn by more than ``corner``."""
    face = pairs // 3
    cosine = np.einsum("ij,ij->i", normals[face[:, 0]], normals[face[:, 1]])
    return groups_of(face[cosine > np.cos(corner)], len(normals))


def doubled_faces(faces: Ints) -> Ints:
    """Faces (k,) that lie on the same three corners as an earlier one, either way round."""
    number, first = _numbered(np.sort(faces, axis=1))
    return np.flatnonzero(first[number] != np.arange(len(faces)))


def triples(faces: Ints) -> Ints:
    """Number (m,) of the set of three corners of each face, by first appearance, either way round."""
    return _numbered(np.sort(faces, axis=1))[0]


def equal_points(points: Floats) -> tuple[Ints, Ints]:
    """Number points (n, 3) so that equal ones are alike, by first appearance; and where each number came first."""
    return _numbered((points + 0.0).view(np.int64))  # adding zero makes -0.0 and 0.0 the same bits


def _numbered(rows: Ints) -> tuple[Ints, Ints]:
    from geom.surface.soundness_kernels import same_rows

    number, first = np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows), dtype=np.int64)
    count = same_rows(np.ascontiguousarray(rows), number, first)
    return number, first[:count]


def welded(vertices: Floats, faces: Ints, distance: float) -> tuple[Floats, Ints, Bools]:
    """Join vertices that are equal or within ``distance`` of each other [m].

    Returns
    -------
    vertices, faces, and which faces (m,) kept three different corners
    """
    number, first = equal_points(vertices)
    points = vertices[first]
    if distance > 0:
        from scipy.spatial import cKDTree

        near = cKDTree(points).query_pairs(distance, output_type="ndarray")
        if len(near):
            label = groups_of(np.asarray(near, dtype=np.int64), len(points))
            _, keep = np.unique(label, return_index=True)
            points, number = points[keep], label[number]
    joined = number[faces]
    return points, joined, has_three_corners(joined)


def has_three_corners(faces: Ints) -> Bools:
    """Which faces (m,) have three different corners?"""
    a, b, c = faces[:, 0], faces[:, 1], faces[:, 2]
    return np.asarray((a != b) & (b != c) & (c != a), dtype=np.bool_)
