"""Hydrogen that the part gives off."""

from geom.constants import FARADAY

GAS_CONSTANT = 8.31446261815324
"""[J/(mol K)] (CODATA 2018, exact)."""

AIR_TEMPERATURE, AIR_PRESSURE = 298.15, 101_325.0
"""At which volumes of gas are told [K, Pa]."""

FLAMMABLE = 0.04
"""Share of hydrogen in air from which on it burns (from memory; in every safety sheet)."""


def hydrogen_volume(charge: float) -> float:
    """Return the volume of hydrogen [m³] that a charge [C] makes: two electrons for each molecule."""
    return charge / (2.0 * FARADAY) * GAS_CONSTANT * AIR_TEMPERATURE / AIR_PRESSURE
