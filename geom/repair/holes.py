"""Gaps in a skin: small ones and missing facets are filled; what is open on purpose is a sheet."""

import itertools
from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.repair.fins import LOOSE, loose_dropped
from geom.repair.work import Work, at, count, marks, warned
from geom.surface.shell import area_vector, triangulate
from geom.surface.soundness import groups_of
from geom.wording import mm2

SMALL = 0.01  # of the area of the piece: the most that is filled without asking
FACET = 0.25  # the same for missing facets of a flat face
SHEETS = 4  # open pieces of a file; more are the scattered faces of a skin that does not hold together
WIDE = 0.2  # openings of more than this share of the area of a piece make it a sheet
FLAT = 1e-4  # stray of a flat gap from its plane, as a share of its size
FLUSH = 1e-4  # sine between a gap and the flat face that it is missing from
MOST_OPEN, MOST_PIECES = 20_000, 1_000  # open edges, and pieces that have some, that are looked at
CORNERS_OF_FACETS = 6  # a gap of more, flush all round, is taken for the opening of a bore


@dataclass(frozen=True, eq=False)
class Gap:
    """A closed ring of open edges and the faces that would fill it."""

    ring: Ints  # vertices, in the sense of the fill
    faces: Ints  # (k, 3); none where it cannot be filled
    area: float  # of the fill [m²]
    piece: int  # the connected piece of the skin it is in
    flat: bool
    facet: bool  # flat, and flush with a neighbouring face


def holes_filled(work: Work, *, thickness: float = 0.0) -> Work:
    """Fill the gaps of each piece whose gaps are all small or missing facets; make sheets solid; refuse the rest."""
    if not len(work.edges.open):
        return work
    if len(work.edges.open) > MOST_OPEN:
        raise _open(work, work.open_corners, f"{len(work.edges.open)} edges are open")
    piece = pieces_of(work)
    area = np.bincount(piece, work.areas)
    runs = work.runs
    opened = np.zeros(len(area), dtype=np.bool_)
    opened[piece[runs.members(runs.count == 1) // 3]] = True
    if opened.sum() > MOST_PIECES:
        raise _open(work, work.open_corners, f"it is in {opened.sum()} pieces that are open")
    gaps, dead = gaps_of(work, piece)
    own: dict[int, list[Gap]] = {}
    for gap in gaps:
        own.setdefault(gap.piece, []).append(gap)
    fills = np.zeros(len(area), dtype=np.bool_)
    for k, some in own.items():
        fills[k] = k not in dead and _may_fill(some, float(area[k]))
    filled = _filled(work, [gap for gap in gaps if fills[gap.piece]])
    stays = np.zeros(len(filled.faces), dtype=np.bool_)
    stays[: len(piece)] = (opened & ~fills)[piece]
    if not stays.any():
        return filled
    return _without_sheets(filled, stays, [gap for gap in gaps if not fills[gap.piece]], thickness)


def pieces_of(work: Work) -> Ints:
    """Label (m,) of the connected piece of each face; any shared edge joins."""
    runs, number = work.runs, len(work.faces)
    edge = np.repeat(np.arange(len(runs.count)), runs.count)
    links = np.stack([runs.order // 3, number + edge], axis=1)
    return groups_of(links, number + len(runs.count))[:number]


def gaps_of(work: Work, piece: Ints) -> tuple[list[Gap], list[int]]:
    """Return the gaps, and the pieces whose open edges make no rings."""
    runs = work.runs
    sides = runs.members(runs.count == 1)
    rings, stray = rings_of(runs.stop[sides], runs.start[sides])
    side_of = {(int(runs.stop[s]), int(runs.start[s])): int(s) for s in sides}
    gaps = [_gap(work, np.array(ring, dtype=np.int64), side_of, piece) for ring in rings]
    dead = {int(piece[side_of[arrow] // 3]) for arrow in stray}
    return gaps, sorted(dead)


def rings_of(tail: Ints, head: Ints) -> tuple[list[list[int]], list[tuple[int, int]]]:
    """Take arrows apart into simple rings of vertices; return also those that close to none."""
    out: dict[int, list[int]] = {}
    for a, b in zip(tail.tolist(), head.tolist(), strict=True):
        out.setdefault(a, []).append(b)
    rings: list[list[int]] = []
    stray: list[tuple[int, int]] = []
    for start in list(out):
        while out[start]:
            path, place = [start], {start: 0}
            while out.get(path[-1]):
                following = out[path[-1]].pop()
                if following in place:
                    cut = place[following]
                    rings.append(path[cut:])
                    for vertex in path[cut + 1 :]:
                        del place[vertex]
                    path = path[: cut + 1]
                else:
                    place[following] = len(path)
                    path.append(following)
            stray += list(itertools.pairwise(path))
    return rings, stray


def _gap(work: Work, ring: Ints, side_of: dict[tuple[int, int], int], piece: Ints) -> Gap:
    points = work.vertices[ring]
    beside = np.array([side_of[a, b] // 3 for a, b in zip(ring.tolist(), np.roll(ring, -1).tolist(), strict=True)])
    vector = area_vector(points)
    size = float(np.linalg.norm(np.ptp(points, axis=0)))
    faces = _fill(work.vertices, ring, vector, size)
    corners = work.vertices[faces]
    vectors = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = float(np.linalg.norm(vectors, axis=1).sum())
    length = float(np.linalg.norm(vector))
    flat = facet = False
    if length > 1e-9 * size**2:
        normal = vector / length
        flat = bool(np.abs((points - points.mean(axis=0)) @ normal).max() <= FLAT * size)
        areas = np.maximum(work.areas[beside], 1e-300)
        sine = np.linalg.norm(np.cross(work.area_vectors[beside], normal), axis=1) / areas
        flush = (sine <= FLUSH) & (work.area_vectors[beside] @ normal > 0)
        facet = flat and bool(flush.any()) and not (bool(flush.all()) and len(ring) > CORNERS_OF_FACETS)
    return Gap(ring, faces, area, int(piece[beside[0]]), flat, facet)


def _fill(vertices: Floats, ring: Ints, vector: Floats, size: float) -> Ints:
    """Faces that fill a ring, triangulated in the plane of its area; a fan where it has none."""
    if len(ring) == 3:
        return ring[None, :]
    if float(np.linalg.norm(vector)) <= 1e-9 * size**2:
        return np.stack([np.full(len(ring) - 2, ring[0]), ring[1:-1], ring[2:]], axis=1)
    faces = triangulate(vertices, [ring])
    return faces if len(faces) == len(ring) - 2 else np.zeros((0, 3), dtype=np.int64)


def _may_fill(gaps: list[Gap], area: float) -> bool:
    """May all gaps of a piece of some area be filled?"""
    if any(not len(gap.faces) for gap in gaps):
        return False
    whole = sum(gap.area for gap in gaps)
    other = sum(gap.area for gap in gaps if not gap.facet)
    return other <= SMALL * area and whole <= FACET * area


def _without_sheets(work: Work, sheets: Bools, gaps: list[Gap], thickness: float) -> Work:
    """Deal with ``sheets`` (m,) of faces that stay open: little ones beside a solid are left out, the rest refused.

    Where a thickness is given, all become solid.
    """
    scattered = len(np.unique(pieces_of(work)[sheets])) > SHEETS
    if thickness > 0 and not scattered:
        return _solid(work, sheets, thickness)
    total = float(work.areas[sheets].sum())
    if total <= LOOSE * work.area:
        return loose_dropped(work, sheets)
    opening = sum(gap.area for gap in gaps)
    where = np.concatenate([gap.ring for gap in gaps]) if gaps else work.open_corners
    if gaps and not scattered and (opening > WIDE * total or all(gap.flat for gap in gaps)):
        first = at(work.vertices[gaps[0].ring].mean(axis=0))
        raise PartError(
            "part-mesh-sheet",
            f"the mesh has an open skin of {mm2(total)} ({count(int(sheets.sum()), 'face')}) without "
            f"thickness: {count(len(gaps), 'opening')} of {mm2(opening)}, first at {first}",
            hint='a sheet or tray: give its thickness, --thickness 2mm or thickness = "2 mm" under [part]; '
            "a solid: close it in the program that made it",
            marks=marks(work.vertices[where]),
        )
    if gaps:
        raise _open(work, where, f"{count(len(gaps), 'gap')} in the skin, {work.share(opening)}")
    raise _open(work, where, f"{count(len(work.edges.open), 'edge')} with a face on one side only")


def _solid(work: Work, sheets: Bools, thickness: float) -> Work:
    """Give the faces of ``sheets`` (m,) their thickness."""
    from geom.repair.thicken import thickened

    alone = work.without(~sheets).compacted()
    vertices, faces, source, change = thickened(alone.vertices, alone.faces, alone.source, thickness)
    rest = work.without(sheets, change)
    return rest.with_faces(
        np.concatenate([rest.vertices, vertices]),
        np.concatenate([rest.faces, faces + len(rest.vertices)]),
        np.append(rest.source, source),
    ).compacted()


def _open(work: Work, where: Ints, words: str) -> PartError:
    return PartError(
        "part-mesh-open",
        f"the mesh is not closed: {words}, too much to be filled; first at {at(work.vertices[where[0]])}",
        hint="close it in the program that made it and export it again; if it is a sheet, give its thickness",
        marks=marks(work.vertices[where]),
    )


def _filled(work: Work, gaps: list[Gap]) -> Work:
    if not gaps:
        return work
    area = sum(gap.area for gap in gaps)
    faces = np.concatenate([gap.faces for gap in gaps])
    facets = sum(gap.facet for gap in gaps)
    words = (
        f"{count(len(gaps), 'gap')} in the skin filled by {count(len(faces), 'face')}, {work.share(area)}"
        f"{f', {facets} of them missing from a flat face' if facets else ''}; first at "
        f"{at(work.vertices[gaps[0].ring].mean(axis=0))}"
    )
    change = warned("repair-hole-filled", words, len(faces), area, work.vertices[gaps[0].ring].mean(axis=0))
    return work.with_faces(
        work.vertices,
        np.concatenate([work.faces, faces]),
        np.append(work.source, np.full(len(faces), -1)),
        change,
    )
