"""Facets: the plane pieces of a mesh, how much the surface turns at the edges between them, and which are curved."""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from geom.arrays import Bools, Floats, Ints
from geom.surface.surface import Surface

FLAT = 1.75e-3  # a turn below this is none: faces of one plane [rad]
SMOOTH = np.radians(36.0)  # a turn up to this may be a facet of a curve: ten flats to a circle are round
NOISE = 4e-8  # of the diagonal: how far a corner of a file of single precision may be off
POOR = 0.02  # a face whose normal may be off by more than this says nothing of its plane [rad]
BENT = 1e-4  # a piece whose area vectors cancel by this share is no plane
FLATTER = 0.3  # a facet with less of the curvature of its neighbours than this is a flat beside a curve
LIKE_IT = 0.25  # share of its smooth edges beyond which lie facets as flat as itself, for a facet of a curve
MUCH_LARGER = 3.0  # times its curved neighbours: a lone triangle that is a flat
NARROW = 0.3  # of a flat: a facet with less area beside it may be what is left of a step
ALONE = 0.15  # curvature across, as a share of that along, of a surface curved one way only


@dataclass(frozen=True, eq=False)
class Facets:
    """The plane pieces of a surface, and the edges between them: a row for each edge of the mesh."""

    label: Ints  # (m,) facet of each face
    area: Floats  # (k,) [m²]
    normal: Floats  # (k, 3) unit
    one: Ints  # (e,) facet on the one side of an edge
    two: Ints  # (e,) and on the other
    edge: Floats  # (e, 3) along the edge, as the first facet is wound [m]
    turn: Floats  # (e,) by which the normal turns there, negative in a hollow [rad]
    start: Ints  # (e,) vertex at the start of the edge
    sign: Ints  # (k,) 1 bulges, -1 hollow, 0 flat

    @property
    def count(self) -> int:
        """How many facets."""
        return len(self.area)

    @property
    def length(self) -> Floats:
        """(e,) length of each edge [m]."""
        return np.asarray(np.linalg.norm(self.edge, axis=1))


def groups(one: Ints, two: Ints, count: int) -> Ints:
    """Label (count,) of the connected component of each node."""
    graph = coo_array((np.ones(len(one), dtype=np.bool_), (one, two)), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def facets_of(surface: Surface, pairs: Ints) -> Facets:
    """Return the facets of a closed surface.

    Parameters
    ----------
    pairs : (e, 2) half-edges that meet, of `geom.surface.soundness.EdgeReport`
    """
    face = pairs // 3
    label = _planes(surface, face, _doubt(surface))
    count = int(label.max()) + 1
    vectors = summed(label, surface.area_vectors, count)
    area = np.asarray(np.bincount(label, surface.areas, count), dtype=np.float64)
    size = np.linalg.norm(vectors, axis=1, keepdims=True)
    normal = np.divide(vectors, size, out=np.zeros_like(vectors), where=size > 0)
    between = label[face[:, 0]] != label[face[:, 1]]
    half, (one, two) = pairs[between, 0], label[face[between]].T.copy()
    flat = surface.faces.reshape(-1)
    start, stop = flat[half], flat[half - half % 3 + (half + 1) % 3]
    edge = surface.vertices[stop] - surface.vertices[start]
    turn = signed_turn(normal[one], normal[two], edge)
    sign = _signs(one, two, np.linalg.norm(edge, axis=1), turn, area, np.bincount(label, minlength=count) == 1)
    return Facets(label, area, normal, one, two, edge, turn, start, sign)


def summed(label: Ints, vectors: Floats, count: int) -> Floats:
    """Return (count, 3) the sum of the vectors (n, 3) with each label."""
    return np.stack([np.bincount(label, vectors[:, k], count) for k in range(3)], axis=1)


def signed_turn(first: Floats, second: Floats, edge: Floats) -> Floats:
    """Return the angle from one normal to the next, negative where the edge is hollow [rad]."""
    gap = np.linalg.norm(first - second, axis=1)
    hollow = np.einsum("ij,ij->i", np.cross(first, second), edge) < 0
    return np.asarray(2 * np.arcsin(np.minimum(gap / 2, 1.0)) * np.where(hollow, -1.0, 1.0))


def _doubt(surface: Surface) -> Floats:
    """Return (m,) by how much the normal of each face may be off, for what a file keeps of its corners [rad]."""
    longest = np.zeros(len(surface.faces))
    for k in range(3):
        side = surface.corners[:, k] - surface.corners[:, k - 1]
        longest = np.maximum(longest, np.einsum("ij,ij->i", side, side))
    height = 2 * surface.areas / np.sqrt(np.maximum(longest, 1e-300))
    blur = NOISE * float(np.linalg.norm(np.ptp(surface.vertices, axis=0)))
    return np.asarray(np.minimum(blur / np.maximum(height, 1e-300), 1.0))


def numbered(label: Ints) -> Ints:
    """Return labels without gaps, in the same order."""
    there = np.zeros(int(label.max(initial=0)) + 1, dtype=np.int64)
    there[label] = 1
    return np.asarray((np.cumsum(there) - 1)[label], dtype=np.int64)


def _planes(surface: Surface, face: Ints, doubt: Floats) -> Ints:
    """Label (m,) of the plane piece of each face; slivers go with their neighbours."""
    one, two = face.T
    gap = np.linalg.norm(surface.normals[one] - surface.normals[two], axis=1)
    sound = doubt < POOR
    joined = (gap < FLAT + doubt[one] + doubt[two]) & sound[one] & sound[two]
    label = groups(one[joined], two[joined], len(surface.faces))
    bent = _bent(surface, label, sound)
    if bent.any():  # a chain of small faces, each of which could be in the plane of the next: no doubt is allowed for
        sound &= ~bent | (doubt < FLAT)
        joined &= sound[one] & sound[two] & ~(bent[one] & bent[two] & (gap >= FLAT))
        label = groups(one[joined], two[joined], len(surface.faces))
        still = _bent(surface, label, sound)
        label = numbered(np.where(still, len(label) + np.arange(len(label)), label))
    if sound.all():
        return label
    label = _with_slivers(surface, label, one, two, sound)
    return _rejoined(surface, label, one, two, doubt)


def _bent(surface: Surface, label: Ints, sound: Bools) -> Bools:
    """Tell (m,) which faces belong to a piece that wanders off its plane: a curve of very many facets."""
    count = int(label.max()) + 1
    weight = sound.astype(np.float64)
    area = np.bincount(label, weight * surface.areas, count)
    across = np.linalg.norm(summed(label, weight[:, None] * surface.area_vectors, count), axis=1)
    return np.asarray((across < (1 - BENT) * area)[label])


def _with_slivers(surface: Surface, label: Ints, one: Ints, two: Ints, sound: Bools) -> Ints:
    """Give each sliver the label of the sound piece beyond its longest edge, from neighbour to neighbour."""
    label, open_ = label.copy(), ~sound
    for _ in range(40):
        if not open_.any():
            break
        sliver = np.concatenate([one, two])
        other = np.concatenate([two, one])
        usable = open_[sliver] & ~open_[other]
        if not usable.any():
            break
        sliver, other = sliver[usable], other[usable]
        shared = _shared_lengths(surface, sliver, other)
        order = np.argsort(shared, kind="stable")
        label[sliver[order]] = label[other[order]]  # the longest comes last and stays
        open_[sliver] = False
    return numbered(label)


def _shared_lengths(surface: Surface, one: Ints, two: Ints) -> Floats:
    """Length of the edge that two faces share [m]."""
    first, second = surface.faces[one], surface.faces[two]
    shared = (first[:, :, None] == second[:, None, :]).any(axis=2)
    corners = surface.vertices[first]
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
    both = shared & np.roll(shared, -1, axis=1)
    return np.asarray((sides * both).max(axis=1))


def _rejoined(surface: Surface, label: Ints, one: Ints, two: Ints, doubt: Floats) -> Ints:
    """Join neighbouring pieces of one plane."""
    count = int(label.max()) + 1
    vectors = summed(label, surface.area_vectors, count)
    normal = vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-300)
    least = np.full(count, 1.0)
    np.minimum.at(least, label, doubt)
    a, b = label[one], label[two]
    same = (np.linalg.norm(normal[a] - normal[b], axis=1) < FLAT) & (least[a] < FLAT) & (least[b] < FLAT)
    merged = groups(a[same], b[same], count)
    return numbered(merged[label])


def _signs(one: Ints, two: Ints, length: Floats, turn: Floats, area: Floats, lone: Bools) -> Ints:
    """Tell (k,) facets of a bulge, 1, and of a hollow, -1, from flats, 0, by how much the surface turns round them."""
    count, tiny = len(area), 1e-300
    smooth = np.abs(turn) <= SMOOTH
    one, two, length = one[smooth], two[smooth], length[smooth]
    bend = turn[smooth] * length

    def total(values: Floats, others: Floats) -> Floats:
        return np.asarray(np.bincount(one, values, count) + np.bincount(two, others, count))

    bending = total(bend, bend)
    curvature = total(np.abs(bend), np.abs(bend)) / (2 * np.maximum(area, tiny))
    share = total(
        (curvature[two] <= curvature[one] / FLATTER) * length, (curvature[one] <= curvature[two] / FLATTER) * length
    ) / np.maximum(total(length, length), tiny)
    flat = (share < LIKE_IT) | (curvature == 0)
    largest = np.zeros(count)
    np.maximum.at(largest, one, np.where(flat[two], 0.0, area[two]))
    np.maximum.at(largest, two, np.where(flat[one], 0.0, area[one]))
    flat &= ~(lone & (area < MUCH_LARGER * largest))
    flat &= ~_beyond_slivers(one, two, np.abs(turn[smooth]), area, flat)
    return np.where(flat, 0, np.where(bending < 0, -1, 1)).astype(np.int64)


def _beyond_slivers(one: Ints, two: Ints, turn: Floats, area: Floats, flat: Bools) -> Bools:
    """Tell (k,) flats that follow on another of their size beyond a narrow facet: a curve drawn in uneven steps."""
    count = len(area)
    wide, thin = np.concatenate([one, two]), np.concatenate([two, one])
    turn = np.concatenate([turn, turn])
    use = flat[wide] & ~flat[thin] & (area[thin] < NARROW * area[wide])
    wide, thin, turn = wide[use], thin[use], turn[use]
    low, high, most = np.full(count, count), np.full(count, -1), np.zeros(count)
    np.minimum.at(low, thin, wide)
    np.maximum.at(high, thin, wide)
    np.maximum.at(most, thin, turn)
    found = np.flatnonzero((high >= 0) & (low < high) & (2 * most < SMOOTH))
    alike = np.minimum(area[low[found]], area[high[found]]) > FLATTER * np.maximum(area[low[found]], area[high[found]])
    follows = np.zeros(count, dtype=np.bool_)
    follows[low[found[alike]]] = follows[high[found[alike]]] = True
    return follows


def straight_ways(facets: Facets, chosen: Bools) -> tuple[Floats, Bools]:
    """Return (k, 3) the way along which each chosen facet of a curve is straight, and whether it is curved one way."""
    link = (np.abs(facets.turn) <= SMOOTH) & (facets.sign[facets.one] == facets.sign[facets.two])
    link &= chosen[facets.one] & chosen[facets.two]
    node = np.cumsum(chosen) - 1
    one, two, edge, count = node[facets.one[link]], node[facets.two[link]], facets.edge[link], int(chosen.sum())
    weight = np.abs(facets.turn[link]) / np.maximum(np.linalg.norm(edge, axis=1), 1e-300)
    moment = np.zeros((count, 3, 3))
    for i in range(3):
        for j in range(i, 3):
            part = weight * edge[:, i] * edge[:, j]
            moment[:, i, j] = moment[:, j, i] = np.bincount(one, part, count) + np.bincount(two, part, count)
    axis, single = np.zeros((facets.count, 3)), np.zeros(facets.count, dtype=np.bool_)
    axis[chosen], single[chosen] = _strongest(moment)
    return axis, single


def _strongest(moment: Floats) -> tuple[Floats, Bools]:
    """Return (k, 3) the way of the largest moment (k, 3, 3), and whether the others are small beside it."""
    total = np.trace(moment, axis1=1, axis2=2)
    power = moment / np.maximum(total, 1e-300)[:, None, None]
    for _ in range(5):  # squared five times, all but the largest is gone
        power = power @ power
        power /= np.maximum(np.trace(power, axis1=1, axis2=2), 1e-300)[:, None, None]
    column = np.argmax(np.einsum("kii->ki", power), axis=1)
    way = power[np.arange(len(power)), :, column]
    way = way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-300)
    largest = np.einsum("ki,kij,kj->k", way, moment, way)
    return way, (total - largest < ALONE * largest) & (total > 0)
