"""Lines and curves that are joined end to end into rings.

Ends in the same place are joined first. What is left loose is joined to the nearest loose end, up to a stated
distance: so that a gap is bridged, and lines shorter than that distance still keep their order.
"""

import math
from collections.abc import Sequence

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.findings import Finding
from geom.formats.notes import noted, number, place

JOIN = 1e-4  # of the diagonal of the drawing: loose ends nearer to each other than this are joined
SAME = 1e-3  # of that distance: ends that are in the same place
NINE = np.linspace(0.0, 1.0, 9)[:, None]
ALIKE = 0.1  # of its size: lines that lie so near to each other are the same line


def extent(points: Floats) -> float:
    """Return the longer side of the box around some points."""
    return float(np.ptp(points, axis=0).max())


def chained(lines: Sequence[Floats], near: float) -> tuple[list[Floats], list[Finding]]:
    """Join lines (n, 2) end to end into rings; ends up to ``near`` apart count as one place.

    Raises
    ------
    PartError
        where a chain does not close, or more than two lines meet in one place.
    """
    findings, unlike = [], _single_lines(lines, near)
    if len(unlike) < len(lines):
        text = f"{len(lines) - len(unlike)} lines lie on the same place as another and were left out"
        findings.append(noted("drawing-double", text))
    if not unlike:
        return [], findings
    nodes = _bridged(unlike, _places(unlike, SAME * near), near)
    count = np.bincount(nodes.reshape(-1))
    stray = (count[nodes] == 1).all(axis=1) & np.array([extent(points) <= near for points in unlike])
    if stray.any():
        text = f"{int(stray.sum())} lines shorter than {number(near)} units that touch no other were left out"
        findings.append(noted("drawing-no-length", text))
    kept = [points for points, is_stray in zip(unlike, stray, strict=True) if not is_stray]
    if not kept:
        return [], findings
    _check_ends(kept, nodes[~stray])
    rings, widest = _chains(kept, nodes[~stray])
    if widest > SAME * near:
        text = (
            f"ends of lines up to {number(widest)} units apart were joined; up to {number(near)} units "
            f"({JOIN:.2%} of the diagonal of the drawing) counts as one place"
        )
        findings.append(noted("drawing-joined", text))
    return rings, findings


def _places(lines: Sequence[Floats], same: float) -> Ints:
    """Return the number (n, 2) of the place where each line starts and ends."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    ends = np.array([[points[0], points[-1]] for points in lines]).reshape(-1, 2)
    pairs = cKDTree(ends).query_pairs(same, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(ends), len(ends)))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64).reshape(-1, 2)


def _bridged(lines: Sequence[Floats], nodes: Ints, near: float) -> Ints:
    """Return the places after the loose ends that are nearest to each other were made one, two at a time."""
    from scipy.spatial import cKDTree

    loose = np.argwhere(np.bincount(nodes.reshape(-1))[nodes] == 1)
    if len(loose) < 2:
        return nodes
    ends = np.array([lines[k][-end] for k, end in loose])
    pairs = cKDTree(ends).query_pairs(near, output_type="ndarray")
    gaps = np.linalg.norm(ends[pairs[:, 0]] - ends[pairs[:, 1]], axis=1)
    nodes, free = nodes.copy(), np.ones(len(loose), dtype=np.bool_)
    for row in np.lexsort((pairs[:, 1], pairs[:, 0], gaps)):
        a, b = pairs[row]
        (first, _), (second, _) = loose[a], loose[b]
        folds_up = first == second and extent(lines[first]) <= 4 * gaps[row]
        if free[a] and free[b] and not folds_up:
            free[a] = free[b] = False
            nodes[tuple(loose[b])] = nodes[tuple(loose[a])]
    return nodes


def _single_lines(lines: Sequence[Floats], near: float) -> list[Floats]:
    """Return the lines that do not run along an earlier one, either way."""
    from scipy.spatial import cKDTree

    if len(lines) < 2:
        return list(lines)
    marks = np.array([_marks(points) for points in lines])
    around = np.minimum(ALIKE * np.array([extent(points) for points in lines]), near)
    middle = marks[:, 4]
    gone = set[int]()
    for k, others in enumerate(cKDTree(middle).query_ball_point(middle, around)):
        for other in others:
            if other > k and k not in gone and other not in gone:
                apart = [np.abs(way - marks[other]).max() for way in (marks[k], marks[k][::-1])]
                if min(apart) <= around[k]:
                    gone.add(other)
    return [points for k, points in enumerate(lines) if k not in gone]


def _marks(points: Floats) -> Floats:
    """Return nine points evenly along a line."""
    if len(points) == 2:
        return np.asarray(points[0] + NINE * (points[1] - points[0]))
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
