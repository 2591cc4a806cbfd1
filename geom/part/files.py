"""`read_mesh`: a part from an STL, OBJ, PLY or OFF file. A sound solid is taken, anything else is refused.

Checked: that the file is whole; that its numbers are numbers; that every edge joins two faces wound alike;
that there is one body, right side out, with no sealed void. Not checked yet: whether faces pass through
each other.
"""

import math
import stat
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import GeomError, PartError
from geom.findings import Finding, Severity
from geom.formats.polygons import read_obj, read_off
from geom.formats.raw import USUAL, Limits, RawMesh, malformed, shown
from geom.formats.second_reading import second_reading
from geom.formats.stl import read_stl
from geom.part.part import Part
from geom.part.skins import mesh_features
from geom.repair.solidity import check_solid
from geom.surface.soundness import edge_report, welded
from geom.surface.surface import Surface
from geom.wording import mm

LARGEST_FILE = 500_000_000  # bytes
WELD = 1e-7  # of the diagonal of the bounding box: corners nearer than this are one corner
SMALL, LARGE = 1e-3, 3.0  # overall sizes outside this are worth a question [m]
THIN = 1e-5  # a part thinner than this overall too [m]
TINY, HUGE = 1e-6, 100.0  # and outside this are refused [m]
COARSEST = 1e-3  # of the least size of the part: largest step between the numbers a file can hold

READERS: dict[str, Callable[[bytes], RawMesh]] = {".stl": read_stl, ".obj": read_obj, ".off": read_off}


def read_mesh(
    path: Path, unit: float | None, *, strict: bool = False, thickness: float = 0.0, limits: Limits = USUAL
) -> Part:
    """Return the part in a mesh file.

    Parameters
    ----------
    path : an STL, OBJ, PLY or OFF file of at most 500 MB; the suffix names the format
    unit : length of one unit of the file [m]

    Raises
    ------
    PartError
        where the file is not a whole mesh, or the mesh does not bound one solid.
    """
    if unit is None or not (math.isfinite(unit) and unit > 0):
        raise PartError("part-dimensions", f"the unit of the mesh is {unit} m; it must be more than zero")
    try:
        reader = _reader(path)
        data = _bytes(path)
        raw = _read(reader, data)
        part = _part(path.name, raw, unit)
        return replace(part, findings=(*part.findings, *second_reading(data, path.suffix.lower(), raw)))
    except GeomError as error:
        error.where = error.where or str(path)
        raise


def _reader(path: Path) -> Callable[[bytes], RawMesh]:
    from geom.formats.ply import read_ply

    readers = {**READERS, ".ply": read_ply}
    suffix = path.suffix.lower()
    if suffix not in readers:
        raise PartError(
            "part-mesh-suffix",
            f'a mesh file ends in .stl, .obj, .ply or .off; this one ends in "{shown(suffix)}"',
            hint="export the part as STL",
        )
    return readers[suffix]


def _bytes(path: Path) -> bytes:
    """Read a regular file; nothing that could block or never end is opened."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise PartError("part-mesh-file", "the mesh is not a regular file")
        if status.st_size > LARGEST_FILE:
            raise PartError(
                "part-mesh-file",
                f"the mesh file has {status.st_size / 1e6:.0f} MB; {LARGEST_FILE / 1e6:.0f} MB is the most",
                hint="export it with coarser faces",
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PartError("part-mesh-file", f"the mesh file cannot be read: {reason}") from error


def _read(reader: Callable[[bytes], RawMesh], data: bytes) -> RawMesh:
    """Call a reader; whatever goes wrong inside it is the fault of the file."""
    try:
        return reader(data)
    except PartError:
        raise
    except MemoryError:
        raise PartError("part-mesh-file", "the mesh is too large for the memory of this machine") from None
    except Exception as error:  # the border to hostile bytes: no traceback may reach the user
        raise malformed(f"the file cannot be read: {type(error).__name__}: {shown(str(error))}") from error


def _part(name: str, raw: RawMesh, unit: float) -> Part:
    if not len(raw.faces):
        raise PartError("part-mesh-empty", "the mesh has no faces")
    _check_numbers(raw)
    size = np.ptp(raw.vertices[np.unique(raw.faces)], axis=0) * unit
    findings = [*raw.findings, *_size_findings(raw, size, unit)]
    vertices, faces, source, dropped = _welded(raw, unit)
    if dropped:
        findings.append(_note("part-mesh-degenerate", f"{dropped} faces without area were left out"))
    centre = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    report = edge_report(faces)
    check_solid(vertices, faces, source, report)
    flat = Surface(vertices - centre, faces, np.zeros(len(faces), dtype=np.int64))
    features, tags, smallest = mesh_features(flat, report.pairs)
    surface = Surface(flat.vertices, faces, tags)
    slivers = int((surface.areas <= 1e-12 * float(np.ptp(vertices, axis=0).max()) ** 2).sum())
    if slivers:
        findings.append(_note("part-mesh-slivers", f"{slivers} faces are slivers of nearly no area; they were kept"))
    return Part(
        name,
        surface,
        features,
        surface.area,
        surface.volume,
        False,
        smallest,
        tuple(findings),
        file_face=source,
    )


def _note(code: str, message: str) -> Finding:
    return Finding(Severity.NOTE, code, message)


def _welded(raw: RawMesh, unit: float) -> tuple[Floats, Ints, Ints, int]:
    """Join equal corners; return vertices [m], faces, their faces of the file, and how many collapsed."""
    used, faces = np.unique(raw.faces, return_inverse=True)
    scaled = raw.vertices[used] * unit
    diagonal = float(np.linalg.norm(np.ptp(scaled, axis=0)))
    vertices, joined, real = welded(scaled, faces.reshape(-1, 3), WELD * diagonal)
    kept, final = np.unique(joined[real], return_inverse=True)
    if not real.any():
        raise PartError("part-mesh-flat", "no face of the mesh has an area")
    return vertices[kept], final.reshape(-1, 3), raw.file_face[real], int((~real).sum())


def _check_numbers(raw: RawMesh) -> None:
    broken = np.flatnonzero(~np.isfinite(raw.vertices[raw.faces]).all(axis=(1, 2)))
    if len(broken):
        raise PartError(
            "part-mesh-numbers",
            f"{len(broken)} of {len(raw.faces)} faces have a corner that is not a finite number, "
            f"first face {int(raw.file_face[broken[0]]) + 1} of the file",
        )


def _size_findings(raw: RawMesh, size: Floats, unit: float) -> list[Finding]:
    """Refuse a size no part has or a place too far away; question one that is merely odd."""
    largest = float(size.max())
    words = " x ".join(mm(side) if side >= 1e-6 else f"{side * 1e3:.3g}" for side in size)
    if not TINY <= largest <= HUGE:
        raise PartError(
            "part-mesh-size",
            f"the mesh measures {words} mm if its unit is {mm(unit)} mm; no part is that size",
            hint="look at the unit",
        )
    step = float(np.spacing(np.float32(np.abs(raw.vertices).max()))) * unit
    if step > COARSEST * max(float(size.min()), 1e-3 * largest):
        raise PartError(
            "part-mesh-far",
            f"the mesh lies {mm(float(np.abs(raw.vertices).max()) * unit)} mm from its origin, "
            f"where mesh files hold steps of {step * 1e3:.2g} mm only: too coarse for a part of {words} mm",
            hint="move the part to the origin and export it again",
        )
    if SMALL <= largest <= LARGE and size.min() >= THIN:
        return []
    words = f"the part measures {words} mm; look whether the unit is right"
    return [Finding(Severity.WARNING, "part-mesh-size", words)]
