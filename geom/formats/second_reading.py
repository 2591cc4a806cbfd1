"""A second reading of a mesh file, by trimesh: two readers that share no code must find the same area."""

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
    found = _by_trimesh(data, suffix)
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
