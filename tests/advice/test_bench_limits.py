"""Limits that the bench sets, each worked by hand and made to bind once."""

from dataclasses import replace
from functools import cache

import pytest
from helpers.cells import UPRIGHT, reference_field
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.advice.bench_limits import DIFFUSION, bench_limits
from geom.advice.coverage import BARE, coverage, coverage_findings
from geom.advice.current import weighed_limits
from geom.advice.limit import Limit
from geom.advice.measures import hottest_current_density
from geom.bem.problem import Current
from geom.bench.records import Bench, Hook, Room
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Pose
from geom.chemistry import Range
from geom.deposit import significant_panels
from geom.electrode.laws import Linear
from geom.field import Field, Prepared, prepare, solve_field
from geom.job.job import Supply
from geom.panels import MeshOptions, mesh_cell
from geom.tables import read

LAW = Linear(1.3e-4)
UNSTATED = Supply(None, None)


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


@cache
def with_table_law(name: str, *, stirred: bool) -> Prepared:
    """The reference cell in a bath of the tables, with the polarization of the tables: not in proportion to current."""
    cell = replace(near().cell, bath=read.bath(name, stirred=stirred))
    return prepare(cell, mesh_cell(cell, MeshOptions(budget=1200)))


def bound(prepared: Prepared, bench: Bench, supply: Supply = UNSTATED) -> Limit:
    limits, _ = weighed_limits(prepared, supply, (), bench)
    (found,) = [one for one in limits if one.binds]
    assert found.value == min(one.value for one in limits)
    return found


@pytest.mark.parametrize("name", ["watts-nickel", "acid-copper"])
def test_a_still_bath_is_planned_at_half_its_limiting_current_at_the_hottest_strip(name: str) -> None:
    """Half of the limiting current at the hottest place: common practice, no source; solved for, not scaled."""
    cell = with_table_law(name, stirred=False)
    found = bound(cell, Bench(stirred=False))
    assert found.name.startswith(DIFFUSION)
    hottest = hottest_current_density(solve_field(cell, Current(found.value)))
    assert hottest == pytest.approx(0.5 * cell.cell.bath.limiting_current_density.typical, rel=0.01)


@pytest.mark.parametrize("name", ["watts-nickel", "acid-copper"])
def test_stirring_lets_more_current_through(name: str) -> None:
    still = bound(with_table_law(name, stirred=False), Bench(stirred=False)).value
    moved = bound(with_table_law(name, stirred=True), Bench(stirred=True)).value
    assert moved > 1.5 * still


LIMITED = [name for name in read.bath_names() if read.bath(name).limiting_current_density is not None]


def test_of_these_baths_no_limiting_current_is_known_and_none_is_put_in_its_place() -> None:
    unknown = set(read.bath_names()) - set(LIMITED)
    assert unknown == {"woods-nickel", "acid-zinc-chloride", "alkaline-zinc", "acid-tin-sulfate", "acid-tin-msa"}


@pytest.mark.parametrize("name", LIMITED)
def test_a_bath_with_a_limiting_current_knows_it_for_still_and_for_moved_liquid(name: str) -> None:
    """i = n F D c / d: a layer of 0.1 mm for one of 0.3 mm carries three times as much (diffusion, by hand)."""
    still, moved = (read.bath(name, stirred=stirred).limiting_current_density for stirred in (False, True))
    assert moved.typical / still.typical == pytest.approx(3.0, rel=0.15)


def test_a_small_tank_binds_by_its_litres() -> None:
    """Common practice, no source: 1 A for each litre; 150 x 120 x 80 mm hold 1.44."""
    wide = replace(near().cell.bath, current_density=Range(200.0, 700.0, 3000.0))
    small = build_cell(
        near().cell.part,
        wide,
        tank=BoxTank(150e-3, 120e-3, 80e-3),
        anodes=(replace(near().cell.anodes[0], width=70e-3, height=70e-3, at=(-30.5e-3, 0.0, 40e-3)),),
        pose=Pose(UPRIGHT, (31.5e-3, 0.0, 40e-3)),
    )
    found = bound(prepare(small, mesh_cell(small, MeshOptions(budget=1200))), Bench())
    assert found.name == "bath loading"
    assert found.value == pytest.approx(1.44, rel=1e-9)


def test_anodes_bear_what_they_bear_in_the_bath_that_it_is_like() -> None:
    """In an acetate bath nickel bears less than in a Watts bath."""
    like = replace(near().cell.bath, name="tank-nine", family="acetate-nickel")
    field = replace(near(), cell=replace(near().cell, bath=like))
    of = {one.name: one.value for one in bench_limits(field, Bench())}
    assert of["anode current density"] < 0.5 * limit("anode current density", Bench()).value


def test_a_small_anode_binds_by_its_own_area() -> None:
    sheet = replace(near().cell.anodes[0], height=20e-3, width=20e-3)
    small = replace(near().cell, anodes=(sheet,))
    cell = prepare(small, mesh_cell(small, MeshOptions(budget=1200)))
    found = bound(cell, Bench())
    assert found.name == "anode current density"
    assert max(solve_field(cell, Current(found.value)).anode_densities) == pytest.approx(300.0, rel=0.01)


def test_an_inert_anode_has_no_limit_of_dissolving() -> None:
    inert = Bench(anode_materials=("graphite",))
    assert not [one for one in bench_limits(near(), inert) if one.name.startswith("anode")]


def test_more_conductivity_never_lets_the_supply_drive_less() -> None:
    def driven(kappa: float) -> float:
        cell = replace(near().cell, bath=read.bath("watts-nickel", conductivity=kappa, law=LAW))
        made = prepare(cell, mesh_cell(cell, MeshOptions(budget=1000)))
        limits, _ = weighed_limits(made, Supply(0.2, None))
        return next(one.value for one in limits if one.name == "supply voltage")

    currents = [driven(kappa) for kappa in (4.0, 8.0, 16.0)]
    assert currents == sorted(currents)
    assert currents[2] < 4.01 * currents[0]  # in proportion at the most


@settings(max_examples=12, deadline=None)
@given(
    volts=st.none() | st.floats(0.1, 12.0),
    amperes=st.none() | st.floats(0.01, 5.0),
    hook=st.none() | st.floats(0.1e-3, 3e-3),
    rise=st.floats(0.5, 30.0),
)
def test_what_is_recommended_is_over_no_limit(
    volts: float | None, amperes: float | None, hook: float | None, rise: float
) -> None:
    room = Room(near().cell.bath.temperature, Range(0.05, 0.05, 0.05), rise)
    bench = Bench(hook=None if hook is None else Hook("copper", hook), room=room)
    cell, supply = prepared(), Supply(volts, amperes)
    found = bound(cell, bench, supply).value
    field = solve_field(cell, Current(found))
    assert amperes is None or found <= amperes
    assert volts is None or field.voltage <= volts * 1.001
    assert hook is None or found <= 1.5501e6 * 0.785399 * hook**2  # 1000 A over 1 in²
    assert field.voltage * found <= 0.05 * rise * 1.001
    assert hottest_current_density(field) <= 1.01 * cell.cell.bath.current_density.high
    assert max(field.anode_densities) <= 300.0 * 1.001
