"""``geom area``: area by feature, volume and size, without any solve."""

from pathlib import Path
from typing import Any

import click

from geom.errors import JobError


def run(file: str, *, unit: str | None, as_json: bool) -> int:
    """Print area, volume and size of a mesh or of a job's part; return the exit code."""
    path = Path(file)
    part = _part(path, unit)
    if as_json:
        from geom.report.jsonfile import dumped

        click.echo(dumped(_tree(part)), nl=False)
    else:
        from geom.report.text import as_text
        from geom.report.tree import Document

        click.echo(as_text(Document(part.title, (), _sections(part))), nl=False)
    return 0


def _part(path: Path, unit: str | None) -> Any:
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
            hint="say for example --unit mm" + _sizes(path),
        )
    try:
        factor = unit_factor(unit, "length")
    except UnitError as error:
        raise JobError("mesh-unit-unknown", str(error), where="--unit", hint="mm, cm, m, in or ft") from None
    return build_part(MeshFile(path, factor))


def _sizes(path: Path) -> str:
    """Return what size the file would have in each unit, to help choosing; nothing when it cannot be read."""
    from geom.errors import GeomError
    from geom.part.build import build_part
    from geom.part.shapes import MeshFile
    from geom.units import unit_factor

    try:
        low, high = build_part(MeshFile(path, 1e-3)).surface.bounds
    except GeomError:
        return ""
    longest = float((high - low).max())
    sizes = [f"{1e6 * longest * unit_factor(unit, 'length'):.4g} mm with --unit {unit}" for unit in ("mm", "in", "m")]
    return f"; its longest side would be {', '.join(sizes)}"


def _tree(part: Any) -> dict[str, Any]:
    from geom.report.jsonfile import SCHEMA_VERSION, findings_tree

    low, high = part.surface.bounds
    return {
        "schema_version": SCHEMA_VERSION,
        "title": part.title,
        "wetted_area_mm2": 1e6 * part.area,
        "volume_mm3": 1e9 * part.volume,
        "mesh_area_mm2": 1e6 * part.surface.area,
        "mesh_volume_mm3": 1e9 * part.surface.volume,
        "exact": part.exact,
        "bounding_box_mm": [1e3 * float(v) for v in high - low],
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


def _sections(part: Any) -> tuple[Any, ...]:
    from geom.report.amounts import area
    from geom.report.tree import Row, Section, Table
    from geom.units import show

    low, high = part.surface.bounds
    how = "by formula" if part.exact else "of the mesh"
    rows = (
        Row(f"area ({how})", f"{show(part.area, 'mm²', 5)} ({show(part.area, 'in²', 4)})"),
        Row(f"volume ({how})", f"{show(part.volume, 'mm³', 5)} ({show(part.volume, 'in³', 4)})"),
        Row("size", " x ".join(show(v, "mm", 5) for v in high - low)),
        Row("size in inch", " x ".join(show(v, "in", 4) for v in high - low)),
    )
    if part.exact:
        facets = f"{show(part.surface.area, 'mm²', 5)}, {show(part.surface.volume, 'mm³', 5)}"
        rows += (Row("area and volume of the facets that stand for it", facets),)
    lines = tuple((f.name, str(f.kind), area(f.area)) for f in part.features)
    sections = [Section("Size", (), rows), Section("Features", (), (), Table(("feature", "kind", "area"), lines))]
    if part.findings:
        sections.append(Section("Findings", tuple(f"{f.severity}: {f.message}" for f in part.findings)))
    return tuple(sections)
