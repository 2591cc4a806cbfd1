"""What stands on the card for the bench, in few words: all text, no drawing."""

import math
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from geom.advice.copies import over_copies
from geom.doubt.bands import AMPERES, AVERAGE, METAL, THICKEST, THINNEST, TIME, VOLTAGE
from geom.errors import GeomError
from geom.findings import Severity
from geom.plan import HUNG_AS, Plan
from geom.report import told
from geom.report.amounts import amount, current, thickness, voltage
from geom.report.answer import NEVER, band_of, hung
from geom.report.cautions import CALCULATION, set_up_of
from geom.report.tree import printable
from geom.tables.cautions import LAST, cautions_for, short_source
from geom.tables.read import bath_table
from geom.tables.substrates import bake

SHORT = 44
"""Letters that are kept of a name or a material of the user's."""

MOST_STEPS = 8
"""Stages that are shown one by one."""


@dataclass(frozen=True, slots=True)
class Big:
    """One figure in large type."""

    label: str
    value: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """One stage: what to do first ("" where nothing), how long, how the part hangs then."""

    turn: str
    minutes: str
    how: str


@dataclass(frozen=True, slots=True)
class Checks:
    """A column of things to see to."""

    title: str
    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """All the words of a card, in the order they are read."""

    title: str
    about: tuple[str, ...]
    stops: tuple[str, ...]
    warnings: tuple[str, ...]
    figures: tuple[Big, Big, Big]  # to set, to expect, how long
    steps: tuple[Step, ...]
    checks: tuple[Checks, Checks, Checks]  # before, during, after
    blanks: tuple[tuple[str, str], ...]  # label and unit
    cautions: tuple[str, ...]  # the gravest first
    last: str  # who decides in the end
    log: str  # how the blanks are kept


def card_words(plan: Plan) -> Card:
    """Return what the card of a plan says."""
    cautions = cautions_for(set_up_of(plan))
    return Card(
        title=_line(plan.job.title),
        about=_about(plan),
        stops=_stops(plan),
        warnings=tuple(_sentence(f.message) for f in plan.findings if f.severity == Severity.WARNING),
        figures=(_to_set(plan), _to_expect(plan), _how_long(plan)),
        steps=tuple(_steps(plan)),
        checks=(
            Checks("BEFORE", tuple(_before(plan))),
            Checks("DURING", tuple(_during(plan))),
            Checks("AFTER", tuple(_after(plan))),
        ),
        blanks=_blanks(plan),
        cautions=tuple(f"{c.text} [{short_source(c.source)}]" for c in cautions if c.key != LAST),
        last=" ".join((CALCULATION, *(c.text for c in cautions if c.key == LAST))),
        log="Keep it: geom log JOB --current A --volts V --time MIN --before G --after G --balance G --look WORDS",
    )


def _stops(plan: Plan) -> tuple[str, ...]:
    return tuple(_sentence(f.message) for f in plan.findings if f.severity == Severity.STOP)


def lengths(value: float) -> str:
    """Return a length in mm and in inches."""
    return f"{amount(value, 'mm')} ({amount(value, 'in', 2)})"


def is_timed(plan: Plan) -> bool:
    """Was a time found?"""
    return bool(plan.deposit.stages) and plan.time < NEVER


def clipped(text: str, most: int = SHORT) -> str:
    """Return text of the user's on one line, with no more letters than ``most``."""
    line = _line(text)
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"


def _line(text: str) -> str:
    return " ".join(printable(text.replace("\n", " ")).split())


def _sentence(message: str) -> str:
    text = _line(message).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def _about(plan: Plan) -> tuple[str, ...]:
    target = thickness(plan.job.target.thickness)
    wetted = f"{amount(plan.wetted_area, 'dm²')} ({amount(plan.wetted_area, 'in²')}) wetted"
    return (
        f"{clipped(plan.cell.part.title, 70)}; {wetted}",
        f"{clipped(plan.cell.bath.title, 60)}; at least {target} on the significant surface",
    )


def _to_set(plan: Plan) -> Big:
    first, volts = plan.fields[0], plan.job.target.voltage
    density = first.mean_current_density
    notes = [f"{amount(density, 'A/dm²', 2)} ({amount(density, 'A/ft²', 2)}) on average"]
    if first.thief_currents:
        thieves = current(sum(first.thief_currents))
        notes.append(f"{hung(plan)} {current(first.current)}, thieves {thieves}")
    if volts is not None:
        return Big("SET  your voltage", voltage(volts), tuple(notes))
    whose = "your current" if plan.current_is_given else "current"
    return Big(f"SET  {whose}", current(plan.current), tuple(notes))


def _to_expect(plan: Plan) -> Big:
    if plan.job.target.voltage is not None:
        unit, band = _amperes(plan), band_of(plan, AMPERES)
        within = "range not known" if band is None else f"{told.ends(band, unit)} is in order"
        return Big("EXPECT  current", told.number(plan.current, unit, band), (within,))
    band = band_of(plan, VOLTAGE)
    notes = ["range not known" if band is None else f"{told.ends(band, 'V')} is in order"]
    value = voltage(plan.voltage) if band is None else told.number(plan.voltage, "V", band)
    needed = None if plan.surroundings is None else plan.surroundings.supplying.needed
    if needed is not None and voltage(needed) != voltage(plan.voltage):
        notes.append(f"with hooks and leads {voltage(needed)}")
    return Big("EXPECT  voltage", value, tuple(notes))


def _amperes(plan: Plan) -> str:
    return "A" if plan.current >= 0.1 else "mA"


def _how_long(plan: Plan) -> Big:
    if not is_timed(plan):
        return Big("TIME", "none found", ("some place gets next to no current",))
    band, stages = band_of(plan, TIME), plan.deposit.stages
    notes = [f"in one go, {clipped(stages[0].name)}" if len(stages) == 1 else f"in {len(stages)} stages{_where(plan)}"]
    if band is not None:
        notes.insert(0, f"may take {told.time_ends(band)}")
    return Big("TIME  with current on", told.time(plan.time, band), tuple(notes))


def _where(plan: Plan) -> str:
    """Return where the stages are: they are not drawn where nothing is to be plated."""
    return "" if _stops(plan) else ", see below"


def _steps(plan: Plan) -> Iterator[Step]:
    if not is_timed(plan):
        return
    stages = plan.deposit.stages
    times = told.stages(tuple(stage.time for stage in stages), band_of(plan, TIME))
    for number, (stage, time) in enumerate(zip(stages, times, strict=True)):
        asked = stage.name.startswith(HUNG_AS)
        name = clipped(stage.name.removeprefix(HUNG_AS)) if asked else stage.name
        turn = ""
        if number:
            turn = f"hang as {name}" if asked else "turn half round about the vertical"
        yield Step(turn, time, name)


def _before(plan: Plan) -> Iterator[str]:
    bath, bench = plan.cell.bath, plan.job.bench
    steps = "" if bench.substrate is None else f" ({clipped(bench.substrate.metal, 20)}: steps in plan.html)"
    yield f"Clean{steps}, rinse. Water-break test: it must run off as one film; where that breaks, clean again."
    yield "Dry, weigh, note it below."
    if plan.job.masks:
        yield "Stop-off, plugs and contacts on as the job has them."
    at, known = bath.temperature, bath.temperature_range
    yield (
        f"Bath {amount(at, '°C')} ({amount(at, '°F')}); good {_span(known.low, known.high, '°C')} "
        f"({_span(known.low, known.high, '°F')}){_acidity(plan)}."
    )
    if bench.stirred is not None:
        yield "Bath moving at the part." if bench.stirred else "Bath at rest: the plan has it unstirred."
    yield f"Anode on plus: {_anode(plan)}; clean, its contact bright."
    hook = bench.hook
    wire = "" if hook is None else f" ({hook.count} x {clipped(hook.metal, 20)}, {lengths(hook.diameter)})"
    yield f"{hung(plan).capitalize()} on minus: hook{wire} bright and tight, hung as drawn."
    brick = None if plan.surroundings is None else plan.surroundings.supplying.brick
    if brick is not None and brick.bought is not None and brick.rating is not None:
        yield f"Supply of {voltage(brick.voltage)}: {amount(brick.bought, 'ohm', 2)}, {amount(brick.rating, 'W', 2)} or more, in series."


def _span(low: float, high: float, unit: str) -> str:
    return f"{amount(low, unit).removesuffix(unit).rstrip()} to {amount(high, unit)}"


def _acidity(plan: Plan) -> str:
    """Return the range of the pH, where the tables have one for this bath or the one it is like."""
    for name in (plan.cell.bath.name, plan.cell.bath.kin):
        with suppress(GeomError):  # a bath of the user's own is not in the tables by now
            entry = next((e for e in bath_table(name).entries if e.key == "pH"), None)
            if entry is not None and entry.low is not None and entry.high is not None:
                return f"; pH {amount(entry.low, '')} to {amount(entry.high, '')}"
    return ""


def _anode(plan: Plan) -> str:
    stated = list(dict.fromkeys(m for m in plan.job.bench.anode_materials if m))
    if stated:
        return " and ".join(clipped(material, 30) for material in stated[:2])
    usual = plan.cell.bath.anode_materials
    return clipped(usual[0], 40) if usual else plan.cell.bath.metal.name.lower()


def _during(plan: Plan) -> Iterator[str]:
    if plan.job.target.voltage is not None:
        amps = band_of(plan, AMPERES)
        within = f"near {current(plan.current)}" if amps is None else told.ends(amps, _amperes(plan))
        yield f"Hold {voltage(plan.job.target.voltage)}; amps {within}."
        yield "Amps low: loose hook, cold or weak bath, anode dull and gassing or used up."
        yield "Amps high: bath warmer or stronger, part nearer the anode. A leap: something touches."
    else:
        volts = band_of(plan, VOLTAGE)
        within = f"near {voltage(plan.voltage)}" if volts is None else told.ends(volts, "V")
        yield f"Hold {current(plan.current)}; volts {within}."
        yield "Volts high: loose hook, cold or weak bath, anode dull and gassing or used up."
        yield "Volts low: bath warmer or stronger, part nearer the anode. Near 0: something touches."
    yield "Gas: a few bubbles are in order. Much gas or dark, rough edges: lower the current, plate longer. Air moving, no flame."
    yield f"Hook and clips hand-warm at most{_rise(plan)}."
    if len(plan.deposit.stages) > 1 and is_timed(plan):
        turns = "Turn" if len(plan.deposit.stages) == 2 else "Turn or hang anew"
        yield f"{turns} with the current on, hook tight: on a coat that has rested the next may not hold."
    yield from _anode_left(plan)


def _rise(plan: Plan) -> str:
    if plan.surroundings is None:
        return ""
    rise = plan.surroundings.bath_use.warming.rise
    if not (math.isfinite(rise.high) and rise.high >= 0.5):
        return ""
    return f"; bath may gain {amount(rise.typical, '', 2)} K (up to {amount(rise.high, '', 2)})"


def _anode_left(plan: Plan) -> Iterator[str]:
    uses = [] if plan.surroundings is None else [u for u in plan.surroundings.anode_uses if u.dissolves]
    if not uses or not is_timed(plan):
        return
    worst = max(uses, key=lambda use: use.worst)
    eaten = math.fsum(use.eaten for use in uses)
    runs = math.floor(0.5 / worst.worst) if worst.worst > 0 else 0
    last = "" if not 1 <= runs < 1000 else f", new after about {runs} run{'s' if runs > 1 else ''}"
    yield f"Anode left: {amount(eaten, 'g', 2)} go in this run{last}; change it when half gone."


def _after(plan: Plan) -> Iterator[str]:
    deposit, copies = plan.deposit, plan.cell.part.copies
    yield "Current off, out, rinse twice, dry."
    if not is_timed(plan) or not deposit.mass > 0:
        yield "Weigh."
    else:
        band = band_of(plan, METAL)
        each = "" if copies == 1 else f" ({amount(deposit.mass / copies, 'g')} each)"
        good = "" if band is None else f", good {told.ends(band, 'g')}"
        yield f"Weigh: gain {told.number(deposit.mass, 'g', band)}{each}{good}."
        step = 10.0 ** math.floor(math.log10(deposit.mass / 3))
        yield f"Each {amount(step, 'g')} is {thickness(plan.thickness['mean'] * step / deposit.mass)} on average."
    hot = None if plan.job.bench.substrate is None else bake(plan.job.bench.substrate)
    if hot is not None:
        low, high = hot.temperature.low, hot.temperature.high
        yield f"Bake within {hot.start_hours:.0f} h: {_span(low, high, '°C')} ({_span(low, high, '°F')}), {hot.hours:.0f} h."
    yield "Look: even, no bare, dull or burnt place."
    yield "Tape, where it does not matter: press on, pull off; nothing may come off."
    if is_timed(plan):
        least, mean = (
            _thick(plan, plan.minimum_local_thickness, THINNEST),
            _thick(plan, plan.thickness["mean"], AVERAGE),
        )
        most = _thick(plan, plan.thickness["max"], THICKEST)
        yield f"Thickness: {least} at {_thinnest(plan)}; {mean} on average; edges {most}."


def _thick(plan: Plan, value: float, name: str) -> str:
    return f"{told.number(value, 'µm', band_of(plan, name))} ({amount(value, 'mil', 2)})"


def _thinnest(plan: Plan) -> str:
    features = [f for f in over_copies(plan.features) if f.significant] or list(over_copies(plan.features))
    name = min(features, key=lambda feature: feature.least_thickness).name
    return clipped(name if len(name) <= 36 else re.sub(r" \([^()]*\)", "", name), 36)  # its sizes are in the plan


def _blanks(plan: Plan) -> tuple[tuple[str, str], ...]:
    turns = max(len(plan.deposit.stages) - 1, 0) if is_timed(plan) else 0
    turned = [("turned", "")] if turns else []
    return (
        ("date", ""),
        ("name", ""),
        ("start", ""),
        *turned,
        ("end", ""),
        ("current", "A"),
        ("volts", "V"),
        ("time", "min"),
        ("weight before", "g"),
        ("weight after", "g"),
        ("balance step", "g"),
        ("look", ""),
    )
