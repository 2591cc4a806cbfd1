"""[schedule] of a job: poses to weigh, turns, fits."""

import numpy as np
import pytest
from helpers.demands import few_panels
from numpy.testing import assert_allclose

from geom.errors import PartError
from geom.job.read import parse_job
from geom.plan import HUNG_AS, Plan, make_plan
from geom.report.content import document

JOB = """
[part]
shape = "bar"
length = "50 mm"
width = "20 mm"
thickness = "3 mm"
holes = [{ diameter = "8 mm", at = ["0 mm", "0 mm"] }]
[bath]
name = "watts-nickel"
[tank]
shape = "box"
length = "160 mm"
width = "120 mm"
depth = "120 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "80 mm"
height = "90 mm"
at = ["-50 mm", "0 mm", "65 mm"]
[pose]
turn = ["0 deg", "90 deg", "90 deg"]
at = ["0 mm", "0 mm", "60 mm"]
[target]
thickness = "8 um"
"""


CHANNEL = """
[part]
shape = "channel"
length = "50 mm"
width = "20 mm"
height = "20 mm"
thickness = "2 mm"
inside_radius = "2 mm"
[bath]
name = "watts-nickel"
[tank]
shape = "box"
length = "160 mm"
width = "120 mm"
depth = "120 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "80 mm"
height = "90 mm"
at = ["-50 mm", "0 mm", "65 mm"]
[pose]
turn = ["0 deg", "90 deg", "0 deg"]
at = ["0 mm", "0 mm", "60 mm"]
[target]
thickness = "8 um"
significant = ["all"]
[schedule]
most_turns = 0
[[schedule.pose]]
name = "open side to the anode"
turn = ["0 deg", "90 deg", "180 deg"]
[[schedule.pose]]
name = "through the wall"
turn = ["0 deg", "0 deg", "0 deg"]
at = ["75 mm", "0 mm", "60 mm"]
"""


def planned(schedule: str) -> Plan:
    return make_plan(few_panels(parse_job(JOB + schedule), 1500))


def test_a_pose_of_the_job_is_used_where_it_pays_and_turns_allow() -> None:
    """Edge on, the anode sees the narrow side; the broad side to it, then its back, is what the programme may add."""
    poses = """
[schedule]
most_turns = 2
[[schedule.pose]]
name = "broad side"
turn = ["0 deg", "90 deg", "0 deg"]
[[schedule.pose]]
name = "through the wall"
turn = ["0 deg", "0 deg", "0 deg"]
at = ["75 mm", "0 mm", "60 mm"]
"""
    plan = planned(poses)
    assert {stage.name.removeprefix(HUNG_AS) for stage in plan.deposit.stages} <= {
        "as hung",
        "turned half round",
        "broad side",
    }
    assert len(plan.deposit.stages) <= 3
    (left,) = [finding for finding in plan.findings if finding.code == "pose-left-out"]
    assert "through the wall" in left.message
    times = {one.name: one.time for one in plan.schedule.alternatives}
    assert times["this schedule"] <= min(times.values()) * 1.02
    assert plan.minimum_local_thickness == pytest.approx(8e-6, rel=1e-6)


def test_a_fit_on_a_feature_that_is_not_there_is_refused() -> None:
    with pytest.raises(PartError, match="bore 9") as caught:
        planned('[[schedule.fit]]\nfeature = "bore 9"\nmost_thickness = "9 um"\n')
    assert "schedule.fit" in caught.value.where


def test_a_part_that_may_not_be_turned_is_not() -> None:
    plan = planned("[schedule]\nmost_turns = 0\n")
    assert len(plan.deposit.stages) == 1


def test_a_part_is_hung_from_the_start_in_the_pose_that_does_it_soonest() -> None:
    """The job has the channel's back to the anode; as it may not be turned, only another beginning helps."""
    plan = make_plan(few_panels(parse_job(CHANNEL), 2000))
    assert [stage.name for stage in plan.deposit.stages] == [f"{HUNG_AS}open side to the anode"]
    assert_allclose(plan.cell.pose.turn, (0.0, np.pi / 2, np.pi), rtol=1e-12, atol=0)
    assert_allclose(plan.current, min(limit.value for limit in plan.limits), rtol=1e-3, atol=0)
    findings = {finding.code: finding.message for finding in plan.findings}
    assert "from the start as open side to the anode" in findings["hung-other-way"]
    assert "through the wall" in findings["pose-left-out"]
    told = " ".join(document(plan).answer)
    assert "Hang the part as open side to the anode and plate" in told
