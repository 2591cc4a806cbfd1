"""`Plan` to a plain tree of sections: every renderer shows this, in this order."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from geom.cell.cell import Anode, BoxTank, SheetAnode, Tank
from geom.findings import Severity
from geom.plan import Plan
from geom.provenance import Origin
from geom.report.amounts import (
    amount,
    area,
    current,
    current_density,
    length,
    minutes,
    point,
    thickness,
    turn,
    voltage,
)


@dataclass(frozen=True, slots=True)
class Row:
    """One line: a label, its value in words with unit, and where it came from ("" for a result)."""

    label: str
    value: str
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text cells; the first column is left-aligned, the others right."""

    heads: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A titled piece of the report: sentences, rows and perhaps a table."""

    title: str
    sentences: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()
    table: Table | None = None


@dataclass(frozen=True, slots=True)
class Document:
    """The whole report."""

    title: str
    answer: tuple[str, ...]
    sections: tuple[Section, ...]


def document(plan: Plan) -> Document:
    """Return the report of a plan, the answer first."""
    sections = (
        Section("Before you plate", _grave(plan)),
        Section("What to expect", tuple(advice.text for advice in plan.advice)),
        _features(plan),
        _thickness(plan),
        _limits(plan),
        _amounts(plan),
        _set_up(plan),
        Section("Notes", tuple(f.message for f in plan.findings if f.severity == Severity.NOTE)),
        Section("Cautions", _cautions(plan)),
        _origins(plan),
        _checks(plan),
    )
    return Document(plan.job.title, _answer(plan), tuple(s for s in sections if s.sentences or s.rows or s.table))


def _answer(plan: Plan) -> tuple[str, ...]:
    stages = plan.deposit.stages
    times = [f"{minutes(stage.time)} {stage.name}" for stage in stages]
    if not times:
        how = "No time was found."
    elif len(times) == 1:
        how = f"Plate {times[0]}."
    else:
        how = f"Plate {times[0]}, turn the part half round, then plate {minutes(stages[1].time)} more."
    volts = sorted({voltage(stage.voltage) for stage in stages} or {voltage(plan.voltage)})
    source = "your current" if plan.current_is_given else "recommended"
    target = thickness(plan.job.target.thickness)
    return (
        f"Set {current(plan.current)} ({source}). Expect about {' then '.join(volts)} between anode and part.",
        how,
        f"That puts at least {target} on the significant surface; "
        f"{thickness(plan.thickness['mean'])} on average, {thickness(plan.thickness['max'])} at the thickest edges.",
    )


def _grave(plan: Plan) -> tuple[str, ...]:
    words = {Severity.STOP: "DO NOT PLATE on this plan", Severity.WARNING: "Warning"}
    order = (Severity.STOP, Severity.WARNING)
    return tuple(f"{words[s]}: {f.message}." for s in order for f in plan.findings if f.severity == s)


def _features(plan: Plan) -> Section:
    lines = tuple(
        (
            feature.name + ("" if feature.significant else " *"),
            area(feature.area),
            f"{feature.current_density_ratio:.2f}",
            amount(feature.thickness, "µm"),
            amount(feature.least_thickness, "µm"),
            minutes(feature.extra_time) if 0 < feature.extra_time < 1e7 else "-" if feature.extra_time == 0 else "never",
        )
        for feature in plan.features
    )
    heads = ("feature", "area", "share", "mean", "thinnest", "extra time")
    notes = [
        "share: current density over the mean of the part, as first hung. thinnest: lowest mean over about 1 cm² "
        "(ISO 2064 speaks of a local thickness over a reference area). extra time: beyond the plan, until the "
        "thinnest place there meets the target."
    ]
    if any(not feature.significant for feature in plan.features):
        notes.append(
            "* not counted as significant surface: a 20 mm ball cannot touch it (the usual rule of the coating "
            "standards, from memory); change that with [target] significant."
        )
    return Section("Feature by feature", tuple(notes), (), Table(heads, lines))


def _thickness(plan: Plan) -> Section:
    names = ("min", "p1", "p10", "p50", "p90", "p99", "max")
    rows = [Row("mean", thickness(plan.thickness["mean"]))]
    table = Table(
        ("", *names),
        (
            ("thickness, µm", *(f"{1e6 * plan.thickness[n]:.3g}" for n in names)),
            ("current density / mean", "", *(f"{plan.ratio[n]:.3g}" for n in names[1:-1]), ""),
        ),
    )
    if plan.front_to_back is not None:
        rows.append(Row("toward the anode / away from it, as first hung", f"{plan.front_to_back:.2g}"))
    if plan.edge_to_face is not None:
        rows.append(Row("edges / broad faces, as first hung", f"{plan.edge_to_face:.2g}"))
    if plan.hottest_strip is not None:
        strip = plan.hottest_strip
        rows.append(Row(
            f"hottest edge, mean over a strip {amount(strip.width, 'mm')} wide", current_density(strip.current_density)
        ))
    note = (
        "By share of the wetted area: p10 = a tenth of the area has less. min and max are means over the thinnest "
        "and thickest 1 % of the area; right at a sharp edge the calculated value has no limit and says nothing."
    )
    return Section("Thickness over the part, after the whole schedule", (note,), tuple(rows), table)


def _limits(plan: Plan) -> Section:
    lines = tuple(
        (limit.name + ("  <- binds" if limit.binds else ""), amount(limit.value, "A"), limit.basis)
        for limit in plan.limits
    )
    note = "You gave the current or voltage; the limits are for comparison." if plan.current_is_given else (
        "The recommended current is the least of these."
    )
    return Section("Limits on the current", (note,), (), Table(("limit", "allows", "because"), lines))


def _amounts(plan: Plan) -> Section:
    deposit, bath, first = plan.deposit, plan.cell.bath, plan.fields[0]
    low, high = bath.efficiency_range.low, bath.efficiency_range.high
    band = f"{minutes(plan.time * bath.efficiency / high)} to {minutes(plan.time * bath.efficiency / low)}"
    rows = [
        Row("wetted area", area(plan.wetted_area)),
        Row("mean current density", current_density(first.mean_current_density)),
        Row("time for the whole schedule", minutes(plan.time)),
        Row(f"  if the efficiency is {100 * high:.0f} or {100 * low:.0f} %", band),
        Row("time without turning", minutes(plan.schedule.one_pose)),
        Row("time until the mean alone meets the target", minutes(plan.time_to_mean)),
        Row("charge", amount(deposit.charge, "Ah")),
        Row("metal deposited", amount(deposit.mass, "g")),
        Row("anode metal dissolved (at 100 % anode efficiency)", amount(deposit.anode_mass, "g")),
        Row("voltage, as first hung", _voltage_band(plan)),
    ]
    return Section("Amounts", (), tuple(rows))


def _voltage_band(plan: Plan) -> str:
    """Return the voltage with what the range of the conductivity makes of its ohmic share."""
    field, bath = plan.fields[0], plan.cell.bath
    count = field.panels.part_count
    drop = float((field.potential[:count] + field.voltage) @ (field.current_density * field.areas) / field.current)
    ohmic = field.voltage - drop
    low = drop + ohmic * bath.conductivity / bath.conductivity_range.high
    high = drop + ohmic * bath.conductivity / bath.conductivity_range.low
    text = f"{voltage(field.voltage)}, of it {voltage(ohmic)} in the liquid and at the anode"
    if high - low > 0.02 * field.voltage:
        text += f"; {voltage(low)} to {voltage(high)} over the range of the conductivity"
    return text


def _set_up(plan: Plan) -> Section:
    cell, origins = plan.cell, plan.job.origins
    low, high = cell.part.surface.bounds
    rows = [
        Row("part", cell.part.title),
        Row("  size", " x ".join(length(v) for v in high - low)),
        Row("tank", tank_words(cell.tank), _from(origins, "tank")),
    ]
    for k, anode in enumerate(cell.anodes):
        rows.append(Row(f"anode {k + 1}", anode_words(anode), _from(origins, f"anode[{k}]", "anode")))
    rows.append(Row("pose: centre of the part at", point(cell.pose.at), _from(origins, "pose")))
    rows.append(Row("pose: turned about x, then y, then z", turn(cell.pose.turn), _from(origins, "pose")))
    note = "Tank frame: origin on the floor at the centre of the tank, x and y level, z up."
    return Section("Set-up", (note,), tuple(rows))


def tank_words(tank: Tank) -> str:
    """Return a tank in words."""
    if isinstance(tank, BoxTank):
        sides = f"box {length(tank.length)} (x) x {length(tank.width)} (y)"
    else:
        sides = f"jar of {length(tank.diameter)} diameter"
    return f"{sides}, liquid {length(tank.depth)} deep, {amount(tank.volume, 'L')}"


def anode_words(anode: Anode) -> str:
    """Return an anode in words."""
    if isinstance(anode, SheetAnode):
        size = f"sheet {length(anode.length)} (x) x {length(anode.width)} (y) x {length(anode.height)} high"
    else:
        size = f"rod of {length(anode.diameter)} diameter, {length(anode.height)} high"
    return f"{size}, centre at {point(anode.at)}"


def _cautions(plan: Plan) -> tuple[str, ...]:
    return (
        *plan.cell.bath.cautions,
        "This plan is a calculation: try it on a scrap piece first.",
    )


def _from(origins: Any, *keys: str) -> str:
    for key in keys:
        if key in origins:
            return origin_words(origins[key])
    return ""


def origin_words(origin: Origin) -> str:
    """Return where a value came from, in words."""
    return {"job": origin.detail, "table": f"table {origin.detail}", "assumed": f"assumption, {origin.detail}"}[origin.kind]


def _origins(plan: Plan) -> Section:
    """List every number that went in, with value, unit and origin."""
    job, bath = plan.job, plan.cell.bath
    rows = [
        *_shape_rows(plan),
        *_bath_rows(plan),
        *(_anode_rows(plan)),
        Row("supply: most volts", "not stated" if job.supply.max_voltage is None else voltage(job.supply.max_voltage),
            _from(job.origins, "supply.max_voltage", "supply")),
        Row("supply: most amperes", "not stated" if job.supply.max_current is None else current(job.supply.max_current),
            _from(job.origins, "supply.max_current", "supply")),
        Row("target: least local thickness", thickness(job.target.thickness), _from(job.origins, "target.thickness")),
        Row("metal", f"{bath.metal.name}, {amount(bath.metal.density, 'g/cm3')}, "
            f"{amount(bath.metal.molar_mass, 'g/mol')}, {bath.metal.electrons} electrons", "table metals"),
    ]
    return Section("Where the numbers come from", (), tuple(rows))


def _shape_rows(plan: Plan) -> Iterable[Row]:
    shape, origins = plan.job.shape, plan.job.origins
    for field in fields(shape):
        value = getattr(shape, field.name)
        if isinstance(value, float):
            text = turn((value,)) if field.name in ("bend", "angle") else length(value)
            yield Row(f"part: {field.name.replace('_', ' ')}", text, _from(origins, f"part.{field.name}"))
    for k, hole in enumerate(getattr(shape, "holes", ())):
        slot = f", slot {length(hole.length)} long" if hole.length else ""
        where = f"{length(hole.diameter)} at {point(hole.at)}{slot}"
        yield Row(f"part: hole {k + 1}", where, _from(origins, f"part.holes[{k}].diameter", "part.holes"))


def _bath_rows(plan: Plan) -> Iterable[Row]:
    bath, origins = plan.cell.bath, plan.job.origins
    bright = bath.current_density
    yield Row("bath", bath.title, _from(origins, "bath.name", "bath"))
    yield Row("bath: temperature", amount(bath.temperature, "°C"), _from(origins, "bath.temperature"))
    yield Row("bath: conductivity", amount(bath.conductivity, "S/m"), _from(origins, "bath.conductivity"))
    yield Row("bath: cathode efficiency", amount(bath.efficiency, "%"), _from(origins, "bath.efficiency"))
    yield Row(
        "bath: bright range",
        f"{amount(bright.low, 'A/dm²')} to {amount(bright.high, 'A/dm²')}, usually {amount(bright.typical, 'A/dm²')}",
        _from(origins, "bath.current_density"),
    )
    yield Row("bath: polarization", law_words(bath.law), _from(origins, "bath.polarization"))


def _anode_rows(plan: Plan) -> Iterable[Row]:
    for k, anode in enumerate(plan.cell.anodes):
        yield Row(
            f"anode {k + 1}: polarization", law_words(anode.law),
            _from(plan.job.origins, f"anode[{k}].polarization", "anode"),
        )


UNITS = {
    "resistance": "ohm m2", "exchange": "A/m2", "limiting": "A/dm²", "cathodic_slope": "V", "anodic_slope": "V",
}


def law_words(law: Any) -> str:
    """Return an electrode law in words: its name and its numbers; slopes are per e-fold."""
    if law is None:
        return "none"
    if not is_dataclass(law):
        return str(law)
    inner = getattr(law, "law", None)
    numbers = [
        f"{field.name.replace('_', ' ')} {amount(getattr(law, field.name), UNITS[field.name])}"
        + (" per e-fold" if field.name.endswith("slope") else "")
        for field in fields(law)
        if field.name in UNITS
    ]
    name = type(law).__name__.replace("ButlerVolmer", "Butler-Volmer")
    return ", ".join([name if inner is None else f"{law_words(inner)}, limited", *numbers])


def _checks(plan: Plan) -> Section:
    rows = []
    for number, field in enumerate(plan.fields, start=1):
        rows.append(Row(
            f"pose {number}: current into the part, out of the anodes",
            f"{field.current:.5g} A, {field.anode_current:.5g} A (differ by {100 * field.imbalance:.2g} %)",
        ))
        rows.append(Row(f"pose {number}: panels", f"{len(field.panels.body)}, {field.panels.part_count} on the part"))
    return Section("Checks of the calculation", (), tuple(rows))
