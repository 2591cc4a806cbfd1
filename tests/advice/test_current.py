"""The limits on the current: each is true of the field at that current, and the least binds."""

from dataclasses import replace
from functools import cache

import pytest
from helpers.cells import MM, bath
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.advice.current import current_at_strip, limiting_current, weighed_limits
from geom.advice.limit import Limit
from geom.advice.measures import hottest_current_density, hottest_strip
from geom.bem.problem import Current
from geom.cell.build import build_cell
from geom.electrode.laws import Limited, Linear, Tafel
from geom.field import Prepared, prepare, solve_field
from geom.job.job import Supply
from geom.panels import FIRST_ANODE, MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Bar

LAWS = {"none": None, "linear": Linear(2e-4), "tafel": Tafel(exchange=1.0, cathodic_slope=0.05)}


@cache
def cell(law: str = "linear") -> Prepared:
    """A bar in the tank the program would choose, coarsely meshed."""
    made = build_cell(build_part(Bar(60 * MM, 20 * MM, 3 * MM)), bath(law=LAWS[law]), tank=None, anodes=None, pose=None)
    return prepare(made, mesh_cell(made, MeshOptions(budget=1200)))


def limited(limiting: float) -> Prepared:
    """The same in a bath that carries no more than ``limiting`` [A/m²]; its bright range ends at 800."""
    plain = cell()
    bath_of_ours = replace(plain.cell.bath, law=Limited(Linear(2e-4), limiting))
    return replace(plain, cell=replace(plain.cell, bath=bath_of_ours))


OF_BATH = ("usual current density of the bath", "bright range of the bath")


def named(limits: tuple[Limit, ...]) -> dict[str, Limit]:
    return {limit.name.split(",")[0]: limit for limit in limits}


@pytest.mark.parametrize("law", LAWS)
def test_at_the_limit_of_the_bright_range_the_hottest_strip_carries_its_top(law: str) -> None:
    limits, _ = weighed_limits(cell(law), Supply(None, None))
    field = solve_field(cell(law), Current(named(limits)["bright range of the bath"].value))
    high = cell(law).cell.bath.current_density.high
    assert_allclose(hottest_strip(field).current_density, high, rtol=0.01, atol=0)


@pytest.mark.parametrize("start", [0.05, 1.0, 20.0])
def test_the_limit_of_the_strip_does_not_depend_on_where_the_search_begins(start: float) -> None:
    found, _ = current_at_strip(cell("tafel"), 600.0, start, float("inf"))
    field = solve_field(cell("tafel"), Current(found))
    assert_allclose(hottest_current_density(field), 600.0, rtol=0.01, atol=0)


@pytest.mark.parametrize("law", LAWS)
def test_at_the_limit_of_the_supply_the_cell_takes_its_voltage(law: str) -> None:
    limits, _ = weighed_limits(cell(law), Supply(1.3, None))
    field = solve_field(cell(law), Current(named(limits)["supply voltage"].value))
    assert_allclose(field.voltage, 1.3, rtol=1e-3, atol=0)


def test_the_usual_current_density_times_the_area_is_a_limit() -> None:
    limits, _ = weighed_limits(cell(), Supply(None, None))
    expected = cell().cell.bath.current_density.typical * float(cell().panels.part.area)
    assert_allclose(named(limits)["usual current density of the bath"].value, expected, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("supply", "binding"),
    [
        (Supply(None, 0.01), "supply current"),
        (Supply(0.05, 100.0), "supply voltage"),
        (Supply(100.0, 100.0), None),
    ],
)
def test_the_least_limit_binds_and_no_other(supply: Supply, binding: str | None) -> None:
    limits, _ = weighed_limits(cell(), supply)
    (bound,) = [limit for limit in limits if limit.binds]
    assert bound.value == min(limit.value for limit in limits)
    assert len(limits) == len(OF_BATH) + 3 + (supply.max_voltage is not None) + (supply.max_current is not None)
    if binding is not None:
        assert bound.name == binding
    else:
        assert "bath" in bound.name
    for limit in limits:
        assert limit.basis
        assert limit.value > 0


def test_a_supply_that_is_not_stated_is_no_limit() -> None:
    limits, _ = weighed_limits(cell(), Supply(None, None))
    assert set(named(limits)) == {*OF_BATH, "bath loading", "heating of the bath", "anode current density"}


def test_a_bath_of_twice_the_range_allows_more_current() -> None:
    prepared = cell()
    wide = replace(prepared.cell.bath, current_density=prepared.cell.bath.current_density.scaled(2.0))
    richer = replace(prepared, cell=replace(prepared.cell, bath=wide))
    one, two = (named(weighed_limits(p, Supply(None, None))[0]) for p in (prepared, richer))
    for name in OF_BATH:
        # a linear law: the field scales with the current
        assert_allclose(two[name].value, 2 * one[name].value, rtol=0.01, atol=0)


def test_the_time_to_the_mean_is_faradays() -> None:
    """12.29 µm of nickel an hour at 1 A/dm² and full efficiency (density 8.908; handbook figures 12.29 to 12.30)."""
    plan = small_plan()
    rate = plan.job.target.thickness / plan.time_to_mean * 3600
    per_unit = rate / (plan.fields[0].mean_current_density / 100)
    assert_allclose(per_unit, plan.cell.bath.efficiency * 12.29e-6, rtol=2e-3, atol=0)


@pytest.mark.parametrize("limiting", [50.0, 300.0, 600.0])
def test_a_bath_that_cannot_carry_its_usual_range_is_planned_at_half_its_limiting_current(limiting: float) -> None:
    prepared = limited(limiting)
    assert prepared.cell.bath.current_density.typical >= 0.5 * limiting
    limits, _ = weighed_limits(prepared, Supply(None, None))
    (bound,) = [limit for limit in limits if limit.binds]
    assert bound.name == "limiting current of part and anodes"
    assert_allclose(bound.value, 0.5 * limiting * float(prepared.panels.part.area), rtol=1e-9, atol=0)
    field = solve_field(prepared, Current(bound.value))
    assert field.current_density.max() < limiting


def test_a_strip_that_the_limiting_current_keeps_under_the_bright_range_sets_no_limit() -> None:
    assert "bright range of the bath" not in named(weighed_limits(limited(600.0), Supply(None, None))[0])
    high = limited(1500.0).cell.bath.current_density.high
    strip = named(weighed_limits(limited(1500.0), Supply(None, None))[0])["bright range of the bath"]
    field = solve_field(limited(1500.0), Current(strip.value))
    assert_allclose(hottest_strip(field).current_density, high, rtol=0.01, atol=0)


def test_anodes_that_carry_little_limit_the_current_too() -> None:
    prepared = cell()
    (anode,) = prepared.cell.anodes
    weak = replace(prepared.cell, anodes=(replace(anode, law=Limited(Linear(2e-4), 100.0)),))
    area = float(prepared.panels.surface.areas[prepared.panels.rows(FIRST_ANODE)].sum())
    assert_allclose(limiting_current(replace(prepared, cell=weak)), 100.0 * area, rtol=1e-9, atol=0)
    assert limiting_current(prepared) == float("inf")
