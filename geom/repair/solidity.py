"""The last look at mended faces: what does not bound a solid goes no further."""

import numpy as np

from geom.arrays import Bools, Ints
from geom.errors import PartError
from geom.repair.fins import LOOSE
from geom.repair.work import Work, at, count, marks

FLAT = 1e-9  # least volume, as a share of area times overall size
MOST_ASKED = 200_000  # faces of an unchanged mesh up to which the solid modeller is asked too; it takes its time


def flat_skins(work: Work, skin: Ints) -> Bools:
    """Which faces (m,) are on closed skins, by label (m,), that enclose next to nothing.

    Raises
    ------
    PartError
        part-mesh-flat where they are more than some loose faces beside a solid.
    """
    area = np.bincount(skin, work.areas)
    flat = np.abs(np.bincount(skin, work.volumes)) <= FLAT * area * work.diagonal
    lies = np.asarray(flat[skin])
    if area[flat].sum() > LOOSE * area.sum():
        first = work.place(int(np.argmax(lies)))
        raise PartError(
            "part-mesh-flat",
            f"{count(int(lies.sum()), 'face')} of the mesh enclose no volume, first at {at(first)}: a sheet without "
            "thickness, or a skin that crosses itself",
            hint="give the sheet its thickness and export it again",
            marks=marks(work.middles(lies)),
        )
    return lies


def check_solid(work: Work) -> None:
    """Raise `PartError` unless the faces bound solids, outside out, that the solid modeller takes too.

    What fails here slipped through the repair.
    """
    for slug, edges, words in (
        ("part-mesh-edges", work.edges.crowded, "shared by more than two faces"),
        ("part-mesh-open", work.edges.open, "open, with a face on one side only"),
        ("part-mesh-edges", work.edges.twisted, "between faces wound opposite ways"),
    ):
        if len(edges):
            middles = work.vertices[edges].mean(axis=1)
            verb = "is" if len(edges) == 1 else "are"
            raise PartError(
                slug,
                f"the mesh is not a closed solid: {count(len(edges), 'edge')} {verb} {words}, first at {at(middles[0])}",
                hint="repair it in the program that made it and export it again",
                marks=marks(middles),
            )
    flat_skins(work, np.zeros(len(work.faces), dtype=np.int64))
    if len(work.faces) <= MOST_ASKED or work.changes:
        _check_library(work)


def _check_library(work: Work) -> None:
    """Ask the solid modeller for its opinion: what it refuses cannot be placed in a tank."""
    import manifold3d

    mesh = manifold3d.Mesh64(np.array(work.vertices), np.array(work.faces, dtype=np.uint64))
    status = manifold3d.Manifold(mesh).status()
    if status != manifold3d.Error.NoError:
        raise PartError(
            "part-mesh-edges",
            f"the solid modeller refuses the mesh: {str(status).rsplit('.', 1)[-1]}",
            hint="repair it in the program that made it and export it again",
        )
