"""Figures in the digits that their bands support."""

import math

import pytest

from geom.doubt.bands import Band
from geom.report import told

MIN = 60.0


def band(low: float, high: float, typical: float | None = None) -> Band:
    return Band(low, 0.5 * (low + high) if typical is None else typical, high)


@pytest.mark.parametrize(
    ("value", "unit", "low", "high", "words"),
    [
        (1.4321, "V", 1.2, 2.0, "1.4 V"),  # half is 0.4: tenths
        (1.4321, "V", 1.43, 1.434, "1.43 V"),  # never more than three digits
        (12.63e-6, "µm", 12.1e-6, 12.9e-6, "12.6 µm"),
        (12.63e-6, "µm", 10.6e-6, 12.7e-6, "13 µm"),  # half is 1.05
        (12.63e-6, "µm", 10.8e-6, 12.7e-6, "12.6 µm"),  # and here 0.95
        (36.4e-6, "µm", 20e-6, 60e-6, "40 µm"),
        (0.04e-6, "µm", 0.0, 20e-6, "0.04 µm"),  # not zero
        (1.4321, "V", 1.4321, 1.4321, "1.43 V"),  # no band
        (0.0, "V", 0.0, 0.4, "0 V"),
        (1.4321, "V", 1.0, math.inf, "1.43 V"),
        (1.8421, "", 1.76, 1.95, "1.84"),
    ],
)
def test_a_figure_has_the_digits_that_its_band_supports(
    value: float, unit: str, low: float, high: float, words: str
) -> None:
    assert told.number(value, unit, band(low, high)) == words


def test_without_a_band_a_figure_has_three_digits() -> None:
    assert told.number(1.43217, "V", None) == "1.43 V"
    assert told.number(math.inf, "V", band(1.0, 2.0)) == told.number(math.inf, "V", None)


def test_both_ends_of_a_band_share_their_unit_and_no_end_is_zero() -> None:
    assert told.ends(band(1.31, 2.04), "V") == "1.3 to 2 V"
    assert told.ends(band(0.042, 0.52), "A") == "0.04 to 0.5 A"
    assert told.ends(band(1.4, 1.4), "V") == "1.4 V"


@pytest.mark.parametrize(
    ("value", "low", "high", "words"),
    [
        (20.3, 19.4, 21.0, "20 min"),  # half 0.8 min: whole minutes
        (9.34, 8.7, 10.0, "9.3 min"),  # half 0.65: tenths
        (9.34, 8.5, 10.1, "9 min"),
        (127.0, 112.0, 140.0, "125 min"),  # half 14 min: five minutes
        (124.0, 115.0, 133.0, "124 min"),
        (76.0, 60.0, 450.0, "75 min"),  # half over three hours, and yet no half hours: they would be too coarse
        (600.0, 500.0, 700.0, "10 h"),
        (612.0, 480.0, 720.0, "10 h"),  # half two hours: half hours
        (5.1, 4.2, 6.0, "5.1 min"),  # a whole minute would be a fifth of it
    ],
)
def test_a_time_is_told_as_finely_as_its_band_lets_it_and_no_coarser_than_it_deserves(
    value: float, low: float, high: float, words: str
) -> None:
    assert told.time(MIN * value, band(MIN * low, MIN * high, MIN * value)) == words


def test_the_ends_of_a_time_are_told_in_one_unit_or_in_both_where_they_differ() -> None:
    assert told.time_ends(band(19.2 * MIN, 21.1 * MIN, 20 * MIN)) == "19 to 21 min"
    assert told.time_ends(band(8 * 3600.0, 12 * 3600.0, 10 * 3600.0)) == "8 to 12 h"
    assert told.time_ends(band(50 * MIN, 436 * MIN, 76 * MIN)) == "50 min to 7.2 h"
    assert told.time_ends(band(20 * MIN, 20 * MIN)) == "20 min"
    assert told.time_ends(band(0.3 * MIN, 12 * MIN, 8 * MIN)) == "0.3 to 12 min"  # an end under the step


def test_stages_add_up_to_the_whole_as_it_is_told() -> None:
    whole = band(29 * MIN, 33 * MIN, 30.9 * MIN)
    each = told.stages((10.3 * MIN, 10.3 * MIN, 10.3 * MIN), whole)
    assert each == ("10 min", "11 min", "10 min")
    assert told.time(30.9 * MIN, whole) == "31 min"
    assert told.stages((0.4 * MIN, 9.4 * MIN), whole) == ("0.4 min", "9.4 min")  # one shorter than the step
    assert told.stages((9.3 * MIN,), None) == ("9.3 min",)
