"""STEP files, by an optional library: solids cut into triangles twice, and taken only where the two agree.

The library (cascadio, the extra "step") passes over what it does not understand, hands on triangles without saying how
true they are, and a face it fails to cut is simply missing. So the text must be whole, every solid closed and right side
out, every face of the file must have triangles, these must lie on the surface that the face is declared to have, and the
area of two finenesses must agree.
"""

import re
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats.glb import Piece, read_glb
from geom.formats.raw import RawMesh, malformed, shown
from geom.formats.step_surfaces import distances
from geom.formats.step_text import check_text
from geom.surface.soundness import welded

MILLIMETRE = 1e-3  # the unit of the mesh handed on, whatever the unit of the file
FACE = re.compile(rb"[=(\s](?:ADVANCED_FACE|FACE_SURFACE)\s*\(")
FIRST_CHORD = 1e-4  # between chord and surface, before the size of the part is known [m]
NEAR_ENOUGH = 4.0  # factor by which that may miss what is wanted
SEAM = 1e-6  # of the size of the part: edges of two faces nearer than this are one
OFF_SURFACE = 1e-4  # of the size of the part: how far a corner may lie off the surface of its face
FINE_ENOUGH = 2e-4  # relative error of area at which the coarser of two finenesses is handed on
MOST_MARKS = 100  # of a defect, in its picture
AGREEMENT = 2e-3  # relative difference of area allowed between two finenesses


@dataclass(frozen=True, slots=True)
class Fineness:
    """How far triangles may stray from the surface."""

    angle: float  # between neighbouring chords [rad]
    chord: float  # between chord and surface, of the size of the part


FINENESSES = (Fineness(0.14, 4e-4), Fineness(0.07, 1e-4), Fineness(0.035, 2.5e-5))


def read_step(data: bytes) -> RawMesh:
    """Read the solids of a STEP file.

    Returns
    -------
    mesh : in millimetres, whatever the unit of the file, which is honoured. ``file_face`` counts the faces of the solids
        in the order the library gives them; instances of one solid share them.

    Raises
    ------
    PartError
        where the library is not installed, the file is no STEP file or not whole, or its triangles are not to be trusted.
    """
    check_text(data)
    declared = len(FACE.findall(data))
    size, areas, before = 0.0, [], None
    for fineness in FINENESSES:
        pieces, size, chord = _cut(data, fineness, size)
        _check_counts(pieces, declared)
        for piece in pieces:
            _check_piece(piece, chord, fineness.angle, size)
        areas.append(sum(_area(piece) for piece in pieces))
        if before is not None and abs(areas[-1] - areas[-2]) <= AGREEMENT * areas[-1]:
            return _better(before, pieces, areas[-2], areas[-1])
        before = pieces
    raise _disputed(f"its area comes out as {_square_mm(areas)} mm² as its curved faces are cut finer and finer")


def _better(coarse: list[Piece], fine: list[Piece], area: float, finer_area: float) -> RawMesh:
    """Hand on one of two sets of triangles that agree, with how sure its area is.

    Half the angle leaves a quarter of the error, so the finer area lacks a third of the difference.
    """
    true = finer_area + (finer_area - area) / 3
    if abs(area - true) <= FINE_ENOUGH * true:
        return _mesh(coarse, true / area - 1)
    return _mesh(fine, true / finer_area - 1)


def _cut(data: bytes, fineness: Fineness, size: float) -> tuple[list[Piece], float, float]:
    """Return the solids cut into triangles, the size of them all [m], and the chord they were cut with [m]."""
    chord = fineness.chord * size if size else FIRST_CHORD
    pieces = _pieces(data, fineness.angle, chord)
    size = _size(pieces)
    wanted = fineness.chord * size
    if not wanted / NEAR_ENOUGH <= chord <= wanted * NEAR_ENOUGH:
        chord = wanted
        pieces = _pieces(data, fineness.angle, chord)
    return pieces, size, chord


def _pieces(data: bytes, angle: float, chord: float) -> list[Piece]:
    try:
        import cascadio
    except ImportError:
        raise PartError(
            "part-step-extra",
            "STEP files are read by a library that is not installed",
            hint="in the environment where geom is installed: pip install cascadio; or export the part as STL",
        ) from None
    answer = cascadio.load(
        data,
        file_type="step",
        tol_linear=chord / MILLIMETRE,
        tol_angular=angle,
        use_parallel=False,
        include_brep=True,
    )
    if not answer:
        raise malformed("the STEP file holds no shape that can be read", "export the solid itself, as AP203 or AP214")
    try:
        pieces = read_glb(answer)
    except (ValueError, KeyError, IndexError, TypeError) as error:
        raise _disputed(f"the library that reads it gave an answer that cannot be read: {shown(str(error))}") from error
    if not pieces:
        raise PartError(
            "part-mesh-empty",
            "the STEP file holds no solid",
            hint="an assembly may name its parts in other files: export it with them, as one file",
        )
    return pieces


def _size(pieces: list[Piece]) -> float:
    low = np.min([piece.vertices.min(axis=0) for piece in pieces], axis=0)
    high = np.max([piece.vertices.max(axis=0) for piece in pieces], axis=0)
    size = float(np.linalg.norm(high - low))
    if not (np.isfinite(size) and size > 0):
        raise malformed("the STEP file holds a shape without size")
    return size


def _check_counts(pieces: list[Piece], declared: int) -> None:
    """Every face of the file must have triangles; solids that repeat count once."""
    faces = 0
    for piece in {piece.shape: piece for piece in pieces}.values():
        cut = len(np.unique(piece.face))
        if cut < len(piece.surfaces):
            raise _disputed(f"{len(piece.surfaces) - cut} of its {len(piece.surfaces)} faces gave no triangles")
        faces += cut
    if faces < declared:
        raise _disputed(f"it declares {declared} faces, of which {faces} came out as faces of solids")


def _check_piece(piece: Piece, chord: float, angle: float, size: float) -> None:
    """A solid must be closed and right side out, and its triangles must lie on the surfaces of its faces."""
    for seam in (0.0, SEAM * size):
        vertices, faces, real = welded(piece.vertices, piece.triangles, seam)
        gaps = _gaps(faces[real])
        if not len(gaps):
            break
    else:
        raise _disputed(f"a solid of it has {len(gaps)} open edges once it is cut into triangles", vertices, gaps)
    if _volume(vertices, faces) <= 0:
        raise _disputed("a solid of it encloses no volume once it is cut into triangles")
    corner = OFF_SURFACE * float(np.linalg.norm(np.ptp(piece.own, axis=0)))
    corners = piece.own[piece.triangles]
    for number, surface in enumerate(piece.surfaces):
        if surface is None:
            continue
        own = corners[piece.face == number]
        extent = float(np.linalg.norm(np.ptp(own.reshape(-1, 3), axis=0)))
        # a triangle may span one chord either way, so its middle strays further than the chord does
        middle = 4 * (chord + angle**2 * extent)
        off_corner = np.abs(distances(surface, own.reshape(-1, 3))).max()
        off_middle = np.abs(distances(surface, own.mean(axis=1))).max()
        if off_corner > corner or off_middle > corner + middle:
            raise _disputed(f"triangles of a face lie off the {surface['type']} that the file declares")


def _gaps(faces: Ints) -> Ints:
    """Return the edges (k, 2) that are not run along as often one way as the other; solids may touch along an edge."""
    start, stop = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    ends = np.stack([np.minimum(start, stop), np.maximum(start, stop)], axis=1)
    edges, number = np.unique(ends, axis=0, return_inverse=True)
    balance = np.bincount(number.reshape(-1), weights=np.where(start < stop, 1.0, -1.0), minlength=len(edges))
    return np.asarray(edges[balance != 0], dtype=np.int64)


def _volume(vertices: Floats, faces: Ints) -> float:
    one, two, three = np.moveaxis(vertices[faces] - vertices.mean(axis=0), 1, 0)
    return float(np.einsum("ij,ij->i", one, np.cross(two, three)).sum()) / 6


def _area(piece: Piece) -> float:
    one, two, three = np.moveaxis(piece.vertices[piece.triangles], 1, 0)
    return float(np.linalg.norm(np.cross(two - one, three - one), axis=1).sum()) / 2


def _mesh(pieces: list[Piece], left: float) -> RawMesh:
    """Put the solids into one mesh, numbering faces by shape; ``left`` of the area is thought to be missing."""
    first: dict[tuple[int, ...], int] = {}
    faces_so_far = corners_so_far = 0
    vertices, triangles, source = [], [], []
    for piece in pieces:
        if piece.shape not in first:
            first[piece.shape] = faces_so_far
            faces_so_far += len(piece.surfaces)
        vertices.append(piece.vertices / MILLIMETRE)
        triangles.append(piece.triangles + corners_so_far)
        source.append(piece.face + first[piece.shape])
        corners_so_far += len(piece.vertices)
    faces = np.concatenate(triangles)
    findings = (_doubt(len(faces), faces_so_far, left),)
    return RawMesh(np.concatenate(vertices), faces, np.concatenate(source), findings, MILLIMETRE)


def _doubt(triangles: int, faces: int, left: float) -> Finding:
    words = f"{faces} faces of the STEP file were cut into {triangles} triangles"
    if abs(left) < 1e-7:
        return Finding(Severity.NOTE, "part-step-cut", f"{words}; cut finer or coarser the area is the same")
    side = "more" if left > 0 else "less"
    return Finding(
        Severity.NOTE, "part-step-cut", f"{words}; the area of the solid is about {100 * abs(left):.2g} % {side}"
    )


def _square_mm(areas: list[float]) -> str:
    return ", ".join(f"{area / MILLIMETRE**2:.6g}" for area in areas)


def _disputed(words: str, vertices: Floats | None = None, edges: Ints | None = None) -> PartError:
    """Return the refusal; the places to show are the middles of ``edges``."""
    marks: list[tuple[float, float, float]] = []
    if vertices is not None and edges is not None:
        middles = vertices[edges[:MOST_MARKS]].mean(axis=1)
        marks = [(float(x), float(y), float(z)) for x, y, z in middles]
    return PartError(
        "part-step-disputed",
        f"the STEP file cannot be turned into triangles that are to be trusted: {words}",
        hint="export the part as STL with fine faces, from the program that made it",
        marks=marks,
    )
