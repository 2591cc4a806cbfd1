"""The log of runs as text and as a plain tree."""

from collections.abc import Sequence
from typing import Any

from geom.bench.readings import METER_TO
from geom.report.amounts import amount, current, minutes, thickness, voltage
from geom.report.tree import Document, Row, Section, Table
from geom.runlog.compare import Compared
from geom.runlog.efficiency import weighed
from geom.runlog.run import Run


def log_document(title: str, runs: Sequence[Run], found: Compared | None) -> Document:
    """Return what the log holds, the last run against the plan, and the efficiency that it shows."""
    if found is None:
        return Document(f"Log of {title}", ("No run is logged yet.",), ())
    sections = (
        Section("The last run against the plan", _sentences(found), tuple(_rows(found))),
        Section("Efficiency of the bath", _efficiency_words(found)),
        Section("All runs", (), (), Table(HEADS, tuple(_line(n, run) for n, run in enumerate(runs, 1)), (1, 7))),
    )
    answer = (f"{len(runs)} run{'s' if len(runs) > 1 else ''} logged.",)
    return Document(f"Log of {title}", answer, sections)


HEADS = ("run", "date", "current", "volts", "time", "gain", "efficiency", "look")


def _line(number: int, run: Run) -> tuple[str, ...]:
    one = weighed(run, number)
    return (
        str(number),
        run.date,
        "-" if run.current is None else current(run.current),
        "-" if run.voltage is None else amount(run.voltage, "V"),
        "-" if run.time is None else minutes(run.time),
        "-" if run.gain is None else amount(run.gain, "g"),
        "-" if one is None else f"{100 * one.efficiency:.0f} %",
        run.look,
    )


def _sentences(found: Compared) -> tuple[str, ...]:
    out = [f"{f.severity.capitalize()}: {f.message}." for f in found.findings]
    if found.more_time is not None:
        basis = "the metal that was weighed" if found.by_weight else "the plan's efficiency: the part was not weighed"
        least = thickness(found.least_thickness or 0.0)
        reached = (
            "the target is met" if found.more_time == 0 else f"the target needs about {minutes(found.more_time)} more"
        )
        out.append(f"Thinnest place about {least}, by the plan's spread and {basis}; {reached}.")
    return tuple(out)


def _rows(found: Compared) -> list[Row]:
    run, planned = found.run, found.planned
    pairs = (
        ("current", None if run.current is None else current(run.current), current(planned.current)),
        ("voltage", None if run.voltage is None else amount(run.voltage, "V"), voltage(planned.voltage)),
        ("time with current on", None if run.time is None else minutes(run.time), minutes(planned.time)),
    )
    rows = [Row(name, f"{'not noted' if done is None else done}; planned {plan}") for name, done, plan in pairs]
    gain = "not weighed" if run.gain is None else amount(run.gain, "g")
    wanted = "" if found.expected_gain is None else f"; {amount(found.expected_gain, 'g')} expected for this charge"
    rows.append(Row("metal gained", gain + wanted))
    if run.look:
        rows.append(Row("look", run.look))
    return rows


def _efficiency_words(found: Compared) -> tuple[str, ...]:
    best = found.refined
    if best is None:
        return ("No run was weighed before and after with current and time noted: weigh the part dry, both times.",)
    count = len(best.runs)
    scatter = "" if best.scatter is None else f", single runs scatter by ± {100 * best.scatter:.1f} points"
    past = (
        ""
        if best.reach <= 1.0
        else f"; by balance and meter alone it would end at {100 * best.reach:.0f} %, but no bath deposits more than 100 %"
    )
    return (
        f"{100 * min(best.efficiency, 1.0):.0f} % by {count} weighed run{'s' if count > 1 else ''} ({100 * best.low:.0f} to "
        f"{100 * best.high:.0f} %, {100 * best.level:.0f} % interval of the mean{past}{scatter}). It rests on Faraday's law, the balance, how "
        f"much runs differ, and a meter that may be off by {100 * METER_TO:.0f} % either way (common practice, no source).",
        f'For the next plan write efficiency = "{100 * min(best.efficiency, 1.0):.0f} %" under [bath].',
    )


def log_tree(title: str, runs: Sequence[Run], found: Compared | None) -> dict[str, Any]:
    """Return the log as plain JSON values."""
    best = None if found is None else found.refined
    return {
        "title": title,
        "runs": [_run_tree(number, run) for number, run in enumerate(runs, 1)],
        "last": None if found is None else _last_tree(found),
        "efficiency": None
        if best is None
        else {
            "mean": best.efficiency,
            "low": best.low,
            "high": best.high,
            "level": best.level,
            "scatter": best.scatter,
            "runs": [one.run for one in best.runs],
        },
        "findings": []
        if found is None
        else [{"severity": str(f.severity), "code": f.code, "message": f.message} for f in found.findings],
    }


def _last_tree(found: Compared) -> dict[str, Any]:
    return {
        "planned_current_A": found.planned.current,
        "planned_voltage_V": found.planned.voltage,
        "planned_time_min": found.planned.time / 60,
        "expected_gain_g": None if found.expected_gain is None else 1e3 * found.expected_gain,
        "least_thickness_um": None if found.least_thickness is None else 1e6 * found.least_thickness,
        "by_weight": found.by_weight,
        "more_time_min": None if found.more_time is None else found.more_time / 60,
    }


def _run_tree(number: int, run: Run) -> dict[str, Any]:
    one = weighed(run, number)
    return {
        "number": number,
        "date": run.date,
        "bath": run.bath,
        "current_A": run.current,
        "voltage_V": run.voltage,
        "time_min": None if run.time is None else run.time / 60,
        "gain_g": None if run.gain is None else 1e3 * run.gain,
        "efficiency": None if one is None else one.efficiency,
        "look": run.look,
    }
