"""What a run does to the bath: how full it is loaded, how it warms, what metal it gives and takes."""

import math
from dataclasses import dataclass

from geom.bench.gas import hydrogen_volume
from geom.bench.heat import HEAT_CAPACITY, Warming, tank_loss, warming
from geom.bench.records import MakeUp, Room
from geom.bench.strength import Making, making, strength_after
from geom.cell.cell import BoxTank, Tank
from geom.chemistry import Range
from geom.deposit import Deposit
from geom.electrode.faraday import Deposited, charge_of_mass
from geom.field import Field
from geom.findings import Finding, Severity
from geom.wording import digits

MOST_LOADING = 1e3
"""Current over volume that a bath bears without cooling: 1 A/L [A/m³]; common practice, no source."""

USUAL_LOADING = 500.0
"""From here on the bath works noticeably: 0.5 A/L [A/m³]; common practice, no source."""

LEAST_VOLUME = 0.1
"""Volume over plated area: 1 litre for each dm² [m³/m²]; common practice, no source."""

USES = 10
"""Runs over which the change of strength is told."""


@dataclass(frozen=True, slots=True)
class BathUse:
    """What a run does to the bath."""

    volume: float  # of the liquid [m³]
    loading: float  # current over volume [A/m³]
    volume_per_area: float  # over the plated area [m]
    warming: Warming
    air: float  # temperature of the room [K]
    room_is_given: bool
    drift: float | None  # growth of the conductivity over the run, typical, as a share
    deposited: float  # metal taken from the bath in a run, part and thieves [kg]
    dissolved: float  # metal given to it by the anodes [kg]
    strength: float  # change in one run [kg/m³]
    after_uses: float  # change over `USES` runs [kg/m³]
    hydrogen: float  # at part and thieves in a run, if all that deposits nothing makes it [m³ at 25 °C]
    making: Making | None

    @property
    def net(self) -> float:
        """Metal that the bath gains in a run [kg]."""
        return self.dissolved - self.deposited


def bath_use(
    first: Field,
    deposit: Deposit,
    *,
    volume: float,
    room: Room,
    room_is_given: bool,
    per_kelvin: float | None,
    make_up: MakeUp | None,
    dissolving: float = 1.0,
) -> BathUse:
    """Return what a run does to the bath.

    ``per_kelvin`` is the growth of conductivity as a share for each kelvin; ``dissolving`` the share of the current that
    leaves anodes which dissolve.
    """
    bath, tank = first.cell.bath, first.cell.tank
    loss = room.loss or estimated_loss(tank)
    power = _energy(deposit) / deposit.time if deposit.time > 0 else first.total_current * first.voltage
    warm = warming(
        power,
        held=bath.temperature - room.temperature,
        loss=loss,
        capacity=HEAT_CAPACITY * volume,
        time=deposit.time,
    )
    deposited = deposit.mass + deposit.thief_mass
    dissolved = dissolving * deposit.anode_mass
    metal: Deposited = bath.metal
    return BathUse(
        volume=volume,
        loading=first.total_current / volume,
        volume_per_area=volume / first.wetted_area,
        warming=warm,
        air=room.temperature,
        room_is_given=room_is_given,
        drift=None if per_kelvin is None else per_kelvin * warm.rise.typical,
        deposited=deposited,
        dissolved=dissolved,
        strength=strength_after(dissolved - deposited, volume, 1),
        after_uses=strength_after(dissolved - deposited, volume, USES),
        hydrogen=hydrogen_volume(max(0.0, deposit.charge - float(charge_of_mass(deposited, metal)))),
        making=None if make_up is None else making(make_up.start, make_up.end, volume, metal, make_up.current),
    )


def _energy(deposit: Deposit) -> float:
    return sum(stage.current * stage.voltage * stage.time for stage in deposit.stages)


def estimated_loss(tank: Tank) -> Range:
    """Return the heat that a tank loses for each kelvin over the air [W/K], from its walls, floor and open surface."""
    if isinstance(tank, BoxTank):
        surface = tank.length * tank.width
        wall = 2.0 * (tank.length + tank.width) * tank.depth
    else:
        surface = math.pi / 4.0 * tank.diameter**2
        wall = math.pi * tank.diameter * tank.depth
    return tank_loss(wall + surface, surface)


def bath_use_findings(found: BathUse, most_rise: float) -> list[Finding]:
    """Return what is out of order with the bath."""
    out = []
    rise = found.warming.rise
    if rise.typical > most_rise:
        text = (
            f"the bath warms by about {rise.typical:.0f} K over the run ({rise.low:.0f} to {rise.high:.0f} K): stop and let it cool, "
            "take more volume or less current, or cool it"
        )
        out.append(Finding(Severity.WARNING, "bath-warms", text))
    if found.loading > 1.001 * MOST_LOADING:
        text = (
            f"{digits(found.loading / 1e3)} A for each litre; over about {MOST_LOADING / 1e3:.0f} A/L a small bath warms and drifts "
            "quickly (common practice, no source)"
        )
        out.append(Finding(Severity.WARNING, "bath-loaded", text))
    if found.volume_per_area < LEAST_VOLUME:
        text = f"{digits(found.volume_per_area * 10)} litres of bath for each dm² plated; at least 1 is usual (common practice, no source)"
        out.append(Finding(Severity.WARNING, "bath-small", text))
    return out
