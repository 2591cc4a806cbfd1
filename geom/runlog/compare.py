"""A run against the plan: what it should have gained, how thick that makes it, and what the log says of the bath."""

from collections.abc import Sequence
from dataclasses import dataclass

from geom.bench.readings import METER_TO
from geom.findings import Finding, Severity
from geom.runlog.efficiency import Refined, refined, weighed
from geom.runlog.run import Planned, Run

OFF = 0.05
"""Share by which current, voltage or time may differ from the plan before it is worth a word."""


@dataclass(frozen=True, slots=True)
class Compared:
    """The last run of a log against the plan."""

    run: Run
    planned: Planned
    expected_gain: float | None  # at the plan's efficiency, for the charge that was really passed [kg]
    least_thickness: float | None  # lowest local, the plan's scaled to the metal that was weighed or expected [m]
    by_weight: bool  # that rests on the balance, not on the plan's efficiency
    more_time: float | None  # until the target, at the run's current [s]; 0: reached
    refined: Refined | None
    findings: tuple[Finding, ...]


def compared(runs: Sequence[Run], planned: Planned) -> Compared:
    """Return the last run of the log against the plan; the spread over the part is taken to be the plan's."""
    run = runs[-1]
    charge, gain = run.charge, run.gain
    expected = None if charge is None else planned.mass * charge / planned.charge
    metal = gain if gain is not None else expected
    least = None if metal is None else planned.least_thickness * metal / planned.mass
    more = None
    if least is not None and run.time and least > 0:
        more = max(0.0, run.time * (planned.target / least - 1.0))
    found = refined(runs, planned.bath)
    return Compared(
        run, planned, expected, least, gain is not None, more, found, tuple(_findings(run, planned, len(runs), found))
    )


def _findings(run: Run, planned: Planned, number: int, found: Refined | None) -> list[Finding]:
    out = []
    pairs = (("current", run.current, planned.current), ("voltage", run.voltage, planned.voltage))
    for name, value, wanted in (*pairs, ("time", run.time, planned.time)):
        if value is not None and abs(value - wanted) > OFF * wanted:
            text = f"the {name} was {value / wanted:.2f} times what the plan has"
            out.append(Finding(Severity.NOTE, "run-off-plan", text))
    last = weighed(run, number)
    if last is not None and last.efficiency > 1.0 + METER_TO + 2.0 * last.error:
        text = (
            f"the part gained {last.efficiency:.2f} times what the charge can deposit: look at the ammeter, the time, the "
            "balance, whether the part was dry, and whether it plated without the meter in the line"
        )
        out.append(Finding(Severity.WARNING, "run-too-heavy", text))
    if last is not None and last.efficiency < 0.05:
        text = (
            "the part gained next to nothing for the charge passed: lost contact, current into hook or thieves, "
            "or a deposit that came off"
        )
        out.append(Finding(Severity.WARNING, "run-too-light", text))
    if found is not None and not found.low <= planned.efficiency <= found.high:
        text = (
            f"the plan reckons with an efficiency of {100 * planned.efficiency:.0f} %, the log shows "
            f"{100 * found.low:.0f} to {100 * found.high:.0f} % ({100 * found.level:.0f} % interval of the mean): state it in [bath] efficiency"
        )
        out.append(Finding(Severity.WARNING, "log-other-efficiency", text))
    return out
