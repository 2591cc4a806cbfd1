"""Hydrogen by Faraday's law and the law of ideal gases."""

from numpy.testing import assert_allclose

from geom.bench.gas import hydrogen_volume


def test_an_ampere_hour_makes_0_46_litres_of_hydrogen() -> None:
    """3600 C / (2 x 96485 C/mol) x 24.465 L/mol, the molar volume of an ideal gas at 25 °C and one atmosphere."""
    assert_allclose(1e3 * hydrogen_volume(3600.0), 3600.0 / (2 * 96485.33) * 24.465, rtol=1e-4, atol=0)
    assert round(1e3 * hydrogen_volume(3600.0), 2) == 0.46


def test_eight_percent_of_five_amperes_make_0_18_litres_an_hour() -> None:
    assert round(1e3 * hydrogen_volume(0.08 * 5.0 * 3600.0), 2) == 0.18
