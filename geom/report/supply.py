"""What the supply must give, in words and as a plain tree."""

from typing import Any

from geom.advice.supply import CONTACT, RESISTOR_MARGIN, Brick, Conductor, Supplying
from geom.bench.wires import LeastWire
from geom.report.amounts import amount, current, voltage
from geom.report.tree import Row, Section


def supply_section(found: Supplying | None) -> Section:
    """Return the section about supply, hook and leads."""
    if found is None:
        return Section("Supply and wires")
    rows = [
        Row(
            "needed at the terminals",
            f"{current(found.current)} at {voltage(found.needed)}, {amount(found.power, 'W')}",
        ),
        Row("  of it in the liquid", voltage(found.ohmic)),
        Row("  at the part", voltage(found.cathode)),
        Row("  at the anodes", _anode_words(found)),
        *(Row(f"  {_drop_words(wire)}", amount(wire.drop, "mV", 2)) for wire in found.conductors),
        *(Row(wire.what, _wire_words(wire)) for wire in found.conductors),
    ]
    return Section("Supply and wires", tuple(_sentences(found)), tuple(rows))


def _anode_words(found: Supplying) -> str:
    return voltage(found.anode) if found.anode > 1e-6 else "none: no polarization of the anodes is stated"


def _drop_words(wire: Conductor) -> str:
    if wire.what == "lead":
        return "along the lead"
    return f"at the hooks' joints, {1e3 * CONTACT:.0f} mohm each (an estimate, no source)"


def _wire_words(wire: Conductor) -> str:
    least = _least_words(wire.least)
    return (
        f"{wire.metal}, {amount(wire.load / 1e6, '', 2)} A/mm²; the rack rule allows {current(wire.allows)} "
        f"({wire.rule.source.text}), so {least} would do for the current"
    )


def _least_words(wire: LeastWire) -> str:
    words = f"{amount(wire.diameter, 'mm', 2)} diameter"
    gauge = "" if wire.gauge is None else f", AWG {wire.gauge}"
    cable = "" if wire.section is None else f", cable of {1e6 * wire.section:.3g} mm²"
    return f"{words}{gauge}{cable}"


def _sentences(found: Supplying) -> list[str]:
    out = []
    if found.can is not None and found.kind != "fixed-voltage":
        out.append(
            "The supply as stated gives that."
            if found.can
            else "The supply as stated does not give that: see the limits."
        )
    if found.kind == "constant-current":
        out.append(
            "Set the current and leave the voltage limit above what is needed: metal follows current, and the voltage falls as "
            "the bath warms."
        )
    if found.kind == "constant-voltage" and found.drift is not None:
        out.append(
            f"At a constant voltage the current grows by about {100 * found.drift:.1f} % for each kelvin that the bath warms: look at "
            "the ammeter and turn down, or limit the current if the supply can."
        )
    if found.brick is not None:
        out += _brick_sentences(found.brick)
    return out


def _brick_sentences(brick: Brick) -> list[str]:
    flows = (
        "how much it would drive straight across the cell was not found"
        if brick.current is None
        else f"straight across the cell it would drive about {amount(brick.current, 'A', 2)}, {amount(brick.over or 0.0, '', 2)} times the plan's current"
    )
    first = f"A supply of {voltage(brick.voltage)} that cannot be set: {flows}."
    if brick.resistor is None or brick.bought is None or brick.settles_at is None or brick.rating is None:
        return [first, "Its voltage is too low for the plan's current: expect less current and a longer time."]
    return [
        first,
        f"In series {amount(brick.resistor, 'ohm', 2)} bring it to the plan's current; bought, {amount(brick.bought, 'ohm', 2)} "
        f"(next of series E12): about {amount(brick.settles_at, 'A', 2)} flow, {amount(brick.power or 0.0, 'W', 2)} in it, rated for "
        f"{amount(brick.rating, 'W', 2)} or more ({RESISTOR_MARGIN:.0f} times: common practice, no source). It gets hot: keep it off "
        "wood and plastic.",
        f"A wider gap alone would have to be about {amount(brick.gap_factor or 0.0, '', 2)} times the present one (an estimate from the drop in "
        "the liquid). Better than both: a module that limits the current.",
    ]


def supply_tree(found: Supplying | None) -> dict[str, Any] | None:
    """Return it as plain JSON values."""
    if found is None:
        return None
    brick = found.brick
    return {
        "needed_V": found.needed,
        "power_W": found.power,
        "ohmic_V": found.ohmic,
        "cathode_V": found.cathode,
        "anode_V": found.anode,
        "kind": found.kind,
        "enough": found.can,
        "drift_per_kelvin": found.drift,
        "conductors": [
            {
                "what": wire.what,
                "metal": wire.metal,
                "load_A_mm2": wire.load / 1e6,
                "drop_V": wire.drop,
                "allows_A": wire.allows,
                "least_diameter_mm": 1e3 * wire.least.diameter,
                "least_gauge": wire.least.gauge,
                "source": wire.rule.source.text,
            }
            for wire in found.conductors
        ],
        "brick": None
        if brick is None
        else {
            "voltage_V": brick.voltage,
            "drives_A": brick.current,
            "resistor_ohm": brick.resistor,
            "resistor_bought_ohm": brick.bought,
            "settles_at_A": brick.settles_at,
            "resistor_W": brick.power,
            "rating_W": brick.rating,
            "gap_factor": brick.gap_factor,
        },
    }
