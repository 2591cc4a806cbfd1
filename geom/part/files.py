"""`read_mesh`: a part from a mesh file of any quality: what can be mended honestly is, and told; the rest is refused."""

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from geom.arrays import Floats
from geom.errors import GeomError, PartError
from geom.findings import Finding, Severity
from geom.formats.guard import read_guarded
from geom.formats.raw import USUAL, Limits, RawMesh
from geom.part.part import Part
from geom.recognise.recognise import recognised
from geom.repair.change import Change
from geom.repair.mend import mended
from geom.surface.soundness import edge_report
from geom.surface.surface import Surface
from geom.wording import mm

SMALL, LARGE = 1e-3, 2.0  # overall sizes outside this are worth a question [m]
THIN = 1e-5  # a part thinner than this overall too [m]
TINY, HUGE = 1e-6, 100.0  # and outside this are refused [m]
COARSEST = 1e-3  # of the least size of the part: largest step between the numbers a file can hold
SAME_UNIT = 1e-6  # relative difference of two statements of one unit
LIKELY_UNITS = (("mm", 1e-3), ("in", 25.4e-3), ("m", 1.0))  # offered where none is stated


def read_mesh(
    path: Path, unit: float | None, *, strict: bool = False, thickness: float = 0.0, limits: Limits = USUAL
) -> Part:
    """Return the part in a mesh file.

    Parameters
    ----------
    path : the suffix names the format
    unit : length of one unit of the file [m]; None where the file states it itself
    strict : refuse what would have to be mended
    thickness : of a sheet that the file has without any [m]; 0: such a sheet is refused
    limits : what reading may take

    Raises
    ------
    PartError
        where the file is not a whole mesh, its unit is not known, or the mesh does not bound a solid.
    """
    if unit is not None and not (math.isfinite(unit) and unit > 0):
        raise PartError("part-dimensions", f"the unit of the mesh is {unit} m; it must be more than zero")
    try:
        raw = raw_mesh(path, limits)
        return _part(path.name, raw, agreed_unit(raw, unit), strict, thickness)
    except GeomError as error:
        error.where = error.where or str(path)
        raise


def raw_mesh(path: Path, limits: Limits = USUAL) -> RawMesh:
    """Return the faces of a file as they are.

    Raises
    ------
    PartError
        where the file is not whole, has no faces, or is a drawing.
    """
    raw = read_guarded(path, limits)
    if not isinstance(raw, RawMesh):
        raise PartError(
            "part-is-drawing",
            "this file is a flat drawing, not a mesh",
            hint='in a job: drawing = "…" and thickness; on the command line: --thickness',
        )
    if not len(raw.faces):
        raise PartError("part-mesh-empty", "the mesh has no faces")
    _check_numbers(raw)
    return raw


def raw_surface(path: Path, unit: float | None, limits: Limits = USUAL) -> Surface:
    """Return the faces of a file as they are, in its own frame [m], for a picture of what is wrong with them."""
    raw = raw_mesh(path, limits)
    return Surface(raw.vertices * agreed_unit(raw, unit), raw.faces, raw.file_face)


def agreed_unit(raw: RawMesh, unit: float | None) -> float:
    """Return the length of one unit [m]: as the file states it, else as the user does; never guessed.

    Raises
    ------
    PartError
        where nobody states it, or the two differ.
    """
    if raw.unit is None and unit is None:
        raise PartError(
            "mesh-unit-missing",
            "the unit of the mesh must be stated: files of this kind do not say what one unit is",
            hint=f'say for example --unit mm, or in a job unit = "mm"; {_sizes(raw)}',
        )
    if raw.unit is None:
        assert unit is not None
        return unit
    if unit is not None and abs(unit / raw.unit - 1) > SAME_UNIT:
        raise PartError(
            "mesh-unit-differs",
            f"the file itself states that one unit is {mm(raw.unit)} mm, the unit given is {mm(unit)} mm",
            hint="leave the unit out to take that of the file; if the file is wrong, export it again",
        )
    return raw.unit


def _sizes(raw: RawMesh) -> str:
    """Return what size the part would have in each likely unit."""
    sides = _sides(raw)
    offers = []
    for name, factor in LIKELY_UNITS:
        shown, size = ("m", 1.0) if float(sides.max()) * factor >= 10.0 else ("mm", 1e-3)
        words = " x ".join(f"{side * factor / size:.4g} {shown}" for side in sides)
        offers.append(f"{words} with --unit {name}")
    return f"the part would be {', '.join(offers[:-1])}, or {offers[-1]}"


def _sides(raw: RawMesh) -> Floats:
    """Return (3,) the size along each axis of what faces use, in file units."""
    return np.asarray(np.ptp(raw.vertices[raw.faces.reshape(-1)], axis=0))


def _part(name: str, raw: RawMesh, unit: float, strict: bool, thickness: float) -> Part:
    scaled = raw.vertices * unit
    findings = [*raw.findings, *_size_findings(raw, _sides(raw) * unit, unit)]
    mesh = mended(scaled, raw.faces, raw.file_face, strict=strict, thickness=thickness)
    centre = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    flat = Surface(mesh.vertices - centre, mesh.faces, np.zeros(len(mesh.faces), dtype=np.int64))
    found = recognised(flat, edge_report(mesh.faces).pairs)
    surface = Surface(flat.vertices, mesh.faces, found.tags)
    return Part(
        name,
        surface,
        found.features,
        surface.area,
        surface.volume,
        False,
        found.smallest,
        (*findings, *told(mesh.changes), *mesh.findings),
        file_face=mesh.source,
        changes=mesh.changes,
        bodies=mesh.bodies,
    )


def told(changes: Sequence[Change]) -> tuple[Finding, ...]:
    """Return each change as a finding: what was mended accompanies every result."""
    return tuple(Finding(change.severity, change.code, change.message) for change in changes)


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
    far = float(np.abs(raw.vertices[raw.faces.reshape(-1)]).max())
    step = float(np.spacing(np.float32(min(far, 1e38)))) * unit
    if step > COARSEST * max(float(size.min()), 1e-3 * largest):
        raise PartError(
            "part-mesh-far",
            f"the mesh lies {mm(far * unit)} mm from its origin, "
            f"where mesh files hold steps of {step * 1e3:.2g} mm only: too coarse for a part of {words} mm",
            hint="move the part to the origin and export it again",
        )
    if SMALL <= largest <= LARGE and size.min() >= THIN:
        return []
    words = f"the part measures {words} mm; look whether the unit is right"
    return [Finding(Severity.WARNING, "part-mesh-size", words)]
