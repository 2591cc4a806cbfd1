"""``geom area``: area by feature, volume and size, without any solve."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geom.errors import JobError
from geom.findings import Severity

if TYPE_CHECKING:  # at run time these are read only when the command runs
    from geom.part.part import Part
    from geom.report.tree import Section

BLOCKED = 1  # exit code of a part with a finding that should stop the user


def run(file: str, *, unit: str | None, as_json: bool) -> int:
    """Print area, volume and size of a mesh or of a job's part; return the exit code."""
    part = _part(Path(file), unit)
    if as_json:
        from geom.report.plainjson import dumped

        click.echo(dumped(_tree(part)), nl=False)
    else:
        from geom.report.text import as_text
        from geom.report.tree import Document

        click.echo(as_text(Document(part.title, (), _sections(part))), nl=False)
    return BLOCKED if any(f.severity == Severity.STOP for f in part.findings) else 0


def _part(path: Path, unit: str | None) -> "Part":
    """Read the part of a job file, or a mesh in the unit stated."""
    from geom.part.build import build_part

    if path.suffix.lower() == ".toml":
        from geom.job.read import read_job

        if unit:
            raise JobError(
                "unit-not-wanted", "--unit goes with a mesh file; a job file states its own units", where=str(path)
            )
        return build_part(read_job(path).shape)
    from geom.part.shapes import MeshFile
    from geom.units import UnitError, unit_factor

    if not unit:
        raise JobError(
            "mesh-unit-missing",
            f"the unit of {path.name} must be stated: a mesh file does not say what one unit is",
            where=str(path),
            hint="say for example --unit mm; " + _sizes(path),
        )
    try:
        factor = unit_factor(unit, "length")
    except UnitError as error:
        raise JobError("mesh-unit-unknown", str(error), where="--unit", hint="mm, cm, m, in or ft") from None
    return build_part(MeshFile(path, factor))


def _sizes(path: Path) -> str:
    """Return what size the file would have in each unit, to help choosing."""
    from geom.part.build import build_part
    from geom.part.shapes import MeshFile
    from geom.units import show, unit_factor

    low, high = build_part(MeshFile(path, unit_factor("mm", "length"))).surface.bounds
    sides = (high - low) / unit_factor("mm", "length")
    sizes = []
    for unit in ("mm", "in", "m"):
        shown = "mm" if max(sides) * unit_factor(unit, "length") < 10.0 else "m"
        box = " x ".join(show(side * unit_factor(unit, "length"), shown, 4) for side in sides)
        sizes.append(f"{box} with --unit {unit}")
    return f"the part would be {', or '.join(sizes)}"


def _tree(part: "Part") -> dict[str, Any]:
    from geom.report.jsonfile import bounding_box_mm, findings_tree
    from geom.report.plainjson import SCHEMA_VERSION

    return {
        "schema_version": SCHEMA_VERSION,
        "title": part.title,
        "wetted_area_mm2": 1e6 * part.area,
        "volume_mm3": 1e9 * part.volume,
        "mesh_area_mm2": 1e6 * part.surface.area,
        "mesh_volume_mm3": 1e9 * part.surface.volume,
        "exact": part.exact,
        "bounding_box_mm": bounding_box_mm(part),
        "bounding_box_in": [v / 25.4 for v in bounding_box_mm(part)],
        "features": [
            {
                "name": f.name,
                "kind": str(f.kind),
                "area_mm2": 1e6 * f.area,
                "width_mm": 1e3 * f.width,
                "depth_mm": 1e3 * f.depth,
            }
            for f in part.features
        ],
        "findings": findings_tree(part.findings),
    }


def _sections(part: "Part") -> "tuple[Section, ...]":
    from geom.report.amounts import area
    from geom.report.tree import Row, Section, Table
    from geom.units import show

    low, high = part.surface.bounds
    how = "by formula" if part.exact else "of the mesh"
    rows = [
        Row(f"area ({how})", f"{show(part.area, 'mm²', 5)} ({show(part.area, 'in²', 4)})"),
        Row(f"volume ({how})", f"{show(part.volume, 'mm³', 5)} ({show(part.volume, 'in³', 4)})"),
        Row("bounding box", " x ".join(show(v, "mm", 5) for v in high - low)),
        Row("bounding box in inch", " x ".join(show(v, "in", 4) for v in high - low)),
    ]
    if part.exact:
        facets = f"{show(part.surface.area, 'mm²', 5)}, {show(part.surface.volume, 'mm³', 5)}"
        rows.append(Row("area and volume of the facets that stand for it", facets))
    lines = tuple((f.name, str(f.kind), area(f.area)) for f in part.features)
    features = Table(("feature", "kind", "area"), lines, (1,))
    sections = [Section("Size", (), tuple(rows)), Section("Area by feature", (), (), features)]
    if part.findings:
        sections.append(Section("Findings", tuple(f"{f.severity}: {f.message}" for f in part.findings)))
    return tuple(sections)
