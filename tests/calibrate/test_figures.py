"""Each figure from readings worked by hand, and what is said where readings do not carry it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from geom.bench.fit import LEVEL, half_width, spread, straight_line, student, weighted_mean
from geom.bench.readings import (
    BurntPlate,
    ConductivityReadings,
    Coupon,
    Plate,
    PolarizationReadings,
    SlantPanel,
    TwoPlates,
    VoltsAmps,
)
from geom.calibrate.cell_constant import CellConstant
from geom.calibrate.conductivity import conductivity
from geom.calibrate.coupon import carried_curve, efficiency
from geom.calibrate.limiting import limiting
from geom.calibrate.slant import published_density, read_panel
from geom.calibrate.slope import voltage_slope
from geom.cell.cell import BoxTank
from geom.chemistry import Range
from geom.errors import CalibrateError
from geom.provenance import Trust
from geom.tables.read import bath, metal

PLATE = Plate(0.05, 1e-3, 0.06)
PLATES = TwoPlates(BoxTank(0.2, 0.1, 0.1), PLATE, PLATE, 0.06, (0.0, 0.0))
CONSTANT = CellConstant(0.1, 0.0, 0.0, 0.0, False)
WATTS = Range(200.0, 400.0, 700.0)


def codes(findings) -> list[str]:
    return [finding.code for finding in findings]


def readings(pairs: list[tuple[float, float]], **given: float) -> ConductivityReadings:
    volts, amps = zip(*pairs, strict=True)
    return ConductivityReadings(PLATES, VoltsAmps(volts, amps), meters_to=0.0, **given)


def test_student_and_chi_square_are_those_of_the_published_tables() -> None:
    """t(4) 2.776, t(1) 12.71, normal 1.960 (Gosset 1908, any table; from memory)."""
    assert [student(4), student(1), student(math.inf)] == pytest.approx([2.776, 12.706, 1.960], rel=2e-4)


def test_a_line_through_three_points_by_hand() -> None:
    """x 0 1 2, y 0 1 3: slope 3/2, squares left 1/6, slope of unit deviation 1/sqrt 2."""
    line = straight_line(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 3.0]))
    assert (line.slope, line.intercept, line.squares) == pytest.approx((1.5, -1 / 6, 1 / 6), rel=1e-9)
    assert line.per_reading == pytest.approx(1 / math.sqrt(2), rel=1e-12)


def test_errors_even_within_limits_add_up_as_they_must() -> None:
    """One alone: 0.95 of its limit. Two alike: a triangle, 1 - (1 - x/2)^2 = 0.95. Many: a normal one."""
    assert half_width(0.0, math.inf, [1.0]) == pytest.approx(0.95, rel=2e-3)
    assert half_width(0.0, math.inf, [1.0, 1.0]) == pytest.approx(2 * (1 - math.sqrt(0.05)), rel=0.01)
    assert half_width(0.0, math.inf, [0.1] * 30) == pytest.approx(1.96 * 0.1 * math.sqrt(10), rel=0.02)
    assert half_width(1.0, 4, [1e-9]) == pytest.approx(2.776, rel=0.01)


def test_readings_that_scatter_beyond_doubt_count_by_their_scatter() -> None:
    assert spread(100.0, 4, 1.0).deviation == pytest.approx(5.0, rel=1e-12)
    assert spread(3.0, 4, 1.0).deviation == 1.0
    between = spread(12.0, 4, 1.0)
    assert between.is_found
    assert between.deviation == pytest.approx(math.sqrt((5 + 12) / 9), rel=1e-12)


def test_a_mean_of_alike_readings_is_the_plain_mean() -> None:
    values = np.array([0.9, 0.92, 0.97])
    found = weighted_mean(values, np.zeros(3), 0.03, 2.0)
    assert found.value == pytest.approx(values.mean(), rel=1e-12)
    assert found.scatter == pytest.approx(values.std(ddof=1), rel=1e-12)


def test_conductivity_by_hand() -> None:
    """1 V per 0.5 A is 2 ohm; cell constant 0.1 m: 1 / (0.1 * 2) = 5 S/m. Leads of 0.4 ohm: 1 / (0.1 * 1.6) = 6.25."""
    pairs = [(0.7, 0.1), (1.1, 0.3), (1.7, 0.6), (2.5, 1.0)]
    found = conductivity(readings(pairs), CONSTANT)
    assert found.figure.range.typical == pytest.approx(5.0, rel=1e-9)
    assert found.line.intercept == pytest.approx(0.5, rel=1e-9)
    assert conductivity(readings(pairs, leads=0.4), CONSTANT).figure.range.typical == pytest.approx(6.25, rel=1e-9)
    assert found.findings == ()
    assert found.figure.trust is Trust.GOOD


def test_two_readings_are_as_sure_as_the_meters_say() -> None:
    """± 10 mV at both ends of 2 V: 1.96 * 10 mV / sqrt 3 * sqrt 2 over 2 V."""
    asked = ConductivityReadings(PLATES, VoltsAmps((0.7, 2.7), (0.1, 1.1), 0.01, 0.0), meters_to=0.0)
    found = conductivity(asked, CONSTANT).figure
    assert found.width == pytest.approx(1.96 * 0.01 / math.sqrt(3) * math.sqrt(2) / 2.0, rel=1e-3)


def test_voltage_and_current_exchanged_or_leads_too_large_are_refused() -> None:
    for asked in (readings([(0.5, 0.1), (0.3, 0.4), (0.2, 0.9)]), readings([(0.7, 0.1), (1.1, 0.3)], leads=2.5)):
        with pytest.raises(CalibrateError) as caught:
            conductivity(asked, CONSTANT)
        assert caught.value.slug == "calibrate-no-slope"


def test_readings_at_currents_so_low_that_the_drops_change_are_told() -> None:
    amps = np.array([0.01, 0.02, 0.05, 0.1, 0.2, 0.3])
    volts = 0.6 + 2.0 * amps + 0.1 * np.log(amps)
    found = conductivity(readings(list(zip(volts.tolist(), amps.tolist(), strict=True))), CONSTANT)
    assert "calibrate-curved" in codes(found.findings)
    assert found.figure.range.typical < 5.0  # too low, as the finding says


def test_a_line_that_starts_under_zero_is_told() -> None:
    found = conductivity(readings([(0.1, 0.1), (0.3, 0.2), (0.5, 0.3), (0.9, 0.5)]), CONSTANT)
    assert "calibrate-intercept" in codes(found.findings)


def test_lengths_that_matter_are_told() -> None:
    pairs = [(0.7, 0.1), (1.1, 0.3), (1.7, 0.6), (2.5, 1.0)]
    found = conductivity(readings(pairs), replace(CONSTANT, by_gap=0.1, by_immersed=0.2))
    assert codes(found.findings).count("calibrate-conductivity") == 3  # gap, depth, and the width they make
    assert found.figure.trust is Trust.ROUGH


def test_little_resistance_asks_for_the_leads() -> None:
    pairs = [(0.51, 0.1), (0.53, 0.3), (0.56, 0.6), (0.6, 1.0)]
    assert codes(conductivity(readings(pairs), CONSTANT).findings) == ["calibrate-conductivity"]


def test_one_ampere_hour_of_nickel_is_an_efficiency_of_one() -> None:
    """1.095 g (Nickel Plating Handbook, Nickel Institute 2014, from memory)."""
    found = efficiency([Coupon(1.0, 3600.0, 1.095e-3 * 0.9)], metal("Ni"))
    assert found.coupons[0] == pytest.approx(0.9, rel=1e-3)
    assert codes(found.findings) == ["calibrate-one-coupon"]


def test_more_metal_than_the_charge_gives_is_refused_with_what_is_likely() -> None:
    with pytest.raises(CalibrateError) as caught:
        efficiency([Coupon(1.0, 3600.0, 1.0e-3), Coupon(1.0, 3600.0, 1.3e-3)], metal("Ni"))
    assert caught.value.slug == "calibrate-over-100"
    assert "number 2" in caught.value.where
    assert "weighed wet" in caught.value.hint


def test_a_little_over_100_per_cent_is_taken_for_100_and_told() -> None:
    found = efficiency([Coupon(1.0, 3600.0, 1.105e-3)] * 3, metal("Ni"))
    assert found.figure.range.typical == found.figure.range.high == 1.0
    assert "calibrate-scatter" in codes(found.findings)


def test_coupons_that_scatter_wildly_are_told() -> None:
    found = efficiency([Coupon(1.0, 3600.0, 1.095e-3 * e) for e in (0.5, 0.9, 0.6, 0.95)], metal("Ni"))
    assert "calibrate-scatter" in codes(found.findings)
    assert found.figure.width > 0.2


@pytest.mark.parametrize(("way", "shares"), [("falls", (0.90, 0.80, 0.70, 0.60)), ("rises", (0.6, 0.7, 0.8, 0.9))])
def test_an_efficiency_that_changes_with_current_is_told(way: str, shares: tuple[float, ...]) -> None:
    """Ten points for each doubling of the current."""
    some = [Coupon(i, 3600.0, i * e * 1.095e-3, area=0.01) for i, e in zip((0.5, 1.0, 2.0, 4.0), shares, strict=True)]
    found = efficiency(some, metal("Ni"))
    assert found.trend is not None
    assert abs(found.trend.per_doubling) == pytest.approx(0.1, rel=2e-3)
    curve = carried_curve(found, bath("watts-nickel"))
    assert [at for at, _ in curve] == pytest.approx([50, 50 * 8**0.25, 50 * 8**0.5, 50 * 8**0.75, 400], rel=1e-9)
    assert [curve[0][1], curve[2][1], curve[-1][1]] == pytest.approx([shares[0], 0.75, shares[-1]], rel=2e-3)
    assert any(f.code == "calibrate-trend" and way in f.message for f in found.findings)


def test_the_curve_of_the_tables_is_brought_to_the_coupons_and_one_figure_stays_one() -> None:
    """Alkaline zinc, 75 % at 2 A/dm²: coupons of 60 % there put four fifths to the whole curve."""
    zinc, grams = bath("alkaline-zinc"), 1.2197e-3
    found = efficiency([Coupon(2.0, 3600.0, 0.6 * 2 * grams, area=0.01)] * 2, zinc.metal)
    shares = [share for _, share in carried_curve(found, zinc)]
    assert shares == pytest.approx([0.8 * share for _, share in zinc.efficiency_curve], rel=2e-3)
    assert carried_curve(found, bath("watts-nickel")) == ()


def test_the_borders_of_a_panel_are_its_range() -> None:
    """2 A: 2 (5.10 - 5.24 log10 1.8) = 7.52 A/dm², 2 (5.10 - 5.24 log10 6.8) = 1.48."""
    found = read_panel(SlantPanel(2.0, 0.018, 0.068), 0.01, WATTS)
    density = {border.what: border.density for border in found.borders}
    assert density["burnt"].typical / 100 == pytest.approx(7.525, rel=1e-3)
    assert density["bright"].typical / 100 == pytest.approx(1.475, rel=1e-3)
    usable, limit = found.figures
    assert usable.range.low == density["bright"].high
    assert usable.range.high == density["burnt"].low
    assert limit.key == "limiting_current_density"
    assert usable.level == limit.level == LEVEL
    assert read_panel(SlantPanel(2.0, 0.018, stirred=True), 0.01, WATTS).figures[1].key.endswith("_stirred")


def test_a_range_whose_ends_would_cross_is_as_read_and_has_no_level() -> None:
    found = read_panel(SlantPanel(2.0, 0.030, 0.034, place_to=5e-3), 0.01, WATTS)
    usable, ends = found.figures[0], {border.what: border.density.typical for border in found.borders}
    assert (usable.range.low, usable.range.high) == (ends["bright"], ends["burnt"])
    assert usable.level is None
    assert all("as read" in rest for rest in usable.rests)


def test_a_border_read_less_surely_widens_the_range_of_its_density() -> None:
    sure, unsure = (
        read_panel(SlantPanel(2.0, 0.018, place_to=to), 0.01, WATTS).borders[0].density for to in (5e-4, 3e-3)
    )
    assert unsure.high - unsure.low > sure.high - sure.low
    reach = published_density(2.0, 0.015) - published_density(2.0, 0.018)
    assert unsure.high - unsure.typical >= 0.95 * reach  # an error that lies anywhere within it: 95 % of them


def test_a_panel_with_one_border_leaves_the_other_end_to_the_tables() -> None:
    burnt = read_panel(SlantPanel(2.0, 0.018), 0.01, WATTS)
    assert burnt.figures[0].range.low == WATTS.low
    assert burnt.figures[0].level is None
    assert "lower end: that of the tables" in burnt.figures[0].rests
    assert burnt.figures[1].level == LEVEL
    assert codes(burnt.findings) == ["calibrate-range-open"]
    bare = read_panel(SlantPanel(2.0, bare_from=0.07), 0.01, WATTS)
    assert bare.figures[0].range.high == WATTS.high
    assert codes(bare.findings) == ["calibrate-range-open", "calibrate-range-open"]
    assert "calibrate-range-odd" in codes(read_panel(SlantPanel(0.1, 0.018), 0.01, WATTS).findings)


def voltages(span: float, *, reference: bool = True, noise: float = 0.0) -> PolarizationReadings:
    amps = np.geomspace(0.6 / span, 0.6, 7)
    volts = 0.3 + 0.4 * amps + 0.05 * np.log(amps) + noise * np.cos(17 * np.arange(7))
    return PolarizationReadings(VoltsAmps(tuple(volts.tolist()), tuple(amps.tolist())), reference)


def test_slope_and_resistance_come_apart_over_a_decade() -> None:
    found = voltage_slope(voltages(30.0))
    assert found.figure is not None
    assert found.figure.range.typical == pytest.approx(0.05, rel=1e-6)
    assert found.resistance == pytest.approx(0.4, rel=1e-6)


def test_a_slope_that_is_not_identified_is_not_told() -> None:
    short, noisy = voltage_slope(voltages(5.0)), voltage_slope(voltages(12.0, noise=0.03))
    assert "factor of 5.0" in short.findings[0].message
    for found in (short, noisy):
        assert found.figure is None
        assert found.slope is None
        assert codes(found.findings) == ["calibrate-slope-open"]


def test_a_slope_of_both_electrodes_is_told_and_not_taken() -> None:
    found = voltage_slope(voltages(30.0, reference=False))
    assert found.slope == pytest.approx(0.05, rel=1e-6)
    assert found.figure is None
    assert codes(found.findings) == ["calibrate-slope-both"]


def test_a_burnt_plate_by_hand() -> None:
    """1.5 A clean, 2 A burnt on 0.5 dm², 1.6 times the mean at the edge: 4.8 to 6.4 A/dm², middle 5.6; 95 % of it."""
    figure, findings = limiting(BurntPlate(2.0, 1.5, 0.005, 1.6, False, 0.0))
    ends = figure.range.low, figure.range.typical, figure.range.high
    assert ends == pytest.approx((484.0, 560.0, 636.0), rel=1e-4)
    assert figure.level == LEVEL
    assert findings == ()
    bare, told = limiting(BurntPlate(2.0, None, 0.005, None, True, 0.0))
    assert bare.key == "limiting_current_density_stirred"
    assert (bare.range.low, bare.range.typical, bare.range.high) == pytest.approx((400.0, 600.0, 1200.0), rel=1e-3)
    assert bare.level is None  # open below
    meters = limiting(BurntPlate(2.0, 2.0, 0.005, 1.0, False, 0.02))[0].range
    assert (meters.low, meters.high) == pytest.approx((400.0 * 0.981, 400.0 * 1.019), rel=1e-4)
    assert codes(told) == ["calibrate-limit-open", "calibrate-limit-open"]
