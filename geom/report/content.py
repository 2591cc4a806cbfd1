"""`Plan` to a plain tree of sections: every renderer shows this, in this order."""

from geom.advice.copies import over_copies, thickness_ratio
from geom.advice.supply import electrode_parts
from geom.doubt.bands import EDGES_TO_FACES, METAL, SIDE_TO_SIDE, TIME, VOLTAGE
from geom.findings import Severity
from geom.plan import Plan
from geom.report import sure
from geom.report.amounts import (
    amount,
    area,
    current,
    current_density,
    length,
    minutes,
    plus_minus,
    point,
    thickness,
    voltage,
)
from geom.report.answer import NEVER, band_of, hung
from geom.report.answer import answer as answer_of
from geom.report.bands import bands_section, between, feature_bands_section
from geom.report.bathuse import anode_section, bath_use_section
from geom.report.cautions import cautions_section, preparation_section
from geom.report.hanging import hanging_section
from geom.report.inputs import anode_words, input_section, rack_words, slab_words, tank_words, thief_words
from geom.report.limits import coverage_section, limits_section
from geom.report.options import options_section, recess_section
from geom.report.schedule import schedule_section
from geom.report.supply import supply_section
from geom.report.tree import Document, Row, Section, Table

__all__ = ["NEVER", "document"]


def document(plan: Plan) -> Document:
    """Return the report of a plan, the answer first."""
    sections = (
        Section("Before you plate", _grave(plan)),
        Section("What to expect", tuple(advice.text for advice in plan.advice)),
        _features(plan),
        _copies(plan),
        _thickness(plan),
        bands_section(plan.bands),
        feature_bands_section(plan.bands),
        recess_section(plan.recesses, plan.options is not None),
        options_section(plan.options),
        schedule_section(plan.schedule),
        limits_section(plan),
        coverage_section(plan.coverage),
        _amounts(plan),
        _electrodes(plan),
        *_surroundings(plan),
        hanging_section(plan.hanging),
        _set_up(plan),
        Section("Notes", tuple(_sentence(f.message) for f in plan.findings if f.severity == Severity.NOTE)),
        preparation_section(plan),
        cautions_section(plan),
        input_section(plan),
        _checks(plan),
        sure.numerical_error(plan),
    )
    return Document(plan.job.title, answer_of(plan), tuple(s for s in sections if s.sentences or s.rows or s.table))


def _grave(plan: Plan) -> tuple[str, ...]:
    words = {Severity.STOP: "DO NOT PLATE on this plan", Severity.WARNING: "Warning"}
    return tuple(f"{words[s]}: {f.message}." for s in words for f in plan.findings if f.severity == s)


def _sentence(message: str) -> str:
    return f"{message[:1].upper()}{message[1:].rstrip('.')}."


def _features(plan: Plan) -> Section:
    features = over_copies(plan.features)
    lines = tuple(
        (
            feature.name + ("" if feature.significant else " *") + (" !" if feature.under_air > 0 else ""),
            area(feature.area),
            f"{feature.current_density_ratio:.2f}",
            amount(feature.thickness, "µm"),
            amount(feature.thickness, "mil", 2).removesuffix(" mil"),
            amount(feature.least_thickness, "µm"),
            _extra(feature.extra_time),
            sure.of_feature(plan, feature),
        )
        for feature in features
    )
    lines += tuple((bare.name, area(bare.area), "-", "bare", "-", "-", "-", "-") for bare in plan.bare)
    heads = ("feature", "area", "share", "mean", "mil", "thinnest", "extra time", "±")
    notes = [
        "share: current density over the mean of the part, as first hung. thinnest: lowest mean over about 1 cm² "
        "(ISO 2064 speaks of a local thickness over a reference area). extra time: beyond the plan, until the "
        "thinnest place there meets the target. ±: numerical error of share and mean, and about that of thinnest; extra time "
        "may be off by that share of the whole time."
    ]
    if any(feature.significant and feature.extra_time > 0 for feature in features):
        notes.append(
            "A feature without mark may have places outside the significant surface; where it asks for extra time, its "
            "thinnest place is one of them."
        )
    if plan.copies:
        notes.append("Each feature is that of all parts on the rack together; thinnest is the thinnest of any part.")
    if plan.bare:
        notes.append(
            "Bare: in the liquid, but stopped off, plugged or under a contact. It carries no current and is in no other "
            "figure of this plan."
        )
    if any(feature.factor != 1 for feature in features):
        words = ", ".join(f"{f.name} {amount(f.factor, '')}" for f in features if f.factor != 1)
        notes.append(
            f"Areas are those drawn. The true area is larger, by thread or roughness, {words} times: thickness is on the "
            "true area, share on the drawn one."
        )
    held = "; ".join(f"{area(f.under_air)} of {f.name}" for f in features if f.under_air > 0)
    if held:
        notes.append(
            f"! as first hung, under trapped air, which stays bare: {held}. The solve takes it for wet: the figures of such a "
            "feature hold only where bath reaches."
        )
    if any(not feature.significant for feature in features):
        notes.append(f"* not counted as significant surface: {_left_out(plan)}.")
    return Section("Feature by feature", tuple(notes), (), Table(heads, lines))


def _copies(plan: Plan) -> Section:
    """Return what each part on the rack gets; nothing for a part that hangs alone."""
    ratio = thickness_ratio(plan.copies)
    if ratio is None:
        return Section("Part by part", ())
    lines = tuple(
        (
            copy.called,
            point(copy.at),
            amount(copy.current, "A"),
            f"{copy.current_density_ratio:.2f}",
            amount(copy.thickness, "µm"),
            amount(copy.least_thickness, "µm"),
            sure.of_copy(plan, copy),
        )
        for copy in plan.copies
    )
    note = (
        f"The part that gets most has {ratio:.2f} times the mean thickness of the one that gets least. Place, current and "
        "share (current density over the mean of the rack) are as first hung; ± is the numerical error of current, share and mean; parts are numbered along x, then y, then z."
    )
    heads = ("part", "centre at", "current", "share", "mean", "thinnest", "±")
    return Section("Part by part", (note,), (), Table(heads, lines, (1,)))


def _electrodes(plan: Plan) -> Section:
    """Return what each anode and thief carries, where there is more than one anode and the part."""
    cell, field = plan.cell, plan.fields[0]
    if len(cell.anodes) < 2 and not cell.thieves:
        return Section("Anodes and thieves", ())
    named = [(f"anode {k}", "out of it") for k in range(1, len(cell.anodes) + 1)]
    named += [(f"thief {k}", "into it") for k in range(1, len(cell.thieves) + 1)]
    amperes = (*field.anode_currents, *field.thief_currents)
    densities = (*field.anode_densities, *field.thief_densities)
    lines = tuple(
        (name, way, amount(ampere, "A"), current_density(density))
        for (name, way), ampere, density in zip(named, amperes, densities, strict=True)
    )
    notes = ["As first hung. Current density is the mean over what the liquid wets."]
    if cell.thieves:
        notes.append("Thieves are plated too and must come off with the part's own hooks.")
    return Section(
        "Anodes and thieves", tuple(notes), (), Table(("", "", "current", "mean current density"), lines, (1,))
    )


def _left_out(plan: Plan) -> str:
    """Return why a feature is not part of the significant surface."""
    if plan.job.target.significant:
        return "[target] significant does not name it"
    return (
        "a ball of 20 mm cannot touch it, or not most of it (the usual rule of the coating standards, from memory); "
        "change that with [target] significant"
    )


def _extra(time: float) -> str:
    if time <= 0:
        return "-"
    return minutes(time) if time < NEVER else "never"


def _thickness(plan: Plan) -> Section:
    names = ("min", "p1", "p10", "p50", "p90", "p99", "max")
    values = [plan.thickness[name] for name in names]
    table = Table(
        ("", *names),
        (
            ("thickness in µm", *(amount(1e6 * value, "") for value in values)),
            ("thickness in mil", *(amount(value, "mil", 2).removesuffix(" mil") for value in values)),
            ("current density / mean", "", *(amount(plan.ratio[n], "") for n in names[1:-1]), ""),
            ("± numerical error", "", *(sure.of_percentile(plan, n) for n in names[1:-1]), ""),
        ),
    )
    mean, least = thickness(plan.thickness["mean"]), thickness(plan.minimum_local_thickness)
    rows = [
        Row("mean", sure.at_volts(plan, mean)),
        Row("least local thickness on the significant surface", sure.of_time(plan, least)),
    ]
    sides, edges = sure.of_ratios(plan)
    if plan.front_to_back is not None:
        ratio = plus_minus(amount(plan.front_to_back, "", 2), sides)
        rows.append(Row("toward the anode / away from it, as first hung", f"{ratio}{_within(plan, SIDE_TO_SIDE)}"))
    if plan.edge_to_face is not None:
        ratio = plus_minus(amount(plan.edge_to_face, "", 2), edges)
        rows.append(Row("edges / broad faces, as first hung", f"{ratio}{_within(plan, EDGES_TO_FACES)}"))
    if plan.hottest_strip is not None:
        strip = plan.hottest_strip
        label = f"hottest edge, mean over a strip {amount(strip.width, 'mm', 2)} wide"
        rows.append(Row(label, sure.of_strip(plan, current_density(strip.current_density))))
    note = (
        "By share of the wetted area: p10 = a tenth of the area has less. min and max are means over the thinnest "
        "and thickest 1 % of the area; right at a sharp edge the calculated value has no limit and says nothing."
    )
    return Section("Thickness over the part, after the whole schedule", (note,), tuple(rows), table)


def _amounts(plan: Plan) -> Section:
    deposit, bath, first = plan.deposit, plan.cell.bath, plan.fields[0]
    low, high = bath.efficiency_range.low, bath.efficiency_range.high
    rows = [
        Row("wetted area", _both_areas(plan.wetted_area)),
        *_more_areas(plan),
        Row("mean current density", sure.at_volts(plan, current_density(first.mean_current_density))),
        Row("time for the whole schedule", f"{sure.of_time(plan, minutes(plan.time))}{_within(plan, TIME)}"),
    ]
    if low < high:
        shortest, longest = (amount(plan.time * bath.efficiency / share, "min") for share in (high, low))
        label = f"  at an efficiency of {amount(high, '%')} to {amount(low, '%')}"
        rows.append(Row(label, f"{shortest} to {longest}"))
    rows += [
        Row("time without turning", sure.of_time(plan, minutes(plan.schedule.one_pose))),
        Row("time until the mean alone meets the target", sure.at_volts(plan, minutes(plan.time_to_mean))),
        Row("charge", sure.at_volts(plan, amount(deposit.charge, "Ah"))),
        Row(
            "metal deposited" + (f" on the {hung(plan)}" if plan.cell.thieves else ""),
            f"{sure.at_volts(plan, amount(deposit.mass, 'g'))}{_within(plan, METAL)}",
        ),
        *([Row("metal deposited on the thieves", amount(deposit.thief_mass, "g"))] if plan.cell.thieves else []),
        Row("anode metal dissolved (at 100 % anode efficiency)", sure.at_volts(plan, amount(deposit.anode_mass, "g"))),
        Row("voltage, as first hung", _voltage_band(plan)),
    ]
    return Section("Amounts", (), tuple(rows))


def _surroundings(plan: Plan) -> tuple[Section, ...]:
    """Return the sections about supply, bath and anodes."""
    found = plan.surroundings
    if found is None:
        return ()
    return (
        supply_section(found.supplying),
        anode_section(found.anode_uses, found.placing),
        bath_use_section(found.bath_use),
    )


def _both_areas(value: float) -> str:
    return f"{area(value)} ({amount(value, 'in²')})"


def _more_areas(plan: Plan) -> list[Row]:
    """Return the rows for areas beside the wetted one: with threads and roughness, and what stays bare."""
    rows = []
    if plan.true_area != plan.wetted_area:
        rows.append(Row("  with threads and roughness", _both_areas(plan.true_area)))
    under_air = sum(feature.under_air for feature in plan.features)
    if under_air > 0:
        rows.append(Row("  of it under trapped air, which stays bare", _both_areas(under_air)))
    if plan.bare:
        rows.append(Row("  in the liquid and bare beside it", _both_areas(sum(bare.area for bare in plan.bare))))
    return rows


def _voltage_band(plan: Plan) -> str:
    """Return the voltage with its band, and what of it the liquid takes."""
    field = plan.fields[0]
    ohmic = field.voltage - sum(electrode_parts(field))
    return (
        f"{sure.of_voltage(plan, voltage(field.voltage))}, of it {voltage(ohmic)} in the liquid{_within(plan, VOLTAGE)}"
    )


def _within(plan: Plan, name: str) -> str:
    """Return the band of a figure behind it."""
    band = band_of(plan, name)
    return "" if band is None or not band.low < band.high else f"; {between(name, band)} in {_cases(plan)}"


def _cases(plan: Plan) -> str:
    return f"{100 * (0.0 if plan.bands is None else plan.bands.level):.0f} of 100 cases"


def _set_up(plan: Plan) -> Section:
    cell, supply = plan.cell, plan.job.supply
    low, high = cell.part.surface.bounds
    sides = " x ".join(length(v) for v in high - low)
    inches = " x ".join(amount(v, "in") for v in high - low)
    rows = [
        Row("part", cell.part.title),
        Row("  size" if cell.part.copies == 1 else "  size of the whole rack", f"{sides} ({inches})"),
        Row("tank", tank_words(cell.tank)),
    ]
    if plan.job.rack is not None:
        rows.append(Row("rack", rack_words(plan.job.rack)))
    rows += [Row(f"anode {k}", anode_words(anode)) for k, anode in enumerate(cell.anodes, start=1)]
    rows += [Row(f"shield {k}", slab_words(shield)) for k, shield in enumerate(cell.shields, start=1)]
    rows += [Row(f"thief {k}", thief_words(thief)) for k, thief in enumerate(cell.thieves, start=1)]
    gives = [voltage(supply.max_voltage)] if supply.max_voltage is not None else []
    gives += [current(supply.max_current)] if supply.max_current is not None else []
    rows.append(Row("supply", f"at most {' and '.join(gives)}" if gives else "not stated, so no limit is weighed"))
    note = "Tank frame: origin on the floor at the centre of the tank, x and y level, z up. tank.png shows it."
    return Section("Set-up", (note,), tuple(rows))


def _checks(plan: Plan) -> Section:
    rows = []
    for number, field in enumerate(plan.fields, start=1):
        both = f"{amount(field.total_current, 'A', 5)}, {amount(field.anode_current, 'A', 5)}"
        apart = f"differ by {amount(abs(field.imbalance), '%', 2)}"
        where = "part and thieves" if field.thief_currents else "the part"
        rows.append(Row(f"pose {number}: current into {where}, out of the anodes", f"{both} ({apart})"))
        panels = f"{len(field.panels.body)}, {field.panels.part_count} of them on the part"
        rows.append(Row(f"pose {number}: panels", panels))
    return Section("Checks of the calculation", (), tuple(rows))
