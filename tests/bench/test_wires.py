"""Wires and resistors against published figures."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.bench.wires import (
    E12,
    SECTIONS,
    gauge_diameter,
    least_wire,
    next_e12,
    resistance,
    section,
)

TABLE = {22: 0.644, 20: 0.812, 18: 1.024, 16: 1.291, 14: 1.628, 12: 2.053, 10: 2.588}
"""Diameters of American wire gauges in mm, rounded as ASTM B258 tabulates them (from memory)."""


@pytest.mark.parametrize("gauge", TABLE)
def test_gauges_have_their_tabulated_diameters(gauge: int) -> None:
    assert round(1e3 * gauge_diameter(gauge), 3) == TABLE[gauge]


def test_six_gauges_double_the_diameter_and_thirty_six_is_five_thousandths_of_an_inch() -> None:
    """92^(6/39) = 2.0050: the rule of thumb of the gauge."""
    assert_allclose(gauge_diameter(10) / gauge_diameter(16), 2.005, rtol=1e-4, atol=0)
    assert_allclose(gauge_diameter(36), 0.005 * 25.4e-3, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("diameter", "rule_A", "milliohm_m"),
    [
        (0.644, 0.5, 53.0),
        (0.812, 0.8, 33.3),
        (1.024, 1.3, 20.9),
        (1.291, 2.0, 13.2),
        (1.628, 3.2, 8.28),
        (2.053, 5.1, 5.21),
    ],
)
def test_round_copper_by_the_rack_rule_and_its_resistance(diameter: float, rule_A: float, milliohm_m: float) -> None:
    """1000 A/in² for copper (Metal Finishing Guidebook, rack chapter); resistances of the wire tables (from memory)."""
    d = 1e-3 * diameter
    assert_allclose(1000.0 / 25.4e-3**2 * section(d), rule_A, rtol=0.05, atol=0)
    assert_allclose(1e3 * resistance(1.724e-8, 1.0, d), milliohm_m, rtol=0.01, atol=0)


@given(current=st.floats(1e-3, 1e4), rule=st.floats(1e4, 1e7), count=st.integers(1, 50))
def test_the_least_wire_carries_just_its_current_and_the_sizes_sold_at_least_that(
    current: float, rule: float, count: int
) -> None:
    wire = least_wire(current, rule, count)
    assert_allclose(count * rule * section(wire.diameter), current, rtol=1e-9, atol=0)
    if wire.gauge is not None:
        assert gauge_diameter(wire.gauge) >= wire.diameter
        assert wire.gauge == 40 or gauge_diameter(wire.gauge + 1) < wire.diameter
    else:
        assert gauge_diameter(0) < wire.diameter
    if wire.section is not None:
        assert wire.section >= section(wire.diameter) * (1 - 1e-9)
        smaller = [s for s in SECTIONS if s < wire.section]
        assert not smaller or smaller[-1] < section(wire.diameter)
    else:
        assert SECTIONS[-1] < section(wire.diameter)


@pytest.mark.parametrize(
    ("ohms", "bought"), [(1.0, 1.0), (1.01, 1.2), (17.0, 18.0), (8.3, 10.0), (47.0, 47.0), (0.091, 0.1), (0.22, 0.22)]
)
def test_the_next_resistor_of_e12_is_not_less(ohms: float, bought: float) -> None:
    assert_allclose(next_e12(ohms), bought, rtol=1e-12, atol=0)


@given(st.floats(1e-4, 1e6))
def test_a_resistor_bought_is_at_most_a_step_of_the_series_larger(ohms: float) -> None:
    bought = next_e12(ohms)
    assert ohms * (1 - 1e-9) <= bought <= 1.26 * ohms
    decade = bought / 10.0 ** math.floor(math.log10(bought) + 1e-9)
    assert min(abs(decade - step) for step in E12) < 1e-6


def test_e12_are_twelve_steps_of_a_twelfth_of_a_decade() -> None:
    """IEC 60063: 10^(k/12) rounded by hand; none is off by more than 5 %."""
    assert_allclose(E12, [10 ** (k / 12) for k in range(12)], rtol=0.05, atol=0)
