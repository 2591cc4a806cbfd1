"""Plans that a card must bear: those of the samples on few panels, and some that are made up to be hard."""

from dataclasses import replace
from functools import cache
from pathlib import Path

from geom.findings import Finding, Severity
from geom.job.read import read_job
from geom.plan import Plan, make_plan
from helpers.demands import few_panels
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan

SAMPLES = ("clamp", "link", "rod", "tab")  # the rack is none for few panels: another stands for it below
LONG = "Link of the eastern jetty's shore-power panel, second of nine, cut anew after the old one had corroded"


@cache
def sample_plan(name: str) -> Plan:
    """Return the plan of a sample, coarsely meshed."""
    path = Path(__file__).parents[2] / "samples" / name / "job.toml"
    return make_plan(few_panels(read_job(path), 1600 if name == "tab" else 1100))


def stopped(plan: Plan, count: int = 1) -> Plan:
    """Return the plan with findings that forbid to plate on it."""
    found = tuple(
        Finding(
            Severity.STOP, "supply", f"the supply gives 1 A at most, {k} of its leads glow, and so on at length " * k
        )
        for k in range(1, count + 1)
    )
    return replace(plan, findings=(*plan.findings, *found))


def warned(plan: Plan, count: int) -> Plan:
    """Return the plan with warnings, the later the longer."""
    found = tuple(
        Finding(Severity.WARNING, "x", "a warning that tells what to do about it " * k) for k in range(1, count + 1)
    )
    return replace(plan, findings=(*plan.findings, *found))


def titled(plan: Plan, title: str) -> Plan:
    """Return the plan with another title."""
    return replace(plan, job=replace(plan.job, title=title))


def staged(plan: Plan, count: int, name: str = "hung as the long side down") -> Plan:
    """Return the plan with so many stages."""
    first = plan.deposit.stages[0]
    stages = [first, *(replace(first, name=f"{name} {k}", time=60.0 * k) for k in range(1, count))]
    return replace(plan, deposit=replace(plan.deposit, stages=tuple(stages)))


def untimed(plan: Plan) -> Plan:
    """Return the plan as one for which no time was found."""
    return replace(plan, bands=None, deposit=replace(plan.deposit, stages=()))


def at_volts(plan: Plan) -> Plan:
    """Return the plan as one under a voltage of the user's."""
    target = replace(plan.job.target, voltage=2.0, current=None)
    return replace(plan, bands=None, job=replace(plan.job, target=target))


HARD = {
    "long title": lambda: titled(small_plan(), LONG * 3),
    "no letter of the type": lambda: titled(small_plan(), "接続 \u202e\x07 $\\frac{1}{$ \U0001f600 %s {x}"),
    "one endless word": lambda: titled(small_plan(), "x" * 400),
    "stopped": lambda: stopped(small_plan()),
    "stopped and warned": lambda: warned(stopped(titled(small_plan(), LONG * 3), 6), 6),
    "warned": lambda: warned(small_plan(), 7),
    "three stages": lambda: staged(small_plan(), 3),
    "twelve stages": lambda: staged(small_plan(), 12, f"hung as {LONG}"),
    "no time": lambda: untimed(small_plan()),
    "fixed voltage": lambda: at_volts(small_plan()),
    "rack, shield, thieves, inner wires": rack_plan,
    "all of it": lambda: warned(stopped(staged(titled(rack_plan(), LONG), 9), 3), 3),
}
"""Plans by what is hard about them."""
