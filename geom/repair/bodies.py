"""`united`: closed bodies that touch, overlap or lie in each other become the skin of their union."""

from dataclasses import dataclass, replace

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.repair.change import Change
from geom.repair.gaps import narrow_gaps
from geom.repair.intersections import crossing_faces
from geom.repair.joining import joined_bodies
from geom.repair.nesting import MOST_PAIRS, Bodies, is_within, meeting_boxes, sorted_bodies, wraps
from geom.repair.work import at, count, marks, warned
from geom.surface.soundness import edge_report, groups_of
from geom.wording import mm2


@dataclass(frozen=True, eq=False)
class United:
    """The outer skin of one or more solids, and what was done for it."""

    vertices: Floats  # (n, 3) [m]
    faces: Ints  # (m, 3)
    source: Ints  # (m,) the face of the file each one lies on, as it was given
    body: Ints  # (m,) which of the separate solids each face belongs to, largest volume first
    bodies: int  # separate solids
    changes: tuple[Change, ...] = ()
    findings: tuple[Finding, ...] = ()


def united(vertices: Floats, faces: Ints, source: Ints, *, vented: bool = False) -> United:
    """Return the outer skin of the union of closed bodies.

    A body is a set of faces joined by whole edges. Bodies of positive volume are added together, those inside
    another swallowed. A body of negative volume inside another is a sealed void, and left out (the solid is
    filled) unless ``vented``; one that crosses the outside is cut out. Bodies that meet no other are kept to
    the bit.

    Parameters
    ----------
    vertices : (n, 3) [m]
    faces : (m, 3), each edge of exactly two faces, wound alike: split the vertices of edges with four
    source : (m,) face of the file
    vented : do the bath and the air get into the voids? Then their walls stay.

    Raises
    ------
    PartError
        part-mesh-crossing where one body passes through itself; part-mesh-inside-out where a body of negative
        volume lies outside every other; part-mesh-flat where nothing is left; part-mesh-tangled where it would take
        too long to join them.
    """
    body = groups_of(edge_report(faces).pairs // 3, len(faces))
    given, order = sorted_bodies(vertices, faces, body)
    found = _skin(vertices, faces, source[order], order, given, vented=vented)
    if (given.volume > 0).sum() < 2:
        return found
    return replace(found, findings=found.findings + narrow_gaps(found.vertices, found.faces))


def _skin(vertices: Floats, faces: Ints, source: Ints, order: Ints, given: Bodies, *, vented: bool) -> United:
    """Return the skin of the bodies; ``source`` is in their order, ``faces`` and ``order`` as they came."""
    crossing = _crossing_bodies(given, source)
    changes: tuple[Change, ...] = ()
    shells = given
    if len(given) > 1:
        meeting = _meeting(given, crossing)
        if len(meeting):
            shells, source, changes = joined_bodies(given, source, meeting, crossing)
    if not len(shells):
        raise PartError("part-mesh-flat", "the bodies of the mesh cancel each other: no metal is left")
    keep, owner, told = _nested(shells, vented=vented)
    changes += told
    if shells is given and keep.all():
        return _as_given(vertices, faces, order, source, given, owner, changes)
    rows = np.repeat(keep, np.diff(shells.start))
    used, left = np.unique(shells.faces[rows], return_inverse=True)
    label = np.repeat(owner, np.diff(shells.start))[rows]
    findings = _separate(shells, keep, owner)
    bodies = int(owner.max()) + 1
    return United(shells.vertices[used], left.reshape(-1, 3), source[rows], label, bodies, changes, findings)


def _as_given(
    vertices: Floats,
    faces: Ints,
    order: Ints,
    source: Ints,
    given: Bodies,
    owner: Ints,
    changes: tuple[Change, ...],
) -> United:
    """Return the faces as they came, in their own order."""
    back = np.argsort(order)
    label = np.repeat(owner, np.diff(given.start))[back]
    findings = _separate(given, np.ones(len(given), dtype=np.bool_), owner)
    return United(vertices, faces, source[back], label, int(owner.max()) + 1, changes, findings)


def _crossing_bodies(bodies: Bodies, source: Ints) -> Ints:
    """Return the pairs (k, 2) of faces of different bodies that cross; refuse a body that crosses itself."""
    pairs = crossing_faces(bodies.vertices, bodies.faces, MOST_PAIRS)
    body = np.searchsorted(bodies.start, pairs, side="right") - 1
    own = body[:, 0] == body[:, 1]
    if own.any():
        faces = np.unique(pairs[own])
        middle = bodies.corners[faces].mean(axis=1)
        one, two = (int(source[face]) + 1 for face in pairs[own][0])
        raise PartError(
            "part-mesh-crossing",
            f"the surface passes through or lies on itself at {count(len(faces), 'face')}, first face {one} of the "
            f"file through face {two} at {at(middle[0])}",
            hint="where it crosses itself nobody can tell metal from bath: join the pieces into one solid in the "
            "program that made it, and export it again",
            marks=marks(middle),
        )
    if len(pairs) == MOST_PAIRS:
        raise _tangled(f"{MOST_PAIRS} pairs of faces of different bodies cross", bodies)
    return pairs


def _tangled(words: str, bodies: Bodies) -> PartError:
    return PartError(
        "part-mesh-tangled",
        f"at least {words}: the {len(bodies)} bodies of the file are too tangled to be joined",
        hint="join the bodies in the program that made them, or export them one at a time",
    )


def _meeting(bodies: Bodies, crossing: Ints) -> Ints:
    """Return the pairs (k, 2) of bodies whose surfaces meet.

    Besides those with faces that cross: those of which one lies in the other with some of its places only.
    """
    body = np.searchsorted(bodies.start, crossing, side="right") - 1
    size = len(bodies)
    known = np.unique(np.sort(body, axis=1) @ np.array([size, 1]))
    near = _near(bodies)
    near = near[~np.isin(near @ np.array([size, 1]), known)]
    partly = np.zeros(len(near), dtype=np.bool_)
    for one, two in ((0, 1), (1, 0)):
        times = wraps(bodies, near[:, one], near[:, two])
        partly |= (times != times[:, :1]).any(axis=1)
    return np.concatenate([np.stack([known // size, known % size], axis=1), near[partly]])


def _near(bodies: Bodies) -> Ints:
    """Return the pairs (k, 2) of bodies whose boxes meet."""
    near = meeting_boxes(bodies, 0.0, MOST_PAIRS)
    if len(near) >= MOST_PAIRS:
        raise _tangled(f"{MOST_PAIRS} pairs of bodies lie in each other's boxes", bodies)
    return near


def _nested(shells: Bodies, *, vented: bool) -> tuple[Bools, Ints, tuple[Change, ...]]:
    """Return which shells (n,) bound the metal, the solid (n,) each belongs to, and what is told of the rest.

    No two shells cross, so each lies in another with all of itself or not at all. A shell is a wall where the
    metal ends at it: the shells round it add up to none or less outside it and one or more inside.
    """
    volume, size = shells.volume, len(shells)
    near = _near(shells)
    near = np.concatenate([near, near[:, ::-1]])
    near = near[is_within(shells, near[:, 0], near[:, 1])]
    inside = near[(wraps(shells, near[:, 0], near[:, 1], 1) != 0)[:, 0]]
    sense = np.sign(volume).astype(np.int64)
    outside = np.bincount(inside[:, 0], sense[inside[:, 1]], size).astype(np.int64)
    wall = np.where(sense > 0, outside <= 0, outside == 1)
    walled = inside[(wall & (volume > 0))[inside[:, 1]]]
    sealed = np.bincount(walled[:, 0], minlength=size) > 0
    _check_senses(shells, (volume < 0) & (outside <= 0) & (~sealed | vented))
    void = wall & (volume < 0)
    keep = wall if vented else wall & ~sealed
    changes = []
    if void.any() and not vented:
        area = float(shells.area[void].sum())
        whole = float(shells.area[keep].sum())
        message = (
            f"{count(int(void.sum()), 'sealed void')} inside left out, {mm2(area, 6)} of wall that the bath "
            f"does not reach ({area / whole * 100:.3g} % of the area that is left)"
        )
        loose = int((wall & sealed & (volume > 0)).sum())
        if loose:
            message += f"; with {count(loose, 'loose piece')} of metal shut in"
            area += float(shells.area[wall & sealed & (volume > 0)].sum())
        faces = int(np.diff(shells.start)[wall & sealed].sum())
        changes.append(warned("part-void", message, faces, -area, np.array(shells.place(int(np.argmax(void))))))
    if not wall.all():
        area = float(shells.area[~wall].sum())
        message = f"{count(int((~wall).sum()), 'shell')} wholly within another body left out, {mm2(area, 6)}"
        faces = int(np.diff(shells.start)[~wall].sum())
        place = np.array(shells.place(int(np.argmin(wall))))
        changes.append(warned("part-swallowed", message, faces, -area, place))
    return keep, _owners(shells, keep, inside), tuple(changes)


def _check_senses(shells: Bodies, wrong: Bools) -> None:
    """Refuse shells wound inside out that lie in no metal: which way they were meant nobody can tell."""
    if wrong.any():
        first = int(np.argmax(wrong))
        raise PartError(
            "part-mesh-inside-out",
            f"{count(int(wrong.sum()), 'shell')} wound inside out outside all metal, first at "
            f"{at(np.array(shells.place(first)))}",
            hint="flip or recalculate the normals and export it again",
            marks=[shells.place(int(body)) for body in np.flatnonzero(wrong)[:100]],
        )


def _owners(shells: Bodies, keep: Bools, inside: Ints) -> Ints:
    """Number (n,) of the solid each shell that is kept belongs to, largest volume first; -1 for the others."""
    owner = np.full(len(shells), -1, dtype=np.int64)
    outer = np.flatnonzero(keep & (shells.volume > 0))
    owner[outer[np.argsort(-shells.volume[outer], kind="stable")]] = np.arange(len(outer))
    for void in np.flatnonzero(keep & (shells.volume < 0)):
        round_it = inside[inside[:, 0] == void, 1]
        round_it = round_it[owner[round_it] >= 0]
        owner[void] = owner[round_it[np.argmin(np.abs(shells.volume[round_it]))]]
    return owner


def _separate(shells: Bodies, keep: Bools, owner: Ints) -> tuple[Finding, ...]:
    """Say that there is more than one solid."""
    number = int(owner.max()) + 1
    if number < 2:
        return ()
    second = int(np.flatnonzero(owner == 1)[0])
    area = float(shells.area[owner == 0].sum())
    message = (
        f"the file holds {number} separate bodies, the largest with {mm2(area, 6)} of "
        f"{mm2(float(shells.area[keep].sum()), 6)}, the second near {at(np.array(shells.place(second)))}; all "
        "hang at once and each needs its own contact"
    )
    return (Finding(Severity.WARNING, "part-bodies", message),)
