"""Limits that the bench sets, each worked by hand and made to bind once."""

from dataclasses import replace
from functools import cache

import pytest
from helpers.cells import reference_field
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.advice.bench_limits import bench_limits
from geom.advice.coverage import BARE, coverage, coverage_findings
from geom.advice.current import weighed_limits
from geom.advice.limit import Limit
from geom.advice.measures import hottest_current_density
from geom.bem.problem import Current
from geom.bench.records import Bench, Hook, Room
from geom.chemistry import Range
from geom.deposit import significant_panels
from geom.electrode.laws import Linear
from geom.field import Field, Prepared, prepare, solve_field
from geom.job.job import Supply
from geom.panels import MeshOptions, mesh_cell

LAW = Linear(1.3e-4)


@cache
def near() -> Field:
    return reference_field(LAW, MeshOptions(budget=1500))


@cache
def prepared() -> Prepared:
    cell = near().cell
    return prepare(cell, mesh_cell(cell, MeshOptions(budget=1500)))


def limit(name: str, bench: Bench, field: Field | None = None) -> Limit:
    (found,) = [one for one in bench_limits(field or near(), bench) if one.name.startswith(name)]
    return found


def test_an_ampere_for_each_litre() -> None:
    """Common practice, no source: the tank of 200 x 150 x 150 mm holds 4.5 litres."""
    assert limit("bath loading", Bench()).value == pytest.approx(4.5, rel=1e-12)


@pytest.mark.parametrize(("diameter", "amperes"), [(0.64e-3, 0.5), (1.02e-3, 1.3), (1.63e-3, 3.2), (3.2e-3, 12.5)])
def test_a_copper_hook_carries_what_the_rack_rule_says(diameter: float, amperes: float) -> None:
    """1000 A for each in² of copper (Metal Finishing Guidebook 2012-13, rack chapter, Table II)."""
    assert limit("hooks", Bench(hook=Hook("copper", diameter))).value == pytest.approx(amperes, rel=0.03)


def test_hooks_share_the_current_and_thicker_ones_carry_more() -> None:
    one, two = (limit("hooks", Bench(hook=Hook("copper", 1e-3, n))).value for n in (1, 2))
    assert two == pytest.approx(2 * one, rel=1e-12)
    assert limit("hooks", Bench(hook=Hook("copper", 2e-3))).value == pytest.approx(4 * one, rel=1e-12)
    assert limit("hooks", Bench(hook=Hook("stainless steel", 1e-3))).value < one / 20


def test_at_its_limit_an_anode_bears_the_most_on_average() -> None:
    """3 A/dm² at most for nickel (common practice, no source)."""
    allowed = limit("anode current density", Bench()).value
    field = solve_field(prepared(), Current(allowed))
    assert max(field.anode_densities) == pytest.approx(300.0, rel=0.01)


def test_the_heat_of_the_limit_ends_at_the_rise_put_up_with() -> None:
    """V I = U (rise + excess over the air), by hand: 2 W/K, 10 K more than the 35 K a heater holds, is 90 W."""
    room = Room(near().cell.bath.temperature - 35.0, Range(2.0, 2.0, 2.0), 10.0)
    allowed = limit("heating", Bench(room=room)).value
    field = solve_field(prepared(), Current(allowed))
    assert field.voltage * field.total_current == pytest.approx(90.0, rel=2e-3)


def test_the_limiting_current_is_weighed_where_the_job_says_whether_the_bath_is_moved() -> None:
    assert not [one for one in bench_limits(near(), Bench()) if "limiting" in one.name]
    allowed = limit("limiting current", Bench(stirred=False)).value
    hottest = hottest_current_density(solve_field(prepared(), Current(allowed)))
    assert hottest == pytest.approx(0.5 * near().cell.bath.limiting_current_density.typical, rel=0.01)


@pytest.mark.parametrize(
    ("bench", "name"),
    [
        (Bench(hook=Hook("copper", 0.3e-3)), "hooks"),
        (Bench(room=Room(273.15 + 55, Range(1e-3, 1e-3, 1e-3), 0.5)), "heating of the bath"),
    ],
)
def test_the_least_binds(bench: Bench, name: str) -> None:
    limits, _ = weighed_limits(prepared(), Supply(None, None), (), bench)
    (bound,) = [one for one in limits if one.binds]
    assert bound.name == name
    assert bound.value == min(one.value for one in limits)
    assert all(one.relax and one.source for one in limits)


@given(st.floats(0.2e-3, 5e-3), st.floats(0.2e-3, 5e-3))
def test_a_thinner_hook_never_allows_more(a: float, b: float) -> None:
    thin, thick = sorted((a, b))
    one, two = (limit("hooks", Bench(hook=Hook("brass", d))).value for d in (thin, thick))
    assert one <= two


def test_shares_of_the_range_add_up_and_follow_the_current() -> None:
    field = near()
    significant = significant_panels(field.cell.part, field.panels, ())
    found = coverage(field, significant)
    for shares in (found.wetted, found.significant):
        assert shares.bare + shares.under + shares.within + shares.over == pytest.approx(1.0, rel=1e-12)
    again = coverage(solve_field(prepared(), Current(found.least_current)), significant)
    assert again.coldest == pytest.approx(found.range.low, rel=0.01)
    assert coverage_findings(found, 0.5 * found.least_current)
    assert not coverage_findings(found, found.least_current)


def test_a_uniform_current_lies_where_it_lies() -> None:
    """Every panel at one density: all of it on one side of each border, by hand."""
    field = near()
    significant = significant_panels(field.cell.part, field.panels, ("all",))
    low, high = field.cell.bath.current_density.low, field.cell.bath.current_density.high
    for value, name in (
        (0.5 * BARE * low, "bare"),
        (0.5 * low, "under"),
        (0.5 * (low + high), "within"),
        (2 * high, "over"),
    ):
        flat = replace(field.solution, current_density=0 * field.solution.current_density + value)
        found = coverage(replace(field, solution=flat), significant)
        assert_allclose(getattr(found.wetted, name), 1.0, rtol=1e-9, atol=0)
