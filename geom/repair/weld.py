"""Corners that should be one: equal ones, those a crack apart, and corners that lie on a neighbour's edge."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.repair.work import Work, count, noted, warned
from geom.surface.soundness import equal_points, groups_of, has_three_corners

ROUNDING = 1e-7
"""Corners nearer than this share of the diagonal are one corner: rounding of the file, not worth a word."""
STEPS = (ROUNDING, 1e-6, 1e-5, 5e-5, 1e-4, 2e-4)
"""Widths of cracks that are tried, as a share of the diagonal; the last is the widest that is closed."""
AREA_KEPT = 1e-3  # most that closing cracks may change the area, as a share of it
MOST_LOOKS = 200_000_000  # pairs of an open edge and a corner that are looked at
SAMPLE, MOST_NEAR = 2_000, 40  # corners asked, and others near one on average, before all are joined
MOST_ON_EDGE = 64  # corners on an edge, on average


def corners_joined(work: Work) -> Work:
    """Make equal corners one, and leave out faces that have the same corner twice: they have no area."""
    number, first = equal_points(work.vertices)
    faces = number[work.faces]
    joined = work.with_faces(work.vertices[first], faces, work.source)
    real = has_three_corners(faces)
    if real.all():
        return joined
    flat = np.flatnonzero(~real)
    words = f"{count(len(flat), 'face')} with the same corner twice left out: no area, first face {work.source[flat[0]] + 1}"
    return joined.without(
        ~real, noted("repair-degenerate", words, len(flat), joined.vertices[faces[flat[0], 0]])
    ).compacted()


def cracks_closed(work: Work) -> Work:
    """Join the corners of open edges over cracks, at the least width that leaves the fewest edges open."""
    before = len(work.edges.open)
    if not before:
        return work
    best, width, whole = work, 0.0, work.area
    fewest = before + len(work.edges.crowded)
    for share in STEPS:
        distance = share * work.diagonal
        joined = _near_joined(work, distance)
        if joined is None:
            break
        tried = _junctions_split(joined, distance)
        if abs(tried.area - whole) > AREA_KEPT * whole or not len(tried.faces):
            break
        defects = len(tried.edges.open) + len(tried.edges.crowded)
        if defects < fewest:
            best, width, fewest = tried, share, defects
        if not len(tried.edges.open):
            break
    if best is work or width == ROUNDING:
        return best
    change = best.area - whole
    words = (
        f"corners of open edges up to {width * work.diagonal * 1e3:.2g} mm apart joined: {count(before, 'edge')} "
        f"open before, {len(best.edges.open)} after; area changed by {work.share(change)}"
    )
    return best.with_changes(warned("repair-welded", words, before, change, _middle(work, work.edges.open[0])))


def _middle(work: Work, edge: Ints) -> Floats:
    return np.asarray(work.vertices[edge].mean(axis=0))


def _near_joined(work: Work, distance: float) -> Work | None:
    """Join corners of open edges within ``distance``; None where that would join everything with everything."""
    from scipy.spatial import cKDTree

    corners = work.open_corners
    tree = cKDTree(work.vertices[corners])
    asked = work.vertices[corners[:: -(-len(corners) // SAMPLE)]]
    if int(tree.query_ball_point(asked, distance, return_length=True).sum()) > MOST_NEAR * len(asked):
        return None
    near = corners[tree.query_pairs(distance, output_type="ndarray")]
    if not len(near):
        return work
    label = groups_of(near, len(work.vertices))
    members = np.bincount(label)
    middles = np.stack([np.bincount(label, work.vertices[:, k]) for k in range(3)], axis=1) / members[:, None]
    alone = members[label] == 1
    middles[label[alone]] = work.vertices[alone]  # a mean of one is exact only without the division
    faces = label[work.faces]
    real = has_three_corners(faces)
    return work.with_faces(middles, faces[real], work.source[real])


def _junctions_split(work: Work, distance: float) -> Work:
    """Cut open edges at the corners of other open edges that lie on them within ``distance``; not among too many."""
    for _ in range(16):
        cut = _cuts(work, distance) if len(work.edges.open) else None
        if cut is None or not len(cut[0]):
            break
        work = edges_cut(work, *cut)
    return work


def _cuts(work: Work, distance: float) -> tuple[Ints, Ints, Floats] | None:
    """Return half-edges, the corner that lies on each, and how far along; one side of a face at most."""
    from geom.repair.weld_kernels import corners_on_edges

    runs = work.runs
    sides = runs.members(runs.count == 1)
    start, stop = work.vertices[runs.start[sides]], work.vertices[runs.stop[sides]]
    corners = work.open_corners
    axis = int(np.argmax(np.ptp(work.vertices[corners], axis=0)))
    corners = corners[np.argsort(work.vertices[corners, axis], kind="stable")]
    line, ends = work.vertices[corners, axis], np.stack([start[:, axis], stop[:, axis]], axis=1)
    first = np.searchsorted(line, ends.min(axis=1) - distance)
    last = np.searchsorted(line, ends.max(axis=1) + distance)
    if int((last - first).sum()) > MOST_LOOKS:
        return None
    found, along = np.zeros((len(sides) * MOST_ON_EDGE, 2), dtype=np.int64), np.zeros(len(sides) * MOST_ON_EDGE)
    number = corners_on_edges(work.vertices[corners], first, last, start, stop, distance, found, along)
    if number < 0:
        return None
    which, corner, place = found[:number, 0], corners[found[:number, 1]], along[:number]
    on = ~(work.faces[sides[which] // 3] == corner[:, None]).any(axis=1)
    which, corner, place = which[on], corner[on], place[on]
    first_of_face = np.full(len(work.faces), len(sides))
    np.minimum.at(first_of_face, sides[which] // 3, which)
    chosen = first_of_face[sides[which] // 3] == which
    return sides[which[chosen]], corner[chosen], place[chosen]


def edges_cut(work: Work, side: Ints, corner: Ints, along: Floats) -> Work:
    """Replace each face that has new corners on a side, one side at most, by a fan from the corner opposite.

    ``side`` (n,) are half-edges, ``corner`` (n,) a vertex on each, ``along`` (n,) how far along it lies.
    """
    order = np.lexsort((along, side))
    side, corner = side[order], corner[order]
    face, k = side // 3, side % 3
    is_first = np.append(True, side[1:] != side[:-1])
    is_last = np.append(side[1:] != side[:-1], True)
    start, stop = work.faces[face, k], work.faces[face, (k + 1) % 3]
    apex = work.faces[face, (k + 2) % 3]
    before = np.where(is_first, start, np.roll(corner, 1))
    pieces = np.concatenate(
        [
            np.stack([before, corner, apex], axis=1),
            np.stack([corner[is_last], stop[is_last], apex[is_last]], axis=1),
        ]
    )
    source = work.source[np.concatenate([face, face[is_last]])]
    keep = np.ones(len(work.faces), dtype=np.bool_)
    keep[face] = False
    return work.with_faces(
        work.vertices,
        np.concatenate([work.faces[keep], pieces]),
        np.concatenate([work.source[keep], source]),
    )
