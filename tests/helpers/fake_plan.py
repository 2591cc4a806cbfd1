"""Variants of the small plan: what a report must cope with and a solve gives only now and then."""

import math
from dataclasses import replace
from pathlib import Path

from geom.advice.features import with_air
from geom.advice.words import Advice
from geom.findings import Finding, Severity
from geom.hanging.hanging import Hanging
from geom.hanging.pockets import Pocket
from geom.hanging.tilts import Tilt
from geom.hanging.undersides import Underside
from geom.plan import Plan
from helpers.small_plan import small_plan

HOSTILE = "\x1b[2J=cmd|' /C calc'!A0 <script>--> \u202e\x00" + "x" * 150
"""Orders to a terminal, a formula, markup, the end of a comment, writing turned round, and no blank to wrap at."""

LONE_SURROGATE = "part\udc80"
"""What Python makes of a file name that is not UTF-8."""


def with_severity(severity: Severity) -> Plan:
    """Return the small plan with one finding, of that severity."""
    return replace(small_plan(), findings=(Finding(severity, "a-finding", "something is to be known"),))


def with_words(words: str) -> Plan:
    """Return the small plan with ``words`` as title, part, features, bath, limits, advice, findings and cautions."""
    plan = small_plan()
    features = tuple(replace(feature, name=f"{words}{k}") for k, feature in enumerate(plan.cell.part.features))
    part = replace(plan.cell.part, title=words, features=features)
    bath = replace(plan.cell.bath, title=words, cautions=(words,))
    return replace(
        plan,
        job=replace(plan.job, title=words, path=Path("job.toml")),
        cell=replace(plan.cell, part=part, bath=bath),
        features=tuple(replace(feature, name=f"{words}{k}") for k, feature in enumerate(plan.features)),
        limits=tuple(replace(limit, name=words, basis=words) for limit in plan.limits),
        advice=(Advice("a", words),),
        findings=(Finding(Severity.WARNING, "b", words), Finding(Severity.NOTE, "c", words)),
    )


def never_thick() -> Plan:
    """Return the small plan as if a feature, and so the schedule, never met the target."""
    plan = small_plan()
    never = float("inf")
    stages = (replace(plan.deposit.stages[0], time=never),)
    return replace(
        plan,
        deposit=replace(plan.deposit, stages=stages, charge=never, mass=never, anode_mass=never),
        schedule=replace(plan.schedule, first=never, second=0.0, one_pose=never, turned=None),
        features=(replace(plan.features[0], extra_time=never, thickness=float("nan")), *plan.features[1:]),
        hottest_strip=None,
        edge_to_face=None,
        front_to_back=None,
    )


def with_times(*minutes: float) -> Plan:
    """Return the small plan as if its schedule were those times, in minutes: as hung, turned half round."""
    plan = small_plan()
    names = ("as hung", "turned half round")
    stages = tuple(replace(plan.deposit.stages[0], name=n, time=60 * t) for n, t in zip(names, minutes, strict=False))
    return replace(plan, deposit=replace(plan.deposit, stages=stages))


def controlled(*, current: float | None = None, voltage: float | None = None) -> Plan:
    """Return the small plan as if the job had fixed the current or the voltage."""
    plan = small_plan()
    target = replace(plan.job.target, current=current, voltage=voltage)
    limits = tuple(replace(limit, binds=False) for limit in plan.limits)
    return replace(plan, job=replace(plan.job, target=target), limits=limits)


def holding() -> Plan:
    """Return the small plan as if the part held air, bath and hydrogen."""
    plan = small_plan()
    names = [feature.name for feature in plan.cell.part.features]
    air = Pocket(45e-6, 0.2e-6, (0.01, 0.0, 0.08), 0.075, ((names[0], 6e-3), (names[1], 1e-4)))
    bath = Pocket(2e-6, 0.1e-6, (0.0, 0.0, 0.09), 0.095, ((names[1], 2e-4),))
    doubtful = replace(air, volume=1e-6, sure=False)
    hanging = Hanging(
        trapped=(air, doubtful),
        cups=(bath,),
        undersides=(Underside(names[0], 3e-3, 0.03, False), Underside(names[1], 1e-3, 0.02, True)),
        narrow=(names[2],),
        tilt=Tilt(math.radians(25), (1, -1), True, False),
        step=4e-4,
        turn=(0.5, 0.0, 1.5),
    )
    return replace(plan, hanging=hanging, features=with_air(plan.features, hanging.under_air))
