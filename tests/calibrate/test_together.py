"""The whole of a file: one figure of each kind, two ways to one figure, what lies outside the tables."""

import math
import tomllib

import numpy as np
import pytest

from geom.bench.fit import half_width
from geom.bench.readings import BurntPlate, Coupon, PolarizationReadings, Readings, SlantPanel, VoltsAmps
from geom.calibrate.calibrate import Calibration, calibrate
from geom.calibrate.slant import MEAN_OF_ONE_AMPERE
from geom.calibrate.slant_field import PANEL, profile
from geom.errors import CalibrateError
from geom.report.bathtable import bath_table_text
from geom.tables.read import bath

AT = 328.15
PLACES = np.array([10, 20, 35, 50, 65, 80, 90, 95]) * 1e-3
PANEL_CURRENT = 0.2


def fit(**given: object) -> Calibration:
    return calibrate(Readings("club-nickel", "Club", "watts-nickel", AT, **given))  # type: ignore[arg-type]


def codes(found: Calibration) -> list[str]:
    return [finding.code for finding in found.findings]


def voltages(slope: float, noise: float = 1e-4) -> PolarizationReadings:
    amps = np.array([0.02, 0.04, 0.08, 0.15, 0.3, 0.6])
    volts = 0.3 + 0.1 * amps + slope * np.log(amps) + noise * np.array([1, -1, 1, 1, -1, 0])
    return PolarizationReadings(VoltsAmps(tuple(volts.tolist()), tuple(amps.tolist())), True)


def panel(slope: float) -> SlantPanel:
    """Borders read at 2 A, thickness at less, without noise but with a gauge good to 3 % of the mean."""
    wagner = bath("watts-nickel").conductivity * slope / (MEAN_OF_ONE_AMPERE * PANEL_CURRENT * PANEL)
    heights = 5e-6 * profile(wagner).at(PLACES)
    spots = tuple(zip(PLACES.tolist(), heights.tolist(), strict=True))
    return SlantPanel(2.0, 0.018, 0.068, thickness=spots, thickness_to=5e-8, thickness_current=PANEL_CURRENT)


def test_without_two_plates_the_conductivity_of_the_tables_widens_the_slope_of_the_panel() -> None:
    found = fit(panel=panel(0.046))
    slope, table = found.figure("tafel_slope"), bath("watts-nickel").conductivity_range
    assert slope is not None
    assert slope.range.typical == pytest.approx(0.046, rel=0.01)
    assert slope.range.high / slope.range.low > math.sqrt(table.high / table.low)


def test_of_two_slopes_that_agree_the_surer_is_taken() -> None:
    found = fit(panel=panel(0.046), polarization=voltages(0.047))
    slope = found.figure("tafel_slope")
    assert slope is not None
    assert slope.range.typical == pytest.approx(0.047, rel=5e-3)
    assert "calibrate-two-ways" not in codes(found)
    assert [figure.key for figure in found.figures].count("tafel_slope") == 1


def test_two_slopes_that_exclude_one_another_are_told() -> None:
    assert "calibrate-two-ways" in codes(fit(panel=panel(0.046), polarization=voltages(0.090)))


def test_two_limits_that_exclude_one_another_are_told() -> None:
    """The panel burns at about 7.5 A/dm², the plate at 2."""
    found = fit(panel=panel(0.046), limiting=BurntPlate(1.0, 0.9, 0.005, 1.0, False))
    assert "calibrate-two-ways" in codes(found)
    limit = found.figure("limiting_current_density")
    assert limit is not None
    assert limit.range.typical == pytest.approx(190.0, rel=1e-6)  # the narrower of the two


def test_the_field_behind_the_borders_is_that_of_the_current_they_were_read_at() -> None:
    """The Wagner number goes with one over the current: tenfold less at 2 A than at the 0.2 A of the thickness."""
    borders = {border.what: border.density for border in fit(panel=panel(0.046)).panel.borders}  # type: ignore[union-attr]
    wagner = bath("watts-nickel").conductivity * 0.046 / (MEAN_OF_ONE_AMPERE * 2.0 * PANEL)
    solved = 2.0 * MEAN_OF_ONE_AMPERE * float(profile(wagner).at(np.array([0.068]))[0])
    by_place = 200 * 5.24 * math.log10(68 / 67)
    half = borders["bright"].high - borders["bright"].typical
    both = half_width(0.0, math.inf, (by_place, abs(solved - borders["bright"].typical)))
    assert half == pytest.approx(both, rel=0.01)


def test_what_lies_outside_the_tables_is_told_and_what_lies_inside_is_not() -> None:
    """Watts: 92 to 97 %. Half of it is another bath, or a reading gone wrong."""
    step = 1.095e-3
    assert codes(fit(coupons=(Coupon(1.0, 3600.0, 0.5 * step),) * 3)) == ["calibrate-outside-tables"]
    assert codes(fit(coupons=(Coupon(1.0, 3600.0, 0.95 * step),) * 3)) == []


def test_a_clear_change_of_efficiency_is_written_as_a_curve() -> None:
    coupons = tuple(Coupon(i, 3600.0, i * e * 1.095e-3, area=0.01) for i, e in ((1.0, 0.9), (2.0, 0.93), (4.0, 0.96)))
    values = tomllib.loads(bath_table_text(fit(coupons=coupons)))["club-nickel"]["values"]
    curve = values["efficiency_curve"]
    assert curve["unit"] == "A/dm2"
    assert curve["points"][0] == pytest.approx([1.0, 0.9], rel=2e-3)
    assert curve["points"][-1] == pytest.approx([4.0, 0.96], rel=2e-3)
    assert "efficiency_curve" not in bath_table_text(fit(coupons=coupons[:1] * 3))


def test_a_figure_that_no_bath_has_is_refused() -> None:
    with pytest.raises(CalibrateError) as caught:
        fit(polarization=voltages(2.0))
    assert caught.value.slug == "calibrate-impossible"
    assert "tafel slope" in caught.value.message


@pytest.mark.parametrize(("celsius", "low", "high"), [(48, "40", "60"), (25, "25", "60"), (70, "40", "70")])
def test_the_working_range_takes_in_the_temperature_of_the_readings(celsius: int, low: str, high: str) -> None:
    coupons = (Coupon(1.0, 3600.0, 1.04e-3),) * 3
    found = calibrate(Readings("club-nickel", "Club", "watts-nickel", 273.15 + celsius, coupons=coupons))
    assert f"temperature = {{ low = {low}, typical = {celsius}, high = {high}," in bath_table_text(found)
