"""Faraday's law: charge, mass and thickness of a deposit.

The law stands once, in `equivalent`; everything else multiplies or divides by it. ``efficiency`` is the
share of the charge that deposits metal; for a dissolving anode use the anode's own (about 1).
"""

from typing import Protocol, TypeVar

from geom.arrays import Floats
from geom.constants import FARADAY

Amount = TypeVar("Amount", float, Floats)
"""A number, or an array of them, one per panel."""


class Deposited(Protocol):
    """What the law needs to know of a metal."""

    @property
    def molar_mass(self) -> float:
        """[kg/mol]"""

    @property
    def density(self) -> float:
        """[kg/m³]"""

    @property
    def electrons(self) -> int:
        """Electrons per atom."""


def equivalent(metal: Deposited) -> float:
    """Return the electrochemical equivalent M/(nF) [kg/C]."""
    return metal.molar_mass / (metal.electrons * FARADAY)


def mass_of_charge(charge: Amount, metal: Deposited, efficiency: float = 1.0) -> Amount:
    """Return the mass [kg] that ``charge`` [C] deposits or dissolves."""
    return charge * (efficiency * equivalent(metal))


def charge_of_mass(mass: Amount, metal: Deposited, efficiency: float = 1.0) -> Amount:
    """Return the charge [C] that deposits or dissolves ``mass`` [kg]."""
    return mass / (efficiency * equivalent(metal))


def thickness_of_charge_density(charge_density: Amount, metal: Deposited, efficiency: float = 1.0) -> Amount:
    """Return the thickness [m] that ``charge_density`` [C/m²] deposits."""
    return charge_density * (efficiency * equivalent(metal) / metal.density)


def charge_density_for_thickness(thickness: Amount, metal: Deposited, efficiency: float = 1.0) -> Amount:
    """Return the charge per area [C/m²] that deposits ``thickness`` [m]."""
    return thickness / (efficiency * equivalent(metal) / metal.density)


def deposition_rate(current_density: Amount, metal: Deposited, efficiency: float = 1.0) -> Amount:
    """Return the growth of thickness [m/s] at ``current_density`` [A/m²]."""
    return thickness_of_charge_density(current_density, metal, efficiency)


def time_for_thickness(thickness: float, current_density: Amount, metal: Deposited, efficiency: float = 1.0) -> Amount:
    """Return the time [s] in which ``current_density`` [A/m²] deposits ``thickness`` [m]."""
    return charge_density_for_thickness(thickness, metal, efficiency) / current_density
