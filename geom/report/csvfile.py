"""The part's panels as a table: one row for each, for a spreadsheet or a script."""

import csv
import io

import numpy as np

from geom.cell.bodies import placement
from geom.plan import Plan
from geom.units import unit_factor

COLUMNS = (
    "feature",
    "x_mm",
    "y_mm",
    "z_mm",
    "x_part_mm",
    "y_part_mm",
    "z_part_mm",
    "area_mm2",
    "thickness_um",
    "local_thickness_um",
    "current_density_A_dm2",
    "significant",
)

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes text that starts so for a formula and runs it."""


def thickness_csv(plan: Plan) -> str:
    """Return the table of the part's panels, a heading and one row for each panel.

    x, y and z are of the panel's centre in the tank's frame as first hung, those with ``part`` in the part's
    own frame; the current density is that of the first pose. Lines end in CR LF, as RFC 4180 has it.
    """
    first, deposit = plan.fields[0], plan.deposit
    rotation, shift = placement(plan.cell.part, first.panels.pose)
    centres = first.panels.part.centroids
    millimetre = unit_factor("mm", "length")
    numbers = np.column_stack(
        [
            centres / millimetre,
            (centres - shift) @ rotation / millimetre,
            deposit.areas / millimetre**2,
            deposit.thickness / unit_factor("um", "length"),
            deposit.local_thickness / unit_factor("um", "length"),
            first.current_density / unit_factor("A/dm2", "current density"),
        ]
    )
    names = [safe_text(feature.name) for feature in plan.cell.part.features]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for feature, row, significant in zip(first.panels.feature, numbers, deposit.significant, strict=True):
        writer.writerow([names[feature], *(number_text(v) for v in row), "yes" if significant else "no"])
    return out.getvalue()


def safe_text(text: str) -> str:
    """Return a text cell that no spreadsheet takes for a formula."""
    return "'" + text if text.startswith(FORMULA_STARTS) else text


def number_text(value: float) -> str:
    """Return a number to six significant digits, without a minus before zero."""
    return f"{value + 0.0:.6g}"
