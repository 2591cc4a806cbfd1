"""Lines and curves of a drawing to closed rings: joined where their ends meet, refused where they do not.

Everything here is in the units and coordinates of the file.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats.raw import shown

JOIN = 1e-4  # of the diagonal of the drawing: ends nearer to each other than this are one place
MOST_POINTS = 200_000  # of one drawing
FARTHEST = 1e9  # from the origin, in units of the file
CIRCLE = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Stroke:
    """One line or curve of a drawing."""

    points: Floats  # (n, 2), a closed one without its first point repeated
    is_closed: bool = False


def noted(code: str, message: str) -> Finding:
    """Return a finding that is worth knowing."""
    return Finding(Severity.NOTE, code, message)


def warned(code: str, message: str) -> Finding:
    """Return a finding to be read before plating."""
    return Finding(Severity.WARNING, code, message)


def counted(kinds: Mapping[str, int]) -> str:
    """Return "2 HATCH, 1 TEXT"."""
    return ", ".join(f"{count} {shown(kind)}" for kind, count in sorted(kinds.items()))


def number(value: float) -> str:
    """Return a coordinate as a message shows it."""
    return f"{value:.6g}"


def place(point: Floats) -> str:
    """Return a point as a message shows it."""
    return f"({number(float(point[0]))}, {number(float(point[1]))})"


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
    real = [stroke for stroke in strokes if _extent(stroke.points) > 1e-9 * diagonal]
    findings = []
    if len(real) < len(strokes):
        findings.append(noted("drawing-no-length", f"{len(strokes) - len(real)} lines without length were left out"))
    rings = [stroke.points for stroke in real if stroke.is_closed]
    joined, more = _joined([stroke.points for stroke in real if not stroke.is_closed], near)
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


def _extent(points: Floats) -> float:
    return float(np.ptp(points, axis=0).max())


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


def _joined(open_ones: list[Floats], near: float) -> tuple[list[Floats], list[Finding]]:
    """Join strokes end to end into rings."""
    shut = [k for k, points in enumerate(open_ones) if _is_shut(points, near)]
    rings = [open_ones[k][:-1] for k in shut]
    gap = max((float(np.hypot(*(open_ones[k][0] - open_ones[k][-1]))) for k in shut), default=0.0)
    kept = set(range(len(open_ones))) - set(shut)
    rest = [open_ones[k] for k in sorted(kept) if _extent(open_ones[k]) > near]
    findings = []
    if len(rest) < len(kept):
        text = f"{len(kept) - len(rest)} lines shorter than {number(near)} units were left out"
        findings.append(noted("drawing-no-length", text))
    if rest:
        nodes = _nodes(rest, near)
        unlike = _without_double_lines(rest, nodes, near)
        if len(unlike) < len(rest):
            text = f"{len(rest) - len(unlike)} lines lie on the same place as another and were left out"
            findings.append(noted("drawing-double", text))
        rest, nodes = [rest[k] for k in unlike], nodes[unlike]
        _check_ends(rest, nodes)
        chained, widest = _chains(rest, nodes)
        rings, gap = rings + chained, max(gap, widest)
    if gap > 1e-3 * near:
        text = (
            f"ends of lines up to {number(gap)} units apart were joined; up to {number(near)} units "
            f"({JOIN:.2%} of the diagonal of the drawing) counts as one place"
        )
        findings.append(noted("drawing-joined", text))
    return rings, findings


def _is_shut(points: Floats, near: float) -> bool:
    return len(points) > 3 and float(np.hypot(*(points[0] - points[-1]))) <= near < _extent(points)


def _nodes(strokes: Sequence[Floats], near: float) -> Ints:
    """Return the number (n, 2) of the place where each stroke starts and ends."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    ends = np.array([[points[0], points[-1]] for points in strokes]).reshape(-1, 2)
    pairs = cKDTree(ends).query_pairs(near, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64).reshape(-1, 2)


def _without_double_lines(strokes: Sequence[Floats], nodes: Ints, near: float) -> Ints:
    """Return which strokes do not run along an earlier one, either way."""
    kept: list[int] = []
    seen: dict[tuple[int, int], list[Floats]] = {}
    for k, points in enumerate(strokes):
        marks = _marks(points)
        others = seen.setdefault((int(nodes[k].min()), int(nodes[k].max())), [])
        if any(min(np.abs(marks - o).max(), np.abs(marks[::-1] - o).max()) <= near for o in others):
            continue
        others.append(marks)
        kept.append(k)
    return np.array(kept, dtype=np.int64)


def _marks(points: Floats) -> Floats:
    """Return nine points evenly along a stroke."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], 9)
    return np.stack([np.interp(at, along, points[:, 0]), np.interp(at, along, points[:, 1])], axis=1)


def _check_ends(strokes: Sequence[Floats], nodes: Ints) -> None:
    """Refuse a place where a chain ends, or where it branches."""
    count = np.bincount(nodes.reshape(-1))
    if (count > 2).any():
        node = int(np.argmax(count > 2))
        row, end = np.argwhere(nodes == node)[0]
        raise PartError(
            "part-drawing-branches",
            f"{int(count[node])} ends of lines meet at {place(strokes[row][-int(end)])} in units of the file: "
            "which of them bound the part cannot be told",
            hint="leave only the outline and the holes of the part in the drawing, each drawn once",
        )
    loose = np.flatnonzero(count == 1)
    if len(loose):
        first, last = _loose_ends(strokes, nodes, int(loose[0]))
        gap = float(np.hypot(*(last - first)))
        raise PartError(
            "part-drawing-open",
            f"an outline is open: it begins at {place(first)} and ends at {place(last)} in units of the file, "
            f"{number(gap)} units apart; {len(loose) // 2} of the drawing are open",
            hint="close it in the drawing program, or take away lines that do not bound the part",
        )


def _loose_ends(strokes: Sequence[Floats], nodes: Ints, node: int) -> tuple[Floats, Floats]:
    """Return both ends of the open chain that starts at ``node``."""
    at = _meetings(nodes)
    order, ways = _walk(nodes, at, at[node][0], node)
    first = strokes[order[0]][0 if ways[0] else -1]
    return first, strokes[order[-1]][-1 if ways[-1] else 0]


def _meetings(nodes: Ints) -> dict[int, list[int]]:
    """Return the strokes that end at each place."""
    at: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(nodes.tolist()):
        at.setdefault(a, []).append(k)
        at.setdefault(b, []).append(k)
    return at


def _walk(nodes: Ints, at: dict[int, list[int]], begin: int, node: int) -> tuple[list[int], list[bool]]:
    """Go from stroke to stroke, leaving ``node`` along stroke ``begin``; tell for each if it runs forward."""
    order, ways, k = [], [], begin
    while True:
        forward = int(nodes[k, 0]) == node
        order.append(k)
        ways.append(forward)
        node = int(nodes[k, 1 if forward else 0])
        onward = [other for other in at[node] if other != k]
        if not onward or onward[0] == begin:
            return order, ways
        k = onward[0]


def _chains(strokes: Sequence[Floats], nodes: Ints) -> tuple[list[Floats], float]:
    """Return the ring of every chain, its joints half way between the ends, and the widest gap."""
    at, done, rings, widest = _meetings(nodes), set[int](), [], 0.0
    for begin in range(len(strokes)):
        if begin in done:
            continue
        order, ways = _walk(nodes, at, begin, int(nodes[begin, 0]))
        done.update(order)
        runs = [strokes[k] if forward else strokes[k][::-1] for k, forward in zip(order, ways, strict=True)]
        pieces = []
        for run, before in zip(runs, [runs[-1], *runs[:-1]], strict=True):
            widest = max(widest, math.dist(run[0], before[-1]))
            pieces += [(run[:1] + before[-1:]) / 2, run[1:-1]]
        rings.append(np.concatenate(pieces))
    return rings, widest


def _without_doubles(rings: Sequence[Floats], near: float) -> list[Floats]:
    """Return the rings that do not lie on an earlier one."""
    import shapely

    bounds = np.array([[*ring.min(axis=0), *ring.max(axis=0)] for ring in rings]).reshape(-1, 4)
    gone = set[int]()
    for first, second in _alike(bounds, near):
        lines = shapely.LinearRing(rings[first]), shapely.LinearRing(rings[second])
        if first not in gone and shapely.hausdorff_distance(*lines) <= near:
            gone.add(second)
    return [ring for k, ring in enumerate(rings) if k not in gone]


def _single_circles(circles: Sequence[CIRCLE], near: float) -> list[CIRCLE]:
    gone = {second for _, second in _alike(np.array(circles).reshape(-1, 3), near)}
    return [circle for k, circle in enumerate(circles) if k not in gone]


def _alike(rows: Floats, near: float) -> list[tuple[int, int]]:
    """Return the pairs of rows, the lower number first, that differ by no more than ``near`` anywhere."""
    from scipy.spatial import cKDTree

    return sorted(cKDTree(rows).query_pairs(near, p=math.inf)) if len(rows) > 1 else []
