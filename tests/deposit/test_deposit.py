"""Faraday's law over the whole part: what lies on it, what the charge was, what the anode lost."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.cells import COARSE, MM, UPRIGHT, bath, drilled_bar, sheet
from helpers.flows import EvenField, flowing, on_the_link, with_bath
from helpers.small_plan import small_plan
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.arrays import Bools, Floats
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Pose, Wire
from geom.deposit import REFERENCE_AREA, growth_rate, local_mean, mean_growth_rate, plate, thief_growth
from geom.field import Field
from geom.panels import Panels, mesh_cell

FARADAY = 96485.33212  # C/mol, CODATA 2018
NICKEL = 58.6934e-3, 8908.0, 2  # molar mass and electrons: IUPAC; density: CRC Handbook of Chemistry and Physics

few = settings(max_examples=30, deadline=None, derandomize=True)
seeds = st.integers(0, 2**32 - 1)


def panels() -> Panels:
    return small_plan().fields[0].panels


def everywhere() -> Bools:
    return np.ones(panels().part_count, dtype=np.bool_)


def random_flow(seed: int) -> Floats:
    return np.random.default_rng(seed).uniform(0.0, 500.0, panels().part_count)


@few
@given(seeds, st.floats(0.2, 1.0), st.floats(1.0, 1e5))
def test_mass_of_the_layer_is_that_of_the_charge(seed: int, efficiency: float, time: float) -> None:
    field = with_bath(on_the_link(random_flow(seed)), efficiency=efficiency)
    deposit = plate([field], [time], ["as hung"], everywhere())
    molar_mass, density, electrons = NICKEL
    expected = efficiency * field.current * time * molar_mass / (electrons * FARADAY)
    assert_allclose(deposit.thickness @ deposit.areas * density, expected, rtol=1e-9, atol=0)
    assert_allclose(deposit.mass, expected, rtol=1e-9, atol=0)


@few
@given(seeds, st.floats(1.0, 1e5))
def test_mass_is_the_sum_over_the_panels_of_faradays_law_at_the_efficiency_of_each(seed: int, time: float) -> None:
    flow = random_flow(seed)
    curve = ((50.0, 0.9), (200.0, 0.75), (400.0, 0.55))
    field = with_bath(on_the_link(flow), efficiency_curve=curve)
    deposit = plate([field], [time], ["as hung"], everywhere())
    molar_mass, density, electrons = NICKEL
    local = np.interp(flow, [50.0, 200.0, 400.0], [0.9, 0.75, 0.55])
    expected = float(flow * local @ deposit.areas) * time * molar_mass / (electrons * FARADAY)
    assert_allclose(deposit.mass, expected, rtol=1e-9, atol=0)
    assert_allclose(growth_rate(field) * time, deposit.thickness, rtol=1e-9, atol=0)
    # the time in which the mean meets a thickness is that in which so much metal lies on the part
    assert_allclose(mean_growth_rate(field) * deposit.true_areas.sum() * density * time, expected, rtol=1e-9, atol=0)


def test_an_efficiency_that_falls_with_current_evens_the_deposit_and_one_that_rises_spoils_it() -> None:
    flow = random_flow(7) + 50.0
    spread = {}
    for name, curve in (("flat", ()), ("falls", ((50.0, 0.9), (500.0, 0.5))), ("rises", ((50.0, 0.5), (500.0, 0.9)))):
        field = with_bath(on_the_link(flow), efficiency_curve=curve)
        thickness = plate([field], [60.0], ["as hung"], everywhere()).thickness
        spread[name] = float(thickness.max() / thickness.min())
    assert spread["falls"] < spread["flat"] < spread["rises"]


@cache
def thieving_field() -> Field:
    """A bar with a thief beside it; between 20 and 450 A/m² everywhere, as the test gives it."""
    cell = build_cell(
        drilled_bar(),
        bath(8.0),
        tank=BoxTank(0.2, 0.15, 0.15),
        anodes=(sheet(-60 * MM),),
        pose=Pose(UPRIGHT, (31.5 * MM, 0.0, 75 * MM)),
        thieves=(Wire(4 * MM, (31.5 * MM, -60 * MM, 50 * MM), (31.5 * MM, -60 * MM, 100 * MM)),),
    )
    panels = mesh_cell(cell, COARSE)
    flow = np.random.default_rng(3).uniform(20.0, 450.0, len(panels.surface.areas))
    field = flowing(cell, panels, flow[: panels.part_count])
    (body,) = panels.thieves
    current = field.solution.current_density.copy()
    current[panels.rows(body)] = flow[panels.rows(body)]
    return EvenField(cell, panels, replace(field.solution, current_density=current))


def test_thieves_gain_by_faradays_law_at_the_efficiency_of_each_panel() -> None:
    field = thieving_field()
    curved = with_bath(field, efficiency_curve=((50.0, 0.9), (200.0, 0.75), (400.0, 0.55)))
    (body,) = field.panels.thieves
    rows = field.panels.rows(body)
    flow, areas = field.solution.current_density[rows], field.panels.surface.areas[rows]
    molar_mass, _, electrons = NICKEL
    local = np.interp(flow, [50.0, 200.0, 400.0], [0.9, 0.75, 0.55])
    expected = float(flow * local @ areas) * molar_mass / (electrons * FARADAY)
    assert_allclose(thief_growth(curved), expected, rtol=1e-9, atol=0)
    assert len(set(np.round(local, 6))) > 1
    flat = sum(field.thief_currents) * 0.95 * molar_mass / (electrons * FARADAY)
    assert_allclose(thief_growth(with_bath(field, efficiency=0.95)), flat, rtol=1e-9, atol=0)


def test_mass_of_a_solved_plan_is_that_of_its_charge() -> None:
    plan = small_plan()
    molar_mass, density, electrons = NICKEL
    equivalent = molar_mass / (electrons * FARADAY)
    charge = sum(stage.current * stage.time for stage in plan.deposit.stages)
    assert_allclose(plan.deposit.charge, charge, rtol=1e-12, atol=0)
    layer = float(plan.deposit.thickness @ plan.deposit.areas) * density
    assert_allclose(layer, plan.cell.bath.efficiency * charge * equivalent, rtol=1e-9, atol=0)
    assert_allclose(plan.deposit.mass, layer, rtol=1e-12, atol=0)
    assert_allclose(plan.deposit.anode_mass, charge * equivalent, rtol=1e-9, atol=0)


def test_an_ampere_for_three_quarters_of_an_hour_dissolves_about_0_8_g_of_nickel() -> None:
    """Common practice, no source."""
    field = on_the_link(np.full(panels().part_count, 1.0 / panels().part.area))
    deposit = plate([field], [45 * 60.0], ["as hung"], everywhere())
    assert_allclose(field.current, 1.0, rtol=1e-12, atol=0)
    assert_allclose(deposit.anode_mass, 0.8e-3, rtol=0.04, atol=0)


def test_a_place_where_current_leaves_the_part_neither_grows_nor_shrinks() -> None:
    flow = random_flow(1)
    flow[:10] = -50.0
    rate = growth_rate(on_the_link(flow))
    assert np.all(rate[:10] == 0)
    assert np.all(rate[10:] > 0)


@few
@given(seeds, st.floats(1.0, 1e4), st.floats(1.0, 1e4))
def test_two_stages_add_up(seed: int, first: float, second: float) -> None:
    fields = [on_the_link(random_flow(seed)), on_the_link(random_flow(seed + 1))]
    both = plate(fields, [first, second], ["as hung", "turned"], everywhere())
    each = [plate([f], [t], ["one"], everywhere()) for f, t in zip(fields, (first, second), strict=True)]
    assert_allclose(both.thickness, each[0].thickness + each[1].thickness, rtol=1e-12, atol=0)
    assert_allclose(both.charge, each[0].charge + each[1].charge, rtol=1e-12, atol=0)
    assert_allclose(both.mass, each[0].mass + each[1].mass, rtol=1e-12, atol=0)
    assert_allclose(both.time, first + second, rtol=1e-12, atol=0)
    assert [stage.name for stage in both.stages] == ["as hung", "turned"]


def test_a_stage_without_time_is_none() -> None:
    fields = [on_the_link(random_flow(2)), on_the_link(random_flow(3))]
    deposit = plate(fields, [60.0, 0.0], ["as hung", "turned"], everywhere())
    assert [stage.name for stage in deposit.stages] == ["as hung"]


def test_arrays_of_a_deposit_cannot_be_written_to() -> None:
    deposit = small_plan().deposit
    for array in (deposit.thickness, deposit.local_thickness, deposit.areas, deposit.significant):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


@few
@given(st.floats(1e-9, 1e3))
def test_local_mean_of_an_even_layer_is_that_layer(value: float) -> None:
    assert_allclose(local_mean(np.full(panels().part_count, value), panels()), value, rtol=1e-12, atol=0)


@few
@given(seeds, st.floats(0.1, 10), st.floats(0.1, 10))
def test_local_mean_is_linear(seed: int, a: float, b: float) -> None:
    u, v = random_flow(seed), random_flow(seed + 1)
    assert_allclose(
        local_mean(a * u + b * v, panels()),
        a * local_mean(u, panels()) + b * local_mean(v, panels()),
        rtol=1e-11,
        atol=0,
    )


@few
@given(seeds)
def test_local_mean_lies_between_the_extremes(seed: int) -> None:
    values = random_flow(seed)
    mean = local_mean(values, panels())
    assert values.min() <= mean.min()
    assert mean.max() <= values.max()


def test_local_mean_agrees_with_one_written_as_it_is_defined() -> None:
    """The area mean over the panels of the same feature whose centroids lie in the circle, and look the same way."""
    values = random_flow(7)
    part, mean = panels().part, local_mean(values, panels())
    radius = np.sqrt(REFERENCE_AREA / np.pi)
    for k in range(0, panels().part_count, 17):
        near = np.linalg.norm(part.centroids - part.centroids[k], axis=1) <= radius
        near &= (panels().feature == panels().feature[k]) & (part.normals @ part.normals[k] > 0.5)
        assert_allclose(mean[k], np.average(values[near], weights=part.areas[near]), rtol=1e-12, atol=0)


def test_a_layer_that_grows_evenly_along_a_face_keeps_its_slope_amid_the_face() -> None:
    part = panels().part
    rise = np.ptp(part.centroids[:, 2])
    values = 1.0 + (part.centroids[:, 2] - part.centroids[:, 2].min()) / rise
    mean = local_mean(values, panels())
    centre = part.centroids.mean(axis=0)
    face = [k for k, f in enumerate(small_plan().cell.part.features) if f.kind == "face"]
    middle = np.isin(panels().feature, face) & (np.abs(part.centroids[:, 1] - centre[1]) < 3e-3)
    middle &= np.abs(part.centroids[:, 2] - centre[2]) < 8e-3
    assert middle.sum() >= 4
    assert_allclose(mean[middle], values[middle], rtol=0.03, atol=0)
