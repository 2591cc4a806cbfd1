"""Parts bent from a strip: angle (L), channel (U), offset (Z). The section is swept along the bend line."""

import math
from dataclasses import dataclass

import numpy as np
import shapely

from geom.arrays import Floats
from geom.errors import PartError
from geom.feature import Kind
from geom.part import checks
from geom.part.holes import hole_opening, hole_ring, holes_words
from geom.part.ledger import Ledger
from geom.part.part import Part
from geom.part.shapes import Angle, Channel, Hole, Offset
from geom.surface import rings
from geom.surface.prism import ALONG_MINUS_Y, ALONG_X, Loop, Window, prism
from geom.wording import mm

MOST_BEND = math.radians(170)
LEAST_BEND = math.radians(1)


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight piece of strip; ``left`` and ``right`` name its faces as seen going along it."""

    length: float  # [m]
    left: str
    right: str
    left_kind: Kind = Kind.FACE
    right_kind: Kind = Kind.FACE
    gap: tuple[float, float] = (0.0, 0.0)  # clear width and depth of what its inside faces look into [m]
    holes: tuple[tuple[int, Hole], ...] = ()  # with their numbers on the part


@dataclass(frozen=True, slots=True)
class Bend:
    """A bend of the strip through ``angle``: positive to the left [rad]."""

    number: int
    angle: float
    radius: float  # inside [m]


@dataclass(eq=False)
class _Walk:
    """The section under construction: where the middle of the strip is, and the two sides so far."""

    thickness: float
    at: Floats
    heading: float
    left: list[Floats]
    right: list[Floats]
    left_tags: list[int]
    right_tags: list[int]

    @property
    def normal(self) -> Floats:
        """Unit vector to the left."""
        return _unit(self.heading + math.pi / 2)

    def side(self, towards: float) -> Floats:
        """Return the point half a thickness to the left (+1) or right (-1)."""
        return np.asarray(self.at + towards * self.thickness / 2 * self.normal)


def _unit(angle: float) -> Floats:
    vector = np.array([math.cos(angle), math.sin(angle)])
    return np.asarray(np.where(np.abs(vector) < 1e-15, 0.0, vector))


@dataclass(frozen=True, eq=False)
class Strip:
    """A bent strip: its pieces in order, and how it lies in the part."""

    pieces: tuple[Leg | Bend, ...]
    thickness: float
    width: float  # along the bend line [m]
    heading: float  # of the first piece in the plane of the section [rad]
    frame: Floats  # of `geom.surface.prism`
    sections: tuple[tuple[str, Kind], tuple[str, Kind]]  # where the sweep starts and where it stops
    ends: tuple[tuple[str, Kind], tuple[str, Kind]]  # of the first and the last piece


def build_angle(angle: Angle) -> Part:
    """Return a strip bent once; each leg is measured outside, to where its outer face meets the other's."""
    size = {key: getattr(angle, key) for key in ("length", "height", "width", "thickness")}
    _check_strip("angle", size, angle.inside_radius, angle.bend, MOST_BEND)
    outside = angle.inside_radius + angle.thickness
    setback = outside * math.tan(angle.bend / 2)
    _long_enough("angle", ("length", angle.length), setback)
    _long_enough("angle", ("height", angle.height), setback)
    strip = Strip(
        (
            Leg(
                angle.length - setback,
                "leg 1 face A (outside)",
                "leg 1 face B (inside)",
                holes=tuple(enumerate(angle.holes, 1)),
            ),
            Bend(1, -angle.bend, angle.inside_radius),
            Leg(angle.height - setback, "leg 2 face A (outside)", "leg 2 face B (inside)"),
        ),
        angle.thickness,
        angle.width,
        math.pi,
        ALONG_MINUS_Y,
        (("long edge +y", Kind.EDGE), ("long edge -y", Kind.EDGE)),
        (("leg 1 end", Kind.END), ("leg 2 end", Kind.END)),
    )
    degrees = round(math.degrees(angle.bend), 2)
    bent = "" if degrees == 90 else f", bent {degrees:g} deg"
    title = f"angle {mm(angle.length)} x {mm(angle.height)} x {mm(angle.width)} x {mm(angle.thickness)} mm{bent}"
    return _build(strip, angle.holes, title, "leg 1")


def build_channel(channel: Channel) -> Part:
    """Return a strip bent twice the same way, open upwards, long along x."""
    size = {key: getattr(channel, key) for key in ("length", "width", "height", "thickness")}
    _check_strip("channel", size, channel.inside_radius, math.pi / 2, MOST_BEND)
    t, corner = channel.thickness, channel.inside_radius + channel.thickness
    _long_enough("channel", ("width", channel.width), 2 * corner)
    _long_enough("channel", ("height", channel.height), corner)
    gap = (channel.width - 2 * t, channel.height - t)

    def leg(name: str, length: float, holes: tuple[Hole, ...] = ()) -> Leg:
        names = f"{name} inside", f"{name} outside"
        return Leg(length, *names, Kind.INSIDE, Kind.FACE, gap, tuple(enumerate(holes, 1)))

    strip = Strip(
        (
            leg("flange -y", channel.height - corner),
            Bend(1, math.pi / 2, channel.inside_radius),
            leg("web", channel.width - 2 * corner, channel.holes),
            Bend(2, math.pi / 2, channel.inside_radius),
            leg("flange +y", channel.height - corner),
        ),
        t,
        channel.length,
        -math.pi / 2,
        ALONG_X,
        (("end -x", Kind.END), ("end +x", Kind.END)),
        (("flange -y edge", Kind.EDGE), ("flange +y edge", Kind.EDGE)),
    )
    title = f"channel {mm(channel.length)} x {mm(channel.width)} x {mm(channel.height)} x {mm(t)} mm"
    return _build(strip, channel.holes, title, "the web")


def build_offset(offset: Offset) -> Part:
    """Return a strip bent twice, opposite ways, with two equal legs along x."""
    size = {key: getattr(offset, key) for key in ("length", "width", "thickness", "offset")}
    _check_strip("offset bar", size, offset.inside_radius, offset.bend, math.pi / 2)
    middle = 2 * offset.inside_radius + offset.thickness  # twice the radius of the middle of the strip
    rise = middle * (1 - math.cos(offset.bend))
    web = (offset.offset - rise) / math.sin(offset.bend)
    if web < -1e-9:
        raise PartError(
            "part-bend",
            f"the offset of {mm(offset.offset)} mm is less than the two bends alone make, {mm(rise)} mm",
            hint="bend through a smaller angle or about a smaller radius",
        )
    web = web if web > 1e-9 else 0.0
    across = middle * math.sin(offset.bend) + web * math.cos(offset.bend)
    _long_enough("offset bar", ("length", offset.length), across)
    leg = (offset.length - across) / 2
    numbered = tuple(enumerate(offset.holes, 1))
    strip = Strip(
        (
            Leg(
                leg,
                "leg 1 face A (+z)",
                "leg 1 face B (-z)",
                holes=tuple(h for h in numbered if h[1].at[0] < 0),
            ),
            Bend(1, offset.bend, offset.inside_radius),
            *((Leg(web, "web face A", "web face B"),) if web else ()),
            Bend(2, -offset.bend, offset.inside_radius),
            Leg(
                leg,
                "leg 2 face A (+z)",
                "leg 2 face B (-z)",
                holes=tuple(h for h in numbered if h[1].at[0] >= 0),
            ),
        ),
        offset.thickness,
        offset.width,
        0.0,
        ALONG_MINUS_Y,
        (("long edge +y", Kind.EDGE), ("long edge -y", Kind.EDGE)),
        (("end -x", Kind.END), ("end +x", Kind.END)),
    )
    title = (
        f"offset bar {mm(offset.length)} x {mm(offset.width)} x {mm(offset.thickness)} mm, "
        f"offset {mm(offset.offset)} mm"
    )
    return _build(strip, offset.holes, title, "a leg")


def _check_strip(shape: str, size: dict[str, float], radius: float, bend: float, most: float) -> None:
    checks.positive(shape, size)
    checks.not_negative(shape, {"inside radius": radius})
    if not LEAST_BEND <= bend <= most * (1 + 1e-12):
        raise PartError(
            "part-bend",
            f"the {shape} is bent through {math.degrees(bend):.4g} degrees; "
            f"{math.degrees(LEAST_BEND):.0f} to {math.degrees(most):.0f} degrees is possible",
            hint="the bend is the angle the strip is turned through: 0 is flat, 90 is square",
        )


def _long_enough(shape: str, whole: tuple[str, float], taken: float) -> None:
    """Refuse a leg that the bend uses up."""
    if whole[1] - taken < checks.LEAST_METAL:
        raise PartError(
            "part-bend",
            f"the {whole[0]} of the {shape} is {mm(whole[1])} mm, but its bends alone take {mm(taken)} mm of it",
            hint="give a longer leg, or a smaller inside radius or thickness",
        )


def _build(strip: Strip, holes: tuple[Hole, ...], title: str, place: str) -> Part:
    """Sweep the section, drill the holes, and sum the features."""
    checks.sound_holes(holes)
    ledger = Ledger()
    walk, sides = _section(strip, ledger)
    points = np.array([*walk.right, *walk.left[::-1]])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    start, stop = (ledger.add(name, kind, strip.thickness * strip.width) for name, kind in strip.ends)
    tags = [*walk.right_tags, stop, *walk.left_tags[::-1], start]
    section = strip.thickness * math.fsum(_middle_length(piece, strip.thickness) for piece in strip.pieces)
    caps = tuple(ledger.add(name, kind, section) for name, kind in strip.sections)
    windows = _windows(strip, ledger, sides, points - middle, place)
    surface = prism([Loop(points - middle, np.array(tags))], strip.width, strip.frame, (caps[0], caps[1]), windows)
    radii = [piece.radius for piece in strip.pieces if isinstance(piece, Bend) and piece.radius > 0]
    return Part(
        title + holes_words(holes),
        surface,
        ledger.features,
        ledger.area,
        section * strip.width - math.fsum(map(hole_opening, holes)) * strip.thickness,
        True,
        min(strip.thickness, *radii, *(hole.diameter for hole in holes), math.inf),
    )


def _middle_length(piece: Leg | Bend, thickness: float) -> float:
    """Length of the middle of the strip along a piece; times the thickness, its section (Pappus) [m]."""
    if isinstance(piece, Leg):
        return piece.length
    return abs(piece.angle) * (piece.radius + thickness / 2)


def _section(strip: Strip, ledger: Ledger) -> tuple[_Walk, dict[int, tuple[int, int]]]:
    """Walk along the strip; return its two sides, and where the sides of each leg begin on them."""
    walk = _Walk(strip.thickness, np.zeros(2), strip.heading, [], [], [], [])
    walk.left.append(walk.side(1))
    walk.right.append(walk.side(-1))
    sides = {}
    for number, piece in enumerate(strip.pieces):
        if isinstance(piece, Leg):
            sides[number] = (len(walk.right) - 1, len(walk.left) - 1)
            _straight(walk, piece, strip.width, ledger)
        else:
            _turn(walk, piece, strip.width, ledger)
    return walk, sides


def _straight(walk: _Walk, leg: Leg, width: float, ledger: Ledger) -> None:
    """Go along a leg: one side on the left, one on the right."""
    area = leg.length * width - math.fsum(hole_opening(hole) for _, hole in leg.holes)
    walk.at = walk.at + leg.length * _unit(walk.heading)
    for name, kind, towards, points, tags in (
        (leg.left, leg.left_kind, 1, walk.left, walk.left_tags),
        (leg.right, leg.right_kind, -1, walk.right, walk.right_tags),
    ):
        inside = leg.gap if kind is Kind.INSIDE else (0.0, 0.0)
        tags.append(ledger.add(name, kind, area, width=inside[0], depth=inside[1]))
        points.append(walk.side(towards))


def _turn(walk: _Walk, bend: Bend, width: float, ledger: Ledger) -> None:
    """Go round a bend: an arc on each side, with equally many flats where both have a radius."""
    towards = 1 if bend.angle > 0 else -1
    turn = abs(bend.angle)
    centre = walk.at + towards * (bend.radius + walk.thickness / 2) * walk.normal
    start = walk.heading - towards * math.pi / 2
    inner, outer = bend.radius, bend.radius + walk.thickness
    left = (walk.left, walk.left_tags)
    right = (walk.right, walk.right_tags)
    walk.at = centre + (walk.at - centre) @ _rotation(bend.angle)
    walk.heading += bend.angle
    for name, kind, radius, (points, tags), side in (
        ("inside", Kind.BEND_INSIDE, inner, left if towards > 0 else right, towards),
        ("outside", Kind.BEND_OUTSIDE, outer, right if towards > 0 else left, -towards),
    ):
        if radius == 0:
            continue
        tag = ledger.add(f"{name} of bend {bend.number}", kind, radius * turn * width)
        ring = [*rings.arc(centre, radius, start, bend.angle)[1:-1], walk.side(side)]
        points.extend(ring)
        tags.extend([tag] * len(ring))


def _rotation(angle: float) -> Floats:
    """Matrix that turns a row vector by ``angle``."""
    cos, sin = _unit(angle)
    return np.array([[cos, sin], [-sin, cos]])


def _windows(
    strip: Strip, ledger: Ledger, sides: dict[int, tuple[int, int]], points: Floats, place: str
) -> list[Window]:
    """Return the holes of the legs that lie along x, checked against the flat of their leg."""
    windows = []
    for number, piece in enumerate(strip.pieces):
        if not isinstance(piece, Leg) or not piece.holes:
            continue
        right, left = sides[number]
        left = len(points) - 2 - left
        low, high = sorted((float(points[right, 0]), float(points[right + 1, 0])))
        half = strip.width / 2
        along_x = strip.frame is ALONG_X
        flat = shapely.box(-half, low, half, high) if along_x else shapely.box(low, -half, high, half)
        upper, lower = (left, right) if points[left, 1] > points[right, 1] else (right, left)
        for hole_number, hole in piece.holes:
            checks.hole_inside(hole, hole_number, flat, f"the flat of {place}")
            tag = ledger.add_hole(hole, hole_number, strip.thickness)
            windows.append(Window(hole_ring(hole), (0, upper), (0, lower), tag))
    return windows
