"""How a bath warms under current: one lump of liquid, a loss in proportion to its excess over the air.

    C dT/dt = P - U (T - T_air)

so that the rise goes as (P / U) (1 - exp(-U t / C)). A bath that a thermostat holds above the air loses
U (T_bath - T_air) already; that much of the current's heat only spares the heater.
"""

import math
from dataclasses import dataclass

from geom.chemistry import Range

HEAT_CAPACITY = 4.2e6
"""Of a water-like bath by volume [J/(m³ K)]: water 4.18 (CRC Handbook), salt baths 4.0 to 4.3 by density times a specific
heat of 3.3 to 3.6 J/(g K) (from memory)."""

WALL_LOSS = Range(8.0, 10.0, 12.0)
"""Heat lost through wetted wall and floor by still air and radiation [W/(m² K)]; an estimate, no source."""

SURFACE_LOSS = Range(15.0, 25.0, 35.0)
"""Heat lost from the open surface, evaporation below 45 °C with it [W/(m² K)]; an estimate, no source."""


@dataclass(frozen=True, slots=True)
class Warming:
    """How the bath warms over a run."""

    power: float  # of the current in the cell [W]
    net: float  # of it that is not needed to hold the bath at its temperature [W]
    loss: Range  # [W/K]
    capacity: float  # [J/K]
    time: float  # [s]
    rise: Range  # over the run [K]: at the most, typical and least loss
    steady: Range  # rise that would be reached in the end [K]

    @property
    def stored(self) -> float:
        """Heat taken up by the bath over the run, at the typical loss [J]."""
        return self.capacity * self.rise.typical

    @property
    def lost(self) -> float:
        """Heat given to the air beyond what holding takes, over the run, at the typical loss [J]."""
        return self.net * self.time - self.stored


def tank_loss(wall: float, surface: float) -> Range:
    """Return the heat that a tank loses per kelvin [W/K]; ``wall`` and ``surface`` are areas [m²]."""
    pairs = zip(
        (WALL_LOSS.low, WALL_LOSS.typical, WALL_LOSS.high),
        (SURFACE_LOSS.low, SURFACE_LOSS.typical, SURFACE_LOSS.high),
        strict=True,
    )
    low, typical, high = (wall * w + surface * s for w, s in pairs)
    return Range(low, typical, high)


def net_power(power: float, held: float, loss: float) -> float:
    """Return what a power [W] adds to a bath held ``held`` kelvins over the air; ``loss`` in W/K."""
    return max(0.0, power - loss * max(0.0, held))


def rise_after(net: float, loss: float, capacity: float, time: float) -> float:
    """Return the rise [K] after ``time`` [s] under a net power [W]; ``loss`` in W/K, ``capacity`` in J/K."""
    return -net / loss * math.expm1(-loss * time / capacity)


def warming(power: float, *, held: float, loss: Range, capacity: float, time: float) -> Warming:
    """Return how a bath warms; ``held`` is how far a thermostat holds it over the air [K], 0 for one that is not heated."""

    def rise(at: float, seconds: float) -> float:
        net = net_power(power, held, at)
        return net / at if math.isinf(seconds) else rise_after(net, at, capacity, seconds)

    losses = (loss.high, loss.typical, loss.low)
    return Warming(
        power=power,
        net=net_power(power, held, loss.typical),
        loss=loss,
        capacity=capacity,
        time=time,
        rise=Range(*(rise(at, time) for at in losses)),
        steady=Range(*(rise(at, math.inf) for at in losses)),
    )


def most_power(rise: float, *, held: float, loss: float) -> float:
    """Return the power [W] under which the bath ends ``rise`` kelvins warmer; ``loss`` in W/K."""
    return loss * (rise + max(0.0, held))
