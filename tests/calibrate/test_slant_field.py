"""The field of the slant-panel cell against published tables and an integral equation of our own."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.calibrate.slant import MEAN_OF_ONE_AMPERE, published_density
from geom.calibrate.slant_field import DEPTH, PANEL, PANEL_AREA, profile, resistance_times_depth

SHARES = np.array([0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9])

TAFEL = [
    (0.05, 21.5731, (4.47952, 2.75095, 2.10814, 1.34023, 0.73448, 0.35139, 0.20591)),
    (0.2, 5.659306, (2.90542, 2.29523, 1.91151, 1.32662, 0.82134, 0.50678, 0.37617)),
    (0.5, 2.394848, (1.98441, 1.78592, 1.61221, 1.268, 0.90927, 0.66302, 0.54983)),
    (1.0, 1.252832, (1.54539, 1.46596, 1.38438, 1.1933, 0.9592, 0.77975, 0.69026)),
]
"""Wagner number, (V - drop at the mean) / slope, local over mean: an integral equation of our own, another method."""


def test_the_cell_has_the_panel_of_the_trade() -> None:
    """101.65 mm long, 48.16 mm of liquid: from the inside plan and 267 mL."""
    assert_allclose([PANEL, DEPTH], [101.6496e-3, 48.157e-3], rtol=1e-4, atol=0)


def test_resistance_agrees_with_the_conformal_map() -> None:
    """1.05631722684665 (problem of West, Matlosz & Landolt, J. Appl. Electrochem. 22 (1992) 301)."""
    assert resistance_times_depth() == pytest.approx(1.05631722684665, rel=1e-7)


def test_primary_current_agrees_with_the_published_table() -> None:
    """At 0.26 to 3.63 in: McCormick & Kuhn, Trans. IMF 71 (1993) 74, table 1, from an analogue; and the map to its digits."""
    found = profile(0.0).at(np.array([0.26, 0.52, 1.02, 3.05, 3.45, 3.63]) * 25.4e-3)
    assert_allclose(found, [2.554, 1.899, 1.324, 0.263, 0.127, 0.075], rtol=7e-3, atol=0)
    assert np.abs(found - [2.5, 1.8, 1.3, 0.26, 0.15, 0.1]).max() < 0.11


@pytest.mark.parametrize(("wagner", "volts", "known"), TAFEL)
def test_current_under_a_tafel_law_agrees_with_the_integral_equation(
    wagner: float, volts: float, known: tuple[float, ...]
) -> None:
    found = profile(wagner)
    assert found.voltage / wagner == pytest.approx(volts, rel=3e-4)
    assert_allclose(found.at(SHARES * PANEL), known, rtol=2e-3, atol=0)
    assert_allclose(found.at(SHARES[:4] * PANEL), known[:4], rtol=3e-4, atol=0)


@pytest.mark.parametrize("wagner", [0.0, 1e-3, 0.02, 0.3, 3.0])
def test_the_mean_is_one_and_the_current_falls_away_from_the_anode(wagner: float) -> None:
    found = profile(wagner)
    assert found.density @ np.diff(found.edges) == pytest.approx(PANEL, rel=1e-9)
    assert np.all(np.diff(found.density) < 0)


def test_more_polarization_makes_it_more_even() -> None:
    ends = [profile(w).at(np.array([5e-3, 95e-3])) for w in (1e-3, 0.01, 0.1, 1.0)]
    ratios = [near / far for near, far in ends]
    assert ratios == sorted(ratios, reverse=True)


def test_no_wagner_number_below_zero() -> None:
    with pytest.raises(ValueError, match="at least 0"):
        profile(-0.1)


def test_the_published_rule_in_inches_is_the_same_rule() -> None:
    """27.7 - 48.7 log10 L[in] A/ft² for each ampere (from memory): within the digits of both."""
    for inches in (0.25, 0.5, 1.0, 2.0, 3.25):
        square_foot = 27.7 - 48.7 * np.log10(inches)
        found = published_density(1.0, inches * 25.4e-3) * 0.3048**2
        assert found == pytest.approx(square_foot, abs=0.25)


def test_the_published_rule_and_the_field_lie_as_far_apart_as_the_page_says() -> None:
    """The primary field per ampere: 4.392 A/dm² at 1 cm, 0.463 at 8 cm; the rule 5.10 and 0.368."""
    solved = MEAN_OF_ONE_AMPERE * profile(0.0).at(np.array([0.01, 0.08])) / 100
    assert_allclose(solved, [4.392, 0.463], rtol=1e-3, atol=0)
    assert published_density(1.0, 0.01) / 100 == pytest.approx(5.10, rel=1e-12)
    assert published_density(1.0, 0.08) / 100 == pytest.approx(0.368, abs=5e-4)
    assert 5.10 / solved[0] == pytest.approx(1.16, abs=0.005)


def test_the_rule_carries_the_current_within_a_few_per_cent() -> None:
    """Over the panel under the liquid the rule sums to the current put in: 2 % here, its ends left out being small."""
    x = np.linspace(1e-5, PANEL, 200_001)
    values = np.maximum([published_density(1.0, v) for v in x], 0.0)
    assert float(values.mean()) * PANEL_AREA == pytest.approx(1.0, abs=0.05)
