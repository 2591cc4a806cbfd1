"""What a polygon given in the job file can get wrong; apart, because only outlines need shapely."""

from collections.abc import Iterator, Sequence
from typing import Protocol

from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity

from geom.job.fields import Mistake
from geom.units import show

MOST_POINTS = 5000


class AnyHole(Protocol):
    """A round hole or a slot, as the [part] section has it."""

    @property
    def at(self) -> tuple[float, float]:
        """Centre [m]."""

    @property
    def diameter(self) -> float:
        """Diameter, or width of a slot [m]."""

    @property
    def half(self) -> tuple[float, float]:
        """Half the straight part of a slot, as a vector [m]."""


Points = Sequence[tuple[float, float]]


def outline_mistakes(points: Points, cutouts: Sequence[Points], holes: Sequence[AnyHole]) -> Iterator[Mistake]:
    """Yield an outline that is none, and each cutout or hole that leaves it or runs into another."""
    outer, mistake = _polygon(points, ("points",))
    if mistake is not None:
        yield mistake
    openings: list[tuple[tuple[str | int, ...], BaseGeometry]] = []
    for index, cutout in enumerate(cutouts):
        polygon, mistake = _polygon(cutout, ("cutouts", index))
        if mistake is not None:
            yield mistake
        if polygon is not None:
            openings.append((("cutouts", index), polygon))
    openings += [(("holes", index, "at"), _opening(hole)) for index, hole in enumerate(holes)]
    if outer is not None:
        yield from _outside(outer, openings)
    yield from _touching(openings)


def _polygon(points: Points, key: tuple[str | int, ...]) -> tuple[Polygon | None, Mistake | None]:
    """Return the polygon, or the mistake that it is none."""
    if not 3 <= len(points) <= MOST_POINTS:
        text = f"an outline of {len(points)} points; at least 3 and at most {MOST_POINTS} are needed"
        return None, Mistake(key, "job-outline", text)
    polygon = Polygon(points)
    if not polygon.is_valid:
        reason, _, place = explain_validity(polygon).partition("[")
        text = f"the outline crosses or touches itself ({reason.strip().lower()})"
        corner = place.rstrip("]").split()
        if len(corner) == 2:
            text += f" near {show(float(corner[0]), 'mm')}, {show(float(corner[1]), 'mm')}"
        return None, Mistake(key, "job-outline", text, "list the corners once each, going round in one direction")
    if polygon.area <= 1e-12:
        return None, Mistake(key, "job-outline", "the outline encloses no area")
    return polygon, None


def _opening(hole: AnyHole) -> BaseGeometry:
    """Return a hole or slot as a polygon, 64 corners to the round."""
    (x, y), (dx, dy) = hole.at, hole.half
    spine = LineString([(x - dx, y - dy), (x + dx, y + dy)]) if dx or dy else Point(x, y)
    return spine.buffer(0.5 * hole.diameter, quad_segs=16)


def _outside(outer: Polygon, openings: Sequence[tuple[tuple[str | int, ...], BaseGeometry]]) -> Iterator[Mistake]:
    """Yield each opening that does not lie wholly inside."""
    for key, opening in openings:
        if not outer.contains_properly(opening):
            text = f"the {'hole' if key[0] == 'holes' else 'cutout'} does not lie inside the outline"
            hint = "coordinates of holes and cutouts are those of the outline's points"
            yield Mistake(key, "job-hole-outside", text, hint)


def _touching(openings: Sequence[tuple[tuple[str | int, ...], BaseGeometry]]) -> Iterator[Mistake]:
    """Yield each opening that touches an earlier one."""
    for second, (key, opening) in enumerate(openings):
        if any(opening.intersects(other) for _, other in openings[:second]):
            yield Mistake(key, "job-holes-overlap", "this opening touches another of the same part")
