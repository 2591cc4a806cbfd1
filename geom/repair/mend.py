"""`mended`: faces of any quality become the skin of sound solids, or are refused; each change is told."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.findings import Severity
from geom.repair.apart import balanced, skins_of, taken_apart
from geom.repair.bodies import United, united
from geom.repair.change import Change, Mended
from geom.repair.duplicates import doubles_dropped
from geom.repair.fins import fins_dropped, loose_dropped
from geom.repair.holes import holes_filled
from geom.repair.parted import bodies_parted
from geom.repair.solidity import check_solid, flat_skins
from geom.repair.weld import corners_joined, cracks_closed
from geom.repair.winding import outside_out, wound_alike
from geom.repair.work import Work, at, count, warned

AREALESS = 1e-12  # area of a mesh that has none, as a share of the square of its diagonal


def mended(vertices: Floats, faces: Ints, source: Ints, *, strict: bool = False, thickness: float = 0.0) -> Mended:
    """Return the outer skin of the solids that the faces of a file bound.

    Parameters
    ----------
    vertices : (n, 3) [m], finite; a corner of each face of its own, or shared
    faces : (m, 3)
    source : (m,) face of the file that each one came from
    strict : refuse faces that would have to be changed
    thickness : of a sheet that the file draws without any [m]; 0: refuse one

    Raises
    ------
    PartError
        what cannot be repaired honestly, with the places in ``marks``.
    """
    work = corners_joined(_started(vertices, faces, source))
    _check_area(work)
    work = bodies_parted(work)
    work = cracks_closed(work)
    work = doubles_dropped(work)
    _check_left(work)
    work = fins_dropped(work)
    was_mixed = bool(len(work.edges.twisted))
    work = wound_alike(work)
    work = holes_filled(work, thickness=thickness)
    work, skin = _as_solids(work, was_mixed=was_mixed)
    check_solid(work)
    _check_strict(work.changes, strict=strict)
    return Mended(work.vertices, work.faces, work.source, skin.bodies, work.changes, skin.findings)


def _as_solids(work: Work, *, was_mixed: bool) -> tuple[Work, United]:
    """Return the work on the outer skin of closed faces, and the skin."""
    edges = len(work.edges.crowded)
    work = balanced(work)
    skin_of = skins_of(work)
    flat = flat_skins(work, skin_of)
    if flat.any():
        work, skin_of = loose_dropped(work, flat), skin_of[~flat]
    work = outside_out(work, skin_of, was_mixed=was_mixed)
    work, places = taken_apart(work)
    skin = united(work.vertices, work.faces, work.source)
    changes = skin.changes
    if len(places) and len(skin.faces) == len(work.faces):
        along = f"along {count(edges, 'edge')} and " if edges else ""
        words = (
            f"the skin touches itself {along}at {count(len(places), 'point')}, first at {at(places[0])}; taken apart "
            "there, area unchanged"
        )
        changes = (warned("repair-apart", words, 0, 0.0, places[0]), *changes)
    if skin.faces is not work.faces:
        work = work.with_faces(skin.vertices, skin.faces, skin.source)
    return (work.with_changes(*changes) if changes else work), skin


def _started(vertices: Floats, faces: Ints, source: Ints) -> Work:
    work = Work(vertices, faces, source, 0.0).compacted()
    diagonal = float(np.linalg.norm(np.ptp(work.vertices, axis=0)))
    return Work(work.vertices, work.faces, work.source, diagonal)


def _check_area(work: Work) -> None:
    if not len(work.faces) or work.area <= AREALESS * work.diagonal**2:
        raise PartError("part-mesh-flat", "no face of the mesh has an area")


def _check_left(work: Work) -> None:
    if not len(work.faces):
        raise PartError(
            "part-mesh-sheet",
            "every face of the mesh lies on another: the mesh is a sheet without thickness",
            hint="draw its thickness, or export one side only and give --thickness",
        )


def _check_strict(changes: tuple[Change, ...], *, strict: bool) -> None:
    """Refuse what was changed, where changes are not wanted."""
    grave = [change for change in changes if change.severity is not Severity.NOTE]
    if strict and grave:
        listed = "; ".join(f"{change.code}: {change.message}" for change in grave)
        raise PartError(
            "part-mesh-strict",
            f"the mesh would have to be repaired, and that is not wanted: {listed}",
            hint="repair it in the program that made it, or leave out --strict",
            marks=[change.place for change in grave if change.place is not None],
        )
