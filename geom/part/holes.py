"""The plane geometry of a drilled hole or milled slot."""

import math

from geom.arrays import Floats
from geom.part.shapes import Hole
from geom.surface import rings

LEAST_STRAIGHT = 1e-6  # a slot longer than it is wide by less than this is a round hole [m]


def is_slot(hole: Hole) -> bool:
    """Return whether a hole is longer than it is wide."""
    return hole.length > hole.diameter + LEAST_STRAIGHT


def straight(hole: Hole) -> float:
    """Length of the straight sides of a slot; 0 for a round hole [m]."""
    return hole.length - hole.diameter if is_slot(hole) else 0.0


def hole_perimeter(hole: Hole) -> float:
    """Length around a hole [m]."""
    return math.pi * hole.diameter + 2 * straight(hole)


def hole_opening(hole: Hole) -> float:
    """Area of a hole seen along its axis [m²]."""
    return math.pi * hole.diameter**2 / 4 + hole.diameter * straight(hole)


def hole_name(hole: Hole, number: int) -> str:
    """Name of a hole, from its number (1, 2, ...) and size."""
    if is_slot(hole):
        return f"slot {number} ({round(hole.diameter * 1e3, 3)} x {round(hole.length * 1e3, 3)} mm)"
    return f"bore {number} ({round(hole.diameter * 1e3, 3)} mm)"


def holes_words(holes: tuple[Hole, ...]) -> str:
    """Tail of a title: ', 2 holes', or nothing."""
    if not holes:
        return ""
    return f", {len(holes)} hole{'s' if len(holes) > 1 else ''}"


def hole_ring(hole: Hole) -> Floats:
    """Counter-clockwise ring of a hole in x and y, with the perimeter of the true hole [m]."""
    radius = hole.diameter / 2 * rings.SAME_PERIMETER
    if is_slot(hole):
        return rings.slot(radius, straight(hole), hole.at, hole.angle)
    return rings.circle(radius, hole.at)
