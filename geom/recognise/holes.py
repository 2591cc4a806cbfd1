"""Holes: bores, blind holes, counterbores, countersinks, slots, cutouts, pockets, and the insides of tubes."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.feature import Kind
from geom.recognise.piece import Piece, Scene, closed_round, cross_axes, mm1, parallel, square
from geom.recognise.regions import Form, Region, coaxial, hollow

UNIFORM = 1.3  # a tube's wall is nowhere thicker than this many times its thinnest
TUBE = 0.75  # a tube is longer than this share of its outside width
WHOLE_LENGTH = 0.9  # share of the part that the inside of a tube runs through
WALLS = (Form.FLAT, Form.CYLINDER, Form.SWEPT)
MOST_FACES = 60  # flat faces in which cutouts of any outline are looked for, the largest
END_AREA = 1.25  # times the area between two outlines one wall apart: a larger end is no end of a tube
COVER = 0.4  # share of its section that the bottom of a hole covers at least
SAME_LINE = 0.9992  # cosine of the angle by which corners of one hole may differ
WITHIN = 0.02  # of the width of a hole: how far its bottom may reach beyond its wall


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """The wall of a hole: regions that close round an axis."""

    members: tuple[int, ...]
    axis: Floats


def find_holes(scene: Scene) -> None:
    """Make pieces of every hole."""
    rings = [*_round_rings(scene), *_cornered_rings(scene), *_rimmed_rings(scene)]
    for ring in sorted(rings, key=lambda ring: -sum(scene.regions.items[m].area for m in ring.members)):
        if scene.used.isdisjoint(ring.members) and _section(scene, ring) > 0:
            floor = tuple(m for m in _floor(scene, ring) if m not in scene.used)
            scene.add(_piece(scene, ring, floor))
    _countersinks(scene)


def _rimmed_rings(scene: Scene) -> list[Ring]:
    """Return walls of any outline within a flat face: what borders on the face, but not on its outer edge."""
    items, found = scene.regions.items, []
    for k, face in enumerate(items[:MOST_FACES]):
        if face.form is not Form.FLAT:
            continue
        beside = {s.other for s in scene.regions.seams[k] if not hollow(s)}
        pairs = [(m, m) for m in beside]
        pairs += [(m, s.other) for m in beside for s in scene.regions.seams[m] if s.other in beside]
        sets = joined(pairs)
        outer = max(sets, key=lambda group: _reach(scene, group)) if len(sets) > 1 else sets[0] if sets else []
        for group in sets:
            walls = all(items[m].form in WALLS and _runs_along(items[m], face.axis) for m in group)
            if group is not outer and walls and _closes(scene, group, face.axis):
                found.append(Ring(tuple(group), face.axis))
    return found


def _closes(scene: Scene, group: list[int], axis: Floats) -> bool:
    return closed_round(np.concatenate([scene.regions.items[m].normals for m in group]), axis)


def _reach(scene: Scene, group: list[int]) -> float:
    points = np.concatenate([scene.regions.items[m].points for m in group])
    return float(np.linalg.norm(np.ptp(points, axis=0)))


def _round_rings(scene: Scene) -> list[Ring]:
    """Return whole cylinders, and other swept walls that close by themselves."""
    found = []
    for k, region in enumerate(scene.regions.items):
        if region.sign >= 0:
            continue
        whole = region.form is Form.CYLINDER and region.is_whole
        if whole or (region.form is Form.SWEPT and closed_round(region.normals, region.axis)):
            found.append(Ring((k,), region.axis))
    return found


def hollow_sets(scene: Scene) -> list[tuple[Floats, list[int]]]:
    """Return the sets of flats and parts of cylinders that meet in hollow corners along one way, and that way."""
    corners = list(_hollow_corners(scene))
    if not corners:
        return []
    way = np.array([c[2] for c in corners])
    left, found = np.arange(len(way)), []
    while len(left):
        along = np.abs(way[left] @ way[left[0]]) > SAME_LINE
        pairs = [corners[k][:2] for k in left[along]]
        found += [(way[left[0]], group) for group in joined(pairs)]
        left = left[~along]
    return found


def _hollow_corners(scene: Scene) -> Iterator[tuple[int, int, Floats]]:
    """Yield the walls that meet in a straight hollow corner, and the way along it."""
    items = scene.regions.items
    usable = [_is_wall(r) for r in items]
    for k, seams in enumerate(scene.regions.seams):
        for seam in seams:
            corner = k < seam.other and seam.is_straight and hollow(seam)
            if corner and all(usable[m] and _runs_along(items[m], seam.way) for m in (k, seam.other)):
                yield k, seam.other, seam.way


def joined(pairs: list[tuple[int, int]]) -> list[list[int]]:
    """Return the connected sets of numbers."""
    root: dict[int, int] = {}

    def top(k: int) -> int:
        while root.setdefault(k, k) != k:
            root[k] = root[root[k]]
            k = root[k]
        return k

    for one, two in pairs:
        root[top(one)] = top(two)
    sets: dict[int, list[int]] = {}
    for k in root:
        sets.setdefault(top(k), []).append(k)
    return [sorted(group) for group in sets.values()]


def _is_wall(region: Region) -> bool:
    if region.form is Form.FLAT:
        return True
    return region.sign < 0 and region.form in (Form.CYLINDER, Form.SWEPT) and not region.is_whole


def _runs_along(region: Region, way: Floats) -> bool:
    return square(region.axis, way) if region.form is Form.FLAT else parallel(region.axis, way)


def _cornered_rings(scene: Scene) -> list[Ring]:
    """Return the walls of slots and cutouts: sets that close."""
    return [Ring(tuple(group), way) for way, group in hollow_sets(scene) if _closes(scene, group, way)]


def _frame(scene: Scene, ring: Ring) -> tuple[Floats, Floats]:
    """Return the way across and the way along the section of a hole: across the largest flat where there is one."""
    flats = [scene.regions.items[m] for m in ring.members if scene.regions.items[m].form is Form.FLAT]
    if not flats:
        return cross_axes(ring.axis)
    across = max(flats, key=lambda r: r.area).axis
    return across, np.asarray(np.cross(ring.axis, across))


def _floor(scene: Scene, ring: Ring) -> list[int]:
    """Return the regions that close a hole: they meet its wall in a hollow corner and lie inside it."""
    items = scene.regions.items
    frame = np.stack(_frame(scene, ring), axis=1)
    wall = np.concatenate([items[m].points for m in ring.members]) @ frame
    low, high = wall.min(axis=0), wall.max(axis=0)
    slack = WITHIN * float((high - low).min()) + 4 * scene.regions.blur
    found: list[int] = []
    waiting = list(ring.members)
    while waiting:
        for seam in scene.regions.seams[waiting.pop()]:
            other = seam.other
            if other in ring.members or other in found or not hollow(seam):
                continue
            points = items[other].points @ frame
            if (points < low - slack).any() or (points > high + slack).any():
                continue
            found.append(other)
            waiting.append(other)
    return found


def _piece(scene: Scene, ring: Ring, floor: tuple[int, ...]) -> Piece:
    items = scene.regions.items
    first = items[ring.members[0]]
    points = np.concatenate([items[m].points for m in (*ring.members, *floor)])
    depth = float(np.ptp(points @ ring.axis))
    members = (*ring.members, *floor)
    width, length = _opening(scene, ring)
    is_round = len(ring.members) == 1 and first.form is Form.CYLINDER
    size = f"{mm1(width)} mm" if is_round else f"{mm1(width)} x {mm1(length)} mm"
    if floor and is_round and _is_pierced(scene, first, floor):
        return Piece(Kind.RECESS, "counterbore", size, members, width, depth, axis=ring.axis)
    if floor and _covered(scene, ring, floor) < COVER:
        members, floor = ring.members, ()  # a ledge in a hole that goes through
        depth = float(np.ptp(np.concatenate([items[m].points for m in members]) @ ring.axis))
    if floor:
        kind, word = (Kind.BLIND_HOLE, "blind hole") if is_round else (Kind.RECESS, "pocket")
        return Piece(kind, word, size, members, width, depth, axis=ring.axis)
    if _is_tube(scene, ring, length, depth):
        return Piece(Kind.INSIDE, "inside", size, members, width, depth, axis=ring.axis)
    if is_round:
        return Piece(Kind.BORE, "bore", size, members, width, depth, axis=ring.axis)
    round_ends = any(items[m].form is Form.CYLINDER for m in ring.members)
    return Piece(Kind.SLOT, "slot" if round_ends else "cutout", size, members, width, depth, axis=ring.axis)


def _covered(scene: Scene, ring: Ring, floor: tuple[int, ...]) -> float:
    """Return which share of the section of a hole its bottom covers."""
    bottom = np.concatenate([scene.regions.items[m].faces for m in floor])
    return float(np.abs(scene.surface.area_vectors[bottom] @ ring.axis).sum()) / max(_section(scene, ring), 1e-300)


def _section(scene: Scene, ring: Ring) -> float:
    """Return the mean section of what walls enclose: less than nothing round metal, more round a hole [m²]."""
    items, surface = scene.regions.items, scene.surface
    wall = np.concatenate([items[m].faces for m in ring.members])
    depth = float(np.ptp(np.concatenate([items[m].points for m in ring.members]) @ ring.axis))
    out = surface.centroids[wall] - surface.centroids[wall].mean(axis=0)
    out = out - (out @ ring.axis)[:, None] * ring.axis
    # the divergence theorem: the volume, over the depth
    return -float((out * surface.area_vectors[wall]).sum()) / 2 / max(depth, 1e-300)


def _opening(scene: Scene, ring: Ring) -> tuple[float, float]:
    """Return the clear width and the length of a hole, equal for a round one [m]."""
    items = scene.regions.items
    first = items[ring.members[0]]
    if first.form is Form.CYLINDER and len(ring.members) == 1:
        return 2 * first.radius, 2 * first.radius
    across, along = _frame(scene, ring)
    walls = np.concatenate([items[m].points for m in ring.members])
    width, length = sorted((float(np.ptp(walls @ across)), float(np.ptp(walls @ along))))
    if len(ring.members) > 4:  # an outline with arms is as wide as the largest circle in it
        faces = np.concatenate([items[m].faces for m in ring.members])
        width = min(width, scene.inscribed(faces, ring.axis))
    return width, length


def _is_pierced(scene: Scene, wall: Region, floor: tuple[int, ...]) -> bool:
    """Does a narrower bore with the same axis go on from the bottom of a hole?"""
    beyond = [scene.regions.items[s.other] for m in floor for s in scene.regions.seams[m] if not hollow(s)]
    return any(
        region.form is Form.CYLINDER
        and region.sign < 0
        and region.is_whole
        and region.radius < wall.radius
        and coaxial(wall, region, 0.05 * wall.radius)
        for region in beyond
    )


def _is_tube(scene: Scene, ring: Ring, length: float, depth: float) -> bool:
    """Is a hole that goes through the inside of a tube: as long as the part, within a wall of one thickness?"""
    if depth < WHOLE_LENGTH * scene.extent(ring.axis):
        return False
    metal = np.concatenate([scene.behind(m)[0] for m in ring.members])
    metal = metal[np.isfinite(metal)]
    if not len(metal):
        return False
    thin, thick = np.quantile(metal, [0.1, 0.9])
    middle = float(np.median(metal))
    items = scene.regions.items
    outline = sum(items[m].area for m in ring.members) / depth
    ends = {s.other for m in ring.members for s in scene.regions.seams[m] if items[s.other].form is Form.FLAT}
    largest = max((items[m].area for m in ends if m not in ring.members), default=0.0)
    if largest > END_AREA * middle * (outline + np.pi * middle):
        return False
    return bool(thick < UNIFORM * thin and depth > middle and depth > TUBE * (length + 2 * middle))


def _countersinks(scene: Scene) -> None:
    """Make pieces of hollow cones that open a hole."""
    for k, region in scene.free():
        if region.form is not Form.CONE or region.sign >= 0:
            continue
        size = f"{mm1(2 * region.radius)} mm"
        depth = region.length(region.axis)
        scene.add(Piece(Kind.RECESS, "countersink", size, (k,), 2 * region.radius, depth, axis=region.axis))
