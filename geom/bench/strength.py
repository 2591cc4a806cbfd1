"""The metal that a bath holds: what one run gives and takes, and bringing a weak bath to strength."""

from dataclasses import dataclass

from geom.chemistry import Range
from geom.electrode.faraday import Deposited, charge_of_mass, mass_of_charge

MAKING_LOSS = Range(1.3, 1.6, 2.0)
"""Charge to make a bath up over what Faraday asks: part of the metal plates out on the cathode meanwhile; an estimate,
no source."""


@dataclass(frozen=True, slots=True)
class Making:
    """Bringing a bath to strength by dissolving anodes."""

    start: float  # metal held [kg/m³]
    end: float  # [kg/m³]
    mass: float  # that must dissolve and stay [kg]
    least_charge: float  # by Faraday alone [C]
    charge: Range  # with what plates out at the making-up cathode [C]
    anode_mass: Range  # dissolved in all [kg]
    current: float | None  # [A]
    time: Range | None  # at that current [s]


def making(start: float, end: float, volume: float, metal: Deposited, current: float | None) -> Making:
    """Return what it takes to bring ``volume`` [m³] from one strength to another [kg/m³]."""
    mass = (end - start) * volume
    least = charge_of_mass(mass, metal)
    charge = MAKING_LOSS.scaled(least)
    return Making(
        start,
        end,
        mass,
        least,
        charge,
        Range(*(float(mass_of_charge(c, metal)) for c in (charge.low, charge.typical, charge.high))),
        current,
        None if current is None else charge.scaled(1.0 / current),
    )


def strength_after(net: float, volume: float, runs: int) -> float:
    """Return by how much the strength has changed after so many runs [kg/m³]; ``net`` is gained in each [kg]."""
    return net * runs / volume
