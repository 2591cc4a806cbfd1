"""The answer of a plan in a few sentences: what to set, how long, what comes out, and how sure all that is."""

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
    pairs = zip(stages, each, strict=True)
    return " then ".join(dict.fromkeys(_with_band(value, "V", one) for value, one in pairs))


def _timing(plan: Plan) -> str:
    stages, band = plan.deposit.stages, band_of(plan, TIME)
    if not stages or not plan.time < NEVER:
        return "No time was found: some place of the significant surface gets next to no current."
    times = told.stages(tuple(stage.time for stage in stages), band)
    words = [f"Plate {times[0]} {stages[0].name}"]
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
    return f"{told.number(value, 'µm', band)} ({amount(value, 'mil', 2)}{within})"


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
    drivers = " and ".join(dict.fromkeys(band.driver for band in bands if band.driver))
    mostly = f", mostly by the {drivers}" if drivers else ""
    side = 50 * (1 + found.level)
    more = (
        f" Plate {minutes(found.more_time)} longer to meet the target in {side:.0f} of 100."
        if found.more_time > 6
        else ""
    )
    cases = f"In brackets: {100 * found.level:.0f} of 100 cases, by what is not known of bath and meter{mostly}."
    return (f"{cases}{_were_it_known(plan)}{more}",)


def _were_it_known(plan: Plan) -> str:
    """Return what would have been recommended; nothing where the current is none the surer for it."""
    band = band_of(plan, CURRENT)
    if band is None or not band.low < band.high:
        return ""
    return f" Were all known, {told.ends(band, 'A' if plan.current >= 0.1 else 'mA')} would be recommended."
