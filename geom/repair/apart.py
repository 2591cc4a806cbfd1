"""Skins that touch themselves along edges or at points, taken apart there by the solid between the faces."""

import math

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.repair.fins import patches_of
from geom.repair.weld import edges_cut
from geom.repair.work import Work, at, count, marks, warned
from geom.surface.soundness import fans_of, groups_of

ROUNDS = 20  # of halving edges
SAME_ANGLE = 1e-6  # faces nearer than this round an edge lie on each other [rad]
MOST_RAYS = 300_000_000  # faces times patches looked at to tell the sides of patches
SLANTS = ((0.0123, 0.0371), (-0.0417, 0.0219), (0.0289, -0.0331))  # of rays, so that none runs along a mesh's own lines


def balanced(work: Work) -> Work:
    """Turn patches so that as many faces run along each edge one way as the other.

    Raises
    ------
    PartError
        part-mesh-edges where no solid has such faces.
    """
    if not len(work.edges.crowded) or not len(_unbalanced(work)):
        return work
    turned = _sided(work)
    where = np.flatnonzero(turned)
    if len(where):
        words = f"{count(len(where), 'face')} of {len(turned)} in patches wound inside out turned over; area unchanged"
        change = warned("repair-winding", words, len(where), 0.0, work.place(int(where[0])))
        faces = np.where(turned[:, None], work.faces[:, ::-1], work.faces)
        work = work.with_faces(work.vertices, faces, work.source, change)
    bad = _unbalanced(work)
    if len(bad):
        middles = work.vertices[bad].mean(axis=1)
        raise PartError(
            "part-mesh-edges",
            f"{count(len(bad), 'edge')} with more than two faces that bound no solid, first at {at(middles[0])}",
            hint="remove inner walls and doubled pieces, and export it again",
            marks=marks(middles),
        )
    return work


def skins_of(work: Work) -> Ints:
    """Label (m,) of the closed skin that each face of a balanced work belongs to.

    A patch that runs along each edge as often one way as the other is a skin by itself; patches that need each
    other for that are one skin.
    """
    patch = patches_of(work.faces, work.runs)
    crowd = work.runs.count > 2
    if not crowd.any():
        return patch
    sides = work.runs.members(crowd)
    edge = np.repeat(np.arange(int(crowd.sum())), work.runs.count[crowd])
    sense = np.where(work.runs.start[sides] < work.runs.stop[sides], 1, -1)
    number = int(patch.max()) + 1
    met, index = np.unique(edge * number + patch[sides // 3], return_inverse=True)
    needs = met[np.bincount(index.reshape(-1), sense) != 0]
    links = np.stack([number + needs // number, needs % number], axis=1)
    return groups_of(links, number + len(edge))[:number][patch]


def pairs_of(work: Work) -> Ints:
    """Return the half-edges (k, 2) of a balanced work that meet, each with one other.

    Where more than two faces share an edge, those with the solid between them meet.
    """
    if not len(work.edges.crowded):
        return work.edges.pairs
    runs = work.runs
    crowd = runs.count > 2
    found = [work.edges.pairs]
    for begin, number in zip(runs.begin[crowd].tolist(), runs.count[crowd].tolist(), strict=True):
        sides = runs.order[begin : begin + number]
        found.append(_met(work, sides, runs.start[sides] < runs.stop[sides]))
    return np.concatenate(found)


def _unbalanced(work: Work) -> Ints:
    """Edges (k, 2) that not as many faces run along one way as the other."""
    runs = work.runs
    sense = np.where(runs.start[runs.order] < runs.stop[runs.order], 1, -1)
    return runs.ends(np.add.reduceat(sense, runs.begin) != 0)


def _met(work: Work, sides: Ints, up: Bools) -> Ints:
    """Pair the half-edges (n,) of one edge; ``up`` (n,) tells which run from its lower vertex to the higher.

    Seen along the edge, a face that runs up has the solid before it as the angle grows, one that runs down
    behind it. So each face that runs down is the beginning of a wedge of solid, and the next that runs up its end.
    """
    corner = work.faces[sides // 3, (sides + 2) % 3]
    face, k = int(sides[0]) // 3, int(sides[0]) % 3
    ends = sorted((int(work.faces[face, k]), int(work.faces[face, (k + 1) % 3])))
    low = work.vertices[ends[0]]
    along = work.vertices[ends[1]] - low
    along = along / np.linalg.norm(along)
    reach = work.vertices[corner] - low
    reach = reach - (reach @ along)[:, None] * along
    angle = _angles(reach, along)
    order = sorted(range(len(sides)), key=lambda i: (angle[i], not up[i]))
    depth = np.cumsum([-1 if up[i] else 1 for i in order])
    start = (int(np.argmin(depth)) + 1) % len(order)
    begun: list[int] = []
    met = []
    for i in order[start:] + order[:start]:
        if up[i]:
            met.append((int(sides[begun.pop()]), int(sides[i])))
        else:
            begun.append(i)
    return np.sort(np.array(met, dtype=np.int64), axis=1)


def _angles(reach: Floats, along: Floats) -> list[float]:
    """Angles about ``along`` from the first of ``reach`` (n, 3), those that agree but for rounding made equal."""
    across = np.cross(along, reach[0])
    angle = np.arctan2(reach @ across, reach @ reach[0] * math.sqrt(float(along @ along))) % (2 * math.pi)
    order = np.argsort(angle, kind="stable")
    fresh = np.append(True, np.diff(angle[order]) > SAME_ANGLE)
    angle[order] = angle[order][fresh][np.cumsum(fresh) - 1]
    angle[angle > 2 * math.pi - SAME_ANGLE] = 0.0
    return [float(value) for value in angle]


def _sided(work: Work) -> Bools:
    """Which faces (m,) to turn so that each patch is outside out, by how often a ray from it passes through others."""
    patch = patches_of(work.faces, work.runs)
    number = int(patch.max()) + 1
    if number * len(work.faces) > MOST_RAYS:
        return np.zeros(len(work.faces), dtype=np.bool_)
    corners = work.vertices[work.faces]
    turned = np.zeros(number, dtype=np.bool_)
    heaviest = np.lexsort((work.areas, patch))[np.append(np.flatnonzero(np.diff(np.sort(patch))), len(patch) - 1)]
    for k, face in enumerate(heaviest.tolist()):
        normal = work.area_vectors[face] / max(float(work.areas[face]), 1e-300)
        aside = np.roll(normal, 1) - normal * float(np.roll(normal, 1) @ normal)
        third = np.cross(normal, aside)
        rays = [normal + a * aside + b * third for a, b in SLANTS]
        odd = sum(_crossings(corners, face, ray) % 2 for ray in rays)
        turned[k] = 2 * odd > len(rays)
    return np.asarray(turned[patch])


def _crossings(corners: Floats, face: int, ray: Floats) -> int:
    """How many other faces (m, 3, 3) does a ray from the middle of one pass through? (Moeller & Trumbore 1997)"""
    origin = corners[face].mean(axis=0)
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    cross = np.cross(ray, two)
    scale = np.einsum("ij,ij->i", one, cross)
    scale = np.where(scale == 0, np.inf, scale)
    reach = origin - corners[:, 0]
    u = np.einsum("ij,ij->i", reach, cross) / scale
    lift = np.cross(reach, one)
    v = lift @ ray / scale
    far = np.einsum("ij,ij->i", two, lift) / scale
    hit = (u >= 0) & (v >= 0) & (u + v <= 1) & (far > 0)
    hit[face] = False
    return int(hit.sum())


def taken_apart(work: Work) -> tuple[Work, Floats]:
    """Give each fan of faces its own copy of the vertex it stands on; return the work and the places (k, 3) copied.

    Where two sheets still share an edge then, since their fans hang together at both its ends, it is halved and
    each sheet gets its own middle.
    """
    places = np.zeros((0, 3))
    for _ in range(ROUNDS):
        pairs = pairs_of(work)
        fan, number = fans_of(work.faces, pairs)
        if number > len(work.vertices):
            vertex = np.zeros(number, dtype=np.int64)
            vertex[fan] = work.faces.reshape(-1)
            places = np.append(places, work.vertices[np.bincount(vertex, minlength=len(work.vertices)) > 1], axis=0)
            work = work.with_faces(work.vertices[vertex], fan.reshape(-1, 3), work.source)
        sides = _to_halve(work, pairs)
        if not len(sides):
            break
        work = _halved(work, sides)
    return work, places


def _to_halve(work: Work, pairs: Ints) -> Ints:
    """Pairs (k, 2) of half-edges, of different faces all, to halve next: those on an edge that another pair has too."""
    if not len(work.edges.crowded):
        return pairs[:0]
    one = pairs[:, 0]
    ends = np.stack([work.faces[one // 3, one % 3], work.faces[one // 3, (one + 1) % 3]], axis=1)
    key = ends.min(axis=1) * len(work.vertices) + ends.max(axis=1)
    order = np.argsort(key, kind="stable")
    again = order[1:][key[order][1:] == key[order][:-1]]
    taken: set[int] = set()
    chosen = []
    for first, second in pairs[again].tolist():
        if not taken & {first // 3, second // 3}:
            taken |= {first // 3, second // 3}
            chosen.append((first, second))
    return np.array(chosen, dtype=np.int64).reshape(-1, 2)


def _halved(work: Work, sides: Ints) -> Work:
    one = sides[:, 0]
    ends = np.stack([work.faces[one // 3, one % 3], work.faces[one // 3, (one + 1) % 3]], axis=1)
    middles = work.vertices[ends].mean(axis=1)
    number = len(work.vertices) + np.arange(len(sides))
    grown = work.with_faces(np.concatenate([work.vertices, middles]), work.faces, work.source)
    return edges_cut(grown, sides.T.reshape(-1), np.tile(number, 2), np.zeros(2 * len(sides)))
