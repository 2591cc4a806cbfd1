"""The whole plan of a small part: its records agree with each other, its laws hold, and the trade's rules of thumb."""

from functools import cache

import numpy as np
import pytest
from helpers.demands import few_panels
from helpers.small_plan import LINK, small_plan
from numpy.testing import assert_allclose

from geom.errors import SolveError
from geom.findings import Severity
from geom.job.read import parse_job
from geom.plan import Plan, make_plan
from geom.refine import same_panels

BAR = """
[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
[bath]
name = "watts-nickel"
{bath}
[target]
thickness = "8 um"
{target}
{more}
"""
TANK = """
[tank]
shape = "box"
length = "160 mm"
width = "120 mm"
depth = "110 mm"
"""


@cache
def plan(bath: str = "", target: str = "", more: str = "", thickness: str = "8 um") -> Plan:
    text = BAR.format(bath=bath, target=target, more=more).replace("8 um", thickness)
    return make_plan(few_panels(parse_job(text), 1200))


def codes(plan: Plan, severity: Severity) -> set[str]:
    return {f.code for f in plan.findings if f.severity == severity}


def test_the_recommended_current_is_the_limit_that_binds() -> None:
    (bound,) = [limit for limit in small_plan().limits if limit.binds]
    assert_allclose(small_plan().current, bound.value, rtol=1e-6, atol=0)
    assert not small_plan().current_is_given


def test_the_supply_can_bind() -> None:
    assert_allclose(plan(more='[supply]\nmax_current = "0.2 A"').current, 0.2, rtol=1e-6, atol=0)
    weak = plan(more='[supply]\nmax_voltage = "0.6 V"')
    # the limit is read off a solve at 0.6 V; the plan is solved at that current
    assert_allclose(weak.voltage, 0.6, rtol=2e-3, atol=0)
    assert codes(weak, Severity.STOP) == set()


def test_a_current_of_the_user_is_the_current_of_the_plan() -> None:
    given = plan(target='current = "0.35 A"')
    assert_allclose([f.current for f in given.fields], 0.35, rtol=1e-6, atol=0)
    assert given.current_is_given
    assert not any(limit.binds for limit in given.limits)
    assert codes(given, Severity.STOP) == set()


def test_a_voltage_of_the_user_is_the_voltage_of_the_plan() -> None:
    given = plan(target='voltage = "1.1 V"')
    assert_allclose(given.voltage, 1.1, rtol=1e-6, atol=0)
    # turned half round, the supply is set to the same current
    assert_allclose(given.fields[1].current, given.current, rtol=1e-6, atol=0)


@pytest.mark.parametrize(
    ("target", "more", "code"),
    [
        ('current = "0.9 A"', '[supply]\nmax_current = "0.5 A"', "over-supply-current"),
        ('current = "0.9 A"', '[supply]\nmax_voltage = "0.5 V"', "over-supply-voltage"),
        ('voltage = "2 V"', '[supply]\nmax_voltage = "1 V"', "over-supply-voltage"),
        ('current = "3 A"', "", "edge-over-range"),
        ('current = "3 A"', "", "mean-over-range"),
    ],
)
def test_what_cannot_be_or_would_burn_stops_the_user(target: str, more: str, code: str) -> None:
    assert code in codes(plan(target=target, more=more), Severity.STOP)


def test_the_thinnest_significant_place_meets_the_target_exactly() -> None:
    for made in (small_plan(), plan(), plan(thickness="20 um")):
        assert_allclose(made.minimum_local_thickness, made.job.target.thickness, rtol=1e-9, atol=0)
        assert made.thickness["min"] <= made.job.target.thickness * 1.3 < made.thickness["max"] * 1.3


def test_anode_and_cathode_current_agree() -> None:
    for field in (*small_plan().fields, *plan().fields):
        assert_allclose(field.anode_current, field.current, rtol=5e-3, atol=0)


def test_a_thicker_target_takes_longer_in_proportion() -> None:
    for times, target in ((0.5, "4 um"), (2.5, "20 um")):
        other = plan(thickness=target)
        assert_allclose(other.current, plan().current, rtol=1e-9, atol=0)
        assert_allclose(other.time, times * plan().time, rtol=1e-9, atol=0)
        assert_allclose(other.deposit.mass, times * plan().deposit.mass, rtol=1e-9, atol=0)
        assert_allclose(other.time_to_mean, times * plan().time_to_mean, rtol=1e-9, atol=0)


TAFEL = 'polarization = { law = "tafel", exchange_current_density = "1 A/m2", slope = "120 mV/decade" }'


def test_a_lower_current_never_makes_the_deposit_less_even_where_the_drop_grows_slower_than_the_current() -> None:
    """Tafel: the polarization resistance falls with current, so the Wagner number does."""
    plans = [plan(TAFEL, f'current = "{amps} A"') for amps in (0.05, 0.2, 0.8)]
    peaks = [p.thickness["max"] / p.thickness["mean"] for p in plans]
    assert peaks == sorted(peaks)
    assert peaks[2] > 1.02 * peaks[0]
    spans = [p.ratio["p99"] / p.ratio["p1"] for p in plans]
    assert spans == sorted(spans)


def test_evenness_does_not_depend_on_the_current_under_a_linear_law() -> None:
    law = 'polarization = { law = "linear", resistance = "1.3e-4 ohm m2" }'
    one, four = (plan(law, f'current = "{amps} A"') for amps in (0.2, 0.8))
    assert one.ratio == pytest.approx(four.ratio, rel=1e-3)
    assert_allclose(four.voltage, 4 * one.voltage, rtol=1e-3, atol=0)
    assert_allclose(four.time, one.time / 4, rtol=1e-3, atol=0)


def test_a_bath_that_conducts_better_passes_no_less_current_at_the_same_voltage() -> None:
    currents = [plan(f'conductivity = "{kappa} S/m"', 'voltage = "1 V"').current for kappa in (2, 8, 30)]
    assert currents == sorted(currents)
    assert currents[2] > 2 * currents[0]


def test_a_bath_of_lower_efficiency_takes_longer_for_the_same_deposit() -> None:
    full, half = (plan(f"efficiency = {share}", 'current = "0.5 A"') for share in (0.9, 0.45))
    assert_allclose(half.time, 2 * full.time, rtol=1e-6, atol=0)
    assert_allclose(half.deposit.mass, full.deposit.mass, rtol=1e-6, atol=0)
    assert_allclose(half.deposit.anode_mass, 2 * full.deposit.anode_mass, rtol=1e-6, atol=0)


def test_a_bar_that_is_its_own_mirror_image_is_turned_at_half_time() -> None:
    schedule = plan(more=TANK).schedule
    if schedule.second > 0:
        assert schedule.first == schedule.second
    assert schedule.turned is not None
    assert schedule.time <= schedule.one_pose


def test_a_current_over_the_limiting_current_is_no_trustworthy_solution() -> None:
    law = 'polarization = { law = "linear", resistance = "1e-4 ohm m2", limiting_current_density = "3 A/dm2" }'
    with pytest.raises(SolveError) as caught:
        plan(law, 'current = "2 A"')
    assert caught.value.exit_code == 3
    assert "2 A" in caught.value.message
    assert plan(law, 'current = "0.3 A"').fields[0].current_density.max() < 300.0


def test_panels_of_both_poses_are_the_same_ones() -> None:
    first, second = small_plan().fields
    assert same_panels(first.panels, second.panels)
    assert np.array_equal(first.panels.feature, second.panels.feature)
    # turned half round: what faced the anode faces away
    assert_allclose(second.panels.part.normals[:, 0], -first.panels.part.normals[:, 0], rtol=0, atol=1e-12)


CROOK = """
[part]
shape = "angle"
length = "40 mm"
height = "40 mm"
width = "20 mm"
thickness = "3 mm"
inside_radius = "3 mm"
[bath]
name = "watts-nickel"
[[anode]]
shape = "rod"
diameter = "6 mm"
height = "80 mm"
at = ["{x} mm", "{y} mm", "50 mm"]
[pose]
turn = ["90 deg", "0 deg", "0 deg"]
at = ["0 mm", "0 mm", "50 mm"]
[target]
thickness = "8 um"
"""


def test_a_part_that_would_touch_an_anode_once_turned_is_not_turned() -> None:
    """An angle round a rod: one leg along x at +y, the other along y at -x."""
    made = make_plan(few_panels(parse_job(CROOK.format(x=18, y=-10)), 1200))
    assert len(made.fields) == 1
    assert made.schedule.turned is None
    assert [stage.name for stage in made.deposit.stages] == ["as hung"]
    assert "turn-not-possible" in {advice.code for advice in made.advice}


def test_stages_are_told_in_order_from_0_to_1() -> None:
    told: list[tuple[str, float]] = []
    make_plan(
        few_panels(parse_job(BAR.format(bath="", target="", more="")), 800),
        progress=lambda stage, share: told.append((stage, share)),
    )
    shares = [share for _, share in told]
    assert shares == sorted(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert len({stage for stage, _ in told}) == len(told)


def test_findings_of_part_cell_and_panels_reach_the_plan() -> None:
    through = plan(more=TANK + '[pose]\nturn = ["0 deg", "90 deg", "0 deg"]\nat = ["20 mm", "0 mm", "95 mm"]')
    assert {"part-through-surface", "panels-enlarged"} & codes(through, Severity.NOTE) >= {"part-through-surface"}
    assert_allclose(through.wetted_area, through.fields[0].wetted_area, rtol=1e-9, atol=0)
    assert through.wetted_area < 0.8 * through.cell.part.area


def test_the_wetted_area_of_a_part_that_is_all_wet_is_by_formula() -> None:
    assert plan().wetted_area == plan().cell.part.area
    assert_allclose(plan().wetted_area, 2 * (60 * 20 + 60 * 3 + 20 * 3) * 1e-6, rtol=1e-12, atol=0)


@pytest.mark.parametrize("budget", [700, 1200])
def test_a_bar_with_holes_on_large_panels_can_still_be_turned(budget: int) -> None:
    """Large panels cut across the bores: the little area they lose is no sign that another surface is wet."""
    made = make_plan(few_panels(parse_job(LINK), budget))
    assert len(made.fields) == 2
    assert made.schedule.turned is not None
