"""The [part] section: each shape's keys, and what its dimensions must satisfy among themselves."""

import math
from collections.abc import Iterator, Sequence
from typing import Annotated

from pydantic import BeforeValidator, model_validator

from geom.job.fields import (
    Angle,
    BendAngle,
    Length,
    LengthOrZero,
    Mistake,
    OffsetAngle,
    Point2,
    Polygon,
    Section,
    a_list,
    complain,
    complain_of,
    quoted,
    table,
)
from geom.job.masks import AreaFactor
from geom.part import shapes
from geom.units import show

ENDS = ("open", "plugged")
MOST_HOLES = 500
MOST_POINTS = 5000
_BAR_ORDER = "length runs along x, width along y, thickness along z and is the smallest"


def mm(value: float) -> str:
    """Return a length in the text of a message."""
    return show(value, "mm", 4)


class HoleKeys(Section):
    """A round hole, or a slot when ``length`` is given."""

    diameter: Length
    at: Point2
    length: Length | None = None
    angle: Angle = 0.0

    @model_validator(mode="after")
    def _check(self) -> "HoleKeys":
        if self.length is not None and self.length <= self.diameter:
            text = f"a slot {mm(self.length)} long is not longer than its width of {mm(self.diameter)}"
            hint = "length is the overall length of a slot, diameter its width; a round hole has no length"
            complain_of([Mistake(("length",), "job-hole-slot", text, hint)])
        if self.length is None and self.angle != 0.0:
            complain_of([Mistake(("angle",), "job-hole-slot", "a round hole has no angle; a slot needs a length")])
        return self

    @property
    def half(self) -> tuple[float, float]:
        """Half the straight part of a slot, as a vector; zero for a round hole [m]."""
        straight = 0.5 * (self.length - self.diameter) if self.length else 0.0
        return straight * math.cos(self.angle), straight * math.sin(self.angle)

    @property
    def reach(self) -> tuple[float, float]:
        """Furthest from its centre along x and along y [m]."""
        dx, dy = self.half
        return abs(dx) + 0.5 * self.diameter, abs(dy) + 0.5 * self.diameter

    def record(self) -> shapes.Hole:
        """Return the domain's record."""
        return shapes.Hole(self.diameter, self.at, self.length or 0.0, self.angle)


Holes = Annotated[tuple[Annotated[HoleKeys, table(HoleKeys)], ...], a_list]


def hole_mistakes(holes: Sequence[HoleKeys], half_x: float, half_y: float, what: str) -> Iterator[Mistake]:
    """Yield each hole that leaves the rectangle around the centre, and each pair that touches."""
    if len(holes) > MOST_HOLES:
        yield Mistake(("holes",), "job-range", f"{len(holes)} holes; at most {MOST_HOLES} can be given")
        return
    for index, hole in enumerate(holes):
        for axis, half in enumerate((half_x, half_y)):
            over = abs(hole.at[axis]) + hole.reach[axis] - half
            if over >= -1e-9 * half:
                text = f"the hole does not lie inside {what}: along {'xy'[axis]} it reaches {mm(half + over)}"
                text += f" from the centre, and {mm(max(half, 0.0))} is there"
                yield Mistake(("holes", index, "at"), "job-hole-outside", text)
                break
    yield from _touching(holes)


def _touching(holes: Sequence[HoleKeys]) -> Iterator[Mistake]:
    """Yield each hole that touches an earlier one."""
    for second, hole in enumerate(holes):
        for first, other in enumerate(holes[:second]):
            gap = _distance(hole, other) - 0.5 * (hole.diameter + other.diameter)
            if gap <= 0.0:
                text = f"this hole runs into hole {first + 1} of the list by {mm(-gap)}"
                hint = 'for one long opening write a slot (diameter and length), or use shape "outline"'
                yield Mistake(("holes", second, "at"), "job-holes-overlap", text, hint)
                break


def _distance(one: HoleKeys, other: HoleKeys) -> float:
    """Return the distance between the centre lines of two holes or slots [m]."""
    a, b = _ends(one), _ends(other)
    if _cross(*a, b[0]) * _cross(*a, b[1]) < 0.0 and _cross(*b, a[0]) * _cross(*b, a[1]) < 0.0:
        return 0.0
    return min(*(_to_segment(p, *b) for p in a), *(_to_segment(p, *a) for p in b))


def _ends(hole: HoleKeys) -> tuple[tuple[float, float], tuple[float, float]]:
    (x, y), (dx, dy) = hole.at, hole.half
    return (x - dx, y - dy), (x + dx, y + dy)


def _cross(a: tuple[float, float], b: tuple[float, float], p: tuple[float, float]) -> float:
    """Return on which side of the line a-b the point p lies, by sign."""
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])


def _to_segment(p: tuple[float, float], a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the distance of a point from a segment, which may have no length."""
    along = (b[0] - a[0], b[1] - a[1])
    square = along[0] ** 2 + along[1] ** 2
    share = ((p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1]) / square if square > 0.0 else 0.0
    share = min(max(share, 0.0), 1.0)
    return math.hypot(p[0] - a[0] - share * along[0], p[1] - a[1] - share * along[1])


class PartKeys(Section):
    """What any part may say, however its shape is given."""

    roughness_factor: AreaFactor = 1.0


class ShapeKeys(PartKeys):
    """Any shape; ``mistakes`` yields what its dimensions get wrong among themselves."""

    shape: str

    @model_validator(mode="after")
    def _check(self) -> "ShapeKeys":
        complain_of(list(self.mistakes()))
        return self

    def mistakes(self) -> Iterator[Mistake]:
        """Yield nothing, unless the shape has more to say."""
        yield from ()

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        raise NotImplementedError


def impossible(key: str, text: str, hint: str = "") -> Mistake:
    """Return a mistake about dimensions that cannot go together."""
    return Mistake((key,), "job-shape-impossible", text, hint)


class BarKeys(ShapeKeys):
    """A rectangular bar or plate."""

    length: Length
    width: Length
    thickness: Length
    edge_radius: LengthOrZero = 0.0
    holes: Holes = ()

    def mistakes(self) -> Iterator[Mistake]:
        """Yield a thickness over the width, a radius over half the thickness, and wrong holes."""
        if self.thickness > min(self.width, self.length):
            text = f"thickness {mm(self.thickness)} is more than width or length"
            yield impossible("thickness", text, _BAR_ORDER)
        if self.edge_radius >= 0.5 * self.thickness:
            half = mm(0.5 * self.thickness)
            text = f"edge_radius {mm(self.edge_radius)} is not less than half the thickness, {half}"
            yield impossible("edge_radius", text, "both edges of a side share its thickness")
        half_x, half_y = 0.5 * self.length - self.edge_radius, 0.5 * self.width - self.edge_radius
        yield from hole_mistakes(self.holes, half_x, half_y, "the flat of the part")

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        holes = tuple(hole.record() for hole in self.holes)
        return shapes.Bar(self.length, self.width, self.thickness, self.edge_radius, holes, self.shape)


class RodKeys(ShapeKeys):
    """A round rod."""

    length: Length
    diameter: Length

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        return shapes.Rod(self.length, self.diameter)


def _ends_word(value: object) -> str:
    """Return whether the ends of a tube are open or plugged."""
    if not isinstance(value, str) or value not in ENDS:
        complain("job-word-unknown", f"{quoted(value)} is not known here; expected one of: {', '.join(ENDS)}")
    return value


class TubeKeys(ShapeKeys):
    """A tube, round or flattened to a bar."""

    length: Length
    diameter: Length
    wall: Length
    flattened: Length | None = None
    holes: Holes = ()
    ends: Annotated[str, BeforeValidator(_ends_word)] = "open"

    def mistakes(self) -> Iterator[Mistake]:
        """Yield walls that meet, a flattening that is none, and wrong holes."""
        if 2.0 * self.wall >= self.diameter:
            yield impossible("wall", f"two walls of {mm(self.wall)} fill the diameter of {mm(self.diameter)}")
        if self.flattened is None:
            if self.holes:
                text = "holes are drilled through the flats of a flattened tube; this tube is round"
                yield impossible("holes", text, 'give "flattened", the outside thickness after pressing')
            return
        if self.flattened >= self.diameter:
            text = f"flattened {mm(self.flattened)} is not less than the diameter, {mm(self.diameter)}"
            yield impossible("flattened", text)
        elif 2.0 * self.wall >= self.flattened:
            text = f"two walls of {mm(self.wall)} do not fit into a thickness of {mm(self.flattened)}"
            yield impossible("flattened", text, 'a tube pressed shut is a bar: use shape "bar"')
        half_flat = 0.25 * math.pi * (self.diameter - self.flattened)
        yield from hole_mistakes(self.holes, 0.5 * self.length, half_flat, "the flat of the pressed tube")

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        holes = tuple(hole.record() for hole in self.holes)
        return shapes.Tube(self.length, self.diameter, self.wall, self.flattened or 0.0, holes)


class WasherKeys(ShapeKeys):
    """A flat ring."""

    diameter: Length
    bore: Length
    thickness: Length

    def mistakes(self) -> Iterator[Mistake]:
        """Yield a bore that leaves no ring."""
        if self.bore >= self.diameter:
            yield impossible("bore", f"bore {mm(self.bore)} is not less than the diameter, {mm(self.diameter)}")

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        return shapes.Washer(self.diameter, self.bore, self.thickness)


def leg_mistake(key: str, leg: float, bends: float, where: str) -> Iterator[Mistake]:
    """Yield a leg that is used up by its bends."""
    if leg <= bends:
        text = f"{key} {mm(leg)} is used up by the {where}, which takes {mm(bends)}"
        yield impossible(key, text, "lengths are outside dimensions; lengthen the leg or lessen the inside radius")


class AngleKeys(ShapeKeys):
    """A strip bent once."""

    length: Length
    height: Length
    width: Length
    thickness: Length
    inside_radius: LengthOrZero
    bend: BendAngle = math.pi / 2.0
    holes: Holes = ()

    def mistakes(self) -> Iterator[Mistake]:
        """Yield legs used up by the bend, and holes outside the leg along x."""
        if self.thickness > self.width:
            text = f"thickness {mm(self.thickness)} is more than width {mm(self.width)}"
            yield impossible("thickness", text, "width runs along the bend")
        taken = (self.inside_radius + self.thickness) * math.tan(0.5 * self.bend)
        yield from leg_mistake("length", self.length, taken, "bend")
        yield from leg_mistake("height", self.height, taken, "bend")
        # an open bend moves the part's centre away from the leg: the builder knows the leg's place exactly
        half_x = 0.5 * (self.length + max(self.height * math.cos(self.bend), 0.0))
        yield from hole_mistakes(self.holes, half_x, 0.5 * self.width, "the leg along x")

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        holes = tuple(hole.record() for hole in self.holes)
        sizes = (self.length, self.height, self.width, self.thickness, self.inside_radius)
        return shapes.Angle(*sizes, self.bend, holes)


class ChannelKeys(ShapeKeys):
    """A strip bent twice the same way."""

    length: Length
    width: Length
    height: Length
    thickness: Length
    inside_radius: LengthOrZero
    holes: Holes = ()

    def mistakes(self) -> Iterator[Mistake]:
        """Yield a web or flanges used up by the bends, and holes outside the flat of the web."""
        bend = self.inside_radius + self.thickness
        yield from leg_mistake("width", self.width, 2.0 * bend, "pair of bends")
        yield from leg_mistake("height", self.height, bend, "bend")
        yield from hole_mistakes(self.holes, 0.5 * self.length, 0.5 * self.width - bend, "the flat of the web")

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        holes = tuple(hole.record() for hole in self.holes)
        sizes = (self.length, self.width, self.height, self.thickness, self.inside_radius)
        return shapes.Channel(*sizes, holes)


class OffsetKeys(ShapeKeys):
    """A strip bent twice, opposite ways (Z)."""

    length: Length
    width: Length
    thickness: Length
    offset: Length
    inside_radius: LengthOrZero
    bend: OffsetAngle = math.pi / 2.0
    holes: Holes = ()

    def mistakes(self) -> Iterator[Mistake]:
        """Yield an offset too small for its bends, legs used up by them, and holes outside."""
        if self.thickness > self.width:
            text = f"thickness {mm(self.thickness)} is more than width {mm(self.width)}"
            yield impossible("thickness", text, "width runs along the bends")
        middle = self.inside_radius + 0.5 * self.thickness
        least = 2.0 * middle * (1.0 - math.cos(self.bend))
        if self.offset < least * (1.0 - 1e-9):
            text = f"offset {mm(self.offset)} is too small for two such bends, which alone make {mm(least)}"
            yield impossible("offset", text, "lessen bend or inside_radius, or enlarge offset")
        else:
            straight = (self.offset - least) / math.sin(self.bend)
            run = 2.0 * middle * math.sin(self.bend) + straight * math.cos(self.bend)
            yield from leg_mistake("length", self.length, run, "sloping middle")
        yield from hole_mistakes(self.holes, 0.5 * self.length, 0.5 * self.width, "the legs")

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        holes = tuple(hole.record() for hole in self.holes)
        sizes = (self.length, self.width, self.thickness, self.offset, self.inside_radius)
        return shapes.Offset(*sizes, self.bend, holes)


class OutlineKeys(ShapeKeys):
    """A flat outline with holes and cutouts, extruded."""

    points: Polygon
    thickness: Length
    cutouts: Annotated[tuple[Polygon, ...], a_list] = ()
    holes: Holes = ()

    def mistakes(self) -> Iterator[Mistake]:
        """Yield an outline that crosses itself, and cutouts or holes that leave it or touch."""
        from geom.job.outline import outline_mistakes  # shapely is wanted for outlines alone

        yield from outline_mistakes(self.points, self.cutouts, self.holes)

    def record(self) -> shapes.Shape:
        """Return the domain's record."""
        holes = tuple(hole.record() for hole in self.holes)
        return shapes.Outline(self.points, self.thickness, self.cutouts, holes)


SHAPES: dict[str, type[ShapeKeys]] = {
    "bar": BarKeys,
    "plate": BarKeys,
    "rod": RodKeys,
    "tube": TubeKeys,
    "washer": WasherKeys,
    "angle": AngleKeys,
    "channel": ChannelKeys,
    "offset": OffsetKeys,
    "outline": OutlineKeys,
}
"""Each word that [part] shape may be, and the keys it brings."""
