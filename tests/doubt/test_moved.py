"""Limits that move with the inputs, in cells whose answer is a closed form."""

import numpy as np
import pytest
from helpers.demands import few_panels
from numpy.testing import assert_allclose

from geom.advice.bench_limits import DIFFUSION
from geom.advice.current import AT_MEAN, AT_STRIP, AT_VOLTS
from geom.advice.limit import Limit
from geom.arrays import Floats
from geom.doubt.bands import CURRENT
from geom.doubt.inputs import EFFICIENCY, READING, Draw
from geom.doubt.moved import Moving
from geom.doubt.response import RESISTANCE, SHARE, STRIP, Response, Site
from geom.electrode.laws import Law, Linear, Tafel
from geom.job.read import parse_job
from geom.plan import make_plan

AREA, CELL = 0.012, 9.0  # area of the part [m²], conductivity times resistance of the liquid [1/m]
KAPPA = 8.0
BAR = """
[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
[bath]
name = "watts-nickel"
[target]
thickness = "8 um"
"""


def draw(conductivity: Floats, law: Law | None, limiting: Floats | float = 1.0) -> Draw:
    one = np.ones(len(conductivity))
    return Draw(conductivity, law, 0.95 * one, one, limiting * one)


def moving(law: Law | None, steep: float = 0.0) -> Moving:
    """A cell of constant resistance whose hottest strip goes with the power -``steep`` of the Wagner number."""
    points = np.array([-9.0, -5.0])
    logs = {RESISTANCE: np.full(2, np.log(CELL)), SHARE: np.zeros(2), STRIP: 5.0 - steep * points}
    return Moving(Site(AREA, 1.0), Response(points, logs), draw(np.array([KAPPA]), law))


def limit(name: str, value: float) -> Limit:
    return Limit(name, value, True, "")


def test_a_supply_voltage_drives_what_ohms_law_lets_through() -> None:
    """I = V / (K / kappa + R / A): a linear law in series with the liquid."""
    law, kappa = Linear(3e-4), np.array([3.0, 8.0, 15.0])
    at = 2.0
    volts = at * (CELL / KAPPA + 3e-4 / AREA)
    found = moving(law).recommended([limit(AT_VOLTS, at)], draw(kappa, law))
    assert_allclose(found, volts / (CELL / kappa + 3e-4 / AREA), rtol=1e-9, atol=0)


def test_under_a_tafel_law_the_supply_voltage_holds() -> None:
    law, kappa = Tafel(1e-3, 0.046), np.geomspace(0.5, 40.0, 9)
    cell = moving(law)
    drawn = draw(kappa, law)
    found = cell.recommended([limit(AT_VOLTS, 1.5)], drawn)
    ohmic, drop = found * CELL / kappa, 0.046 * np.log(found / AREA / 1e-3)
    typical = 1.5 * CELL / KAPPA + 0.046 * np.log(1.5 / AREA / 1e-3)
    assert_allclose(ohmic + drop, typical, rtol=1e-9, atol=0)
    assert (np.diff(found) > 0).all()


def test_the_strip_lets_more_current_through_a_bath_that_conducts_better() -> None:
    """Strip over current = c W^-a, W = kappa b A / I under a Tafel law: the limit goes as kappa^(a / (1 + a))."""
    law, steep, kappa = Tafel(1e-3, 0.05), 0.15, np.array([4.0, 8.0, 12.0])
    found = moving(law, steep).recommended([limit(AT_STRIP, 2.0)], draw(kappa, law))
    assert_allclose(found, 2.0 * (kappa / KAPPA) ** (steep / (1 + steep)), rtol=1e-5, atol=0)


def test_the_limiting_current_at_the_strip_goes_with_the_limiting_current_of_the_bath() -> None:
    found = moving(None).recommended(
        [limit(f"{DIFFUSION}, stirred, at the hottest strip", 3.0)],
        draw(np.full(3, KAPPA), None, np.array([0.5, 1.0, 2.0])),
    )
    assert_allclose(found, [1.5, 3.0, 6.0], rtol=1e-12, atol=0)


def test_rules_stay_and_the_least_limit_is_taken() -> None:
    law, kappa = Linear(3e-4), np.array([2.0, 8.0, 20.0])
    cell = moving(law)
    rules = [limit(AT_MEAN, 2.1), limit("bath loading", 6.0)]
    assert_allclose(cell.recommended(rules, draw(kappa, law)), 2.1, rtol=1e-12, atol=0)
    alone = cell.recommended([limit(AT_VOLTS, 2.0)], draw(kappa, law))
    both = cell.recommended([limit(AT_VOLTS, 2.0), *rules], draw(kappa, law))
    assert_allclose(both, np.minimum(alone, 2.1), rtol=1e-12, atol=0)


@pytest.mark.parametrize(("supply", "is_open"), [('max_voltage = "0.6 V"', True), ('max_current = "0.2 A"', False)])
def test_a_current_that_the_supply_voltage_sets_is_in_doubt_one_by_a_rule_is_not(supply: str, is_open: bool) -> None:
    plan = make_plan(few_panels(parse_job(f"{BAR}[supply]\n{supply}\n"), 900))
    assert plan.bands is not None
    band = plan.bands.of[CURRENT]
    assert (band.high > 1.2 * band.low) == is_open
    assert band.driver not in (EFFICIENCY, READING)
    if not is_open:
        assert band.low == band.high == pytest.approx(plan.current, rel=1e-9)
        assert band.driver == ""
