"""Faces of one patch wound alike, and bodies outside out. No area changes by it."""

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.repair.nesting import MOST_PAIRS, is_within, meeting_boxes, sorted_bodies, wraps
from geom.repair.work import Work, at, count, marks, warned
from geom.surface.soundness import groups_of

FLUSH = 1e-6  # of the diagonal: a body nearer to the box of another than this is no void in it
SAMPLES = 8  # places of a body that must lie in another for it to be inside


def wound_alike(work: Work) -> Work:
    """Turn faces so that neighbours over an edge of two are wound alike; the lesser area of a patch is turned."""
    if not len(work.edges.twisted):
        return work
    turned = _to_turn(work)
    faces = np.where(turned[:, None], work.faces[:, ::-1], work.faces)
    where = np.flatnonzero(turned)
    message = (
        f"{count(len(where), 'face')} of {len(faces)} wound the other way than the neighbours turned over, "
        f"first face {work.source[where[0]] + 1}; area unchanged"
    )
    change = warned("repair-winding", message, len(where), 0.0, work.place(int(where[0])))
    return work.with_faces(work.vertices, faces, work.source, change)


def _to_turn(work: Work) -> Bools:
    """Which faces (m,) to turn: two colours over edges of two faces, found on a graph with each face twice.

    Node f is face f as it is, node f + m the same turned. A face in one group with its turned self lies on a
    surface with one side only.
    """
    count_ = len(work.faces)
    runs = work.runs
    double = runs.begin[runs.count == 2]
    one, two = runs.order[double], runs.order[double + 1]
    twisted = runs.start[one] == runs.start[two]
    face, other = one // 3, two // 3
    links = np.concatenate(
        [
            np.stack([face, np.where(twisted, other + count_, other)], axis=1),
            np.stack([face + count_, np.where(twisted, other, other + count_)], axis=1),
        ]
    )
    label = groups_of(links, 2 * count_)
    as_is, turned = label[:count_], label[count_:]
    one_sided = as_is == turned
    if one_sided.any():
        first = int(np.argmax(one_sided))
        raise PartError(
            "part-mesh-one-sided",
            f"{count(int(one_sided.sum()), 'face')} make a surface with one side only, as a band joined after half "
            f"a twist; first face {work.source[first] + 1} at {at(work.place(first))}",
            hint="no solid has such a skin: look for faces joined the wrong way, and model it anew",
            marks=marks(work.middles(one_sided)),
        )
    # the groups come in twos, one the mirror of the other; the one with more area as it is stands
    weight = np.bincount(label[:count_], work.areas, minlength=int(label.max()) + 1)
    lighter = weight[as_is] < weight[turned]
    tie = (weight[as_is] == weight[turned]) & (as_is > turned)
    return np.asarray(lighter | tie)


def outside_out(work: Work, body: Ints, *, was_mixed: bool) -> Work:
    """Turn bodies, by label (m,), over that are wound inside out: those that lie in no other, with all that lies in them.

    Where the file was wound both ways, the sense of an inner body says nothing; it is then set by how many bodies
    it lies in.
    """
    volume = np.asarray(np.bincount(body, work.volumes), dtype=np.float64)
    number = len(volume)
    doubtful = (volume < 0) | was_mixed if number > 1 else volume < 0
    if not doubtful.any():
        return work
    if number == 1:
        turned = np.ones(1, dtype=np.bool_)
    else:
        turned = _bodies_to_turn(work, body, volume, doubtful, was_mixed=was_mixed)
    if not turned.any():
        return work
    over = turned[body]
    faces = np.where(over[:, None], work.faces[:, ::-1], work.faces)
    first = int(np.argmax(over))
    bodies = "" if number == 1 else f" in {turned.sum()} of {number} bodies"
    message = f"{count(int(over.sum()), 'face')}{bodies} wound inside out turned over; area unchanged"
    change = warned("repair-inside-out", message, int(over.sum()), 0.0, work.place(first))
    return work.with_faces(work.vertices, faces, work.source, change)


def _bodies_to_turn(work: Work, body: Ints, volume: Floats, doubtful: Bools, *, was_mixed: bool) -> Bools:
    """Which bodies to turn, by what they lie in."""
    bodies, _ = sorted_bodies(work.vertices, work.faces, body)
    near = meeting_boxes(bodies, 0.0, MOST_PAIRS)
    near = np.concatenate([near, near[:, ::-1]])
    near = near[is_within(bodies, near[:, 0], near[:, 1])]
    if was_mixed:  # a void has metal all round; what lies flush in another is metal
        low, high = bodies.box
        room = FLUSH * work.diagonal
        deep = (low[near[:, 0]] > low[near[:, 1]] + room) & (high[near[:, 0]] < high[near[:, 1]] - room)
        near = near[deep.all(axis=1)]
    inside = near[(wraps(bodies, near[:, 0], near[:, 1], SAMPLES) != 0).all(axis=1)]
    holders = np.bincount(inside[:, 0], minlength=len(volume))
    turned = doubtful & ((volume < 0) == (holders % 2 == 0)) & (was_mixed | (holders == 0))
    if not was_mixed:  # what lies in a body that is turned goes with it
        turned |= np.bincount(inside[:, 0], turned[inside[:, 1]], len(volume)) > 0
    return np.asarray(turned)
