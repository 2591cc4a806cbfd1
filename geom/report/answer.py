"""The answer of a plan in a few sentences: what to set, how long, what comes out, and how sure all that is."""

from dataclasses import replace

from geom.doubt.bands import (
    AMPERES,
    AVERAGE,
    CURRENT,
    THICKEST,
    THINNEST,
    TIME,
    VOLTAGE,
    Band,
)
from geom.plan import HUNG_AS, Plan
from geom.report import told
from geom.report.amounts import amount, current, minutes, voltage

NEVER = 1e7
"""A time longer than this, about four months, is none [s]."""


def answer(plan: Plan) -> tuple[str, ...]:
    """Return the sentences; what stands in brackets is where a figure lies in 90 of 100 cases."""
    return (_setting(plan), _timing(plan), _coming_out(plan), *_how_sure(plan))


def hung(plan: Plan) -> str:
    """Return the word for what hangs and turns."""
    return "part" if plan.cell.part.copies == 1 else "rack"


def band_of(plan: Plan, name: str) -> Band | None:
    """Return the band of a figure, where the plan has one."""
    return None if plan.bands is None or not plan.bands.inputs else plan.bands.of.get(name)


def _setting(plan: Plan) -> str:
    first = plan.fields[0]
    shares = f"{current(first.current)} into the {hung(plan)} and {current(sum(first.thief_currents))} into the thieves"
    split = f", {shares}" if first.thief_currents else ""
    if plan.job.target.voltage is not None:
        unit = "A" if plan.current >= 0.1 else "mA"
        expected = _with_band(plan.current, unit, band_of(plan, AMPERES))
        return f"Set {voltage(plan.job.target.voltage)} (your voltage). Expect about {expected}{split}."
    whose = "your current" if plan.current_is_given else "recommended"
    return f"Set {current(plan.current)} ({whose}{split}). Expect about {_volts(plan)} between anode and part."


def _volts(plan: Plan) -> str:
    """Return the voltage of each stage, the band of the first behind it."""
    band, found = band_of(plan, VOLTAGE), plan.bands
    stages = [stage.voltage for stage in plan.deposit.stages] or [plan.voltage]
    if band is None or found is None:
        return " then ".join(dict.fromkeys(voltage(value) for value in stages))
    each = found.stages if len(found.stages) == len(stages) else (band,) * len(stages)
    alike: dict[str, Band] = {}  # stages whose voltages read the same are told once, with the wider of their bands
    for value, one in zip(stages, each, strict=True):
        text = told.number(value, "V", one)
        known = alike.get(text, one)
        alike[text] = replace(known, low=min(known.low, one.low), high=max(known.high, one.high))
    return " then ".join(
        text if not one.low < one.high else f"{text} ({told.ends(one, 'V')})" for text, one in alike.items()
    )


def _timing(plan: Plan) -> str:
    stages, band = plan.deposit.stages, band_of(plan, TIME)
    if not stages or not plan.time < NEVER:
        return "No time was found: some place of the significant surface gets next to no current."
    times = told.stages(tuple(stage.time for stage in stages), band)
    first = stages[0].name
    if first.startswith(HUNG_AS):
        words = [f"Hang the {hung(plan)} as {first.removeprefix(HUNG_AS)} and plate {times[0]}"]
    else:
        words = [f"Plate {times[0]} {first}"]
    for stage, time in zip(stages[1:], times[1:], strict=True):
        turn = f"turn the {hung(plan)} half round about the vertical"
        how = f"hang it as {stage.name.removeprefix(HUNG_AS)}" if stage.name.startswith(HUNG_AS) else turn
        words.append(f"then {how} and plate {time} more")
    whole = f"{told.time(plan.time, band)} in all" if len(stages) > 1 else ""
    within = "" if band is None else f"{told.time_ends(band)} until the target"
    behind = "; ".join(text for text in (whole, within) if text)
    return f"{', '.join(words)}{f' ({behind})' if behind else ''}."


def _coming_out(plan: Plan) -> str:
    least, mean = _thick(plan, plan.minimum_local_thickness, THINNEST), _thick(plan, plan.thickness["mean"], AVERAGE)
    most = _thick(plan, plan.thickness["max"], THICKEST)
    return (
        f"That puts about {least} on the thinnest place of the significant surface, {mean} on average over all that is wet, "
        f"{most} at the thickest edges."
    )


def _thick(plan: Plan, value: float, name: str) -> str:
    band = band_of(plan, name)
    within = "" if band is None or not band.low < band.high else f"; {told.ends(band, 'µm')}"
    text = told.number(value, "µm", band)
    mil = amount(1e-6 * float(text.partition(" ")[0]), "mil", 2)  # of the figure as told, so that both are the same
    return f"{text} ({mil}{within})"


def _with_band(value: float, unit: str, band: Band | None) -> str:
    text = told.number(value, unit, band) if band is not None else (voltage(value) if unit == "V" else current(value))
    return text if band is None or not band.low < band.high else f"{text} ({told.ends(band, unit)})"


def _how_sure(plan: Plan) -> tuple[str, ...]:
    """Return what the brackets mean, what drives them, and what it takes to be surer of the target."""
    found = plan.bands
    if found is None or not found.inputs or not plan.time < NEVER:
        return ("How far bath and meter move these figures is not known.",)
    names = (AMPERES if plan.job.target.voltage is not None else VOLTAGE, TIME)
    bands = [band for name in names if (band := found.of.get(name)) is not None]
    drivers = " and the ".join(dict.fromkeys(band.driver for band in bands if band.driver))
    mostly = f", mostly the {drivers}" if drivers else ""
    side = 50 * (1 + found.level)
    more = (
        f" Plate {minutes(found.more_time)} longer to meet the target in {side:.0f} of 100 cases."
        if found.more_time > 6
        else ""
    )
    cases = f"The ranges in brackets hold in {100 * found.level:.0f} of 100 cases, by what is not known of bath and meter{mostly}."
    return (f"{cases}{_were_it_known(plan)}{more}",)


def _were_it_known(plan: Plan) -> str:
    """Return what would have been recommended; nothing where the current is none the surer for it."""
    band = band_of(plan, CURRENT)
    if band is None or not band.low < band.high:
        return ""
    unit = "A" if plan.current >= 0.1 else "mA"
    return f" Were bath and meter known exactly, the recommendation would be somewhere from {told.ends(band, unit)}."
