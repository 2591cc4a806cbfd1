"""`Fold`: the flats of a cut blank, and how the bends between them move each."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.part.pieces import Blank
from geom.part.zones import STILL, Rigid, Zone
from geom.wording import mm

NEAR = 1e-7  # places nearer to each other than this are one [m]


@dataclass(frozen=True, eq=False)
class Fold:
    """Which flat each piece belongs to, and where each flat goes."""

    flat: Ints  # (pieces,) from 0, the one that stays; -1 in a bend
    motions: tuple[Rigid, ...]  # of each flat
    by_bend: tuple[int, ...]  # index of the bend that leads to each flat; -1 for the one that stays
    base: Ints  # (pieces,) flat on the fixed side of a piece in a bend; -1 in a flat
    stretch: Ints  # (pieces,) number of the flat or of the stretch of a bend that a piece belongs to


@dataclass(frozen=True, eq=False)
class Hinge:
    """One connected stretch of a bend, and the flats on its fixed side and beyond it, as groups of pieces."""

    zone: int
    fixed: set[int]
    beyond: set[int]


def folded(blank: Blank, zones: Sequence[Zone]) -> Fold:
    """Find the flats, and move each by the bends between it and the one that stays."""
    in_bend = np.array([piece.zone for piece in blank.pieces], dtype=np.int64)
    alike = in_bend[blank.inner[:, 0]] == in_bend[blank.inner[:, 1]]
    group = _groups(blank.inner[alike], len(in_bend))
    hinges = _hinges(blank, zones, in_bend, group)
    first = _staying(hinges)
    motions, by_bend, todo = {first: STILL}, {first: -1}, [first]
    while todo:
        here = todo.pop(0)
        for other, zone, motion in _beyond(here, hinges, zones):
            moved = motions[here].after(motion)
            if other not in motions:
                motions[other], by_bend[other] = moved, zone
                todo.append(other)
            elif np.abs(motions[other].of(_corners(blank)) - moved.of(_corners(blank))).max() > NEAR:
                raise PartError(
                    "part-bend-tears",
                    f"bend {zones[zone].number} joins flats that other bends move apart: the metal would tear",
                    hint="cut the outline where the corner has to open",
                )
    order = {flat: k for k, flat in enumerate(motions)}
    flat = [order[int(g)] if z < 0 else -1 for g, z in zip(group, in_bend, strict=True)]
    base = [order[min(hinges[int(g)].fixed)] if z >= 0 else -1 for g, z in zip(group, in_bend, strict=True)]
    return Fold(np.array(flat), tuple(motions.values()), tuple(by_bend.values()), np.array(base), group)


def _corners(blank: Blank) -> Floats:
    """Return the corners (4, 3) of the box around the blank."""
    (x0, y0), (x1, y1) = blank.points.min(axis=0), blank.points.max(axis=0)
    return np.array([[x0, y0, 0.0], [x1, y0, 0.0], [x0, y1, 0.0], [x1, y1, 0.0]])


def _groups(pairs: Ints, count: int) -> Ints:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _hinges(blank: Blank, zones: Sequence[Zone], in_bend: Ints, group: Ints) -> dict[int, Hinge]:
    """Return each stretch of each bend; one that ends within the metal, or at its edge, is refused."""
    hinges = {int(g): Hinge(int(z), set(), set()) for g, z in zip(group, in_bend, strict=True) if z >= 0}
    missing = [zone.number for k, zone in enumerate(zones) if k not in {hinge.zone for hinge in hinges.values()}]
    if missing:
        raise PartError(
            "part-bend-line",
            f"the line of bend {missing[0]} does not cross the part",
            hint="its ends are in the coordinates of the drawing",
        )
    middles = blank.points[blank.inner_side].mean(axis=1)
    for (a, b), middle in zip(blank.inner.tolist(), middles, strict=True):
        if in_bend[a] == in_bend[b]:
            continue
        bend, flat = (a, b) if in_bend[a] >= 0 else (b, a)
        zone = zones[in_bend[bend]]
        if in_bend[flat] >= 0:
            other = zones[in_bend[flat]].number
            raise PartError(
                "part-bend-overlap",
                f"bends {zone.number} and {other} touch at {_place(middle)}: no flat is left between them",
                hint="move the lines apart",
            )
        across = float(zone.placed(middle[None])[0][0])
        side = min(across, zone.width - across)
        if abs(side) > NEAR:
            raise PartError(
                "part-bend-line",
                f"the line of bend {zone.number} ends within the metal, at {_place(middle)}",
                hint="draw it from edge to edge; a flange beside metal that stays flat needs a relief cut",
            )
        hinge = hinges[int(group[bend])]
        (hinge.fixed if across < zone.width / 2 else hinge.beyond).add(int(group[flat]))
    for hinge in hinges.values():
        if not hinge.fixed or not hinge.beyond:
            zone = zones[hinge.zone]
            raise PartError(
                "part-bend-line",
                f"bend {zone.number} leaves no flat on {'its fixed' if not hinge.fixed else 'the other'} side: "
                f"it takes a strip {mm(zone.width)} mm wide",
                hint="move its line inward, or bend about a smaller radius",
            )
    return hinges


def _place(point: Floats) -> str:
    return f"({mm(float(point[0]))}, {mm(float(point[1]))}) mm of the drawing"


def _staying(hinges: dict[int, Hinge]) -> int:
    """Return the flat that stays: from the fixed side of the first bend on, against every bend that leads to it."""
    here = min(min(hinges.values(), key=lambda hinge: hinge.zone).fixed)
    seen = {here}
    while True:
        before = {flat for hinge in hinges.values() if here in hinge.beyond for flat in hinge.fixed} - seen
        if not before:
            return here
        here = min(before)
        seen.add(here)


def _beyond(here: int, hinges: dict[int, Hinge], zones: Sequence[Zone]) -> Iterator[tuple[int, int, Rigid]]:
    """Yield each flat that one bend parts from ``here``, that bend, and how the flat moves against ``here``."""
    for hinge in sorted(hinges.values(), key=lambda hinge: hinge.zone):
        motion = zones[hinge.zone].motion
        if here in hinge.fixed:
            yield from ((flat, hinge.zone, motion) for flat in sorted(hinge.beyond))
            yield from ((flat, hinge.zone, STILL) for flat in sorted(hinge.fixed - {here}))
        if here in hinge.beyond:
            yield from ((flat, hinge.zone, motion.undone) for flat in sorted(hinge.fixed))
            yield from ((flat, hinge.zone, STILL) for flat in sorted(hinge.beyond - {here}))
