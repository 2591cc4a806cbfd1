"""Where the numbers come from: every input of a plan with its value, unit and origin."""

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from geom.cell.cell import Anode, BoxTank, Immersed, InnerWire, RodAnode, SheetAnode, Slab, Tank, Thief, Wire, WireAnode
from geom.chemistry import Range
from geom.part.masks import Contact, Plug
from geom.part.rack import Rack
from geom.part.shapes import BendLine, Drawing, Hole, MeshFile, Outline
from geom.plan import Plan
from geom.provenance import Origin
from geom.report.amounts import amount, current, length, point, thickness, turn, voltage
from geom.report.masks import mask_words, thread_words
from geom.report.tree import Row, Section

Origins = Mapping[str, Origin]

LAW_UNITS = {
    "resistance": "ohm m2",
    "exchange": "A/m2",
    "limiting": "A/dm²",
    "cathodic_slope": "V",
    "anodic_slope": "V",
}
"""Unit of each number of an electrode law."""

PREFIXES = {"job": "from", "command": "from the command line,", "table": "from the table of", "assumed": "ASSUMED:"}

NOT_GIVEN = "ASSUMED: not given in the job"

USUAL = "the usual: not given in the job"
"""Origin of what is asked of the solve alone: no assumption about part, bath or tank."""

FILLED = "ASSUMED: not given, chosen from the size of the part"
"""Origin of a tank, an anode or a pose that the program filled in."""


def input_section(plan: Plan) -> Section:
    """Return every number that went in, the assumed ones marked."""
    rows = (
        *_part_rows(plan),
        *_mask_rows(plan),
        *_thread_rows(plan),
        *_bath_rows(plan),
        *_tank_rows(plan),
        *_rack_rows(plan),
        *_anode_rows(plan),
        *_body_rows(plan),
        *_supply_rows(plan),
        *_target_rows(plan),
        *_solve_rows(plan),
    )
    assumed = sum(row.origin.startswith("ASSUMED") for row in rows)
    note = f"{assumed} of these {len(rows)} were not given and are assumed." if assumed else "None of these is assumed."
    return Section("Where the numbers come from", (note,), rows)


def origin_words(origin: Origin) -> str:
    """Return where a value came from, in words."""
    return f"{PREFIXES[origin.kind]} {origin.detail}"


def origin_of(origins: Origins, *keys: str) -> str:
    """Return in words where the first of the keys that is known came from."""
    return next((origin_words(origins[key]) for key in keys if key in origins), NOT_GIVEN)


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
    elif isinstance(anode, RodAnode):
        size = f"rod of {length(anode.diameter)} diameter, {length(anode.height)} high"
    else:
        inner = f", along {anode.inner.through}" if anode.inner else ""
        return f"{wire_words(anode)}{inner}"
    return f"{size}, centre at {point(anode.at)}"


def wire_words(wire: Wire | WireAnode) -> str:
    """Return a wire in words."""
    return f"wire of {length(wire.diameter)} diameter, from {point(wire.start)} to {point(wire.end)}"


def slab_words(slab: Slab) -> str:
    """Return a shield, or a thief that is a strip, in words."""
    size = f"{length(slab.length)} (x) x {length(slab.width)} (y) x {length(slab.height)} (z)"
    turned = f", turned {turn(slab.turn)} about x, y, z" if any(slab.turn) else ""
    return f"plate {size}, centre at {point(slab.at)}{turned}"


def thief_words(thief: Thief) -> str:
    """Return a thief in words."""
    return wire_words(thief) if isinstance(thief, Wire) else slab_words(thief).replace("plate", "strip", 1)


def rack_words(rack: Rack) -> str:
    """Return a rack in words."""
    along = [
        f"{copies} along {axis}, {length(abs(pitch))} from centre to centre"
        for axis, copies, pitch in zip("xyz", rack.copies, rack.pitch, strict=True)
        if copies > 1
    ]
    copies = [] if rack.count == 1 else [f"{rack.count} parts: {'; '.join(along)}"]
    others = [
        f"{'beside the one part ' if rack.count == 1 and k == 0 else ''}{other.name} at {point(other.at)} from the middle of "
        f"{'it' if rack.count == 1 else 'these'}" + (f", turned {turn(other.turn)} about x, y, z" if any(other.turn) else "")
        for k, other in enumerate(rack.others)
    ]
    return "; ".join([*copies, *others])


def law_words(law: Any) -> str:
    """Return an electrode law in words: its name and its numbers; slopes are per e-fold."""
    if law is None:
        return "none (0 V at any current)"
    inner = getattr(law, "law", None)
    name = type(law).__name__.replace("ButlerVolmer", "Butler-Volmer") if inner is None else law_words(inner)
    numbers = [
        f"{field.name.replace('_', ' ')} {amount(getattr(law, field.name), LAW_UNITS[field.name])}"
        + (" per e-fold" if field.name.endswith("slope") else "")
        for field in (fields(law) if is_dataclass(law) else ())
        if field.name in LAW_UNITS
    ]
    return ", ".join([name, *numbers])


def _part_rows(plan: Plan) -> Iterator[Row]:
    shape, origins = plan.job.shape, plan.job.origins
    if isinstance(shape, MeshFile):
        yield Row("part: mesh", shape.path.name, origin_of(origins, "part.mesh"))
        unit = "stated by the file" if shape.unit is None else length(shape.unit)
        yield Row("part: one unit of the mesh", unit, origin_of(origins, "part.unit"))
        return
    if isinstance(shape, Drawing):
        yield from _drawing_rows(shape, origins)
        return
    yield Row("part: shape", plan.cell.part.title, origin_of(origins, "part.shape"))
    for field in fields(shape):
        value = getattr(shape, field.name)
        if isinstance(value, float):
            text = turn((value,)) if field.name == "bend" else length(value)
            yield Row(f"part: {field.name.replace('_', ' ')}", text, origin_of(origins, f"part.{field.name}"))
    if isinstance(shape, Outline):
        yield Row("part: outline", f"{len(shape.points)} corners in mm", origin_of(origins, "part.points"))
        for k, cutout in enumerate(shape.cutouts):
            origin = origin_of(origins, f"part.cutouts[{k}]", "part.cutouts")
            yield Row(f"part: cutout {k + 1}", f"{len(cutout)} corners in mm", origin)
    for k, hole in enumerate(getattr(shape, "holes", ())):
        yield Row(
            f"part: hole {k + 1}", _hole_words(hole), origin_of(origins, f"part.holes[{k}].diameter", "part.holes")
        )


def _mask_rows(plan: Plan) -> Iterator[Row]:
    """Yield a row for each mask; a plug that no [[plug]] asks for comes from the ends of a tube."""
    origins = plan.job.origins
    plugs = [mask for mask in plan.job.masks if isinstance(mask, Plug)]
    by_ends = len(plugs) - sum(key.startswith("plug[") and key.endswith("]") for key in origins)
    numbers: dict[str, int] = {}
    for mask in plan.job.masks:
        section = "plug" if isinstance(mask, Plug) else "contact" if isinstance(mask, Contact) else "stop_off"
        if section == "plug" and by_ends > 0:
            by_ends = 0
            yield Row("part: ends", "plugged", origin_of(origins, "part.ends"))
            continue
        number = numbers[section] = numbers.get(section, 0) + 1
        origin = origin_of(origins, f"{section}[{number - 1}]", section)
        yield Row(f"{section.replace('_', '-')} {number}", mask_words(mask), origin)


def _thread_rows(plan: Plan) -> Iterator[Row]:
    origins, roughness = plan.job.origins, plan.job.roughness
    for k, thread in enumerate(plan.job.threads):
        yield Row(f"thread {k + 1}", thread_words(thread), origin_of(origins, f"thread[{k}]", "thread"))
    if roughness != 1:
        yield Row("part: roughness factor", amount(roughness, ""), origin_of(origins, "part.roughness_factor"))


def _drawing_rows(shape: Drawing, origins: Origins) -> Iterator[Row]:
    yield Row("part: drawing", shape.path.name, origin_of(origins, "part.drawing"))
    stated = shape.unit is not None
    unit = length(shape.unit) if shape.unit is not None else "stated by the file"
    yield Row("part: one unit of the drawing", unit, origin_of(origins, "part.unit") if stated else "from the drawing")
    yield Row("part: thickness", length(shape.thickness), origin_of(origins, "part.thickness"))
    for k, bend in enumerate(shape.bends):
        yield Row(f"part: bend {k + 1}", _bend_words(bend), origin_of(origins, f"part.bends[{k}].angle", "part.bends"))


def _bend_words(bend: BendLine) -> str:
    line = f"from {point(bend.start)} to {point(bend.end)}"
    inside = f"inside radius {length(bend.inside_radius)}, k factor {bend.k_factor:g}"
    return f"{turn((bend.angle,))} about the line {line}, {inside}"


def _hole_words(hole: Hole) -> str:
    if not hole.length:
        return f"{length(hole.diameter)} at {point(hole.at)}"
    slot = f"slot {length(hole.diameter)} wide, {length(hole.length)} long"
    return f"{slot}, at {point(hole.at)}, {turn((hole.angle,))} from x"


def _bath_rows(plan: Plan) -> Iterator[Row]:
    bath, origins, metal = plan.cell.bath, plan.job.origins, plan.cell.bath.metal

    def row(name: str, value: str, key: str, trusted: str = "") -> Row:
        source = bath.sources.get(trusted or key)  # none for a value that the job states
        trust = "" if source is None else f" [{source.basis}, trust {source.trust}]"
        return Row(f"bath: {name}", value, origin_of(origins, f"bath.{key}") + trust)

    yield Row("bath", bath.title, origin_of(origins, "bath.name"))
    yield row("temperature", f"{amount(bath.temperature, '°C')} ({amount(bath.temperature, '°F')})", "temperature")
    yield row("conductivity", _spread(bath.conductivity, bath.conductivity_range, "S/m"), "conductivity")
    yield row("cathode efficiency", _spread(bath.efficiency, bath.efficiency_range, "%"), "efficiency")
    if bath.efficiency_curve:
        points = [f"{amount(share, '%')} at {amount(density, 'A/dm²')}" for density, share in bath.efficiency_curve]
        words = f"{', '.join(points)}; straight between, flat beyond"
        yield row("efficiency against current density", words, "efficiency_curve")
    bright = bath.current_density
    yield row("bright range", f"{_span(bright, 'A/dm²')} ({_span(bright, 'A/ft²')})", "current_density")
    if bath.limiting_current_density is not None:
        how = "stirred" if plan.job.bench.stirred else "unstirred"
        yield row(f"limiting current, {how}", _span(bath.limiting_current_density, "A/dm²"), "limiting_current_density")
    yield row("polarization of the part", law_words(bath.law), "polarization", "law")
    yield Row(
        "metal",
        f"{metal.name}, {amount(metal.density, 'g/cm3')}, {amount(metal.molar_mass, 'g/mol')}, "
        f"{metal.electrons} electrons",
        "from the table of metals",
    )


def _spread(value: float, known: Range, unit: str) -> str:
    """Return a value with the range that it is known to."""
    text = amount(value, unit)
    return (
        text if known.low == known.high else f"{text}, known to {amount(known.low, unit)} to {amount(known.high, unit)}"
    )


def _span(known: Range, unit: str) -> str:
    return f"{amount(known.low, unit)} to {amount(known.high, unit)}, usually {amount(known.typical, unit)}"


def _tank_rows(plan: Plan) -> Iterator[Row]:
    cell, job = plan.cell, plan.job
    pose = FILLED if job.pose is None else ""
    deep = job.pose.depth if isinstance(job.pose, Immersed) else None
    yield Row("tank", tank_words(cell.tank), FILLED if job.tank is None else origin_of(job.origins, "tank"))
    yield Row("pose: centre of the part at", point(cell.pose.at), pose or origin_of(job.origins, "pose.at", "pose"))
    if deep is not None:
        yield Row("pose: lowest point under the liquid", length(deep), origin_of(job.origins, "pose.immersed"))
    turned = turn(cell.pose.turn)
    yield Row("pose: turned about x, y, z in turn", turned, pose or origin_of(job.origins, "pose.turn", "pose"))


def _anode_rows(plan: Plan) -> Iterator[Row]:
    origins = plan.job.origins
    given = plan.job.anodes is not None
    for k, (asked, anode) in enumerate(zip(_asked(plan), plan.cell.anodes, strict=True)):
        yield Row(f"anode {k + 1}", anode_words(anode), origin_of(origins, f"anode[{asked}]") if given else FILLED)
        law = origin_of(origins, f"anode[{asked}].polarization")
        yield Row(f"anode {k + 1}: polarization", law_words(anode.law), law)


def _asked(plan: Plan) -> Iterator[int]:
    """Yield for each anode of the cell its place in the job: a wire through the part stands in each copy on a rack."""
    for k, anode in enumerate(plan.job.anodes or plan.cell.anodes):
        repeated = plan.cell.part.copies if isinstance(anode, InnerWire) and ", part " not in anode.through else 1
        yield from [k] * repeated


def _rack_rows(plan: Plan) -> Iterator[Row]:
    if plan.job.rack is not None:
        yield Row("rack", rack_words(plan.job.rack), origin_of(plan.job.origins, "rack"))


def _body_rows(plan: Plan) -> Iterator[Row]:
    origins = plan.job.origins
    for k, shield in enumerate(plan.cell.shields):
        yield Row(f"shield {k + 1}", slab_words(shield), origin_of(origins, f"shield[{k}]"))
    for k, thief in enumerate(plan.cell.thieves):
        yield Row(f"thief {k + 1}", thief_words(thief), origin_of(origins, f"thief[{k}]"))


def _supply_rows(plan: Plan) -> Iterator[Row]:
    supply, origins = plan.job.supply, plan.job.origins
    volts = "any number of V" if supply.max_voltage is None else amount(supply.max_voltage, "V")
    amperes = "any number of A" if supply.max_current is None else amount(supply.max_current, "A")
    yield Row("supply: gives at most", volts, origin_of(origins, "supply.max_voltage", "supply"))
    yield Row("supply: carries at most", amperes, origin_of(origins, "supply.max_current", "supply"))


def _target_rows(plan: Plan) -> Iterator[Row]:
    target, origins = plan.job.target, plan.job.origins
    if target.specification is not None:
        yield Row("target: specification", target.specification, origin_of(origins, "target.specification"))
    yield Row("target: least local thickness", thickness(target.thickness), origin_of(origins, "target.thickness"))
    if target.current is not None:
        yield Row("target: current", current(target.current), origin_of(origins, "target.current"))
    if target.voltage is not None:
        yield Row("target: voltage", voltage(target.voltage), origin_of(origins, "target.voltage"))
    where = ", ".join(target.significant) if target.significant else "what a ball of 20 mm can touch"
    yield Row("target: significant surface", where, origin_of(origins, "target.significant"))


def _solve_rows(plan: Plan) -> Iterator[Row]:
    demand, origins = plan.job.demand, plan.job.origins

    def row(label: str, value: str, key: str) -> Row:
        origin = origins.get(f"solve.{key}")
        return Row(
            f"solve: {label}", value, USUAL if origin is None or origin.kind == "assumed" else origin_words(origin)
        )

    yield row("accuracy of every figure", f"within {amount(demand.accuracy, '%', 2)}", "accuracy")
    yield row("panels at most", f"{demand.panels} panels", "most_panels")
    yield row("no finer panels after", amount(demand.seconds, "s", 4), "most_time")
