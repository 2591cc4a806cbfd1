"""What the supply must give, whether it can hold it, and what to do with one that cannot be set."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.bench.records import Hook, Lead, WireRule
from geom.bench.wires import LeastWire, least_wire, next_e12, resistance, section
from geom.electrode.laws import Law
from geom.field import Field
from geom.findings import Finding, Severity
from geom.job.job import Supply
from geom.wording import digits

CONTACT = 0.01
"""Resistance of a clean clip or hook joint [ohm]; an estimate, no source."""

RESISTOR_MARGIN = 2.0
"""Rated over real power of a resistor that stays cool enough; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Conductor:
    """A hook or lead at the plan's current."""

    what: str  # "hook", "lead"
    metal: str
    current: float  # in each [A]
    load: float  # over cross-section [A/m²]
    drop: float  # along it, or at its joint [V]
    allows: float  # by the rack rule, of all together [A]
    least: LeastWire  # by the rack rule
    warm: LeastWire  # below which it gets warm
    rule: WireRule


@dataclass(frozen=True, slots=True)
class Brick:
    """A supply that gives one voltage: what flows, and what brings it to the plan's current."""

    voltage: float  # [V]
    current: float | None  # it would drive [A]; None: not found
    over: float | None  # that over the plan's current
    resistor: float | None  # in series [ohm]; None: the voltage is too low for the plan
    bought: float | None  # next preferred value [ohm]
    settles_at: float | None  # current with that one, by the plan's ohmic part [A]
    power: float | None  # in it [W]
    rating: float | None  # to buy [W]
    gap_factor: float | None  # by which the gap to the anode would have to grow instead; an estimate


@dataclass(frozen=True, slots=True)
class Supplying:
    """What the supply must give."""

    current: float  # [A]
    cell: float  # between anode and part [V]
    ohmic: float  # of it in the liquid [V]
    cathode: float  # of it at the part [V]
    anode: float  # of it at the anodes [V]
    conductors: tuple[Conductor, ...]
    needed: float  # at the terminals [V]
    power: float  # [W]
    kind: str | None
    can: bool | None  # the stated supply gives it; None: nothing is stated
    brick: Brick | None
    drift: float | None  # change of current for each kelvin at constant voltage, as a share


def supplying(
    first: Field,
    supply: Supply,
    *,
    hook: tuple[Hook, WireRule] | None,
    lead: tuple[Lead, WireRule] | None,
    per_kelvin: float | None,
    current_at: Callable[[float], float | None],
) -> Supplying:
    """Return what the supply must give; ``current_at`` returns the current [A] at a voltage of the cell [V].

    ``per_kelvin`` is the growth of conductivity as a share for each kelvin.
    """
    current = first.total_current
    cathode, anode = electrode_parts(first)
    ohmic = first.voltage - cathode - anode
    conductors = tuple(_conductors(current, hook, lead))
    needed = first.voltage + sum(c.drop for c in conductors)
    brick = None
    if supply.kind == "fixed-voltage" and supply.max_voltage is not None:
        brick = _brick(supply.max_voltage, current, needed, ohmic, current_at)
    limits = ((supply.max_current, current), (supply.max_voltage, needed))
    known = [need <= 1.001 * most for most, need in limits if most is not None]
    # at a constant voltage what the liquid no longer takes is shared by all that gives way: liquid, wires, electrodes
    gives_way = needed - cathode - anode + electrode_stiffness(first)
    drift = None if per_kelvin is None else per_kelvin * ohmic / max(gives_way, ohmic)
    return Supplying(
        current=current,
        cell=first.voltage,
        ohmic=ohmic,
        cathode=cathode,
        anode=anode,
        conductors=conductors,
        needed=needed,
        power=current * needed,
        kind=supply.kind,
        can=all(known) if known else None,
        brick=brick,
        drift=drift,
    )


def electrode_parts(field: Field) -> tuple[float, float]:
    """Return the drops at part and anodes, each the mean over its current [V]; what is left of the voltage is ohmic."""
    count, total = field.panels.part_count, field.total_current
    into = field.current_density * field.areas
    part = float((field.potential[:count] + field.voltage) @ into) / field.current
    out = field.anode_current_density * field.panels.surface.areas
    return part, -float(field.potential @ out) / total


def electrode_stiffness(field: Field) -> float:
    """Return by how much part and anodes drop more if all current grows, over the share by which it grows [V].

    Of a law without polarization 0, of a linear one its drop, of Tafel's its slope: j d(drop)/dj, the mean over the current.
    """
    panels, count = field.panels, field.panels.part_count
    drops, areas = field.potential[:count] + field.voltage, panels.surface.areas
    total = _stiffness(field.cell.bath.law, field.at_centroids, drops, areas[:count]) / field.current
    for anode, body in zip(field.cell.anodes, panels.anodes, strict=True):
        rows = panels.rows(body)
        out = field.anode_current_density[rows]
        total += _stiffness(anode.law, out, -field.potential[rows], areas[rows]) / field.total_current
    return total


def _stiffness(law: Law | None, density: Floats, drop: Floats, areas: Floats) -> float:
    """Return the sum of j d(drop)/dj over current [V A]; all (n,)."""
    if law is None or not len(density):
        return 0.0
    return float((density**2 / np.maximum(law.slope(drop), 1e-9)) @ areas)


def _conductors(
    current: float, hook: tuple[Hook, WireRule] | None, lead: tuple[Lead, WireRule] | None
) -> list[Conductor]:
    found = []
    if hook is not None:
        record, rule = hook
        drop = current * CONTACT / record.count
        found.append(_conductor("hook", current, record.diameter, record.count, drop, rule))
    if lead is not None:
        wire, rule = lead
        drop = current * resistance(rule.resistivity, wire.length, wire.diameter)
        found.append(_conductor("lead", current, wire.diameter, 1, drop, rule))
    return found


def _conductor(what: str, current: float, diameter: float, count: int, drop: float, rule: WireRule) -> Conductor:
    area = count * section(diameter)
    return Conductor(
        what,
        rule.metal,
        current / count,
        current / area,
        drop,
        rule.rack_rule * area,
        least_wire(current, rule.rack_rule, count),
        least_wire(current, rule.caution, count),
        rule,
    )


def _brick(
    voltage: float, current: float, needed: float, ohmic: float, current_at: Callable[[float], float | None]
) -> Brick:
    driven = current_at(voltage)
    over = None if driven is None else driven / current
    spare = voltage - needed
    if spare <= 0.0:
        return Brick(voltage, driven, over, None, None, None, None, None, None)
    exact = spare / current
    bought = next_e12(exact)
    # the cell gives way by its ohmic part
    settles = (spare + ohmic) / (bought + ohmic / current)
    power = settles**2 * bought
    return Brick(voltage, driven, over, exact, bought, settles, power, RESISTOR_MARGIN * power, (spare + ohmic) / ohmic)


def supply_findings(found: Supplying) -> list[Finding]:
    """Return what is out of order with hooks, leads and the supply."""
    out = []
    for wire in found.conductors:
        if wire.load > wire.rule.warning:
            text = (
                f"the {wire.what} carries {digits(wire.load / 1e6)} A/mm²: over about {digits(wire.rule.warning / 1e6)} A/mm² "
                f"{wire.metal} gets too hot to touch; take {digits(1e3 * wire.least.diameter)} mm or more"
            )
            out.append(Finding(Severity.STOP, "conductor-hot", text))
        elif wire.load > wire.rule.caution:
            text = (
                f"the {wire.what} carries {digits(wire.load / 1e6)} A/mm²: over about {digits(wire.rule.caution / 1e6)} A/mm² "
                f"{wire.metal} gets warm; take {digits(1e3 * wire.warm.diameter)} mm or more"
            )
            out.append(Finding(Severity.WARNING, "conductor-warm", text))
    brick = found.brick
    if brick is not None and brick.over is not None and brick.over > 1.1:
        text = (
            f"straight across the cell this supply would drive about {digits(brick.current or 0.0)} A, {digits(brick.over)} times the plan's: "
            "never without a series resistor or a module that limits the current"
        )
        out.append(Finding(Severity.WARNING, "bare-supply", text))
    return out
