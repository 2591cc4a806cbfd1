"""Numbers as the bench reads them: metric first, no more digits than are known, never a bare nan."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geom import wording
from geom.report import amounts


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (amounts.thickness(8e-6), "8 µm (0.31 mil)"),
        (amounts.thickness(25.4e-6), "25.4 µm (1 mil)"),
        (amounts.length(0.1), "100 mm"),
        (amounts.length(0.0254), "25.4 mm"),
        (amounts.area(4.196665e-3), "4197 mm²"),
        (amounts.area(9.9999e-3), "10000 mm²"),
        (amounts.area(1e-2), "1 dm²"),
        (amounts.area(0.12345), "12.35 dm²"),
        (amounts.current(1.2345), "1.23 A"),
        (amounts.current(0.1), "0.1 A"),
        (amounts.current(0.05678), "56.8 mA"),
        (amounts.voltage(1.473), "1.5 V"),
        (amounts.voltage(19.0), "19 V"),
        (amounts.current_density(250.0), "2.5 A/dm² (23 A/ft²)"),
        (amounts.minutes(0.0), "0.0 min"),
        (amounts.minutes(2.0), "under 0.1 min"),
        (amounts.minutes(90.0), "1.5 min"),
        (amounts.minutes(506.0), "8.4 min"),
        (amounts.minutes(1167.0), "19 min"),
        (amounts.minutes(10799.0), "180 min"),
        (amounts.minutes(10800.0), "3.0 h"),
        (amounts.minutes(math.inf), "without end"),
        (amounts.percent(5e-4), "0.1 %"),
        (amounts.percent(0.0123), "1.2 %"),
        (amounts.percent(0.256), "26 %"),
        (amounts.percent(0.0), "0.1 %"),
        (amounts.percent(0.0994), "9.9 %"),
        (amounts.percent(0.0996), "10 %"),
        (amounts.percent(1.7), "100 % or more"),
        (amounts.plus_minus("1.4 V", 0.0123), "1.4 V ± 1.2 %"),
        (amounts.plus_minus("1.4 V", None), "1.4 V"),
        (amounts.plus_minus("1.4 V", float("nan")), "1.4 V"),
        (amounts.point((0.0315, 0.0, -0.0075)), "(31.5, 0, -7.5) mm"),
        (amounts.turn((0.0, math.pi / 2, math.pi / 6)), "(0, 90, 30)°"),
        (amounts.turn((math.pi / 4,)), "45°"),
        (amounts.amount(0.95, "%"), "95 %"),
        (amounts.amount(1.2345678, "", 2), "1.2"),
        (amounts.amount(math.nan, "A"), "n/a"),
    ],
)
def test_an_amount_reads_as_at_a_bench(text: str, expected: str) -> None:
    assert text == expected


@given(st.floats(3.0, 1e6))
def test_a_time_is_told_to_within_five_percent(seconds: float) -> None:
    number, unit = amounts.minutes(seconds).split()
    shown = float(number) * {"min": 60.0, "h": 3600.0}[unit]
    # 0.1 min is the least that is told
    assert abs(shown - seconds) <= max(0.05 * seconds, 3.01)


@given(st.floats(1e-7, 1e-2))
def test_micrometres_and_mil_of_a_thickness_agree(value: float) -> None:
    metric, inch = amounts.thickness(value).removesuffix(" mil)").split(" µm (")
    assert math.isclose(float(metric) * 1e-6, value, rel_tol=6e-3)
    assert math.isclose(float(inch) * 25.4e-6, value, rel_tol=6e-2)


def test_a_place_on_an_axis_has_no_minus_nought() -> None:
    assert amounts.point((-0.024, -1e-20, 0.02)) == "(-24, 0, 20) mm"
    assert wording.mm(-1e-20) == "0"
