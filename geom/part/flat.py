"""Flat parts: bar and plate, washer, outline. Swept along z, holes and all."""

import math
from typing import Any

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.feature import Kind
from geom.findings import Finding, Severity
from geom.part import checks
from geom.part.holes import hole_opening, hole_ring, holes_words
from geom.part.ledger import Ledger
from geom.part.part import Part
from geom.part.rounded import rounded_bar
from geom.part.shapes import Bar, Hole, Outline, Washer
from geom.surface import rings
from geom.surface.prism import ALONG_Z, Loop, prism
from geom.wording import mm

MOST_EDGES = 12  # an outline with more straight or smooth edges is taken as one edge
CORNER = math.radians(30)  # a turn of the outline that separates two edges


def build_bar(bar: Bar) -> Part:
    """Return a rectangular bar or plate; features by formula."""
    import shapely

    size = {"length": bar.length, "width": bar.width, "thickness": bar.thickness}
    checks.positive(bar.kind, size)
    checks.not_negative(bar.kind, {"edge radius": bar.edge_radius})
    checks.sound_holes(bar.holes)
    r = bar.edge_radius
    if 2 * r > min(size.values()) * (1 + 1e-9):
        raise PartError(
            "part-dimensions",
            f"the edge radius of the {bar.kind} is {mm(r)} mm; "
            f"half its least dimension, {mm(min(size.values()) / 2)} mm, is the most",
        )
    half_x, half_y = bar.length / 2 - r, bar.width / 2 - r
    flat = shapely.box(-half_x, -half_y, half_x, half_y)
    for number, hole in enumerate(bar.holes, 1):
        checks.hole_inside(hole, number, flat, f"the flat face of the {bar.kind}")
    title = f"{bar.kind} {mm(bar.length)} x {mm(bar.width)} x {mm(bar.thickness)} mm"
    if r > 0:
        title += f", edges rounded {mm(r)} mm"
    surface, ledger, volume = rounded_bar(bar) if r > 0 else _sharp_bar(bar)
    smallest = min(bar.thickness, bar.width, r or math.inf, *(h.diameter for h in bar.holes), math.inf)
    return Part(title + holes_words(bar.holes), surface, ledger.features, ledger.area, volume, True, smallest)


def _sharp_bar(bar: Bar) -> tuple[Any, Ledger, float]:
    length, width, thickness = bar.length, bar.width, bar.thickness
    ledger = Ledger()
    face = length * width - math.fsum(map(hole_opening, bar.holes))
    top, bottom = _broad_faces(ledger, face)
    sides = [
        ledger.add("long edge -y", Kind.EDGE, length * thickness),
        ledger.add("end +x", Kind.END, width * thickness),
        ledger.add("long edge +y", Kind.EDGE, length * thickness),
        ledger.add("end -x", Kind.END, width * thickness),
    ]
    loops = [
        Loop(rings.rectangle(length, width), np.array(sides)),
        *_hole_loops(ledger, bar.holes, thickness),
    ]
    return prism(loops, thickness, ALONG_Z, (bottom, top)), ledger, face * thickness


def _broad_faces(ledger: Ledger, area: float) -> tuple[int, int]:
    return ledger.add("face A (+z)", Kind.FACE, area), ledger.add("face B (-z)", Kind.FACE, area)


def _hole_loops(ledger: Ledger, holes: tuple[Hole, ...], depth: float) -> list[Loop]:
    loops = []
    for number, hole in enumerate(holes, 1):
        ring = hole_ring(hole)[::-1]
        loops.append(Loop(ring, np.full(len(ring), ledger.add_hole(hole, number, depth))))
    return loops


def build_washer(washer: Washer) -> Part:
    """Return a flat ring; features by formula."""
    size = {"diameter": washer.diameter, "bore": washer.bore, "thickness": washer.thickness}
    checks.positive("washer", size)
    outside, bore, thickness = size.values()
    checks.less(
        "washer",
        ("bore", bore + 2 * checks.LEAST_METAL),
        ("its diameter", outside),
        f"at least {mm(checks.LEAST_METAL)} mm of metal must be left all round",
    )
    ledger = Ledger()
    face = math.pi / 4 * (outside**2 - bore**2)
    top, bottom = _broad_faces(ledger, face)
    rim = ledger.add("rim", Kind.EDGE, math.pi * outside * thickness)
    wall = ledger.add_hole(Hole(bore, (0.0, 0.0)), 1, thickness)
    loops = [
        Loop(rings.circle(outside / 2), np.full(rings.FACETS, rim)),
        Loop(rings.circle(bore / 2)[::-1], np.full(rings.FACETS, wall)),
    ]
    surface = prism(loops, thickness, ALONG_Z, (bottom, top))
    title = f"washer {mm(outside)} x {mm(bore)} x {mm(thickness)} mm"
    smallest = min(bore, thickness, (outside - bore) / 2)
    return Part(title, surface, ledger.features, ledger.area, face * thickness, True, smallest)


def build_outline(outline: Outline) -> Part:
    """Return an extruded outline; points, cutouts and holes share one drawing, centred afterwards."""
    polygon = checked_polygon(outline)
    low_x, low_y, high_x, high_y = polygon.bounds
    centre = np.array([low_x + high_x, low_y + high_y]) / 2
    ledger, thickness = Ledger(), outline.thickness
    face = polygon.area - math.fsum(map(hole_opening, outline.holes))
    top, bottom = _broad_faces(ledger, face)
    loops, gaps = boundary_loops(ledger, polygon, outline)
    loops = [Loop(loop.points - centre, loop.tags) for loop in loops]
    surface = prism(loops, thickness, ALONG_Z, (bottom, top))
    title = f"outline {mm(high_x - low_x)} x {mm(high_y - low_y)} x {mm(thickness)} mm"
    smallest = min(thickness, *gaps, *(hole.diameter for hole in outline.holes), math.inf)
    return Part(
        title + holes_words(outline.holes),
        surface,
        ledger.features,
        ledger.area,
        face * thickness,
        True,
        smallest,
        _off_centre(outline, centre),
    )


def checked_polygon(outline: Outline) -> Any:
    """Return the outline and its cutouts as a shapely polygon, after every check; the holes are not in it."""
    checks.positive("outline", {"thickness": outline.thickness})
    checks.sound_holes(outline.holes)
    polygon = _drawn(outline)
    for number, hole in enumerate(outline.holes, 1):
        checks.hole_inside(hole, number, polygon, "the outline")
    return polygon


def boundary_loops(ledger: Ledger, polygon: Any, outline: Outline) -> tuple[list[Loop], list[float]]:
    """Return the loops of an outline, its cutouts and its holes as drawn, and the clear width of each cutout [m]."""
    thickness = outline.thickness
    outer = _ring(polygon.exterior, counter_clockwise=True)
    loops, gaps = [Loop(outer, _edge_tags(ledger, outer, thickness))], []
    for number, ring in enumerate(polygon.interiors, 1):
        gaps.append(2 * _inscribed_radius(ring))
        tag = ledger.add(f"cutout {number}", Kind.SLOT, ring.length * thickness, width=gaps[-1], depth=thickness)
        points = _ring(ring, counter_clockwise=False)
        loops.append(Loop(points, np.full(len(points), tag)))
    return loops + _hole_loops(ledger, outline.holes, thickness), gaps


def _drawn(outline: Outline) -> Any:
    """Return the outline and its cutouts as one valid shapely polygon without needless points."""
    import shapely
    from shapely.validation import explain_validity

    for name, ring in (
        ("outline", outline.points),
        *((f"cutout {n}", c) for n, c in enumerate(outline.cutouts, 1)),
    ):
        points = np.array(ring, dtype=np.float64).reshape(-1, 2)
        if not np.isfinite(points).all() or np.abs(points).max(initial=0.0) > checks.LARGEST:
            raise PartError("part-outline", f"a point of the {name} is not finite or beyond {checks.LARGEST:g} m")
        if len(np.unique(points, axis=0)) < 3:
            raise PartError("part-outline", f"the {name} has fewer than three different points")
        alone = shapely.Polygon(points)
        if not alone.is_valid or alone.area <= 0:
            raise PartError(
                "part-outline",
                f"the {name} crosses or touches itself: {_place(explain_validity(alone))}",
                hint="list the corners once, in order around the outline",
            )
    polygon = shapely.Polygon(outline.points, outline.cutouts)
    if not polygon.is_valid:
        raise PartError(
            "part-outline",
            f"a cutout reaches another or the outline: {_place(explain_validity(polygon))}",
            hint="draw a cutout that is open to the edge as part of the outline",
        )
    _enough_metal(polygon)
    tidy = shapely.simplify(_from_a_corner(polygon), 1e-9, preserve_topology=True)
    return tidy if tidy.is_valid and not tidy.is_empty else polygon


def _place(words: str) -> str:
    """Turn 'Self-intersection[0.01 0.02]' into words with millimetres."""
    head, _, tail = words.partition("[")
    try:
        x, y = (float(number) for number in tail.rstrip("]").split())
    except ValueError:
        return words.lower()
    return f"{head.lower()} at ({mm(x)}, {mm(y)}) mm"


def _enough_metal(polygon: Any) -> None:
    rings_ = [polygon.exterior, *polygon.interiors]
    for i, first in enumerate(rings_):
        for second in rings_[:i]:
            if (metal := first.distance(second)) < checks.LEAST_METAL:
                raise PartError(
                    "part-outline",
                    f"cutout {i} leaves only {metal * 1e3:.3g} mm of metal; {mm(checks.LEAST_METAL)} mm is the least",
                )


def _from_a_corner(polygon: Any) -> Any:
    """Return the polygon with each ring begun at a true corner, which simplifying never drops."""
    import shapely

    def begun(ring: Any) -> Floats:
        points = np.asarray(ring.coords)[:-1]
        return np.roll(points, -int(np.lexsort((points[:, 1], points[:, 0]))[0]), axis=0)

    return shapely.Polygon(begun(polygon.exterior), [begun(ring) for ring in polygon.interiors])


def _ring(ring: Any, *, counter_clockwise: bool) -> Floats:
    points = np.asarray(ring.coords, dtype=np.float64)[:-1]
    return points if ring.is_ccw == counter_clockwise else points[::-1]


def _edge_tags(ledger: Ledger, points: Floats, thickness: float) -> Ints:
    """Cut the outline at its corners into named edges; one edge when there are too many."""
    side = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(side[:, 1], side[:, 0])
    turn = np.abs((heading - np.roll(heading, 1) + math.pi) % (2 * math.pi) - math.pi)
    corners = np.flatnonzero(turn > CORNER)
    length = np.hypot(side[:, 0], side[:, 1])
    if not 2 <= len(corners) <= MOST_EDGES:
        tag = ledger.add("outline edge", Kind.EDGE, math.fsum(length) * thickness)
        return np.full(len(points), tag)
    tags = np.zeros(len(points), dtype=np.int64)
    for number, start in enumerate(corners, 1):
        stop = corners[number % len(corners)]
        run = np.arange(start, stop if stop > start else stop + len(points)) % len(points)
        total = math.fsum(length[run])
        tags[run] = ledger.add(f"edge {number} ({mm(total)} mm)", Kind.EDGE, total * thickness)
    return tags


def _inscribed_radius(ring: Any) -> float:
    """Radius of the largest circle that fits into a cutout [m]: half its clear width."""
    import shapely

    return float(shapely.maximum_inscribed_circle(shapely.Polygon(ring)).length)


def _off_centre(outline: Outline, centre: Floats) -> tuple[Finding, ...]:
    if not outline.holes or np.abs(centre).max() < 1e-6:
        return ()
    return (
        Finding(
            Severity.NOTE,
            "part-outline-origin",
            f"the holes of the outline are read in the coordinates of its points, whose middle is at "
            f"({mm(centre[0])}, {mm(centre[1])}) mm",
        ),
    )
