"""Cut a surface along the border of a half-space or a ball, so that neighbours still share their vertices."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats, Ints, frozen
from geom.surface.cutters import Ball, Cutter, Loop, Polygons
from geom.surface.shell import area_vector, triangulate
from geom.surface.surface import Surface

TRIES = 40  # sizes of a ball tried until none of its edges is nearly touched
NUDGE = 3e-7  # by which share it grows each time
FEW = 8  # corners up to which a polygon is cut up by its best shaped ears


@dataclass(frozen=True, eq=False)
class Split:
    """A surface whose faces lie wholly inside or wholly outside a cutter."""

    surface: Surface
    source: Ints  # (m,) face of the surface before, that each one is a piece of
    inside: Bools  # (m,)

    def __post_init__(self) -> None:
        object.__setattr__(self, "source", frozen(self.source, np.int64))
        object.__setattr__(self, "inside", frozen(self.inside, np.bool_))


def split(surface: Surface, cutter: Cutter, among: Bools | None = None) -> Split:
    """Return the surface cut by one cutter; only faces ``among`` (m,) are divided and can lie inside.

    Neighbours of these get the new vertices too, so that a closed surface stays closed. What lies on the border
    of a half-space is inside.
    """
    count = len(surface.faces)
    among = np.ones(count, dtype=np.bool_) if among is None else np.asarray(among)
    rows = np.flatnonzero(among)
    if isinstance(cutter, Ball):
        cutter = _cleared(cutter, surface, rows)
    inside = np.zeros(count, dtype=np.bool_)
    inside[rows] = cutter.sides(surface.corners[rows].reshape(-1, 3)).reshape(-1, 3).max(axis=1, initial=-1) <= 0
    cuts, points = _cuts(surface, cutter, rows)
    touched = _touched(surface, cuts)
    islands = np.setdiff1d(rows[cutter.islands(surface.corners[rows])], touched)
    islands = islands[~inside[islands]]
    vertices = _Vertices(surface.vertices, points)
    pieces: list[tuple[Ints, int, bool]] = []
    for face in (*touched.tolist(), *islands.tolist()):
        pieces += _divided(surface, face, cutter, cuts, vertices, bool(among[face]))
    return _assembled(surface, inside, pieces, vertices, np.union1d(touched, islands))


@dataclass(eq=False)
class _Vertices:
    """The places of old vertices and those of new ones. Not a record: it grows."""

    old: Floats
    new: list[Floats]

    def __getitem__(self, number: int) -> Floats:
        return np.asarray(self.old[number]) if number < len(self.old) else self.new[number - len(self.old)]

    def add(self, place: Floats) -> int:
        self.new.append(place)
        return len(self.old) + len(self.new) - 1

    def all(self) -> Floats:
        return np.concatenate([self.old, np.array(self.new).reshape(-1, 3)])


def _cleared(ball: Ball, surface: Surface, rows: Ints) -> Ball:
    """Return the ball, grown by next to nothing until no edge or corner lies on its border."""
    corners = surface.corners[rows]
    start, end = corners.reshape(-1, 3), np.roll(corners, -1, axis=1).reshape(-1, 3)
    for _ in range(TRIES):
        if ball.is_clear(start, end):
            break
        ball = Ball(ball.centre, ball.radius * (1 + NUDGE))
    return ball


Cuts = dict[tuple[int, int], list[int]]


def _cuts(surface: Surface, cutter: Cutter, rows: Ints) -> tuple[Cuts, list[Floats]]:
    """Return the new vertices on each edge that is crossed, from its lower to its higher end, and their places."""
    pairs = np.stack([surface.faces[rows], np.roll(surface.faces[rows], -1, axis=1)], axis=2).reshape(-1, 2)
    edges = np.unique(np.sort(pairs, axis=1), axis=0)
    start, end = surface.vertices[edges[:, 0]], surface.vertices[edges[:, 1]]
    cuts: Cuts = {}
    points: list[Floats] = []
    for (a, b), shares, p, q in zip(edges.tolist(), cutter.crossings(start, end), start, end, strict=True):
        if shares:
            first = len(surface.vertices) + len(points)
            cuts[a, b] = list(range(first, first + len(shares)))
            points += [p + share * (q - p) for share in shares]
    return cuts, points


def _touched(surface: Surface, cuts: Cuts) -> Ints:
    """Return the faces that have a cut edge."""
    if not cuts:
        return np.zeros(0, dtype=np.int64)
    count = len(surface.vertices)
    keys = np.sort(np.array([a * count + b for a, b in cuts], dtype=np.int64))
    ends = np.sort(np.stack([surface.faces, np.roll(surface.faces, -1, axis=1)], axis=2), axis=2)
    return np.flatnonzero(np.isin(ends[:, :, 0] * count + ends[:, :, 1], keys).any(axis=1))


def _divided(
    surface: Surface, face: int, cutter: Cutter, cuts: Cuts, vertices: _Vertices, is_among: bool
) -> Iterable[tuple[Ints, int, bool]]:
    """Yield the triangles (k, 3) of each piece of a face, the face, and whether the piece lies inside."""
    loop = _loop(surface, face, cutter, cuts)
    inside: Polygons = []
    outside: Polygons = [[vertex for vertex, _ in loop]]
    if is_among:
        places = np.array([vertices[vertex] for vertex, _ in loop])
        inside, outside = cutter.pieces(loop, surface.corners[face], places)
    known: dict[int, int] = {}  # points are shared by the pieces of one face
    for polygons, is_inside in ((inside, True), (outside, False)):
        for polygon in polygons:
            ring = [point if isinstance(point, int) else _numbered(point, known, vertices) for point in polygon]
            if len(ring) >= 3:
                yield _triangles(ring, vertices), face, is_inside


def _loop(surface: Surface, face: int, cutter: Cutter, cuts: Cuts) -> Loop:
    """Return corners and cuts round a face, each with its side."""
    corners = surface.faces[face].tolist()
    sides = cutter.sides(surface.corners[face]).tolist()
    loop: Loop = []
    for k in range(3):
        a, b = corners[k], corners[(k + 1) % 3]
        loop.append((a, sides[k]))
        found = cuts.get((a, b)) or (cuts.get((b, a)) or [])[::-1]
        loop += [(vertex, 0) for vertex in found]
    return loop


def _numbered(point: Floats, known: dict[int, int], vertices: _Vertices) -> int:
    """Return the number of a new vertex; the same point is one vertex."""
    if id(point) not in known:
        known[id(point)] = vertices.add(point)
    return known[id(point)]


def _triangles(ring: list[int], vertices: _Vertices) -> Ints:
    """Return the triangles (k, 3) of a plane polygon; none without area, where the polygon allows it."""
    if len(ring) == 3:
        return np.array([ring], dtype=np.int64)
    places = np.array([vertices[vertex] for vertex in ring])
    found = best_ears(places) if len(ring) <= FEW else triangulate(places, [np.arange(len(ring))])
    return np.asarray(ring, dtype=np.int64)[found]


def best_ears(places: Floats) -> Ints:
    """Return the triangles of a small plane polygon, the best shaped ear cut off first.

    A corner amid a straight side is so never left for last. A polygon without area is cut up all the same.
    """
    way = area_vector(places)
    axis = int(np.argmax(np.abs(way)))  # looked at along this one; plain numbers are far quicker here than arrays
    keep = [(axis + 1) % 3, (axis + 2) % 3] if way[axis] >= 0 else [(axis + 2) % 3, (axis + 1) % 3]
    flat: list[tuple[float, float]] = [(x, y) for x, y in places[:, keep].tolist()]
    left = list(range(len(flat)))
    found = []
    while len(left) > 3:
        ears = [(left[k - 1], left[k], left[(k + 1) % len(left)]) for k in range(len(left))]
        best = max(range(len(left)), key=lambda k: _fitness(flat, ears[k], left))
        found.append(ears[best])
        del left[best]
    return np.array([*found, left], dtype=np.int64)


def _fitness(flat: list[tuple[float, float]], ear: tuple[int, int, int], left: list[int]) -> float:
    """Return twice the area of an ear over its longest side squared; under -1 where it holds another corner."""
    a, b, c = (flat[k] for k in ear)
    longest = max(_square(a, b), _square(b, c), _square(c, a), 1e-300)
    quality = _turn(a, b, c) / longest
    slack = -1e-12 * longest
    for k in left:
        if k not in ear and min(_turn(a, b, flat[k]), _turn(b, c, flat[k]), _turn(c, a, flat[k])) > slack:
            return -1.0 - quality
    return quality


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Return twice the area of a triangle, positive where it runs counter-clockwise."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _square(a: tuple[float, float], b: tuple[float, float]) -> float:
    return (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2


def _assembled(
    surface: Surface, inside: Bools, pieces: list[tuple[Ints, int, bool]], vertices: _Vertices, gone: Ints
) -> Split:
    """Return the untouched faces, then the pieces."""
    if not pieces:
        return Split(surface, np.arange(len(surface.faces)), inside)
    stays = np.ones(len(surface.faces), dtype=np.bool_)
    stays[gone] = False
    source = np.concatenate([np.flatnonzero(stays), *(np.full(len(t), face) for t, face, _ in pieces)])
    faces = np.concatenate([surface.faces[stays], *(t for t, _, _ in pieces)])
    within = np.concatenate([inside[stays], *(np.full(len(t), is_in) for t, _, is_in in pieces)])
    return Split(Surface(vertices.all(), faces, surface.tag[source]), source, within)
