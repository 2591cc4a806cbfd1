"""A second reading of a mesh file: two readers that share no code must find the same area.

The second one is trimesh, but for binary STL, whose layout a few lines state again: trimesh would take seconds
for a million faces.
"""

import io
import warnings

import numpy as np

from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats.raw import RawMesh

AGREE = 1e-6  # relative difference of the two areas that single-precision files may show


def second_reading(data: bytes, suffix: str, raw: RawMesh) -> list[Finding]:
    """Compare the area of ``raw`` with that of the same bytes read by trimesh.

    Files with faces of more than three corners are left out: there the two may cut them differently, and
    trimesh cuts concave ones wrongly.

    Raises
    ------
    PartError
        where the two areas differ: one of the two readers has the file wrong.
    """
    if len(np.unique(raw.file_face)) != len(raw.faces):
        return []
    found = _binary_stl(data, len(raw.faces)) if suffix == ".stl" else None
    found = found or _by_trimesh(data, suffix)
    if found is None or found[0] != len(raw.faces):  # trimesh loses faces of text files with odd line ends
        return [Finding(Severity.NOTE, "part-mesh-read-once", "a second reader could not take this file as a check")]
    area = found[1]
    a, b, c = (raw.vertices[raw.faces[:, k]] for k in range(3))
    own = float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    if abs(area - own) > AGREE * own:
        raise PartError(
            "part-mesh-disputed",
            f"two readers find different areas in this file: {own:.7g} and {area:.7g} (file units squared)",
            hint="export the part again, as binary STL",
        )
    return []


def _binary_stl(data: bytes, faces: int) -> tuple[int, float] | None:
    """Return the number of faces and the sum of their areas, or None where the length is not that of binary STL."""
    if len(data) != 84 + 50 * faces or int(np.frombuffer(data, "<u4", 1, 80)[0]) != faces:
        return None
    rows = np.frombuffer(data, np.uint8, offset=84).reshape(faces, 50)[:, 12:48]
    x = np.ascontiguousarray(rows).view("<f4").T.astype(np.float64)
    ab, ac = x[3:6] - x[0:3], x[6:9] - x[0:3]
    # |ab|²|ac|² - (ab·ac)² would cancel in slivers; the components of the normal do not
    normal = (ab[1] * ac[2] - ab[2] * ac[1], ab[2] * ac[0] - ab[0] * ac[2], ab[0] * ac[1] - ab[1] * ac[0])
    with np.errstate(all="ignore"):
        return faces, float(0.5 * np.sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2).sum())


def _by_trimesh(data: bytes, suffix: str) -> tuple[int, float] | None:
    """Return the number of faces and the plain sum of their areas, or None where trimesh cannot read the file."""
    import trimesh

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            mesh = trimesh.load_mesh(io.BytesIO(data), file_type=suffix.lstrip("."), process=False)
            return len(mesh.faces), float(mesh.area)
        except Exception:  # whatever a foreign parser does with an odd file, the strict reading stands
            return None
