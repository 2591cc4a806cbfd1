"""Electrode laws: slope, inverse, limits. Equations: Newman & Thomas-Alyea, 3rd ed., ch. 8 (memory)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from geom.electrode.laws import ButlerVolmer, Law, Limited, Linear, Mirrored, Tafel, tafel_slope_per_e_fold

EVEN = ButlerVolmer(exchange=1e-3, cathodic_slope=0.046, anodic_slope=0.046)
UNEVEN = ButlerVolmer(exchange=2.0, cathodic_slope=0.052, anodic_slope=0.017)
REVERSED = ButlerVolmer(exchange=1e-3, cathodic_slope=0.02, anodic_slope=0.1)
TAFEL = Tafel(exchange=1e-3, cathodic_slope=0.046)
CURVED: list[Law] = [
    TAFEL,
    EVEN,
    UNEVEN,
    REVERSED,
    Limited(UNEVEN, limiting=600.0),
    Mirrored(UNEVEN),
    Mirrored(Limited(TAFEL, limiting=600.0)),
]
LAWS: list[Law] = [Linear(1.3e-4), *CURVED]

named = pytest.mark.parametrize


def by_name(law: object) -> str:
    return type(law).__name__


@named("law", CURVED, ids=by_name)
@named("at", [-0.31, -0.02, 0.013, 0.27])
def test_the_slope_is_the_derivative_of_the_current(law: Law, at: float) -> None:
    # Taylor remainder: |i(u + h) - i(u) - h i'(u)| falls as h²
    steps = 1e-3 * 0.5 ** np.arange(4.0)
    point = np.full_like(steps, at)
    remainder = np.abs(law.current(point + steps) - law.current(point) - steps * law.slope(point))
    orders = np.log2(remainder[:-1] / remainder[1:])
    assert_allclose(orders, 2.0, rtol=0.05, atol=0.0)


@named("law", LAWS, ids=by_name)
def test_current_increases_strictly_and_slope_is_positive(law: Law) -> None:
    drops = np.linspace(-1.0, 0.6, 801) * (-1.0 if isinstance(law, Mirrored) else 1.0)
    drops.sort()
    assert np.all(np.diff(law.current(drops)) > 0.0)
    assert np.all(law.slope(drops) > 0.0)


@named("law", LAWS, ids=by_name)
def test_currents_of_absurd_drops_are_finite_and_do_not_decrease(law: Law) -> None:
    # a Newton step far outside must come back: no overflow, no zero slope (warnings are errors)
    drops = np.array([-1e9, -1e3, -30.0, -9.3, -9.2, 9.2, 9.3, 30.0, 1e3, 1e9])
    currents = law.current(drops)
    assert np.all(np.isfinite(currents))
    assert np.all(np.diff(currents) >= 0.0)
    assert np.all(law.slope(drops) > 0.0)
    assert np.all(np.isfinite(law.slope(drops)))


@named("law", [TAFEL, EVEN, UNEVEN, REVERSED, Linear(1.3e-4)], ids=by_name)
def test_the_inverse_holds_at_absurd_drops_too(law: Law) -> None:
    drops = np.array([-1e6, -40.0, -1.0, 1.0, 40.0, 1e6])
    assert_allclose(law.drop(law.current(drops)), drops, rtol=1e-12, atol=0.0)


@named("law", [TAFEL, EVEN, UNEVEN, REVERSED], ids=by_name)
def test_value_and_slope_are_continuous_where_the_exponential_is_left(law: ButlerVolmer | Tafel) -> None:
    turn = 200.0 * law.cathodic_slope
    either_side = np.array([turn * (1.0 - 1e-12), turn * (1.0 + 1e-12)])
    for values in (law.current(either_side), law.slope(either_side)):
        assert_allclose(values[1], values[0], rtol=1e-9, atol=0.0)


@given(st.sampled_from([EVEN, UNEVEN, REVERSED]), st.floats(1e-18, 1e8), st.sampled_from([-1.0, 1.0]))
def test_the_drop_of_a_current_carries_that_current(law: Law, size: float, sign: float) -> None:
    current = np.array([sign * size])
    assert_allclose(law.current(law.drop(current)), current, rtol=1e-11, atol=0.0)


@given(st.floats(1e-12, 0.9999))
def test_the_drop_of_a_limited_current_carries_that_current(part: float) -> None:
    for law in (Limited(UNEVEN, 600.0), Limited(TAFEL, 600.0), Limited(Linear(1e-4), 600.0)):
        current = np.array([600.0 * part])
        assert_allclose(law.current(law.drop(current)), current, rtol=1e-10, atol=0.0)
        mirror = Mirrored(law)
        assert_allclose(mirror.current(mirror.drop(-current)), -current, rtol=1e-10, atol=0.0)


@given(
    st.floats(1e-6, 1e2),
    st.floats(0.01, 0.2),
    st.floats(0.01, 0.2),
    st.floats(-0.5, 0.5).filter(lambda u: abs(u) > 1e-6),
)
def test_butler_volmer_is_inverted_for_any_slopes(i0: float, own: float, other: float, u: float) -> None:
    law = ButlerVolmer(i0, own, other)
    assert_allclose(law.drop(law.current(np.array([u]))), [u], rtol=1e-9, atol=0.0)


@named("current", [-2e3, -3.0, -1e-7, 1e-7, 0.4, 5.0, 2e3])
def test_the_inverse_agrees_with_a_root_finder_of_scipy(current: float) -> None:
    def miss(u: float) -> float:
        return UNEVEN.exchange * (math.exp(u / 0.052) - math.exp(-u / 0.017)) - current

    root = brentq(miss, -2.0, 2.0, xtol=1e-300, rtol=1e-15)
    assert_allclose(UNEVEN.drop(np.array([current])), [root], rtol=1e-8, atol=0.0)


def test_equal_slopes_have_the_inverse_hyperbolic_sine() -> None:
    currents = np.array([-5e2, -1e-6, 1e-9, 1e-3, 40.0, 7e2])
    expected = EVEN.cathodic_slope * np.arcsinh(currents / (2.0 * EVEN.exchange))
    assert_allclose(EVEN.drop(currents), expected, rtol=1e-14, atol=0.0)


def test_no_current_flows_at_rest() -> None:
    rest = np.zeros(1)
    for law in (EVEN, UNEVEN, Limited(UNEVEN, 600.0), Linear(1e-4), Mirrored(UNEVEN)):
        assert law.current(rest)[0] == 0.0
        assert law.drop(rest)[0] == 0.0


def test_butler_volmer_near_rest_is_a_charge_transfer_resistance() -> None:
    # i -> i0 (1/b_c + 1/b_a) u, and no figure is lost to the difference of two exponentials
    resistance = 1.0 / (UNEVEN.exchange * (1.0 / UNEVEN.cathodic_slope + 1.0 / UNEVEN.anodic_slope))
    drops = np.array([-1e-12, 1e-15, 1e-12])
    assert_allclose(UNEVEN.current(drops), Linear(resistance).current(drops), rtol=1e-9, atol=0.0)


def test_butler_volmer_becomes_tafel_at_a_large_drop() -> None:
    drops = np.array([0.1, 0.3, 0.6])
    gap = 1.0 - EVEN.current(drops) / TAFEL.current(drops)
    assert_allclose(gap[0], math.exp(-0.2 / 0.046), rtol=1e-6, atol=0.0)
    assert np.all(np.abs(gap[1:]) < 3e-6)


def test_a_tafel_slope_is_one_decade_of_current() -> None:
    law = Tafel(1e-3, tafel_slope_per_e_fold(0.106))
    currents = law.current(np.array([0.2, 0.2 + 0.106]))
    assert_allclose(currents[1] / currents[0], 10.0, rtol=1e-12, atol=0.0)


def test_a_limited_law_stops_at_the_limiting_current() -> None:
    law = Limited(TAFEL, 600.0)
    assert_allclose(law.current(np.array([1.5, 40.0])), 600.0, rtol=1e-8, atol=0.0)
    assert np.all(law.current(np.linspace(-1.0, 0.7, 50)) < 600.0)


def test_resistances_of_kinetics_and_transport_add_up() -> None:
    drops = np.array([0.3, 0.5, 0.6])
    inverse = 1.0 / TAFEL.current(drops) + 1.0 / 600.0
    assert_allclose(Limited(TAFEL, 600.0).current(drops), 1.0 / inverse, rtol=1e-14, atol=0.0)


def test_a_far_limit_leaves_the_law_as_it_is() -> None:
    drops = np.linspace(-0.2, 0.5, 20)
    far = Limited(UNEVEN, 1e25)
    assert_allclose(far.current(drops), UNEVEN.current(drops), rtol=1e-14, atol=0.0)


def test_a_limit_does_not_touch_anodic_current_and_joins_smoothly_at_rest() -> None:
    law = Limited(UNEVEN, 600.0)
    back = np.array([-0.1, -0.02])
    assert_allclose(law.current(back), UNEVEN.current(back), rtol=0.0, atol=0.0)
    joint = np.array([-1e-13, 0.0, 1e-13])
    assert_allclose(law.slope(joint), UNEVEN.slope(joint), rtol=1e-10, atol=0.0)


def test_a_drop_is_not_a_number_where_no_drop_carries_the_current() -> None:
    assert np.all(np.isnan(TAFEL.drop(np.array([-1.0, 0.0]))))
    assert np.all(np.isnan(Limited(UNEVEN, 600.0).drop(np.array([600.0, 601.0]))))
    assert np.all(np.isnan(Mirrored(Limited(UNEVEN, 600.0)).drop(np.array([-600.0]))))
    assert np.isnan(UNEVEN.drop(np.array([math.nan]))[0])


def test_mirroring_twice_gives_the_law_back() -> None:
    drops = np.linspace(-0.3, 0.3, 7)
    twice = Mirrored(Mirrored(UNEVEN))
    assert_allclose(twice.current(drops), UNEVEN.current(drops), rtol=0.0, atol=0.0)
    assert_allclose(Mirrored(UNEVEN).current(drops), -UNEVEN.current(-drops), rtol=0.0, atol=0.0)


@named("law", LAWS, ids=by_name)
def test_shapes_are_kept(law: Law) -> None:
    drops = np.array([0.1, 0.2, 0.3])
    for answer in (law.current(drops), law.slope(drops), law.drop(law.current(drops))):
        assert answer.shape == (3,)
        assert answer.dtype == np.float64
    assert law.current(np.zeros(0)).shape == (0,)
    assert law.drop(np.zeros(0)).shape == (0,)


@named(
    "make",
    [
        lambda: Linear(0.0),
        lambda: Linear(-1e-4),
        lambda: Tafel(math.nan, 0.05),
        lambda: Tafel(1e-3, math.inf),
        lambda: ButlerVolmer(1e-3, 0.05, 0.0),
        lambda: Limited(TAFEL, -1.0),
    ],
)
def test_a_parameter_that_cannot_be_is_refused(make: object) -> None:
    with pytest.raises(ValueError, match="must be positive and finite"):
        make()  # type: ignore[operator]


@named("exponents", [250.0, -250.0])
def test_the_slope_is_the_derivative_beyond_the_turn_too(exponents: float) -> None:
    at, step = exponents * TAFEL.cathodic_slope, 1e-4
    difference = np.diff(TAFEL.current(np.array([at - step, at + step]))) / (2.0 * step)
    assert_allclose(TAFEL.slope(np.array([at])), difference, rtol=1e-5, atol=0.0)
