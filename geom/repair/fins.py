"""Faces that hang on a solid by an edge, or lie loose beside it, and bound nothing."""

import numpy as np

from geom.arrays import Bools, Ints
from geom.repair.work import Work, at, count, noted, warned
from geom.surface.soundness import EdgeRuns, groups_of

MOST = 0.1  # of the area: more than that is no fin
LOOSE = 0.1  # of the whole area: loose pieces beside a solid that may be left out
AREALESS = 1e-12  # of the square of the diagonal: faces that weigh nothing


def fins_dropped(work: Work) -> Work:
    """Leave out patches with open edges that hang on others by edges of three faces, the small ones first."""
    start, gone = work, np.zeros(0, dtype=np.int64)
    left = MOST * work.area
    kept = np.arange(len(work.faces))
    while len(work.edges.open) and len(work.edges.crowded):
        fin = _fins(work, left)
        if not fin.any():
            break
        left -= float(work.areas[fin].sum())
        gone = np.append(gone, kept[fin])
        kept = kept[~fin]
        work = work.without(fin)
    if not len(gone):
        return work
    area, first = float(start.areas[gone].sum()), int(gone.min())
    where = f"first face {start.source[first] + 1} at {at(start.place(first))}"
    if area <= AREALESS * work.diagonal**2:
        words = f"{count(len(gone), 'face')} without area, closing nothing, left out, {where}"
        return work.with_changes(noted("repair-degenerate", words, len(gone), start.place(first))).compacted()
    words = (
        f"{count(len(gone), 'face')} hanging on the solid and enclosing nothing left out, {where}; {start.share(area)}"
    )
    return work.with_changes(warned("repair-fin", words, len(gone), -area, start.place(first))).compacted()


def _fins(work: Work, most: float) -> Bools:
    """Which faces (m,) to leave out next: patches, least area first, never the heaviest patch of a connected piece."""
    runs = work.runs
    patch = patches_of(work.faces, runs)
    number = int(patch.max()) + 1
    area = np.bincount(patch, work.areas, number)
    hangs = np.zeros(number, dtype=np.bool_)
    hangs[patch[runs.members(runs.count == 1) // 3]] = True
    on_crowd = runs.members(runs.count > 2)
    edge = np.repeat(np.arange(int((runs.count > 2).sum())), runs.count[runs.count > 2])
    of_patch = patch[on_crowd // 3]
    has_crowd = np.zeros(number, dtype=np.bool_)
    has_crowd[of_patch] = True
    # a patch that meets an edge twice runs through there and is no fin
    met, times = np.unique(edge * number + of_patch, return_counts=True)
    hangs[met[times > 1] % number] = False
    hangs &= has_crowd
    piece = groups_of(np.stack([edge + number, of_patch], axis=1), number + int(edge.max(initial=-1)) + 1)[:number]
    heaviest = np.zeros(int(piece.max()) + 1)
    np.maximum.at(heaviest, piece, area)
    hangs &= area < heaviest[piece]
    order = np.argsort(area, kind="stable")
    order = order[hangs[order]]
    within = np.cumsum(area[order]) <= most
    chosen = np.zeros(number, dtype=np.bool_)
    chosen[order[within]] = True
    return chosen[patch]


def patches_of(faces: Ints, runs: EdgeRuns) -> Ints:
    """Label (m,) of the patch of each face: faces joined by edges of exactly two."""
    double = runs.begin[runs.count == 2]
    return groups_of(np.stack([runs.order[double] // 3, runs.order[double + 1] // 3], axis=1), len(faces))


def loose_dropped(work: Work, loose: Bools) -> Work:
    """Leave out loose faces (m,)."""
    area, first = float(work.areas[loose].sum()), int(np.argmax(loose))
    number = int(loose.sum())
    words = (
        f"{count(number, 'loose face')} bounding no solid left out, first face "
        f"{work.source[first] + 1} at {at(work.place(first))}; {work.share(area)}"
    )
    return work.without(loose, warned("repair-loose", words, number, -area, work.place(first))).compacted()
