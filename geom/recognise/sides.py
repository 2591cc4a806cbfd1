"""What is left when holes and bends are found: broad faces, narrow sides, ends, round outsides."""

import numpy as np

from geom.arrays import Floats
from geom.feature import Kind
from geom.recognise.piece import Piece, Scene, cross_axes, mm1, parallel, square
from geom.recognise.regions import Form, Region, hollow

NARROW_SIDE = 0.72  # a flat narrower than this share of the metal behind it is a side, not a face
HOLES = (Kind.BORE, Kind.SLOT, Kind.BLIND_HOLE, Kind.RECESS)
STRIP = 0.35  # and this narrow it is one even where it goes round corners
LONG = 1.15  # a part longer than this many times its next size has ends
CHAMFER = 0.12  # of the mean size of the part: a narrower cone is the chamfer of an edge
AT_THE_END = 0.03  # of the length: an end lies within this of the outermost point
STEEPEST = 0.1  # sine of the angle by which an end may be off square


def find_grooves_round(scene: Scene) -> None:
    """Make pieces of grooves turned into a round part: a narrower neck between two shoulders."""
    items = scene.regions.items
    for k, region in scene.free():
        if region.form is not Form.CYLINDER or region.sign <= 0 or not region.is_whole:
            continue
        shoulders = [
            s.other
            for s in scene.regions.seams[k]
            if hollow(s)
            and s.other not in scene.used
            and items[s.other].form is Form.FLAT
            and parallel(items[s.other].axis, region.axis)
        ]
        if len(shoulders) != 2 or float(items[shoulders[0]].axis @ items[shoulders[1]].axis) > 0:
            continue
        width = region.length(region.axis)
        reach = [np.linalg.norm(np.cross(items[m].points - region.point, region.axis), axis=1).max() for m in shoulders]
        depth = float(min(reach)) - region.radius
        if width < 2 * region.radius and width < 5 * depth:
            piece = Piece(Kind.RECESS, "groove", f"{mm1(width)} mm", (k, *shoulders), width, depth, axis=region.axis)
            scene.add(piece)


def find_sides(scene: Scene) -> None:
    """Make pieces of all that is left."""
    along, ends_along = _end_ways(scene)
    for k, region in scene.free():
        if region.form is Form.FLAT:
            scene.add(_flat(scene, k, region, along, ends_along))
        elif region.sign > 0 and region.is_whole and region.form is Form.CYLINDER:
            scene.add(_outside(scene, k, region))
        else:
            scene.add(_skin(scene, k, region))


def _outside(scene: Scene, number: int, region: Region) -> Piece:
    """Make a piece of the outside of a rod, tube or washer."""
    length = region.length(region.axis)
    size = f"{mm1(2 * region.radius)} mm"
    rim = length < NARROW_SIDE * scene.wall(number)
    kind, word = (Kind.EDGE, "rim") if rim else (Kind.FACE, "round side")
    return Piece(kind, word, size, (number,), radius=region.radius, axis=region.axis)


def _skin(scene: Scene, number: int, region: Region) -> Piece:
    axis = region.axis if region.form in (Form.CYLINDER, Form.CONE, Form.SWEPT) else None
    if region.form is Form.CONE and region.sign > 0 and scene.border_width(number) < CHAMFER * scene.mean:
        return Piece(Kind.EDGE, "chamfer", f"{mm1(2 * region.radius)} mm", (number,), radius=region.radius, axis=axis)
    if region.form is Form.CONE:
        return Piece(Kind.SKIN, "cone", f"{mm1(2 * region.radius)} mm", (number,), radius=region.radius, axis=axis)
    if region.form is Form.BALL:
        word = "ball" if region.sign > 0 else "cup"
        return Piece(Kind.SKIN, word, f"radius {mm1(region.radius)} mm", (number,), radius=region.radius)
    return Piece(Kind.SKIN, "curved skin", "", (number,), axis=axis)


def _is_side(scene: Scene, number: int, metal: float) -> bool:
    """Is a flat a narrow side: the metal behind it is thicker than it is wide?"""
    width = narrow_width(scene, number)
    if width < STRIP * metal:
        return True
    return width < NARROW_SIDE * metal and _least_extent(scene.regions.items[number]) < 1.1 * NARROW_SIDE * metal


def _least_extent(region: Region) -> float:
    """Return the distance of the nearest two parallel lines that hold a flat between them, near enough [m]."""
    flat = region.points @ np.stack(cross_axes(region.axis), axis=1)
    turn = np.radians(np.arange(0, 180, 6))
    return float(np.ptp(flat @ np.stack([np.cos(turn), np.sin(turn)]), axis=0).min())


def narrow_width(scene: Scene, number: int) -> float:
    """Width of the rectangle with the area and the outer edge of a flat [m]."""
    region = scene.regions.items[number]
    holes = {m for p in scene.pieces if p.kind in HOLES for m in p.members}
    half = sum(s.length for s in scene.regions.seams[number] if s.other not in holes) / 2
    inner = half * half - 4 * region.area
    return float((half - np.sqrt(inner)) / 2) if inner > 0 else float(np.sqrt(region.area))


def _flat(scene: Scene, number: int, region: Region, along: Floats | None, ends_along: bool) -> Piece:
    facing = region.axis
    at_end = along is not None and _is_end(scene, region, along, ends_along)
    # holes across do not make the metal behind the end of a long part less
    metal = scene.extent(along) if at_end and along is not None and ends_along else scene.wall(number)
    if not _is_side(scene, number, metal):
        return Piece(Kind.FACE, "face", "", (number,), facing=facing)
    kind, word = (Kind.END, "end") if at_end else (Kind.EDGE, "edge")
    return Piece(kind, word, "", (number,), facing=facing)


def _is_end(scene: Scene, region: Region, along: Floats, ends_along: bool) -> bool:
    if not ends_along:  # the ends of a bent strip look at right angles to its bends
        return square(region.axis, along)
    turn = float(region.axis @ along)
    if abs(turn) < np.sqrt(1 - STEEPEST**2):
        return False
    reach = scene.surface.vertices @ along * np.sign(turn)
    return float(reach.max() - np.sign(turn) * (region.point @ along)) < AT_THE_END * float(np.ptp(reach))


def _end_ways(scene: Scene) -> tuple[Floats | None, bool]:
    """Return the way that tells ends from edges, and whether ends look along it or at right angles to it."""
    items = scene.regions.items
    bends = [p for p in scene.pieces if p.kind is Kind.BEND_OUTSIDE and p.axis is not None]
    if bends:
        axis = max(bends, key=lambda p: items[p.members[0]].area).axis
        assert axis is not None
        width = scene.extent(axis)
        # half of the surface is one side of the strip: over its width, the length it would have flat
        developed = scene.surface.area / 2 / width
        return axis, developed < width
    ways: list[Floats] = []
    for region in items[:60]:
        if region.form in (Form.FLAT, Form.CYLINDER) and not any(parallel(region.axis, way) for way in ways):
            ways.append(region.axis)
    if not ways:
        return None, True
    sizes = [scene.extent(way) for way in ways]
    longest = int(np.argmax(sizes))
    across = [np.cross(ways[longest], way) for k, way in enumerate(ways) if k != longest]
    others = [scene.extent(way / np.linalg.norm(way)) for way in across]
    others += [size for way, size in zip(ways, sizes, strict=True) if square(way, ways[longest])]
    others = others or [np.sqrt(scene.surface.area) / 3]
    return (ways[longest], True) if sizes[longest] > LONG * max(others) else (None, True)
