"""A second reading of a mesh file: two readers that share no code must find the same area.

The second one is trimesh for OBJ, PLY and OFF. For STL it is a few lines that state the layout again: trimesh takes
seconds for a million faces, and loses faces of text files with odd line ends.
"""

import io
import re
import warnings
from itertools import chain

import numpy as np

from geom.arrays import Floats
from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats.raw import RawMesh

AGREE = 1e-6  # relative difference of the two areas that single-precision files may show
CORNER = re.compile(rb"\bvertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)


def second_reading(data: bytes, suffix: str, raw: RawMesh) -> list[Finding]:
    """Compare the area of ``raw`` with that of the same bytes read in another way.

    Files with faces of more than three corners are left out: there the two may cut them differently, and
    trimesh cuts concave ones wrongly.

    Raises
    ------
    PartError
        where the two areas differ: one of the two readers has the file wrong.
    """
    if not len(raw.faces) or (np.diff(raw.file_face) == 0).any():
        return []
    found = _of_stl(data, len(raw.faces)) if suffix == ".stl" else _by_trimesh(data, suffix)
    if found is None or found[0] != len(raw.faces):
        return [Finding(Severity.NOTE, "part-mesh-read-once", "a second reader could not take this file as a check")]
    a, b, c = (raw.vertices[raw.faces[:, k]] for k in range(3))
    own, area = _total((b - a).T, (c - a).T), found[1]
    if abs(area - own) > AGREE * own:
        raise PartError(
            "part-mesh-disputed",
            f"two readers find different areas in this file: {own:.7g} and {area:.7g} (file units squared)",
            hint="export the part again, as binary STL",
        )
    return []


def _total(ab: Floats, ac: Floats) -> float:
    """Sum the areas of triangles by two sides (3, n)."""
    with np.errstate(all="ignore"):  # what is not finite is refused by name later
        x = ab[1] * ac[2] - ab[2] * ac[1]
        y = ab[2] * ac[0] - ab[0] * ac[2]
        z = ab[0] * ac[1] - ab[1] * ac[0]
        return float(0.5 * np.sqrt(x * x + y * y + z * z).sum())


def _of_stl(data: bytes, faces: int) -> tuple[int, float] | None:
    """Return the number of faces of an STL file and the sum of their areas, or None where it cannot be read so."""
    if len(data) >= 84 + 50 * faces and int(np.frombuffer(data, "<u4", 1, 80)[0]) == faces:
        rows = np.frombuffer(data, np.uint8, 50 * faces, 84).reshape(faces, 50)[:, 12:48]
        corners = np.ascontiguousarray(rows).view("<f4")
    else:
        try:
            corners = np.array(list(map(float, chain.from_iterable(CORNER.findall(data))))).reshape(-1, 9)
        except ValueError:
            return None
    x = np.array(corners.T, dtype=np.float64, order="C")
    return len(corners), _total(x[3:6] - x[0:3], x[6:9] - x[0:3])


def _by_trimesh(data: bytes, suffix: str) -> tuple[int, float] | None:
    """Return the number of faces and the plain sum of their areas, or None where trimesh cannot read the file."""
    import trimesh

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            mesh = trimesh.load_mesh(io.BytesIO(data), file_type=suffix.lstrip("."), process=False)
            return len(mesh.faces), float(mesh.area)
        except MemoryError:
            raise
        except Exception:  # whatever a foreign parser does with an odd file, the strict reading stands
            return None
