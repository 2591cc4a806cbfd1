"""Faraday's law against published plating rates.

Sources: atomic weights IUPAC; "table of electrochemical equivalents" at eciato.com; Nickel plating
handbook formula as reproduced at dzen.ru; S. F. Rudy's chart at finishingandcoating.com; MISUMI Surface
Finishing Tutorial no. 166, Table 1. All read in a copy.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.chemistry import Metal
from geom.electrode.faraday import (
    charge_density_for_thickness,
    charge_of_mass,
    deposition_rate,
    equivalent,
    mass_of_charge,
    thickness_of_charge_density,
    time_for_thickness,
)

AMPERE_HOUR = 3600.0  # [C]
FOOT, MIL = 0.3048, 25.4e-6  # [m]
PER_DM2 = 100.0

NICKEL = Metal("Ni", "nickel", 58.6934e-3, 8908.0, 2)
COPPER = Metal("Cu", "copper", 63.546e-3, 8960.0, 2)
TIN = Metal("Sn", "tin", 118.71e-3, 7290.0, 2)
SILVER = Metal("Ag", "silver", 107.8682e-3, 10490.0, 1)
CHROMIUM = Metal("Cr", "chromium from Cr(VI)", 51.9961e-3, 7190.0, 6)
GOLD = Metal("Au", "gold from Au(I)", 196.96657e-3, 19300.0, 1)


@pytest.mark.parametrize(
    ("metal", "grams"),
    [(NICKEL, 1.095), (COPPER, 1.186), (TIN, 2.214), (SILVER, 4.024), (CHROMIUM, 0.323), (GOLD, 7.348)],
    ids=lambda value: getattr(value, "symbol", ""),
)
def test_grams_per_ampere_hour_are_those_of_the_table_at_eciato(metal: Metal, grams: float) -> None:
    assert_allclose(mass_of_charge(AMPERE_HOUR, metal) * 1e3, grams, rtol=2e-3, atol=0.0)


@pytest.mark.parametrize(
    ("metal", "ampere_hours"),
    [(NICKEL, 19.2), (COPPER, 17.8), (TIN, 7.8), (SILVER, 6.2)],
    ids=lambda value: getattr(value, "symbol", ""),
)
def test_ampere_hours_per_square_foot_and_mil_are_those_of_the_table_at_eciato(
    metal: Metal, ampere_hours: float
) -> None:
    charge = charge_density_for_thickness(MIL, metal) * FOOT**2 / AMPERE_HOUR
    assert_allclose(charge, ampere_hours, rtol=1e-2, atol=0.0)


def test_nickel_grows_12_29_um_per_ampere_hour_and_dm2() -> None:
    # 58.6934 x 3600 / (2 x 96485.332 x 8.908 g/cm³)
    thickness = thickness_of_charge_density(AMPERE_HOUR * PER_DM2, NICKEL)
    assert_allclose(thickness * 1e6, 12.292, rtol=5e-5, atol=0.0)


@pytest.mark.parametrize(("amperes", "hours", "dm2"), [(1.0, 1.0, 1.0), (2.5, 0.4, 3.1), (0.2, 8.0, 0.5)])
def test_the_nickel_formula_of_the_handbook_holds(amperes: float, hours: float, dm2: float) -> None:
    # T[um] = 12.294 I t / S, at 8.907 g/cm³
    metal = Metal("Ni", "nickel", 58.6934e-3, 8907.0, 2)
    thickness = thickness_of_charge_density(amperes * hours * AMPERE_HOUR / (dm2 * 1e-2), metal)
    assert_allclose(thickness * 1e6, 12.294 * amperes * hours / dm2, rtol=2e-4, atol=0.0)


def test_two_micrometres_at_95_percent_take_the_charge_and_mass_of_rudys_chart() -> None:
    charge = charge_density_for_thickness(2e-6, NICKEL, efficiency=0.95)
    assert_allclose(charge / (AMPERE_HOUR * PER_DM2), 0.17, rtol=1e-2, atol=0.0)
    assert_allclose(mass_of_charge(charge, NICKEL, 0.95) * 1e3 * 1e-2, 0.18, rtol=2e-2, atol=0.0)
    minutes = time_for_thickness(2e-6, 100.0, NICKEL, efficiency=0.95) / 60.0
    assert_allclose(minutes, 10.0, rtol=4e-2, atol=0.0)  # the chart prints whole minutes


@pytest.mark.parametrize(
    ("metal", "micrometres"),
    [(NICKEL, 0.205), (COPPER, 0.222), (TIN, 0.506), (SILVER, 0.639), (CHROMIUM, 0.076)],
    ids=lambda value: getattr(value, "symbol", ""),
)
def test_growth_in_a_minute_at_1_A_dm2_is_that_of_the_misumi_table(metal: Metal, micrometres: float) -> None:
    # the densities of that table are its own: up to 1.4 % (chromium)
    assert_allclose(deposition_rate(100.0, metal) * 60.0 * 1e6, micrometres, rtol=1.5e-2, atol=0.0)


def test_an_ampere_for_45_minutes_dissolves_about_0_8_g_of_nickel() -> None:
    # common practice, no source
    assert_allclose(mass_of_charge(1.0 * 45.0 * 60.0, NICKEL) * 1e3, 0.8, rtol=5e-2, atol=0.0)


def test_equivalent_is_the_mass_of_one_coulomb() -> None:
    # silver: 1.1179 mg/C, CODATA's old "international ampere" figure 1.118 mg/C (memory)
    assert_allclose(equivalent(SILVER) * 1e6, 1.118, rtol=2e-4, atol=0.0)


def test_each_function_undoes_its_partner() -> None:
    charges = np.array([1.0, 3600.0, 1e6])
    assert_allclose(charge_of_mass(mass_of_charge(charges, NICKEL, 0.9), NICKEL, 0.9), charges, rtol=1e-14, atol=0)
    thickness = thickness_of_charge_density(charges, COPPER, 0.97)
    assert_allclose(charge_density_for_thickness(thickness, COPPER, 0.97), charges, rtol=1e-14, atol=0)
    rates = deposition_rate(charges, NICKEL, 0.95)
    assert_allclose(8e-6 / rates, time_for_thickness(8e-6, charges, NICKEL, 0.95), rtol=1e-14, atol=0)


def test_half_the_efficiency_takes_twice_the_time() -> None:
    full = time_for_thickness(8e-6, 150.0, NICKEL)
    assert_allclose(time_for_thickness(8e-6, 150.0, NICKEL, 0.5), 2.0 * full, rtol=1e-14, atol=0.0)


def test_mass_is_thickness_times_density() -> None:
    mass_per_area = mass_of_charge(5e4, NICKEL, 0.93)
    thickness = thickness_of_charge_density(5e4, NICKEL, 0.93)
    assert_allclose(mass_per_area, thickness * NICKEL.density, rtol=1e-14, atol=0.0)
