"""Round parts along x: rod, tube, and the tube pressed flat."""

import math

import numpy as np
import shapely

from geom.errors import PartError
from geom.feature import Kind
from geom.part import checks
from geom.part.holes import hole_opening, hole_ring, holes_words
from geom.part.ledger import Ledger
from geom.part.part import Part
from geom.part.shapes import Rod, Tube
from geom.surface import rings
from geom.surface.prism import ALONG_X, Loop, Window, prism
from geom.wording import mm

HALF = rings.FACETS // 2


def build_rod(rod: Rod) -> Part:
    """Return a round rod along x; features by formula."""
    checks.positive("rod", {"length": rod.length, "diameter": rod.diameter})
    ledger = Ledger()
    section = math.pi / 4 * rod.diameter**2
    side = ledger.add("round side", Kind.FACE, math.pi * rod.diameter * rod.length)
    start, stop = _ends(ledger, section)
    loop = Loop(rings.circle(rod.diameter / 2), np.full(rings.FACETS, side))
    surface = prism([loop], rod.length, ALONG_X, (start, stop))
    title = f"rod {mm(rod.diameter)} x {mm(rod.length)} mm"
    return Part(title, surface, ledger.features, ledger.area, section * rod.length, True, rod.diameter)


def _ends(ledger: Ledger, area: float) -> tuple[int, int]:
    return ledger.add("end -x", Kind.END, area), ledger.add("end +x", Kind.END, area)


def build_tube(tube: Tube) -> Part:
    """Return a tube along x, round or pressed flat; features by formula."""
    checks.positive("tube", {"length": tube.length, "diameter": tube.diameter, "wall": tube.wall})
    checks.not_negative("tube", {"flattened thickness": tube.flattened})
    checks.less(
        "tube",
        ("wall", tube.wall),
        ("half its diameter", tube.diameter / 2 - checks.LEAST_METAL / 2),
        "a bore must be left; a solid part is a rod",
    )
    if tube.flattened > 0:
        return _flattened(tube)
    if tube.holes:
        raise PartError(
            "part-hole-outside",
            "holes in a round tube are not supported: they need a flat to be drilled in",
            hint="give the thickness it is flattened to, or load a mesh",
        )
    return _round_tube(tube)


def _round_tube(tube: Tube) -> Part:
    ledger, bore = Ledger(), tube.diameter - 2 * tube.wall
    section = math.pi / 4 * (tube.diameter**2 - bore**2)
    outside = ledger.add("outside", Kind.FACE, math.pi * tube.diameter * tube.length)
    inside = ledger.add("inside", Kind.INSIDE, math.pi * bore * tube.length, width=bore, depth=tube.length)
    start, stop = _ends(ledger, section)
    loops = [
        Loop(rings.circle(tube.diameter / 2), np.full(rings.FACETS, outside)),
        Loop(rings.circle(bore / 2)[::-1], np.full(rings.FACETS, inside)),
    ]
    surface = prism(loops, tube.length, ALONG_X, (start, stop))
    title = f"tube {mm(tube.diameter)} x {mm(tube.wall)} x {mm(tube.length)} mm"
    volume = section * tube.length
    return Part(title, surface, ledger.features, ledger.area, volume, True, min(tube.wall, bore))


def _flattened(tube: Tube) -> Part:
    thickness, wall, length = tube.flattened, tube.wall, tube.length
    gap = thickness - 2 * wall
    if not gap >= checks.LEAST_METAL or not thickness < tube.diameter:
        raise PartError(
            "part-dimensions",
            f"a tube of {mm(tube.diameter)} mm with a wall of {mm(wall)} mm cannot be flattened to "
            f"{mm(thickness)} mm: more than two walls ({mm(2 * wall)} mm) "
            "and less than the diameter is possible",
            hint="a tube pressed shut can be given as a bar",
        )
    checks.sound_holes(tube.holes)
    flat = math.pi / 2 * (tube.diameter - thickness)  # the outside perimeter is kept
    region = shapely.box(-length / 2, -flat / 2, length / 2, flat / 2)
    for number, hole in enumerate(tube.holes, 1):
        checks.hole_inside(hole, number, region, "the flat of the tube")
    ledger, opened = Ledger(), math.fsum(map(hole_opening, tube.holes))
    upper = ledger.add("outside face A (+z)", Kind.FACE, flat * length - opened)
    lower = ledger.add("outside face B (-z)", Kind.FACE, flat * length - opened)
    right = ledger.add("rounded edge +y", Kind.EDGE, math.pi / 2 * thickness * length)
    left = ledger.add("rounded edge -y", Kind.EDGE, math.pi / 2 * thickness * length)
    around = 2 * flat + math.pi * gap
    inner = ledger.add("inside", Kind.INSIDE, around * length - 2 * opened, width=gap, depth=length)
    section = 2 * flat * wall + math.pi / 4 * (thickness**2 - gap**2)
    start, stop = _ends(ledger, section)
    # a slot ring runs: right half round, top flat (side HALF), left half round, bottom flat (the last side)
    outside = Loop(
        rings.slot(thickness / 2, flat, (0, 0), 0), np.repeat([right, upper, left, lower], [HALF, 1, HALF, 1])
    )
    cavity = rings.slot(gap / 2, flat, (0, 0), 0)[::-1]
    inside = Loop(cavity, np.full(len(cavity), inner))
    windows = _windows(tube, ledger)
    surface = prism([outside, inside], length, ALONG_X, (start, stop), windows)
    title = f"tube {mm(tube.diameter)} x {mm(wall)} mm flattened to {mm(thickness)} mm, {mm(length)} mm long"
    return Part(
        title + holes_words(tube.holes),
        surface,
        ledger.features,
        ledger.area,
        section * length - 2 * opened * wall,
        True,
        min(wall, gap, *(hole.diameter for hole in tube.holes), math.inf),
    )


def _windows(tube: Tube, ledger: Ledger) -> list[Window]:
    """Each hole goes through both walls; the flats are sides HALF and 2 HALF + 1 of the rings."""
    top, bottom = HALF, 2 * HALF + 1
    last = 2 * HALF + 2
    cavity_top, cavity_bottom = (last - 2 - top) % last, (last - 2 - bottom) % last  # the ring was reversed
    windows = []
    for number, hole in enumerate(tube.holes, 1):
        ring = hole_ring(hole)
        for name, upper, lower in (
            (", wall +z", (0, top), (1, cavity_top)),
            (", wall -z", (1, cavity_bottom), (0, bottom)),
        ):
            windows.append(Window(ring, upper, lower, ledger.add_hole(hole, number, tube.wall, name)))
    return windows
