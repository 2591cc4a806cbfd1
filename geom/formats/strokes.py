"""Lines and curves of a drawing to closed rings: joined where their ends meet, refused where they do not.

Everything here is in the units and coordinates of the file.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.errors import PartError
from geom.findings import Finding
from geom.formats.chains import JOIN, chained, extent
from geom.formats.notes import noted

MOST_POINTS = 200_000  # of one drawing
FARTHEST = 1e9  # from the origin, in units of the file
CIRCLE = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Stroke:
    """One line or curve of a drawing."""

    points: Floats  # (n, 2), a closed one without its first point repeated
    is_closed: bool = False


def closed_rings(
    strokes: Sequence[Stroke], circles: Sequence[CIRCLE]
) -> tuple[tuple[Floats, ...], tuple[CIRCLE, ...], tuple[Finding, ...]]:
    """Return the rings that the strokes make, the circles without doubles, and what was done on the way.

    Raises
    ------
    PartError
        where a chain of strokes does not close, or more than two strokes meet in one place.
    """
    diagonal = _diagonal(strokes, circles)
    near = JOIN * diagonal
    real = [stroke for stroke in strokes if extent(stroke.points) > 1e-9 * diagonal]
    findings = []
    if len(real) < len(strokes):
        findings.append(noted("drawing-no-length", f"{len(strokes) - len(real)} lines without length were left out"))
    rings = [stroke.points for stroke in real if stroke.is_closed]
    joined, more = chained([stroke.points for stroke in real if not stroke.is_closed], near)
    findings += more
    tidy = [ring for ring in map(_tidy, (*rings, *joined)) if _has_area(ring)]
    if flat := len(rings) + len(joined) - len(tidy):
        findings.append(noted("drawing-no-length", f"{flat} closed lines without area were left out"))
    unlike, rounds = _without_doubles(tidy, near), _single_circles(circles, near)
    doubles = len(tidy) - len(unlike) + len(circles) - len(rounds)
    if doubles:
        text = f"{doubles} outlines lie on the same place as another and were left out"
        findings.append(noted("drawing-double", text))
    if not unlike and not rounds:
        raise PartError(
            "part-drawing-empty", "the drawing holds no closed outline", hint="draw the outline of the part"
        )
    return tuple(unlike), tuple(rounds), tuple(findings)


def _diagonal(strokes: Sequence[Stroke], circles: Sequence[CIRCLE]) -> float:
    """Return the diagonal of the drawing; refuse numbers that no drawing has."""
    corners = [stroke.points for stroke in strokes]
    corners += [np.array([[x - r, y - r], [x + r, y + r]]) for x, y, r in circles]
    count = sum(map(len, corners))
    if count > MOST_POINTS:
        raise PartError(
            "part-drawing-large",
            f"the drawing has more than {MOST_POINTS} points",
            hint="leave out what does not bound the part, or export its curves as arcs",
        )
    if not count:
        raise PartError("part-drawing-empty", "the drawing holds no line", hint="draw the outline of the part")
    points = np.concatenate(corners)
    if not np.isfinite(points).all() or np.abs(points).max() > FARTHEST:
        raise PartError("part-drawing-numbers", f"a point of the drawing is no finite number, or beyond {FARTHEST:g}")
    return float(np.hypot(*np.ptp(points, axis=0)))


def _tidy(ring: Floats) -> Floats:
    """Return a ring without points that repeat the one before."""
    return np.asarray(ring[np.any(ring != np.roll(ring, 1, axis=0), axis=1)])


def _has_area(ring: Floats) -> bool:
    """Does a ring bound anything? One whose points all lie on a straight line does not."""
    if len(ring) < 3:
        return False
    spokes = ring - ring[0]
    far = spokes[np.argmax(np.hypot(*spokes.T))]
    aside = np.abs(spokes @ np.array([-far[1], far[0]])).max()
    return bool(aside > 1e-9 * float(far @ far))


def _without_doubles(rings: Sequence[Floats], near: float) -> list[Floats]:
    """Return the rings that do not lie on an earlier one."""
    bounds = np.array([[*ring.min(axis=0), *ring.max(axis=0)] for ring in rings]).reshape(-1, 4)
    gone = set[int]()
    for first, second in _alike(bounds, near):
        if first not in gone and second not in gone and _lie_together(rings[first], rings[second], near):
            gone.add(second)
    return [ring for k, ring in enumerate(rings) if k not in gone]


def _lie_together(one: Floats, other: Floats, near: float) -> bool:
    """Is every corner of each ring within ``near`` of the other?"""
    import shapely

    for ring, corners in ((one, other), (other, one)):
        line = shapely.LinearRing(ring)
        shapely.prepare(line)
        if not shapely.dwithin(line, shapely.points(corners), near).all():
            return False
    return True


def _single_circles(circles: Sequence[CIRCLE], near: float) -> list[CIRCLE]:
    gone = {second for _, second in _alike(np.array(circles).reshape(-1, 3), near)}
    return [circle for k, circle in enumerate(circles) if k not in gone]


def _alike(rows: Floats, near: float) -> list[tuple[int, int]]:
    """Return the pairs of rows, the lower number first, that differ by no more than ``near`` anywhere."""
    from scipy.spatial import cKDTree

    return sorted(cKDTree(rows).query_pairs(near, p=math.inf)) if len(rows) > 1 else []
