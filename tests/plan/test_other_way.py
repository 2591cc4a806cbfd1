"""A part that is done soonest hung the other way round is hung so, and the user is told."""

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from helpers.demands import few_panels
from numpy.testing import assert_allclose

from geom.advice.schedule import Schedule, best_schedule
from geom.arrays import Bools
from geom.field import Field
from geom.findings import Severity
from geom.job.job import Turns
from geom.job.read import parse_job
from geom.plan import Plan, make_plan

CHANNEL = """
title = "Cover"
[part]
shape = "channel"
length = "60 mm"
width = "30 mm"
height = "18 mm"
thickness = "2 mm"
inside_radius = "2 mm"
[bath]
name = "watts-nickel"
[target]
thickness = "8 um"
"""
TURNED = (
    CHANNEL
    + """
[pose]
turn = ["0 deg", "90 deg", "180 deg"]
at = ["30 mm", "0 mm", "85 mm"]
[tank]
shape = "box"
length = "220 mm"
width = "130 mm"
depth = "150 mm"
"""
)


@cache
def planned(text: str) -> Plan:
    return make_plan(few_panels(parse_job(text), 3000))


def told(plan: Plan) -> bool:
    return any(f.code == "hung-other-way" and f.severity == Severity.WARNING for f in plan.findings)


def test_a_channel_is_hung_with_its_open_side_to_the_anode_and_the_user_is_told() -> None:
    """Concave sides face the anode (ASTM B507 practice, from memory): the default hangs this one with its back to it."""
    plan = planned(CHANNEL)
    assert told(plan)
    assert plan.schedule.first > 0
    assert plan.schedule.second == 0.0
    assert_allclose(plan.cell.pose.turn[2], np.pi, rtol=1e-12, atol=0)


def test_hung_that_way_from_the_start_nothing_is_said() -> None:
    plan = planned(TURNED)
    assert not told(plan)
    assert plan.schedule.first > 0


def test_where_each_way_round_seems_to_gain_by_the_other_the_part_hangs_as_the_job_has_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A round part is alike from both sides; panels of one pose alone made the other look better, without end."""
    import geom.plan as module

    asked: list[Schedule] = []

    def other_looks_better(
        first: Field,
        second: Field | None,
        significant: Bools,
        target: float,
        others: Sequence[Field],
        turns: Turns,
        *,
        begun: bool,
    ) -> Schedule:
        true = best_schedule(first, second, significant, target, others, turns, begun=begun)
        if begun:
            return true
        asked.append(Schedule(0.0, 0.9 * true.one_pose, true.one_pose, 0.9 * true.one_pose))
        return asked[-1]

    monkeypatch.setattr(module, "best_schedule", other_looks_better)
    plan = make_plan(few_panels(parse_job(f"{TURNED}[schedule]\nmost_turns = 0\nmost_thickness = '9 um'\n"), 3000))
    assert len(asked) == 1
    assert not told(plan)
    assert plan.schedule.second == 0.0
    assert_allclose(plan.schedule.first, asked[0].one_pose, rtol=1e-12, atol=0)
    assert_allclose(plan.cell.pose.turn[2], parse_job(TURNED).pose.turn[2], rtol=1e-12, atol=0)
    # and its caps are looked at in the pose that it keeps
    assert "cap-not-kept" in [finding.code for finding in plan.findings if finding.severity == Severity.STOP]
    most = plan.deposit.local_thickness.max()
    assert_allclose(plan.schedule.excess, most / 9e-6, rtol=1e-3, atol=0)
    assert_allclose(plan.schedule.alternatives[-1].excess, plan.schedule.excess, rtol=1e-9, atol=0)
