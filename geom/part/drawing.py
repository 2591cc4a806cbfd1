"""`build_drawing`: a part from the flat outlines of a DXF or SVG file, extruded, and bent where asked.

The largest ring is the outside of the part and every other ring an opening in it, whatever the file fills or
strokes. A ring that is round becomes a bore. One drawing holds one part.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from geom.arrays import Floats
from geom.errors import GeomError, PartError
from geom.findings import Finding, Severity
from geom.formats import curves
from geom.formats.drawing import RawDrawing
from geom.formats.guard import read_guarded
from geom.formats.notes import number
from geom.part import checks
from geom.part.flat import build_outline
from geom.part.holes import holes_words
from geom.part.part import Part
from geom.part.shapes import BendLine, Drawing, Hole, Outline
from geom.wording import mm

SUFFIXES = (".dxf", ".svg")
SAME_UNIT = 1e-6  # two statements of a unit that differ by less, as a share, say the same
ROUND = 5e-4  # of its radius: a ring whose points and sides are all so near to a circle is one
MOST_OPENINGS = 1000
SMALL, LARGE = 1e-3, 3.0  # overall sizes outside this are worth a question [m]
UNITS = (("mm", 1e-3), ("inch", 0.0254), ("m", 1.0))


def build_drawing(shape: Drawing) -> Part:
    """Return the part in a flat drawing.

    Raises
    ------
    PartError
        where the file cannot be read, states no unit and none is given, or its outlines bound no single part.
    """
    try:
        raw = _read(shape)
        unit = _unit(raw, shape.unit)
        outline = outline_of(raw, unit, shape.thickness)
        part = _built(outline, _bends(shape.bends, raw))
    except GeomError as error:
        error.where = error.where or str(shape.path)
        raise
    bends = f", {len(shape.bends)} bend{'s' if len(shape.bends) > 1 else ''}" if shape.bends else ""
    title = f"{shape.path.name}, {mm(shape.thickness)} mm{holes_words(outline.holes)}{bends}"
    own = [finding for finding in part.findings if finding.code != "part-outline-origin"]
    return replace(part, title=title, findings=(*raw.findings, *_size(outline), *own))


def _read(shape: Drawing) -> RawDrawing:
    if shape.path.suffix.lower() not in SUFFIXES:
        raise PartError(
            "part-mesh-suffix", f"a drawing ends in {' or '.join(SUFFIXES)}", hint="export the outline as DXF"
        )
    raw = read_guarded(shape.path, shape.limits)
    sound = isinstance(raw, RawDrawing) and all(
        ring.ndim == 2 and ring.shape[1] == 2 and np.isfinite(ring).all() for ring in raw.rings
    )
    if not isinstance(raw, RawDrawing) or not sound or not np.isfinite(np.array(raw.circles, dtype=np.float64)).all():
        raise PartError("part-mesh-format", "the reader of this file answered with outlines that are none")
    return raw


def _unit(raw: RawDrawing, stated: float | None) -> float:
    """Return the unit of the file or the one stated [m]; never guess it."""
    if stated is not None and not (math.isfinite(stated) and stated > 0):
        raise PartError("part-dimensions", f"the unit of the drawing is {stated} m; it must be more than zero")
    if raw.unit is None and stated is None:
        low, high = _bounds(raw)
        size = high - low
        words = "; ".join(f"{_sides(size * unit / 1e-3)} mm if it is {name}" for name, unit in UNITS)
        raise PartError(
            "drawing-unit-missing",
            f"the drawing does not state its unit; it measures {_sides(size)} units, which is {words}",
            hint='state the unit: --unit mm, or unit = "mm" under [part]',
        )
    if raw.unit is None or stated is None:
        return stated if raw.unit is None and stated is not None else float(raw.unit or 0.0)
    if abs(raw.unit / stated - 1) > SAME_UNIT:
        raise PartError(
            "drawing-unit-contradicts",
            f"one unit of the drawing is {mm(stated)} mm as stated, but {mm(raw.unit)} mm by the file itself",
            hint="leave the unit out, or mend it in the drawing program",
        )
    return float(raw.unit)


def _bounds(raw: RawDrawing) -> tuple[Floats, Floats]:
    corners = [*raw.rings, *(np.array([[x - r, y - r], [x + r, y + r]]) for x, y, r in raw.circles)]
    points = np.concatenate(corners)
    return points.min(axis=0), points.max(axis=0)


def _sides(size: Floats) -> str:
    return " x ".join(number(float(side)) for side in size)


def outline_of(raw: RawDrawing, unit: float, thickness: float) -> Outline:
    """Return the one part that the rings of a drawing bound, in metres, as seen on the screen."""
    rings = [ring * unit for ring in raw.rings]
    circles = [(x * unit, y * unit, r * unit) for x, y, r in raw.circles]
    whole = [*rings, *(curves.arc(np.array([x, y]), r, 0.0, 2 * math.pi)[:-1] for x, y, r in circles)]
    if len(whole) > MOST_OPENINGS + 1:
        raise PartError(
            "part-drawing-large",
            f"the drawing has {len(whole)} closed outlines; a part with at most {MOST_OPENINGS} openings is taken",
        )
    polygons = _polygons(whole)
    _check_apart(polygons)
    outer = max(range(len(polygons)), key=lambda k: polygons[k].area)
    _check_nested(polygons, outer)
    rounds = [_round(ring) for ring in rings] + [Hole(2 * r, (x, y)) for x, y, r in circles]
    inner = [k for k in range(len(whole)) if k != outer]
    up = -1.0 if raw.is_downward else 1.0
    return Outline(
        _points(whole[outer], up),
        thickness,
        tuple(_points(whole[k], up) for k in inner if rounds[k] is None),
        tuple(Hole(h.diameter, (h.at[0], up * h.at[1])) for h in (rounds[k] for k in inner) if h is not None),
    )


def _points(ring: Floats, up: float) -> tuple[tuple[float, float], ...]:
    return tuple((x, up * y) for x, y in ring.tolist())


def _polygons(rings: Sequence[Floats]) -> list[Any]:
    """Return each ring as a shapely polygon; one that crosses itself is refused."""
    import shapely
    from shapely.validation import explain_validity

    polygons = [shapely.Polygon(ring) for ring in rings]
    for polygon in polygons:
        if not polygon.is_valid or not polygon.area > 0:
            reason, _, at = explain_validity(polygon).partition("[")
            words = [float(word) for word in at.rstrip("]").split()] or polygon.exterior.coords[0]
            what = "has no area" if polygon.is_valid else f"crosses or touches itself ({reason.lower()})"
            raise PartError(
                "part-drawing-crossing",
                f"an outline {what} at {_at(words)}",
                hint="draw the outline once around, without a line over itself",
            )
    return polygons


def _at(point: Sequence[float]) -> str:
    return f"({mm(point[0])}, {mm(point[1])}) mm of the drawing"


def _check_apart(polygons: Sequence[Any]) -> None:
    """Refuse outlines that cross or touch each other."""
    import shapely

    lines = [polygon.exterior for polygon in polygons]
    tree = shapely.STRtree(lines)
    pairs = tree.query(lines, predicate="intersects").T
    pairs = pairs[pairs[:, 0] < pairs[:, 1]]
    if not len(pairs):
        return
    first, second = pairs[0]
    met = shapely.get_coordinates(lines[first].intersection(lines[second]))[0]
    raise PartError(
        "part-drawing-crossing",
        f"two outlines of the drawing cross or touch each other at {_at(met)}, "
        f"{len(pairs)} such {'pairs' if len(pairs) > 1 else 'pair'} in all",
        hint="draw the part as one outline around its metal; openings must not reach the edge or each other",
    )


def _check_nested(polygons: Sequence[Any], outer: int) -> None:
    """Refuse an outline beside the outside, or one within an opening: they are parts of their own."""
    import shapely

    inside = [k for k in range(len(polygons)) if k != outer]
    corners = [shapely.Point(polygons[k].exterior.coords[0]) for k in inside]
    shapely.prepare(polygons[outer])
    beside = [k for k, corner in zip(inside, corners, strict=True) if not polygons[outer].contains(corner)]
    if beside:
        raise PartError(
            "part-drawing-several",
            f"the drawing holds {len(beside) + 1} separate outlines, the second at "
            f"{_at(polygons[beside[0]].exterior.coords[0])}: one part at a time is taken",
            hint="leave one part in the drawing; a rack repeats it",
        )
    tree = shapely.STRtree([polygons[k] for k in inside])
    islands = [(a, b) for a, b in tree.query(corners, predicate="within").T if a != b] if inside else []
    if islands:
        raise PartError(
            "part-drawing-several",
            f"an outline lies within an opening of the part, at {_at(polygons[inside[islands[0][0]]].exterior.coords[0])}: "
            "metal there would hang on nothing",
            hint="leave one part in the drawing",
        )


def _round(ring: Floats) -> Hole | None:
    """Return the hole that a ring of short pieces is, where it keeps to a circle."""
    centre = (ring.min(axis=0) + ring.max(axis=0)) / 2
    corners = np.hypot(*(ring - centre).T)
    sides = np.hypot(*((ring + np.roll(ring, -1, axis=0)) / 2 - centre).T)
    least, most = float(min(corners.min(), sides.min())), float(corners.max())
    if not least > (1 - 2 * ROUND) * most:
        return None
    around = float(np.linalg.norm(ring - np.roll(ring, 1, axis=0), axis=1).sum())
    return Hole(around / math.pi, (float(centre[0]), float(centre[1])))


def _bends(bends: Sequence[BendLine], raw: RawDrawing) -> tuple[BendLine, ...]:
    """Return the bends as seen on the screen, y upward."""
    if not raw.is_downward:
        return tuple(bends)
    return tuple(
        replace(bend, start=(bend.start[0], -bend.start[1]), end=(bend.end[0], -bend.end[1])) for bend in bends
    )


def _built(outline: Outline, bends: tuple[BendLine, ...]) -> Part:
    checks.positive("drawing", {"thickness": outline.thickness})
    if not bends:
        return build_outline(outline)
    from geom.part.folded import build_folded

    return build_folded(outline, bends)


def _size(outline: Outline) -> list[Finding]:
    """Question a size that is merely odd."""
    size = np.ptp(np.array(outline.points), axis=0)
    if SMALL <= size.max() <= LARGE:
        return []
    words = f"the drawing measures {_sides(size / 1e-3)} mm; look whether the unit is right"
    return [Finding(Severity.WARNING, "part-size", words)]
