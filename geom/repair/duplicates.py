"""Faces that lie on the same three corners: given twice, or the joint between two bodies."""

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.repair.change import Change
from geom.repair.work import Work, count, warned
from geom.surface.soundness import edge_runs, groups_of, triples


def doubles_dropped(work: Work) -> Work:
    """Keep one of the faces on the same corners; none where they are a joint that other faces close round.

    Which of the two it is does not hang on how they are wound: it is a joint when the faces beside it close
    without it and do not close with it.
    """
    number = triples(work.faces)
    copies = np.bincount(number)
    if len(copies) == len(work.faces):
        return work
    first = np.full(len(copies), len(work.faces))
    np.minimum.at(first, number, np.arange(len(work.faces)))
    joint = _joints(work.faces[first], copies > 1)[number]
    spare = ~joint
    spare[first] = False
    changes: list[Change] = []
    if spare.any():
        words = "on the corners of another left out, so that each counts once"
        changes.append(warned("repair-double", *_told(work, spare, words)))
    if joint.any():
        words = "on each other inside a joint left out: it is not wetted"
        changes.append(warned("repair-joint", *_told(work, joint, words)))
    return work.without(spare | joint, *changes).compacted()


def _told(work: Work, dropped: Bools, words: str) -> tuple[str, int, float, Floats]:
    """Return message, number of faces, change of area and place."""
    area, where = float(work.areas[dropped].sum()), np.flatnonzero(dropped)
    message = f"{count(len(where), 'face')} {words}, first face {work.source[where[0]] + 1}; {work.share(area)} less"
    return message, len(where), -area, work.place(int(where[0]))


def _joints(faces: Ints, doubled: Bools) -> Bools:
    """Which of single ``faces`` (m, 3) are joints? Looks at pieces of ``doubled`` faces joined by edges."""
    runs = edge_runs(faces)
    edge = np.zeros(3 * len(faces), dtype=np.int64)
    edge[runs.order] = np.repeat(np.arange(len(runs.count)), runs.count)
    sides = np.flatnonzero(np.repeat(doubled, 3))
    # doubled faces and their edges as nodes of one graph
    links = np.stack([sides // 3, len(faces) + edge[sides]], axis=1)
    piece = groups_of(links, len(faces) + len(runs.count))
    other = runs.count - np.bincount(edge[sides], minlength=len(runs.count))
    spoils = np.zeros(int(piece.max()) + 1, dtype=np.bool_)
    crowds = np.zeros(len(spoils), dtype=np.bool_)
    of_side = piece[sides // 3]
    spoils[of_side[other[edge[sides]] % 2 == 1]] = True
    crowds[of_side[runs.count[edge[sides]] > 2]] = True
    return np.asarray(doubled & crowds[piece[: len(faces)]] & ~spoils[piece[: len(faces)]])
