"""The pose that is named first holds against every pose planned from scratch, each on panels of its own."""

from dataclasses import replace
from functools import cache

import pytest

from geom.errors import GeomError
from geom.job.read import parse_job
from geom.plan import Plan, make_plan
from geom.poses.compared import Compared, compared_poses

REST = """
[bath]
name = "watts-nickel"
[target]
thickness = "5 um"
[tank]
shape = "box"
length = "150 mm"
width = "120 mm"
depth = "130 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "70 mm"
height = "90 mm"
at = ["-60 mm", "0 mm", "70 mm"]
[pose]
at = ["5 mm", "0 mm", "65 mm"]
[solve]
accuracy = "10 %"
most_panels = 2500
"""

PARTS = {
    "a flat bar with a bore near its end": """
[part]
shape = "bar"
length = "50 mm"
width = "20 mm"
thickness = "4 mm"
holes = [{ diameter = "8 mm", at = ["15 mm", "0 mm"] }]
""",
    "a channel": """
[part]
shape = "channel"
length = "40 mm"
width = "24 mm"
height = "18 mm"
thickness = "2 mm"
inside_radius = "2 mm"
""",
}


@cache
def weighed(part: str) -> Compared:
    return compared_poses(parse_job(PARTS[part] + REST), lambda stage, share: None)


@cache
def from_scratch(part: str) -> dict[str, Plan]:
    """The plan of every pose that was weighed, none of whose panels was made for another."""
    found = weighed(part)
    plans: dict[str, Plan] = {}
    for one in found.hung:
        if one.plan is None:
            continue
        cell = one.plan.cell
        job = replace(found.job, pose=one.pose, tank=cell.tank, anodes=cell.anodes)
        try:
            plans[one.name] = make_plan(job)
        except GeomError:
            continue
    return plans


@pytest.mark.parametrize("part", list(PARTS))
def test_no_pose_from_scratch_betters_the_winner_or_the_best_is_among_the_rivals(part: str) -> None:
    found, plans = weighed(part), from_scratch(part)
    assert len(plans) >= 5
    quickest = min(plans, key=lambda name: plans[name].time)
    if found.winner is None:
        assert quickest in {found.hung[k].name for k in found.rivals}
        return
    first = found.hung[found.winner]
    for name, plan in plans.items():
        error = first.error + plan.accuracy.thinnest
        assert name == first.name or first.time < plan.time * (1 + error), name


@pytest.mark.parametrize("part", list(PARTS))
def test_what_was_planned_anew_is_what_it_is_from_scratch(part: str) -> None:
    plans = from_scratch(part)
    anew = [one for one in weighed(part).hung if one.own_panels]
    assert len(anew) > 1
    for one in anew:
        assert one.time == pytest.approx(plans[one.name].time, rel=1e-6), one.name
