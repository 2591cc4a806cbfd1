"""Round wires: gauge, section, resistance, and the least one for a current."""

import math
from dataclasses import dataclass

GAUGES = range(0, 41)
"""American wire gauges that are looked through."""

SECTIONS = (
    0.5e-6,
    0.75e-6,
    1.0e-6,
    1.5e-6,
    2.5e-6,
    4e-6,
    6e-6,
    10e-6,
    16e-6,
    25e-6,
    35e-6,
    50e-6,
    70e-6,
    95e-6,
    120e-6,
)
"""Usual cross-sections of cables (IEC 60228, from memory) [m²]."""

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
"""Preferred values of resistors (IEC 60063, series E12)."""


@dataclass(frozen=True, slots=True)
class LeastWire:
    """The thinnest round wire that a rule allows for a current."""

    diameter: float  # [m]
    gauge: int | None  # American wire gauge, the next thicker; None beyond gauge 0
    section: float | None  # next usual cross-section of a cable [m²]; None beyond the largest


def gauge_diameter(gauge: int) -> float:
    """Return the diameter [m] of an American wire gauge: 0.127 mm × 92^((36 - n)/39) (ASTM B258)."""
    return float(0.127e-3 * 92.0 ** ((36 - gauge) / 39.0))


def section(diameter: float) -> float:
    """Return the cross-section [m²] of a round wire."""
    return math.pi / 4.0 * diameter**2


def least_wire(current: float, rule: float, count: int = 1) -> LeastWire:
    """Return the thinnest wire; ``rule`` is the most current over cross-section [A/m²], ``count`` wires share it."""
    area = current / (count * rule)
    diameter = math.sqrt(4.0 * area / math.pi)
    gauge = next((n for n in reversed(GAUGES) if gauge_diameter(n) >= diameter), None)
    return LeastWire(diameter, gauge, next((s for s in SECTIONS if s >= area), None))


def resistance(resistivity: float, length: float, diameter: float) -> float:
    """Return the resistance [ohm] of a round wire; ``resistivity`` in ohm m."""
    return resistivity * length / section(diameter)


def next_e12(ohms: float) -> float:
    """Return the next preferred value of resistor that is not less [ohm]."""
    decade = 10.0 ** math.floor(math.log10(ohms))
    steps = [decade * step for step in (*E12, 10.0)]
    return next(value for value in steps if value >= ohms * (1 - 1e-9))
