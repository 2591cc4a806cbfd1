"""What a ball can touch: it lies against a place of the surface and cuts into none."""

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.surface.boxtree import box_tree
from geom.surface.soundness import edge_report
from geom.surface.surface import Surface

BALL = 10e-3
"""Radius of the ball that a significant surface can be touched with [m] (20 mm ball; ISO 1456, from memory)."""

SLACK = 0.02  # of the radius, by which the ball may cut in: flat faces stand for curves
FINE = 0.125  # of the radius: places on large faces are no farther apart
MOST_PLACES = 40_000  # places looked at on one surface; larger ones are looked at more coarsely
HEAVY = 200_000  # faces from which their own normals do
SMOOTH = np.cos(np.radians(36.0))  # faces that turn by less are one curve: the ball stands square to it, not to them


def touched(surface: Surface, points: Floats, normals: Floats, radius: float, slack: float = SLACK) -> Bools:
    """Tell whether a ball can touch a surface at places on it.

    Parameters
    ----------
    points : (n, 3) places on the surface [m]
    normals : (n, 3) unit vectors out of the metal there
    radius : of the ball [m]
    slack : share of the radius by which the ball may cut into the surface

    Returns
    -------
    (n,) true where the ball that lies against the place cuts into no face by more than the slack
    """
    centres = np.asarray(points) + radius * np.asarray(normals)
    clear = radius * (1 - slack)
    row, _, _ = box_tree(surface.corners).nearest(centres, reach=clear)
    return np.asarray(row < 0)


def touched_area(surface: Surface, radius: float, count: int | None = None) -> Floats:
    """Return (count,) the area of each tag of a closed surface that a ball can touch [m²].

    Large faces are cut into pieces of at most ``FINE`` radii, and a piece counts whole or not at all. Of more than
    ``HEAVY`` faces some stand for all, evenly over each tag. ``count`` None: as many as there are tags.
    """
    size = int(surface.tag.max(initial=-1)) + 1 if count is None else count
    corners, owner, normals, weight = _pieces(surface, radius)
    sides = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area, tag = 0.5 * np.linalg.norm(sides, axis=1) * weight, surface.tag[owner]
    good = touched(surface, corners.mean(axis=1), _unit(normals.mean(axis=1)), radius)
    whole = np.bincount(surface.tag, surface.areas, size)
    looked_at, found = np.bincount(tag, area, size), np.bincount(tag, area * good, size)
    return np.asarray(whole * np.divide(found, looked_at, out=np.zeros(size), where=looked_at > 0))


def _evenly(tag: Ints, large: Bools) -> tuple[Ints, Ints]:
    """Return the faces to look at, and for how many each stands: all large ones, of the small every so many of a tag."""
    small = np.flatnonzero(~large)
    stride = 1 if len(tag) <= HEAVY else -(-len(small) // (MOST_PLACES // 2))
    order = small[np.argsort(tag[small], kind="stable")]
    first = np.flatnonzero(np.diff(tag[order], prepend=-1))
    place = np.arange(len(order)) - np.repeat(first, np.diff(np.append(first, len(order))))
    some = order[place % stride == 0]
    weight = np.concatenate([np.ones(np.count_nonzero(large)), np.full(len(some), stride)])
    return np.concatenate([np.flatnonzero(large), some]), weight.astype(np.int64)


def _pieces(surface: Surface, radius: float) -> tuple[Floats, Ints, Floats, Ints]:
    """Return small triangles (n, 3, 3), the face of each, normals at their corners (n, 3, 3), for how many each stands."""
    step = FINE * radius
    lengths = np.linalg.norm(surface.corners - np.roll(surface.corners, 1, axis=1), axis=2).max(axis=1)
    while True:
        # pieces are near right-angled with their longest edge between half and the whole of the step
        expected = float((1 + 2 * lengths / step + 6 * surface.areas / step**2)[lengths > step].sum())
        if min(len(surface.faces), MOST_PLACES // 2) + expected <= MOST_PLACES or step > lengths.max():
            break
        step *= 1.2
    owner, stands_for = _evenly(surface.tag, lengths > step)
    weight = np.zeros(len(surface.faces), dtype=np.int64)
    weight[owner] = stands_for
    corners = surface.corners[owner]
    # the normals of a surface of so many faces hardly differ from those of its curves
    is_heavy = len(surface.faces) > HEAVY
    normals = np.repeat(surface.normals[owner][:, None], 3, axis=1) if is_heavy else smooth_normals(surface)[owner]
    done: list[tuple[Floats, Ints, Floats]] = []
    while len(corners):
        edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
        longest = np.argmax(edges, axis=1)
        large = edges[np.arange(len(edges)), longest] > step
        done.append((corners[~large], owner[~large], normals[~large]))
        order = (longest[large, None] + np.arange(3)) % 3  # the longest edge first
        row = np.flatnonzero(large)[:, None]
        corners, normals, owner = _halves(corners[row, order]), _halves(normals[row, order]), np.tile(owner[large], 2)
    pieces, owners, at_corners = (np.concatenate(column) for column in zip(*done, strict=True))
    return pieces, owners, at_corners, weight[owners]


def _halves(values: Floats) -> Floats:
    """Cut triangles (n, 3, 3) in two across their first edge: values at the corners of both."""
    a, b, c = values[:, 0], values[:, 1], values[:, 2]
    middle = (a + b) / 2
    return np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])


def square_normals(surface: Surface) -> Floats:
    """Return (m, 3) unit normals at the centroids: of the curve that smoothly joined faces stand for."""
    return _unit(smooth_normals(surface).mean(axis=1))


def _unit(vectors: Floats) -> Floats:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-300))


def smooth_normals(surface: Surface) -> Floats:
    """Return (m, 3, 3) unit normals at the corners of each face: of the curve that smoothly joined faces stand for."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs = edge_report(surface.faces).pairs
    face = pairs // 3
    smooth = np.einsum("ij,ij->i", surface.normals[face[:, 0]], surface.normals[face[:, 1]]) > SMOOTH
    one, two = pairs[smooth].T
    after_one, after_two = one - one % 3 + (one + 1) % 3, two - two % 3 + (two + 1) % 3
    # a half-edge starts at corner 3 * face + side, its partner ends there
    start, end = np.concatenate([one, after_one]), np.concatenate([after_two, two])
    count = 3 * len(surface.faces)
    graph = coo_array((np.ones(len(start), dtype=np.bool_), (start, end)), shape=(count, count))
    fans, fan = connected_components(graph, directed=False)
    weight = _angles(surface)
    flat = surface.normals[np.arange(count) // 3] * weight.reshape(-1, 1)
    total: Floats = np.stack([np.bincount(fan, flat[:, k], fans) for k in range(3)], axis=1).astype(np.float64)
    return np.asarray(_unit(total)[fan].reshape(-1, 3, 3))


def _angles(surface: Surface) -> Floats:
    """Return (m, 3) the angle of each face at each corner [rad]: what the triangles of a curve weigh there."""
    ahead = np.roll(surface.corners, -1, axis=1) - surface.corners
    back = np.roll(surface.corners, 1, axis=1) - surface.corners
    scale = np.linalg.norm(ahead, axis=2) * np.linalg.norm(back, axis=2)
    cosine = np.einsum("ijk,ijk->ij", ahead, back) / np.maximum(scale, 1e-300)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))
