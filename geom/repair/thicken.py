"""`thickened`: a drawn sheet without thickness becomes a solid."""

from geom.arrays import Floats, Ints
from geom.repair.change import Change


def thickened(vertices: Floats, faces: Ints, source: Ints, thickness: float) -> tuple[Floats, Ints, Ints, Change]:
    """Return vertices, faces and source of the solid of which an open sheet is the middle surface, and the change.

    Half of ``thickness`` [m] goes to each side of the drawn faces; side walls stand along the border. Walls
    take the source of the face they stand on.

    Parameters
    ----------
    vertices : (n, 3) [m], equal places one vertex
    faces : (m, 3) wound alike, each edge of one or two faces
    source : (m,) face of the file
    thickness : of the metal [m]

    Raises
    ------
    PartError
        part-sheet-branching where more than two faces share an edge; part-sheet-crossing where the sheet is too
        thick for its bends and gaps, so that the solid would pass through itself.
    """
    raise NotImplementedError
