"""What dimensions must obey before a part is built. Each raises `PartError`, none changes anything."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from geom.errors import PartError
from geom.part.holes import hole_name, straight
from geom.part.shapes import Hole
from geom.wording import mm

LEAST_METAL = 5e-5  # thinnest web of metal left between a hole and anything else [m]
SMALLEST, LARGEST = 1e-6, 100.0  # of any dimension [m]; outside, a unit was surely mistaken


def positive(shape: str, lengths: Mapping[str, float]) -> None:
    """Refuse a length that is not a positive, finite, sensible number of metres."""
    for name, value in lengths.items():
        if not math.isfinite(value) or value <= 0:
            raise PartError(
                "part-dimensions", f"the {name} of the {shape} is {mm(value)} mm; it must be more than zero"
            )
        if not SMALLEST <= value <= LARGEST:
            raise PartError(
                "part-dimensions",
                f"the {name} of the {shape} is {mm(value)} mm; "
                f"between {mm(SMALLEST)} mm and {mm(LARGEST)} mm is possible",
                hint="look at the unit",
            )


def not_negative(shape: str, lengths: Mapping[str, float]) -> None:
    """Refuse a length that is negative, not finite, or next to nothing without being zero."""
    for name, value in lengths.items():
        if value != 0 and not SMALLEST <= value <= LARGEST:
            raise PartError(
                "part-dimensions",
                f"the {name} of the {shape} is {mm(value)} mm; zero or at least {mm(SMALLEST)} mm is possible",
            )


def less(shape: str, small: tuple[str, float], large: tuple[str, float], why: str) -> None:
    """Refuse where the first length is not less than the second."""
    if not small[1] < large[1]:
        raise PartError(
            "part-dimensions",
            f"the {small[0]} of the {shape} is {mm(small[1])} mm and must be less than "
            f"{large[0]}, {mm(large[1])} mm: {why}",
        )


def sound_holes(holes: Sequence[Hole]) -> None:
    """Refuse a hole whose own numbers cannot be, or two holes that meet."""
    for number, hole in enumerate(holes, 1):
        where = f"hole {number}"
        positive(where, {"diameter": hole.diameter})
        not_negative(where, {"length": hole.length})
        if not all(map(math.isfinite, (*hole.at, hole.angle))):
            raise PartError("part-dimensions", f"the place or angle of {where} is not a finite number")
        if 0 < hole.length < hole.diameter:
            raise PartError(
                "part-dimensions",
                f"{where} is a slot {mm(hole.length)} mm long and {mm(hole.diameter)} mm wide; "
                "the length is overall and cannot be less than the width",
                hint="leave the length out for a round hole",
            )
    lines = [centre_line(hole) for hole in holes]
    for i, first in enumerate(holes):
        for j in range(i):
            apart = math.dist(first.at, holes[j].at) - (straight(first) + straight(holes[j])) / 2
            if apart - (first.diameter + holes[j].diameter) / 2 >= LEAST_METAL:
                continue  # however they are turned
            metal = lines[i].distance(lines[j]) - (first.diameter + holes[j].diameter) / 2
            if metal < LEAST_METAL:
                raise PartError(
                    "part-holes-overlap",
                    f"{hole_name(holes[j], j + 1)} and {hole_name(first, i + 1)} {_metal_words(metal)}",
                    hint="move them apart, or draw them as one cutout of an outline",
                )


def hole_inside(hole: Hole, number: int, region: Any, place: str) -> None:
    """Refuse a hole that does not lie within the flat ``region`` (a shapely polygon, metres)."""
    line = centre_line(hole)
    name = f"{hole_name(hole, number)} at ({mm(hole.at[0])}, {mm(hole.at[1])}) mm"
    if not region.covers(line):
        low_x, low_y, high_x, high_y = region.bounds
        raise PartError(
            "part-hole-outside",
            f"{name} does not lie on {place}, which spans x {mm(low_x)} to {mm(high_x)} mm "
            f"and y {mm(low_y)} to {mm(high_y)} mm",
            hint="holes are measured from the part's centre",
        )
    metal = region.boundary.distance(line) - hole.diameter / 2
    if metal < LEAST_METAL:
        raise PartError(
            "part-hole-outside",
            f"{name} and the border of {place} {_metal_words(metal)}",
            hint="a notch that is open to the edge can be drawn as an outline",
        )


def centre_line(hole: Hole) -> Any:
    """Return the shapely point or line whose points are all half a diameter from the wall of the hole."""
    import shapely

    half = straight(hole) / 2
    if half == 0:
        return shapely.Point(hole.at)
    x, y = hole.at
    dx, dy = half * math.cos(hole.angle), half * math.sin(hole.angle)
    return shapely.LineString([(x - dx, y - dy), (x + dx, y + dy)])


def _metal_words(metal: float) -> str:
    if metal > 0:
        return f"leave only {metal * 1e3:.3g} mm of metal between them; {mm(LEAST_METAL)} mm is the least"
    return f"overlap by {-metal * 1e3:.3g} mm" if metal < 0 else "touch"
