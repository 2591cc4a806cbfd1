"""Bends of a strip or sheet, what they enclose, and the rounding of edges and corners."""

import numpy as np

from geom.arrays import Floats
from geom.feature import Kind
from geom.recognise.facets import SMOOTH
from geom.recognise.holes import hollow_sets, joined
from geom.recognise.piece import Piece, Scene, clear_width, mm1, parallel
from geom.recognise.regions import Form, Region, coaxial, hollow

ONE_BEND = 0.06  # of the outside radius: how far the axes of its two sides may be apart
SAME_SIDE = 0.9  # cosine of the angle by which the two sides of a bend may look different ways
HALF_ROUND = np.radians(150)  # an arc beyond this is an end, or a hollow, not a corner
LOW_CORNER = 1.5  # a rounded corner of a plate is shorter than this many radii, a rounded edge longer
SLIGHT = 0.35  # of the mean size of the part: the largest radius of a rounded edge
SHALLOW = 4.0  # a floor more than this many times wider than its walls are high is no groove
NARROW = 0.12  # of the mean size of the part: a free piece narrower than this along an edge rounds it


def find_bends(scene: Scene) -> None:
    """Make pieces of bends and of what they enclose."""
    free = dict(scene.free())
    inner = {k: r for k, r in free.items() if _is_arc(r, -1)}
    outer = {k: r for k, r in free.items() if _is_arc(r, 1)}
    bent: set[int] = set()
    for k, region in inner.items():
        mates = [m for m in outer if m not in scene.used and _is_bend(region, outer[m])]
        if not mates:
            continue
        mate = min(mates, key=lambda m: outer[m].radius)
        scene.add(_bend(Kind.BEND_INSIDE, "inside bend", k, region))
        scene.add(_bend(Kind.BEND_OUTSIDE, "outside bend", mate, outer[mate]))
        bent.update(s.other for s in scene.regions.seams[k])
    for k, region in outer.items():
        if k not in scene.used and (corner := _sharp_inside(scene, region)):
            scene.add(_bend(Kind.BEND_OUTSIDE, "outside bend", k, region))
            bent.update(corner)
    _enclosed(scene, bent)


def _is_arc(region: Region, sign: int) -> bool:
    return region.form is Form.CYLINDER and region.sign == sign and not region.is_whole


def _facing(region: Region) -> Floats:
    total = region.normals.mean(axis=0)
    return np.asarray(total / max(float(np.linalg.norm(total)), 1e-300))


def _is_bend(inner: Region, outer: Region) -> bool:
    """Are these the two sides of one bend: round one axis, and longer than the strip is thick?"""
    thickness = outer.radius - inner.radius
    if thickness <= 0 or not coaxial(inner, outer, ONE_BEND * outer.radius):
        return False
    if float(_facing(inner) @ _facing(outer)) > -SAME_SIDE:
        return False
    low, high = zip(inner.along(inner.axis), outer.along(inner.axis), strict=True)
    overlap = min(high) - max(low)
    return overlap > 0.5 * inner.length(inner.axis) and inner.length(inner.axis) > 1.2 * thickness


def _bend(kind: Kind, word: str, number: int, region: Region) -> Piece:
    return Piece(
        kind,
        word,
        f"radius {mm1(region.radius)} mm",
        (number,),
        radius=region.radius,
        axis=region.axis,
        facing=_facing(region),
    )


def _sharp_inside(scene: Scene, region: Region) -> tuple[int, int] | None:
    """Return the flats of a bend without an inside radius: they meet on the axis of its outside."""
    for k, item in scene.free():
        if item.form is not Form.FLAT or abs(float(item.axis @ (region.point - item.point))) > ONE_BEND * region.radius:
            continue
        for seam in scene.regions.seams[k]:
            if not (seam.is_straight and hollow(seam) and parallel(seam.way, region.axis)):
                continue
            gap = seam.middle - region.point
            if np.linalg.norm(gap - (gap @ region.axis) * region.axis) < ONE_BEND * region.radius:
                return k, seam.other
    return None


def _enclosed(scene: Scene, bent: set[int]) -> None:
    """Make pieces of what three or more walls enclose that do not close: the inside of a channel, a groove."""
    items = scene.regions.items
    sets = sorted(hollow_sets(scene), key=lambda found: -sum(items[m].area for m in found[1]))
    for way, group in sets:
        flats = [m for m in group if m not in scene.used and items[m].form is Form.FLAT]
        if len(group) < 3 or len(flats) < 2:
            continue
        width, pair = max((clear_width(items[a], items[b]), (a, b)) for a in flats for b in flats)
        if width <= 0:
            continue
        facing = _opening(way, items[pair[0]])
        looks = sum(items[m].area * float(items[m].axis @ facing) for m in flats)
        facing = facing if looks >= 0 else -facing
        points = np.concatenate([items[m].points for m in group]) @ facing
        depth = float(np.ptp(points))
        if bent & set(flats):
            for m in flats:
                scene.add(
                    Piece(Kind.INSIDE, "inside", f"{mm1(width)} mm", (m,), width, depth, axis=way, facing=items[m].axis)
                )
        elif width < SHALLOW * depth:
            mine = tuple(m for m in group if m not in scene.used)
            scene.add(Piece(Kind.RECESS, "groove", f"{mm1(width)} mm", mine, width, depth, axis=way, facing=facing))


def _opening(way: Floats, wall: Region) -> Floats:
    """Return the way out of a groove: at right angles to its run and to its walls."""
    out = np.cross(way, wall.axis)
    return np.asarray(out / np.linalg.norm(out))


def find_rounding(scene: Scene) -> None:
    """Make pieces of rounded edges and corners, inside fillets and hollows."""
    rounding: list[int] = []
    for k, region in scene.free():
        if _is_arc(region, -1):
            scene.add(_hollow(k, region) if region.arc > HALF_ROUND else _bend(Kind.BEND_INSIDE, "fillet", k, region))
        elif _is_arc(region, 1):
            low = region.length(region.axis) < LOW_CORNER * region.radius and not _runs_on(scene, k)
            if low or region.radius > SLIGHT * scene.mean:
                word = "round end" if region.arc > HALF_ROUND else "corner"
                scene.add(_bend(Kind.EDGE, word, k, region))
            else:
                rounding.append(k)
        elif region.sign > 0 and region.form is not Form.FLAT and _is_narrow(scene, k):
            rounding.append(k)
    chosen = set(rounding)
    pairs = [(k, k) for k in rounding]
    for k in rounding:
        pairs += [(k, s.other) for s in scene.regions.seams[k] if s.other in chosen and abs(s.turn) < SMOOTH]
    for group in joined(pairs):
        scene.add(_rounded(scene, group))


def _runs_on(scene: Scene, number: int) -> bool:
    """Does a rounding go on smoothly into another?"""
    items = scene.regions.items
    beyond = (items[s.other] for s in scene.regions.seams[number] if abs(s.turn) < SMOOTH)
    return any(region.sign > 0 and region.form is not Form.FLAT for region in beyond)


def _hollow(number: int, region: Region) -> Piece:
    """Make a piece of an open hollow of half a turn or more."""
    facing = _facing(region)
    across = np.cross(region.axis, facing)
    width, depth = region.length(across), region.length(facing)
    size = f"radius {mm1(region.radius)} mm"
    return Piece(Kind.RECESS, "hollow", size, (number,), width, depth, region.radius, region.axis, facing)


def _is_narrow(scene: Scene, number: int) -> bool:
    """Is a free piece a strip along an edge, or the corner where such strips meet?"""
    seams, items = scene.regions.seams[number], scene.regions.items
    # a free surface is bordered by its like, a strip along an edge by what it rounds off
    smooth = sum(s.length for s in seams if abs(s.turn) < SMOOTH and items[s.other].form in (Form.FLAT, Form.CYLINDER))
    region = items[number]
    if region.form is Form.SWEPT and region.length(region.axis) < LOW_CORNER * scene.border_width(number):
        return False
    return scene.border_width(number) < NARROW * scene.mean and smooth > 0.3 * sum(s.length for s in seams)


def _rounded(scene: Scene, group: list[int]) -> Piece:
    items = [scene.regions.items[m] for m in group]
    radii = [r.radius for r in items if r.form is Form.CYLINDER]
    size = f"radius {mm1(min(radii))} mm" if radii and max(radii) < 1.05 * min(radii) else ""
    word = "rounded edge" if len(group) == 1 else "rounded edges"
    largest = max(items, key=lambda r: r.area)
    axis = largest.axis if len(group) == 1 else None
    facing = _facing(largest) if len(group) == 1 else None
    return Piece(Kind.EDGE, word, size, tuple(group), radius=min(radii, default=0.0), axis=axis, facing=facing)
