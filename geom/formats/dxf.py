"""`read_dxf`: the closed outlines of a DXF file in ASCII.

The reader is our own: a group that is missing, repeated or no number refuses the file instead of taking a
default, and a file must end with its EOF. Lines and curves of the model space are taken from all visible layers,
blocks are put in where they are inserted, and everything else is left out by name. The tests hold it against
ezdxf.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from geom.arrays import Floats
from geom.errors import PartError
from geom.findings import Finding
from geom.formats import curves
from geom.formats.chains import JOIN
from geom.formats.drawing import RawDrawing
from geom.formats.groups import (
    Entity,
    blocks_of,
    decoded,
    entities_of,
    hidden_layers,
    real,
    sections_of,
    stated_unit,
    tags_of,
)
from geom.formats.notes import counted, noted, number, warned
from geom.formats.raw import malformed, shown
from geom.formats.strokes import CIRCLE, Stroke, closed_rings

WORDS = {
    "TEXT", "MTEXT", "DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MULTILEADER", "MLEADER",
    "TOLERANCE", "ATTDEF", "ATTRIB", "POINT", "VIEWPORT", "HATCH", "IMAGE", "WIPEOUT", "ACAD_TABLE",
}  # fmt: skip
"""What a drawing says beside its outline."""

SPATIAL = {
    "3DFACE", "3DSOLID", "BODY", "MESH", "SURFACE", "PLANESURFACE", "EXTRUDEDSURFACE", "REVOLVEDSURFACE",
    "SWEPTSURFACE", "LOFTEDSURFACE", "NURBSURFACE",
}  # fmt: skip
DEEPEST = 16  # blocks within blocks
MOST_ENTITIES = 100_000  # after blocks were put in


@dataclass(frozen=True, eq=False)
class Pose:
    """Where the coordinates of a block lie in the drawing: ``plane @ (x, y) + shift``; heights likewise."""

    plane: Floats = field(default_factory=lambda: np.eye(2))
    shift: Floats = field(default_factory=lambda: np.zeros(2))
    height: tuple[float, float] = (1.0, 0.0)  # factor and shift

    def after(self, inner: "Pose") -> "Pose":
        """Return the pose of what lies at ``inner`` within this one."""
        factor, shift = self.height
        height = factor * inner.height[0], factor * inner.height[1] + shift
        return Pose(self.plane @ inner.plane, self.plane @ inner.shift + self.shift, height)

    def flat(self, points: Floats) -> Floats:
        """Return points (n, 2) in the drawing."""
        return np.asarray(points @ self.plane.T + self.shift)

    @property
    def scale(self) -> float | None:
        """The factor of a pose that keeps circles round, else None."""
        a, b = self.plane[:, 0], self.plane[:, 1]
        size = math.hypot(*a)
        is_round = abs(math.hypot(*b) - size) <= 1e-9 * size and abs(float(a @ b)) <= 1e-9 * size**2
        return size if is_round else None


MIRRORED = Pose(np.diag([-1.0, 1.0]), np.zeros(2), (-1.0, 0.0))  # axes of what is drawn as seen from below


@dataclass(eq=False)
class _Drawn:
    """What was found so far."""

    blocks: dict[str, tuple[Entity, tuple[Entity, ...]]]
    hidden: set[str]  # layers that are off or frozen
    strokes: list[Stroke] = field(default_factory=list)
    circles: list[CIRCLE] = field(default_factory=list)
    heights: list[float] = field(default_factory=list)
    layers: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    unseen: int = 0
    wide: int = 0

    def stroke(self, points: Floats, heights: Sequence[float], pose: Pose, *, is_closed: bool = False) -> None:
        """Take a line or curve."""
        self.heights += [pose.height[0] * z + pose.height[1] for z in heights]
        self.strokes.append(Stroke(pose.flat(points), is_closed))


def read_dxf(data: bytes) -> RawDrawing:
    """Read the closed outlines of an ASCII DXF file.

    Raises
    ------
    PartError
        where the file breaks the format, is not flat, or an outline is not closed.
    """
    found = sections_of(list(tags_of(decoded(data))))
    unit = stated_unit(found.get("HEADER", []))
    drawn = _Drawn(blocks_of(found.get("BLOCKS", [])), hidden_layers(found.get("TABLES", [])))
    entities = tuple(entities_of(found.get("ENTITIES", [])))
    _check_count(_Counted(drawn.blocks).of(entities, ()))
    for entity in entities:
        _draw(drawn, entity, Pose())
    _check_flat(drawn)
    rings, circles, done = closed_rings(drawn.strokes, drawn.circles)
    return RawDrawing(rings, circles, unit, (*_said(drawn), *done))


def _check_count(count: int) -> None:
    if count > MOST_ENTITIES:
        raise PartError(
            "part-drawing-large",
            f"the DXF file draws {count} entities, blocks counted as often as they are put in; {MOST_ENTITIES} is the most",
            hint="leave out what does not bound the part",
        )


class _Counted:
    """How many entities each block draws, counted once a block before anything is drawn."""

    def __init__(self, blocks: dict[str, tuple[Entity, tuple[Entity, ...]]]) -> None:
        self.blocks = blocks
        self.known: dict[str, int] = {}

    def of(self, entities: Sequence[Entity], within: tuple[str, ...]) -> int:
        """Return how many entities these draw, those of blocks among them."""
        return sum(1 + (self._of_block(one, within) if one.kind == "INSERT" else 0) for one in entities)

    def _of_block(self, insert: Entity, within: tuple[str, ...]) -> int:
        name = insert.text(2, "").upper()
        if name in within:
            raise malformed(f'the block "{shown(name)}" of the DXF file contains itself')
        if len(within) >= DEEPEST:
            raise malformed(f"blocks of the DXF file lie more than {DEEPEST} deep in each other")
        if name not in self.blocks:
            raise malformed(f'{insert.where} puts in a block "{shown(name)}" that the file does not have')
        if name not in self.known:
            self.known[name] = self.of(self.blocks[name][1], (*within, name))
        columns, rows = _repeats(insert)
        return columns * rows * self.known[name]


def _repeats(insert: Entity) -> tuple[int, int]:
    """Return in how many columns and rows a block is put in."""
    columns, rows = insert.whole(70, 1) or 1, insert.whole(71, 1) or 1
    if columns < 0 or rows < 0:
        raise malformed(f"{insert.where} repeats its block {columns} x {rows} times")
    return columns, rows


def _draw(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    """Take what one entity draws."""
    if entity.kind not in DRAW and entity.kind != "INSERT":
        _leave_out(drawn, entity)
        return
    if entity.whole(67, 0) == 1:  # of a sheet of paper, not of the model
        return
    layer = entity.text(8, "0")
    if entity.whole(60, 0) == 1 or layer.upper() in drawn.hidden:
        drawn.unseen += 1
        return
    if entity.kind == "INSERT":
        _insert(drawn, entity, pose)
        return
    drawn.layers[layer] += 1
    DRAW[entity.kind](drawn, entity, pose)


def _leave_out(drawn: _Drawn, entity: Entity) -> None:
    """Note what is drawn and not read; a thing in space is refused. Its groups may repeat, and are not looked at."""
    if "1" in entity.texts(67):
        return
    if entity.kind in SPATIAL:
        raise PartError(
            "part-drawing-not-flat",
            f"{entity.where} is a thing in space; a drawing holds flat outlines",
            hint="export the part as STL or STEP, or draw its flat outline",
        )
    drawn.left_out[entity.kind] += 1


def _own_axes(entity: Entity) -> Pose:
    """Return the axes in which an entity is drawn; those of a slanting plane are refused."""
    if not entity.texts(210):
        return Pose()
    normal = entity.point(210)
    length = float(np.linalg.norm(normal))
    if not length > 0 or np.abs(normal[:2]).max() > 1e-6 * length:
        raise PartError(
            "part-drawing-not-flat",
            f"{entity.where} lies in a slanting plane; a drawing holds flat outlines",
            hint="export the view along the thickness of the part",
        )
    return Pose() if normal[2] > 0 else MIRRORED


def _insert(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    head, inside = drawn.blocks[entity.text(2, "").upper()]
    if head.whole(70, 0) & 4:  # the block is in another file
        drawn.left_out["EXTERNAL REFERENCE"] += 1
    scale = [entity.real(code, 1.0) for code in (41, 42, 43)]
    scale[2] = scale[2] or 1.0  # some programs write 0 for the height of a flat drawing
    if not all(scale):
        raise malformed(f"{entity.where} has a scale of zero")
    turn = math.radians(entity.real(50, 0.0))
    turned = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    columns, rows = _repeats(entity)
    at, base, own = entity.point(10), head.point(10), _own_axes(entity)
    plane = turned @ np.diag(scale[:2])
    for column in range(columns):
        for row in range(rows):
            step = turned @ [column * entity.real(44, 0.0), row * entity.real(45, 0.0)]
            inner = Pose(plane, at[:2] + step - plane @ base[:2], (scale[2], at[2] - scale[2] * base[2]))
            whole = pose.after(own.after(inner))
            for one in inside:
                _draw(drawn, one, whole)


def _line(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    start, end = entity.point(10), entity.point(11)
    drawn.stroke(np.array([start[:2], end[:2]]), [start[2], end[2]], pose)


def _arc(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    start, end = entity.real(50), entity.real(51)
    turn = (end - start) % 360.0
    if turn == 0.0:
        _circle(drawn, entity, pose)
        return
    centre = entity.point(10)
    points = curves.arc(centre[:2], _radius(entity), math.radians(start), math.radians(turn))
    drawn.stroke(points, [centre[2]], pose.after(_own_axes(entity)))


def _circle(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    centre, radius, whole = entity.point(10), _radius(entity), pose.after(_own_axes(entity))
    if whole.scale is None:
        points = curves.arc(centre[:2], radius, 0.0, 2 * math.pi)[:-1]
        drawn.stroke(points, [centre[2]], whole, is_closed=True)
        return
    drawn.heights.append(whole.height[0] * centre[2] + whole.height[1])
    x, y = whole.flat(centre[None, :2])[0]
    drawn.circles.append((float(x), float(y), radius * whole.scale))


def _radius(entity: Entity) -> float:
    radius = entity.real(40)
    if not radius > 0:
        raise malformed(f"{entity.where} has a radius of {number(radius)}")
    return radius


def _ellipse(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    centre, major, ratio = entity.point(10), entity.point(11), entity.real(40)
    if not 0 < ratio <= 1 + 1e-9 or not np.any(major[:2]):
        raise malformed(f"{entity.where} has axes in the ratio {number(ratio)}, or none")
    side = 1.0 if _own_axes(entity) is not MIRRORED else -1.0
    minor = side * ratio * np.array([-major[1], major[0]])
    start, end = entity.real(41, 0.0), entity.real(42, 2 * math.pi)
    turn = (end - start) % (2 * math.pi)
    is_whole = min(turn, 2 * math.pi - turn) < 1e-6
    points = curves.ellipse(centre[:2], major[:2], minor, start, 2 * math.pi if is_whole else turn)
    heights = [centre[2], centre[2] + major[2]]
    drawn.stroke(points[:-1] if is_whole else points, heights, pose, is_closed=is_whole)


def _light_polyline(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    corners: list[list[float]] = []
    for code, value, _ in entity.tags:
        if code == 10:
            corners.append([real(value, f"group 10 of {entity.where}"), math.nan, 0.0])
        elif code in (20, 42) and corners:
            corners[-1][1 if code == 20 else 2] = real(value, f"group {code} of {entity.where}")
    if entity.whole(90, len(corners)) != len(corners):
        raise malformed(f"{entity.where} declares {entity.whole(90)} corners and has {len(corners)}")
    if any(math.isnan(corner[1]) for corner in corners) or len(entity.texts(20)) != len(corners):
        raise malformed(f"{entity.where} has a corner without x or y")
    whole = pose.after(_own_axes(entity))
    _note_width(drawn, entity)
    _polyline(drawn, np.array(corners).reshape(-1, 3), bool(entity.whole(70, 0) & 1), entity.real(38, 0.0), whole)


def _old_polyline(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    flags = entity.whole(70, 0)
    if flags & (16 | 64):
        raise PartError(
            "part-drawing-not-flat",
            f"{entity.where} is a mesh in space; a drawing holds flat outlines",
            hint="export the part as STL, or draw its flat outline",
        )
    _note_width(drawn, entity, *entity.vertices)
    used = [vertex for vertex in entity.vertices if not vertex.whole(70, 0) & 16]
    corners = [[*vertex.point(10), vertex.real(42, 0.0)] for vertex in used]
    table = np.array(corners).reshape(-1, 4)
    in_space = bool(flags & 8)
    height = 0.0 if in_space or not entity.texts(30) else entity.real(30)
    if in_space and len(table):
        drawn.heights += [pose.height[0] * z + pose.height[1] for z in table[:, 2]]
        height = float(table[0, 2])
    whole = pose if in_space else pose.after(_own_axes(entity))
    _polyline(drawn, table[:, [0, 1, 3]], bool(flags & 1), height, whole)


def _note_width(drawn: _Drawn, *entities: Entity) -> None:
    """Note a line that is drawn as a band."""
    values = [value for entity in entities for code in (40, 41, 43) for value in entity.texts(code)]
    drawn.wide += any(real(value, "a width of a polyline of the DXF file") > 0 for value in values)


def _polyline(drawn: _Drawn, corners: Floats, is_closed: bool, height: float, pose: Pose) -> None:
    """Take a polyline of corners (n, 3): x, y, and the bulge of the piece that begins there."""
    if len(corners) < 2:
        return
    ends = np.roll(corners, -1, axis=0) if is_closed else corners[1:]
    pieces = [
        curves.bulge(start[:2], end[:2], float(start[2])) for start, end in zip(corners[: len(ends)], ends, strict=True)
    ]
    points = np.concatenate([*(piece[:-1] for piece in pieces), *([] if is_closed else [pieces[-1][-1:]])])
    drawn.stroke(points, [height], pose, is_closed=is_closed)


def _spline(drawn: _Drawn, entity: Entity, pose: Pose) -> None:
    xs, ys, zs = ([real(v, f"group {c} of {entity.where}") for v in entity.texts(c)] for c in (10, 20, 30))
    knots = np.array([real(value, f"a knot of {entity.where}") for value in entity.texts(40)])
    weights = np.array([real(value, f"a weight of {entity.where}") for value in entity.texts(41)] or [1.0] * len(xs))
    degree = entity.whole(71)
    if not xs and entity.texts(11):
        raise malformed(f"{entity.where} gives points to pass through and no curve", "convert it to arcs or lines")
    is_sound = (
        1 <= degree <= 9
        and len(xs) == len(ys) == len(weights) > degree
        and len(knots) == len(xs) + degree + 1
        and entity.whole(72, len(knots)) == len(knots)
        and entity.whole(73, len(xs)) == len(xs)
        and bool((np.diff(knots) >= 0).all())
        and knots[degree] < knots[len(xs)]
        and bool((weights > 0).all())
    )
    if not is_sound:
        raise malformed(f"{entity.where} has {len(xs)} points and {len(knots)} knots that do not make a spline")
    _own_axes(entity)
    points = curves.spline(degree, knots, np.array([xs, ys]).T, weights)
    is_closed = bool(np.hypot(*(points[0] - points[-1])) <= JOIN * 1e-3 * np.ptp(points, axis=0).max())
    drawn.stroke(points[:-1] if is_closed else points, zs or [0.0], pose, is_closed=is_closed)


DRAW = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _light_polyline,
    "POLYLINE": _old_polyline,
    "SPLINE": _spline,
}


def _check_flat(drawn: _Drawn) -> None:
    """Refuse lines at different heights."""
    if not drawn.heights:
        return
    low, high = min(drawn.heights), max(drawn.heights)
    corners = [stroke.points for stroke in drawn.strokes] + [
        np.array([[x, y], [x + r, y + r]]) for x, y, r in drawn.circles
    ]
    size = float(np.ptp(np.concatenate(corners), axis=0).max())
    if not high - low <= JOIN * size:
        raise PartError(
            "part-drawing-not-flat",
            f"the lines of the DXF file lie at heights from {number(low)} to {number(high)} units: it is not flat",
            hint="export the view along the thickness of the part, all at height 0",
        )


def _said(drawn: _Drawn) -> Iterator[Finding]:
    """Yield what the reader of the report must know about layers and left-out things."""
    if len(drawn.layers) > 1:
        words = ", ".join(f'"{shown(name)}" ({count})' for name, count in sorted(drawn.layers.items())[:8])
        yield noted("drawing-layers", f"lines of {len(drawn.layers)} layers were taken together: {words}")
    said = {kind: count for kind, count in drawn.left_out.items() if kind in WORDS}
    if said:
        yield noted("drawing-words", f"what bounds no part was left out: {counted(said)}")
    if others := drawn.left_out.keys() - WORDS:
        found = counted({kind: drawn.left_out[kind] for kind in others})
        yield warned("drawing-left-out", f"what is not read was left out: {found}")
    if drawn.wide:
        text = f"{drawn.wide} lines are drawn as bands with a width; their middle was taken"
        yield warned("drawing-wide-lines", text)
    if drawn.unseen:
        yield warned("drawing-hidden", f"{drawn.unseen} entities on hidden layers, or invisible, were left out")
