"""How a bath warms: closed forms, conservation, and figures of the bench."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.bench.heat import (
    HEAT_CAPACITY,
    most_power,
    net_power,
    rise_after,
    tank_loss,
    warming,
)
from geom.chemistry import Range

LITRE = 1e-3
WATTS = st.floats(0.01, 500.0)
LOSSES = st.floats(0.05, 20.0)
CAPACITIES = st.floats(500.0, 1e6)
TIMES = st.floats(1.0, 1e5)


def test_sixty_watts_in_a_litre_of_water_begin_at_nine_tenths_of_a_kelvin_a_minute() -> None:
    """12 V and 5 A; water 4.18 J/(g K) (CRC Handbook): 60 / 4180 K/s = 0.861 K/min."""
    rise = rise_after(12.0 * 5.0, 0.7, HEAT_CAPACITY * LITRE, 0.6)
    assert_allclose(rise / 0.6 * 60.0, 60.0 / 4180.0 * 60.0, rtol=0.01, atol=0)


def test_without_loss_one_ampere_per_square_decimetre_in_ten_siemens_a_metre_warms_by_0_86_kelvin_an_hour() -> None:
    """Power density i²/kappa = 1 W/L; over 4.18 MJ/(m³ K) that is 0.8612 K/h (elementary)."""
    density = 100.0**2 / 10.0
    assert_allclose(density * LITRE, 1.0, rtol=1e-12, atol=0)
    assert_allclose(rise_after(density * LITRE, 1e-9, 4.18e6 * LITRE, 3600.0), 0.8612, rtol=1e-4, atol=0)


def test_twenty_watts_hold_an_open_litre_thirty_kelvins_over_the_room() -> None:
    """A beaker of 1 L, 100 mm across, 127 mm deep; that it loses 0.6 to 0.8 W/K is common practice, no source."""
    floor = math.pi / 4 * 0.1**2
    loss = tank_loss(math.pi * 0.1 * 0.127 + floor, floor)
    assert 0.6 <= loss.typical <= 0.8
    steady = warming(20.0, held=0.0, loss=loss, capacity=HEAT_CAPACITY * LITRE, time=1.0).steady
    assert_allclose(steady.typical, 30.0, rtol=0.05, atol=0)


def test_after_one_time_constant_63_percent_of_the_steady_rise_is_there() -> None:
    assert_allclose(rise_after(10.0, 2.0, 4200.0, 2100.0) / 5.0, 1.0 - math.exp(-1.0), rtol=1e-12, atol=0)


@given(power=WATTS, loss=LOSSES, capacity=CAPACITIES, time=TIMES)
def test_the_rise_obeys_its_equation_step_by_step(power: float, loss: float, capacity: float, time: float) -> None:
    """Against a slow integration of C dT/dt = P - U T by steps of the trapezium rule."""
    time = min(time, 5.0 * capacity / loss)
    steps = 2000
    h, rise = time / steps, 0.0
    for _ in range(steps):
        rise = (rise * (1.0 - 0.5 * h * loss / capacity) + h * power / capacity) / (1.0 + 0.5 * h * loss / capacity)
    assert_allclose(rise_after(power, loss, capacity, time), rise, rtol=1e-4, atol=0)


@given(power=WATTS, loss=LOSSES, capacity=CAPACITIES, time=TIMES)
def test_heat_put_in_is_stored_or_lost(power: float, loss: float, capacity: float, time: float) -> None:
    warm = warming(power, held=0.0, loss=Range(loss, loss, loss), capacity=capacity, time=time)
    moments = np.linspace(0.0, time, 20_001)
    rises = -power / loss * np.expm1(-loss * moments / capacity)
    lost = float(np.trapezoid(loss * rises, moments))
    assert warm.stored >= 0.0
    assert_allclose(warm.lost, lost, rtol=0, atol=2e-3 * power * time)
    assert_allclose(warm.stored + lost, power * time, rtol=2e-3, atol=0)


def test_heat_that_only_spares_the_heater_does_not_warm_the_bath() -> None:
    loss = Range(0.5, 1.0, 2.0)
    warm = warming(30.0, held=35.0, loss=loss, capacity=4200.0, time=3600.0)
    assert warm.net == net_power(30.0, 35.0, 1.0) == 0.0
    assert warm.rise.low == warm.rise.typical == 0.0
    assert_allclose(warm.steady.high, 30.0 / 0.5 - 35.0, rtol=1e-12, atol=0)


def test_a_bath_colder_than_the_air_gets_no_credit() -> None:
    assert net_power(5.0, -10.0, 1.0) == 5.0


def test_the_rise_is_largest_where_the_loss_is_least() -> None:
    warm = warming(50.0, held=0.0, loss=Range(0.5, 1.0, 2.0), capacity=4200.0, time=1800.0)
    assert_allclose(
        (warm.rise.low, warm.rise.typical, warm.rise.high),
        [50.0 / u * (1 - math.exp(-u * 1800.0 / 4200.0)) for u in (2.0, 1.0, 0.5)],
        rtol=1e-12,
        atol=0,
    )
    assert_allclose((warm.steady.low, warm.steady.typical, warm.steady.high), (25.0, 50.0, 100.0), rtol=1e-12, atol=0)


@pytest.mark.parametrize("held", [-5.0, 0.0, 30.0])
def test_under_the_most_power_the_bath_ends_as_warm_as_asked(held: float) -> None:
    most = most_power(15.0, held=held, loss=0.8)
    warm = warming(most, held=held, loss=Range(0.8, 0.8, 0.8), capacity=4200.0, time=60.0)
    assert_allclose(warm.steady.typical, 15.0, rtol=1e-12, atol=0)


@given(power=WATTS, loss=LOSSES, capacity=CAPACITIES, time=TIMES)
def test_more_power_or_more_time_never_cools_and_no_rise_passes_the_steady_one(
    power: float, loss: float, capacity: float, time: float
) -> None:
    rise = rise_after(power, loss, capacity, time)
    assert rise_after(1.5 * power, loss, capacity, time) > rise
    assert rise_after(power, loss, capacity, 1.5 * time) >= rise
    assert rise <= power / loss * (1.0 + 1e-12)
    assert rise <= power * time / capacity * (1.0 + 1e-12)
