"""Cautions of a set-up, and the steps before plating: sections of the report, and records of the JSON."""

from collections.abc import Sequence
from typing import Any

from geom.bench.records import Substrate
from geom.constants import ZERO_CELSIUS
from geom.plan import Plan
from geom.report.amounts import amount
from geom.report.tree import Row, Section
from geom.tables.cautions import LAST, Caution, SetUp, cautions_for, short_source
from geom.tables.substrates import Bake, bake, preparation
from geom.units import unit_factor

CALCULATION = "This plan is a calculation: try it on a scrap piece first."


def set_up_of(plan: Plan) -> SetUp:
    """Return what the cautions of a plan go by."""
    bench, first = plan.job.bench, plan.fields[0]
    return SetUp(
        bath=plan.cell.bath.kin,
        metal=plan.cell.bath.metal.symbol,
        temperature=plan.cell.bath.temperature,
        anodes=bench.anode_materials,
        substrate=None if bench.substrate is None else bench.substrate.metal,
        voltage=first.voltage,
        current_density=first.mean_current_density,
        supply_voltage=plan.job.supply.max_voltage,
        ventilated=bench.ventilated,
    )


def cautions_section(plan: Plan) -> Section:
    """Return the cautions of a plan, each with who says so; the last defers to local codes and licensed practice."""
    return section_of(cautions_for(set_up_of(plan)))


def section_of(cautions: Sequence[Caution]) -> Section:
    """Return cautions as a section of the report."""
    lines = [f"{caution.text} [{short_source(caution.source)}]" for caution in cautions if caution.key != LAST]
    last = [caution.text for caution in cautions if caution.key == LAST]
    return Section("Cautions", (*lines, CALCULATION, *last))


def cautions_tree(plan: Plan) -> list[dict[str, Any]]:
    """Return the cautions of a plan as plain data, in the order of the report."""
    return tree_of(cautions_for(set_up_of(plan)))


def tree_of(cautions: Sequence[Caution]) -> list[dict[str, Any]]:
    """Return cautions as plain data."""
    return [
        {
            "key": caution.key,
            "text": caution.text,
            "grave": caution.is_grave,
            "source": caution.source.text,
            "basis": caution.source.basis,
            "trust": str(caution.source.trust),
        }
        for caution in cautions
    ]


def preparation_section(plan: Plan) -> Section:
    """Return the steps before and after plating for the metal plated on; nothing where the job does not state it."""
    return steps_of(plan.job.bench.substrate)


def steps_of(substrate: Substrate | None) -> Section:
    """Return the steps for a substrate as a section of the report."""
    if substrate is None:
        return Section("Before plating", ())
    found, hot = preparation(substrate.metal), bake(substrate)
    rows = [Row(f"step {number}", step) for number, step in enumerate(found.steps, start=1)]
    if substrate.strike is not None:
        rows.append(Row("strike stated", substrate.strike))
    if hot is not None:
        rows.append(Row("after plating", _bake_words(hot)))
    note = f"{found.note} [{short_source(found.source)}, trust {found.source.trust}]"
    return Section(f"Before plating: {found.title}", (note,), tuple(rows))


def _bake_words(hot: Bake) -> str:
    """Return a bake in words."""
    low, high = (amount(kelvin, "°C") for kelvin in (hot.temperature.low, hot.temperature.high))
    beyond = " and longer, for it is stronger than any of the table" if hot.is_beyond else ""
    return (
        f"bake at {low} to {high} for at least {hot.hours:.0f} h{beyond}, begun within about {hot.start_hours:.0f} h "
        f"[{short_source(hot.source)}]"
    )


def preparation_tree(plan: Plan) -> dict[str, Any] | None:
    """Return the steps for the metal plated on as plain data; None where the job does not state it."""
    return steps_tree(plan.job.bench.substrate)


def steps_tree(substrate: Substrate | None) -> dict[str, Any] | None:
    """Return the steps for a substrate as plain data."""
    if substrate is None:
        return None
    found, hot = preparation(substrate.metal), bake(substrate)
    return {
        "substrate": found.name,
        "strength_N_mm2": None if substrate.strength is None else substrate.strength / unit_factor("N/mm2", "pressure"),
        "strike": substrate.strike,
        "note": found.note,
        "steps": list(found.steps),
        "bake": None
        if hot is None
        else {
            "time_min": 60.0 * hot.hours,
            "low_C": hot.temperature.low - ZERO_CELSIUS,
            "high_C": hot.temperature.high - ZERO_CELSIUS,
            "begin_within_min": 60.0 * hot.start_hours,
            "beyond_table": hot.is_beyond,
            "source": hot.source.text,
        },
        "source": found.source.text,
        "basis": found.source.basis,
        "trust": str(found.source.trust),
    }
