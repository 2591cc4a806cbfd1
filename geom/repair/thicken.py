"""`thickened`: a drawn sheet without thickness becomes a solid."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.repair.change import Change
from geom.repair.intersections import crossing_faces, rounding
from geom.repair.work import at, count, marks, warned
from geom.surface.soundness import EdgeReport, edge_report, edge_runs, fans_of, groups_of
from geom.wording import mm, mm2

MITRE = 4.0  # longest move of a vertex, in half thicknesses: bends down to 29 degrees between the sides
FLAT = 1e-3  # least share of normals off the mean that is a bend: flatter than 2 degrees is one plane
THIN = 10.0  # least thickness, in least depths of a crossing


def thickened(vertices: Floats, faces: Ints, source: Ints, thickness: float) -> tuple[Floats, Ints, Ints, Change]:
    """Return vertices, faces and source of the solid of which an open sheet is the middle surface, and the change.

    Half of ``thickness`` [m] goes to each side of the drawn faces; side walls stand along the border. A vertex
    moves along the mitre of the planes that meet there, so that each of them is moved by half the thickness.
    Walls take the source of the face they stand on.

    Parameters
    ----------
    vertices : (n, 3) [m], equal places one vertex
    faces : (m, 3) wound alike, each edge of one or two faces; pieces without a border are not for here
    source : (m,) face of the file
    thickness : of the metal [m]

    Raises
    ------
    PartError
        part-sheet-branching where more than two faces share an edge; part-sheet-thickness where the sheet is
        thicker than wide, or thinner than the file is exact; part-sheet-crossing where it is too thick for its
        bends and gaps, so that the solid would pass through itself.
    """
    edges = edge_report(faces)
    _check_edges(vertices, faces, source, edges)
    points, own = _one_vertex_a_fan(vertices, faces, edges.pairs)
    _check_thickness(points, own, edges, thickness)
    vectors = _area_vectors(points, own)
    move = 0.5 * thickness * _mitres(points, own, vectors)
    solid_points = np.concatenate([points + move, points - move])
    below = own[:, ::-1] + len(points)
    walls, stands_on = _walls(own, len(points))
    solid = np.concatenate([own, below, walls])
    row = np.concatenate([np.arange(len(own)), np.arange(len(own)), stands_on])
    _check_solid(solid_points, solid, source[row], vectors)
    drawn = float(np.linalg.norm(vectors, axis=1).sum())
    area = float(np.linalg.norm(_area_vectors(solid_points, solid), axis=1).sum())
    message = (
        f"a drawn sheet of {mm2(drawn, 6)} on one side given {mm(thickness)} mm of thickness, half to each side "
        f"of the drawn faces, with {count(len(walls) // 2, 'side wall')} along its border: {mm2(area, 6)}"
    )
    return (
        solid_points,
        solid,
        source[row],
        warned("repair-thickened", message, len(faces), area - drawn, points[own[0]].mean(axis=0)),
    )


def _check_edges(vertices: Floats, faces: Ints, source: Ints, edges: EdgeReport) -> None:
    if len(edges.twisted):
        raise ValueError("a sheet must be wound alike before it gets its thickness")
    if len(edges.crowded):
        places = vertices[edges.crowded].mean(axis=1)
        raise PartError(
            "part-sheet-branching",
            f"{count(len(edges.crowded), 'edge')} of the sheet shared by more than two faces, first at "
            f"{at(places[0])}: a sheet that branches has no one side to put the metal on",
            hint="draw it with its thickness, or each flat by itself",
            marks=marks(places),
        )


def _one_vertex_a_fan(vertices: Floats, faces: Ints, pairs: Ints) -> tuple[Floats, Ints]:
    """Return vertices and faces in which pieces that meet in a point only have a vertex each."""
    fan, number = fans_of(faces, pairs)
    vertex = np.zeros(number, dtype=np.int64)
    vertex[fan] = faces.reshape(-1)
    return np.asarray(vertices[vertex], dtype=np.float64), fan.reshape(-1, 3)


def _check_thickness(points: Floats, faces: Ints, edges: EdgeReport, thickness: float) -> None:
    """Refuse a thickness that is none beside the rounding, or more than the sheet is wide."""
    least = THIN * rounding(points, faces)[1]
    if thickness < least:
        raise PartError(
            "part-sheet-thickness",
            f"a thickness of {thickness * 1e3:.3g} mm is lost in the rounding of the file: at least "
            f"{least * 1e3:.2g} mm is needed at this size",
            hint="give the thickness of the metal with its unit",
        )
    piece = groups_of(edges.pairs // 3, len(faces))
    area = np.bincount(piece, np.linalg.norm(_area_vectors(points, faces), axis=1))
    face, side = _border(faces)
    length = np.linalg.norm(points[faces[face, (side + 1) % 3]] - points[faces[face, side]], axis=1)
    border = np.bincount(piece[face], length, minlength=len(area))
    thick = thickness * border > 4 * area
    if thick.any():
        first = int(np.argmax(thick))
        place = points[faces[int(np.argmax(piece == first))]].mean(axis=0)
        raise PartError(
            "part-sheet-thickness",
            f"a sheet of {mm(thickness)} mm would be thicker than it is wide: the piece at {at(place)} has "
            f"{mm2(float(area[first]))} within a border of {mm(float(border[first]))} mm",
            hint="check the thickness and the unit of the file; draw a block as a solid",
            marks=marks(place[None]),
        )


def _border(faces: Ints) -> tuple[Ints, Ints]:
    """Face and side (k,) of each edge of one face, in the order of the faces."""
    runs = edge_runs(faces)
    half_edge = np.sort(runs.members(runs.count == 1))
    return half_edge // 3, half_edge % 3


def _area_vectors(points: Floats, faces: Ints) -> Floats:
    a, b, c = (points[faces[:, k]] for k in range(3))
    return np.asarray(0.5 * np.cross(b - a, c - a), dtype=np.float64)


def _mitres(points: Floats, faces: Ints, vectors: Floats) -> Floats:
    """Return for each point the move (n, 3) that shifts every plane round it by one, as nearly as can be.

    Least squares over the faces weighted by their angle at the point; the shortest move where planes are few.
    """
    normal = vectors / np.maximum(np.linalg.norm(vectors, axis=1), 1e-300)[:, None]
    square, right = np.zeros((len(points), 3, 3)), np.zeros((len(points), 3))
    for k in range(3):
        here, one, two = (points[faces[:, (k + j) % 3]] for j in range(3))
        u, v = one - here, two - here
        angle = np.arctan2(np.linalg.norm(np.cross(u, v), axis=1), np.einsum("ij,ij->i", u, v))
        np.add.at(square, faces[:, k], angle[:, None, None] * normal[:, :, None] * normal[:, None, :])
        np.add.at(right, faces[:, k], angle[:, None] * normal)
    move = np.einsum("ijk,ik->ij", np.linalg.pinv(square, rcond=FLAT, hermitian=True), right)
    length = np.linalg.norm(move, axis=1)[:, None]
    return np.asarray(move * np.minimum(1.0, MITRE / np.maximum(length, 1e-300)), dtype=np.float64)


def _walls(faces: Ints, count_: int) -> tuple[Ints, Ints]:
    """Two faces (2 k, 3) on each border edge, between the points and the same points below, and what they stand on."""
    face, side = _border(faces)
    a, b = faces[face, side], faces[face, (side + 1) % 3]
    walls = np.stack([np.stack([b, a, a + count_], axis=1), np.stack([b, a + count_, b + count_], axis=1)], axis=1)
    return walls.reshape(-1, 3), np.repeat(face, 2)


def _check_solid(points: Floats, faces: Ints, source: Ints, drawn: Floats) -> None:
    """Refuse a solid whose faces were turned over by a bend too narrow, or that passes through itself."""
    vectors = _area_vectors(points, faces[: 2 * len(drawn)])
    sense = np.einsum("ij,ij->i", vectors, np.concatenate([drawn, -drawn]))
    wrong = np.flatnonzero(sense < 0)
    if not len(wrong):
        body = groups_of(edge_report(faces).pairs // 3, len(faces))
        pairs = crossing_faces(points, faces)
        wrong = np.unique(pairs[body[pairs[:, 0]] == body[pairs[:, 1]]])
    if len(wrong):
        places = points[faces[wrong]].mean(axis=1)
        raise PartError(
            "part-sheet-crossing",
            f"with this thickness the sheet passes through itself at {count(len(wrong), 'face')}, first at face "
            f"{source[wrong[0]] + 1} of the file, {at(places[0])}: a bend or gap there is too narrow for it",
            hint="check the thickness and the unit of the file, or draw the part with its thickness",
            marks=marks(places),
        )
