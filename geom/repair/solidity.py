"""Refuses a mesh that does not bound one solid, with a count and the first place of every defect."""

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.surface.soundness import EdgeReport, body_of_face, doubled_faces, touching_vertices
from geom.surface.surface import Surface
from geom.wording import mm

FLAT = 1e-9  # least volume, as a share of area times overall size


def check_solid(vertices: Floats, faces: Ints, file_face: Ints, report: EdgeReport) -> None:
    """Raise `PartError` unless the faces bound one solid with its outside out."""
    _check_edges(vertices, faces, file_face, report)
    surface = Surface(vertices - vertices.mean(axis=0), faces, np.zeros(len(faces), dtype=np.int64))
    _check_bodies(surface, vertices, report)
    if abs(surface.volume) <= FLAT * surface.area * float(np.linalg.norm(np.ptp(vertices, axis=0))):
        raise PartError(
            "part-mesh-flat",
            "the mesh encloses no volume: it is a sheet without thickness, or crosses itself",
            hint="give the sheet its thickness and export it again",
        )
    if surface.volume < 0:
        raise PartError(
            "part-mesh-inside-out",
            f"the {len(faces)} faces are wound inside out: the volume comes to {surface.volume * 1e9:.4g} mm3",
            hint="flip or recalculate the normals and export it again",
        )
    touching = touching_vertices(faces, report.pairs)
    if len(touching):
        raise PartError(
            "part-mesh-touching",
            f"the surface touches itself at {_count(len(touching), 'point')}, first at {_at(vertices[touching[0]])}",
            hint="separate or join the two places by a small distance",
        )
    _check_library(vertices, faces)


def _check_edges(vertices: Floats, faces: Ints, file_face: Ints, report: EdgeReport) -> None:
    """Refuse open, crowded and twisted edges and faces that lie on one another, all in one message."""
    doubled = doubled_faces(faces)
    defects = []
    if len(doubled):
        first = int(file_face[doubled[0]]) + 1
        lying = "face lies" if len(doubled) == 1 else "faces lie"
        defects.append(
            (
                "part-mesh-double",
                f"{len(doubled)} {lying} on another's corners, first face {first} of the file",
            )
        )
    for slug, edges, words in (
        ("part-mesh-edges", report.crowded, "shared by more than two faces"),
        ("part-mesh-open", report.open, "open, with a face on one side only"),
        ("part-mesh-winding", report.twisted, "between faces wound opposite ways"),
    ):
        if len(edges):
            place = _at(vertices[edges[0]].mean(axis=0))
            verb = "is" if len(edges) == 1 else "are"
            defects.append((slug, f"{_count(len(edges), 'edge')} {verb} {words}, first at {place}"))
    if defects:
        raise PartError(
            defects[0][0],
            "the mesh is not a closed solid: " + "; ".join(words for _, words in defects),
            hint="repair it in the program that made it and export it again",
        )


def _check_bodies(surface: Surface, vertices: Floats, report: EdgeReport) -> None:
    """Refuse more than one body: a void sealed inside another, or separate parts."""
    body = body_of_face(surface.faces, report.pairs)
    count = int(body.max()) + 1
    if count == 1:
        return
    volume = np.bincount(body, (surface.centroids * surface.area_vectors).sum(axis=1) / 3, count)
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    np.minimum.at(low, body, surface.corners.min(axis=1))
    np.maximum.at(high, body, surface.corners.max(axis=1))
    largest = int(np.argmax(np.abs(volume)))
    inside = ((low >= low[largest]) & (high <= high[largest])).all(axis=1) & (volume * volume[largest] < 0)
    if inside.any():
        number = int(np.argmax(inside))
        raise PartError(
            "part-mesh-void",
            f"the mesh has {_count(int(inside.sum()), 'sealed void')} inside, first at "
            f"{_at(vertices[surface.faces[body == number][0, 0]])}; the bath does not reach it",
            hint="remove the inner shell, or open it with a hole if it is vented",
        )
    raise PartError(
        "part-mesh-bodies",
        f"the mesh holds {count} separate bodies; the second begins at {_at(vertices[surface.faces[body == 1][0, 0]])}",
        hint="one part at a time: export each body alone, or join them into one solid",
    )


def _check_library(vertices: Floats, faces: Ints) -> None:
    """Ask the solid modeller for its opinion: what it refuses cannot be placed in a tank."""
    import manifold3d

    mesh = manifold3d.Mesh64(np.array(vertices), np.array(faces, dtype=np.uint64))
    status = manifold3d.Manifold(mesh).status()
    if status != manifold3d.Error.NoError:
        raise PartError("part-mesh-edges", f"the solid modeller refuses the mesh: {str(status).rsplit('.', 1)[-1]}")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _at(point: Floats) -> str:
    return "(" + ", ".join(mm(float(coordinate)) for coordinate in point) + ") mm"
