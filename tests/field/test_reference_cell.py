"""A drilled bar before one sheet anode, against an independent finite-element solution.

Quadratic tetrahedra on a quarter of the cell; two resolutions agree to 0.1 %. Sheet at 1 V, bar of polarization
resistance 1.3e-4 ohm m2, 8 S/m, insulating walls and surface.
"""

import numpy as np
import pytest
from helpers import cells
from helpers.cells import COARSE, percentiles, reference_cell, reference_field
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.bem.problem import Current, Voltage
from geom.cell.bodies import anode_solid, part_solid
from geom.electrode.laws import Linear
from geom.field import Field, solve_field

POLARIZED = Linear(1.3e-4)
SHARES = [0.01, 0.10, 0.50, 0.90, 0.99]


def held(quantity: str, field: Field, found: float, known: float, rtol: float, case: str = "linear law") -> None:
    count = len(field.panels.body)
    hold("reference-cell", case, quantity, found, known, rtol=rtol, panels=count, source="quadratic tetrahedra")


def test_the_reference_cell_stands_where_it_should() -> None:
    """Bar x 130..133, y 25..125, z 65..85 mm and anode x 69..70 in a frame whose origin is a corner of the tank."""
    cell = reference_cell(POLARIZED)
    corner = np.array([0.1, 0.075, 0.0])
    bar = 1e3 * (part_solid(cell.part, cell.pose).bounds + corner)
    assert_allclose(bar, [[130, 25, 65], [133, 125, 85]], rtol=1e-9, atol=0)
    anode = 1e3 * (anode_solid(cell.anodes[0], cell.tank).bounds + corner)
    assert_allclose(anode, [[69, 25, 25], [70, 125, 125]], rtol=1e-9, atol=0)


def test_total_current_is_within_a_percent() -> None:
    held("total current, A", reference_field(POLARIZED), reference_field(POLARIZED).current, 1.5268, 0.01)


def test_the_spread_of_current_density_is_within_three_percent() -> None:
    known = [0.4910, 0.5476, 0.8750, 1.5904, 2.2644]
    found = percentiles(reference_field(POLARIZED), SHARES)
    for share, here, there in zip(SHARES, found, known, strict=True):
        held(f"p{100 * share:.0f}", reference_field(POLARIZED), here, there, 0.03)


def test_the_two_currents_agree_within_half_a_percent() -> None:
    assert reference_field(POLARIZED).imbalance < 0.005


def test_primary_current_is_within_a_percent() -> None:
    """The same solution without polarization: 1.6132 A; the median of the spread is 0.793 of the mean."""
    field = reference_field(None)
    held("total current, A", field, field.current, 1.6132, 0.01, "no polarization")
    for share, here, there in zip([0.10, 0.50], percentiles(field, [0.10, 0.50]), [0.4585, 0.793], strict=True):
        held(f"p{100 * share:.0f}", field, here, there, 0.02, "no polarization")


def test_a_mesh_of_half_the_panels_gives_nearly_the_same() -> None:
    fine, coarse = reference_field(POLARIZED), reference_field(POLARIZED, COARSE)
    assert len(coarse.panels.body) < 0.5 * len(fine.panels.body)
    assert_allclose(coarse.current, fine.current, rtol=0.01, atol=0)
    assert_allclose(percentiles(coarse, SHARES), percentiles(fine, SHARES), rtol=0.06, atol=0)


def test_panel_currents_sum_to_the_current_that_is_stated() -> None:
    field = reference_field(POLARIZED)
    assert_allclose(field.current_density @ field.areas, field.current, rtol=1e-6, atol=0)
    everywhere = field.anode_current_density @ field.panels.surface.areas
    assert_allclose(everywhere, field.anode_current, rtol=1e-6, atol=0)


@pytest.mark.parametrize("amperes", [0.05, 0.88, 8.0])
def test_current_control_and_voltage_control_are_one_field(amperes: float) -> None:
    prepared = cells.reference(POLARIZED, COARSE)
    by_current = solve_field(prepared, Current(amperes))
    by_voltage = solve_field(prepared, Voltage(by_current.voltage))
    assert_allclose(by_current.current, amperes, rtol=1e-5, atol=0)
    assert_allclose(by_voltage.current, amperes, rtol=1e-3, atol=0)
    assert_allclose(by_current.voltage, amperes / reference_field(POLARIZED, COARSE).current, rtol=1e-3, atol=0)


def test_the_holes_get_less_than_the_faces_and_the_near_side_more_than_the_far_side() -> None:
    field = reference_field(POLARIZED)
    local = field.current_density / field.mean_current_density
    panels = field.panels
    mean = {
        feature.name: float(np.average(local[panels.feature == k], weights=field.areas[panels.feature == k]))
        for k, feature in enumerate(field.cell.part.features)
    }
    bores = [value for name, value in mean.items() if name.startswith("bore")]
    broad = sorted(value for name, value in mean.items() if name.startswith("face"))
    assert len(bores) == 2
    assert_allclose(bores[0], bores[1], rtol=0.01, atol=0)
    assert max(bores) < broad[1]
    assert broad[0] < 0.85 * broad[1]
