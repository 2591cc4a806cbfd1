"""The part's panels as a VTU file (VTK XML unstructured grid), for any viewer of fields."""

from collections.abc import Iterable

import numpy as np

from geom.arrays import Floats, Ints
from geom.plan import Plan
from geom.units import unit_factor

TRIANGLE = 5  # cell type of a triangle in VTK


def part_vtu(plan: Plan) -> str:
    """Return the part as first hung, tank frame, points in mm, with thickness and current density on each panel.

    Triangles are wound so that they are seen counter-clockwise from the bath.
    """
    first, deposit = plan.fields[0], plan.deposit
    part = first.panels.part
    points = part.vertices / unit_factor("mm", "length")
    corners = part.faces[:, ::-1]  # panel normals point into the metal, viewers light the outside
    micrometre = unit_factor("um", "length")
    fields = [
        _floats("thickness_um", deposit.thickness / micrometre),
        _floats("local_thickness_um", deposit.local_thickness / micrometre),
        _floats("current_density_A_dm2", first.current_density / unit_factor("A/dm2", "current density")),
        _ints("feature", first.panels.feature),
        _ints("significant", deposit.significant.astype(np.int64)),
    ]
    count = len(corners)
    return "\n".join(
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            _comment(["Points are in mm, in the frame of the tank.", *_feature_lines(plan)]),
            '<VTKFile type="UnstructuredGrid" version="0.1" byte_order="LittleEndian">',
            "<UnstructuredGrid>",
            f'<Piece NumberOfPoints="{len(points)}" NumberOfCells="{count}">',
            "<Points>",
            _floats("points_mm", points),
            "</Points>",
            "<Cells>",
            _ints("connectivity", corners),
            _ints("offsets", 3 * np.arange(1, count + 1)),
            _ints("types", np.full(count, TRIANGLE)),
            "</Cells>",
            '<CellData Scalars="thickness_um">',
            *fields,
            "</CellData>",
            "</Piece>",
            "</UnstructuredGrid>",
            "</VTKFile>",
            "",
        ]
    )


def _feature_lines(plan: Plan) -> list[str]:
    return [f"feature {k}: {feature.name}" for k, feature in enumerate(plan.cell.part.features)]


def _comment(lines: Iterable[str]) -> str:
    """Return an XML comment; two dashes in a row would end it early."""
    text = "\n".join(lines)
    while "--" in text:
        text = text.replace("--", "- -")
    return f"<!--\n{text}\n-->"


def _floats(name: str, values: Floats) -> str:
    rows = "\n".join(" ".join(f"{v:.9g}" for v in row) for row in values.reshape(len(values), -1))
    return _array(name, "Float64", values.ndim, rows)


def _ints(name: str, values: Ints) -> str:
    rows = "\n".join(" ".join(str(v) for v in row) for row in values.reshape(len(values), -1).tolist())
    return _array(name, "Int64", 1, rows)


def _array(name: str, kind: str, dimensions: int, rows: str) -> str:
    # no count of components for plain numbers: some readers make a column of 1 out of it
    components = ' NumberOfComponents="3"' if dimensions == 2 else ""
    return f'<DataArray type="{kind}" Name="{name}"{components} format="ascii">\n{rows}\n</DataArray>'
