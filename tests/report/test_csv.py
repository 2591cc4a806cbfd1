"""The table of panels says what the plan says."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.cell.bodies import placement
from geom.plan import Plan
from geom.report.csvfile import COLUMNS, number_text, safe_text, thickness_csv


def rows_of(plan: Plan) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(thickness_csv(plan), newline="")))


def column(name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows_of(small_plan())])


def renamed(plan: Plan, name: str) -> Plan:
    """Return the plan with its first feature under another name."""
    part = plan.cell.part
    features = (replace(part.features[0], name=name), *part.features[1:])
    return replace(plan, cell=replace(plan.cell, part=replace(part, features=features)))


def test_every_panel_has_one_row_and_the_heading_names_the_columns():
    rows = rows_of(small_plan())
    assert len(rows) == small_plan().fields[0].panels.part_count
    assert tuple(rows[0]) == COLUMNS


def test_area_times_thickness_over_the_rows_is_the_mass_of_the_deposit():
    plan = small_plan()
    volume = column("area_mm2") @ column("thickness_um") * 1e-12
    assert_allclose(volume * plan.cell.bath.metal.density, plan.deposit.mass, rtol=1e-5, atol=0)


def test_area_times_current_density_over_the_rows_is_the_current():
    current = column("area_mm2") @ column("current_density_A_dm2") * 1e-4
    assert_allclose(current, small_plan().current, rtol=1e-5, atol=0)


def test_coordinates_of_the_part_lie_in_its_bounding_box_and_carry_to_the_tank():
    plan = small_plan()
    own = np.column_stack([column(f"{axis}_part_mm") for axis in "xyz"])
    tank = np.column_stack([column(f"{axis}_mm") for axis in "xyz"])
    assert_allclose(np.abs(own).max(axis=0)[2], 1.5, rtol=1e-6, atol=0)  # the broad faces of 3 mm
    assert np.all(np.abs(own) <= np.array([30.0, 10.0, 1.5]) * (1 + 1e-6))
    rotation, shift = placement(plan.cell.part, plan.cell.pose)
    assert np.abs(own @ rotation.T + 1e3 * shift - tank).max() < 1e-3


def test_lowest_local_thickness_of_the_significant_rows_is_the_target():
    rows = [row for row in rows_of(small_plan()) if row["significant"] == "yes"]
    assert_allclose(min(float(row["local_thickness_um"]) for row in rows), 8.0, rtol=1e-5, atol=0)
    assert {row["significant"] for row in rows_of(small_plan())} == {"yes", "no"}


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r"])
def test_a_name_that_a_spreadsheet_would_run_gets_an_apostrophe(start):
    name = start + "cmd|' /C calc'!A0"
    names = {row["feature"] for row in rows_of(renamed(small_plan(), name))}
    assert "'" + name in names
    assert name not in names


@pytest.mark.parametrize("name", ['a "quoted", name', "two\nlines", "face A (+z)", "Ø 8 – slot"])
def test_any_other_name_comes_back_as_it_was(name):
    assert safe_text(name) == name
    assert name in {row["feature"] for row in rows_of(renamed(small_plan(), name))}


def test_numbers_keep_six_digits_and_zero_has_no_sign():
    assert number_text(1234.5678) == "1234.57"
    assert number_text(-0.0) == "0"
