"""A kept plan asked what another current, bath, target or pose would make of it: as a whole plan on its panels would say."""

from dataclasses import replace

import pytest
from helpers.demands import few_panels

import geom.kept
import geom.plan
from geom.advice.current import AT_VOLTS
from geom.errors import CellError, JobError, PartError
from geom.field import prepare, solve_field
from geom.job.job import Job
from geom.job.read import parse_job
from geom.kept import Kept, in_poses, make_kept, what_if
from geom.plan import Plan, make_plan
from geom.refine import Level

CLOSE = 1e-3
"""Relative, at a given current: fields are solved to 2e-5 of the whole here, which is more on the far side of a part."""

LOOKED_FOR = 8e-3
"""Relative, where a limit sets the current: it is looked for until it moves by less than 5e-3, from either side."""

LINK = """
title = "Link of the shore-power panel"
[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
holes = [{{ diameter = "8 mm", at = ["-18 mm", "0 mm"] }}]
[bath]
name = "{bath}"
{more}
[tank]
shape = "box"
length = "{tank}"
width = "100 mm"
depth = "120 mm"
[[anode]]
shape = "sheet"
length = "2 mm"
width = "60 mm"
height = "70 mm"
at = ["{anode}", "0 mm", "60 mm"]
[pose]
turn = {turn}
at = ["{at}", "0 mm", "65 mm"]
[supply]
max_voltage = "{volts}"
max_current = "3 A"
[target]
thickness = "{target}"
{control}
"""
USUAL = {
    "bath": "watts-nickel",
    "more": "",
    "tank": "200 mm",
    "anode": "-80 mm",
    "turn": '["0 deg", "90 deg", "0 deg"]',
    "at": "20 mm",
    "volts": "8 V",
    "target": "8 um",
    "control": "",
}
CHANGES = {
    "target": {"target": "12 um"},
    "current": {"control": 'current = "0.5 A"'},
    "voltage": {"control": 'voltage = "1.2 V"'},
    "supply": {"volts": "1.1 V"},
    "temperature": {"more": 'temperature = "45 C"'},
    "conductivity": {"more": 'conductivity = "6 S/m"'},
    "efficiency": {"more": 'efficiency = "88 %"'},
    "bath": {"bath": "acid-copper"},
    "stirred": {"more": "stirred = true"},
    "significant": {"control": 'significant = ["all"]'},
    "half turn": {"turn": '["0 deg", "90 deg", "180 deg"]'},
    "quarter turn": {"turn": '["0 deg", "90 deg", "90 deg"]'},
    "turned and more": {"turn": '["0 deg", "90 deg", "180 deg"]', "more": 'conductivity = "6 S/m"', "target": "10 um"},
}


def job_of(**changes: str) -> Job:
    job = few_panels(parse_job(LINK.format(**{**USUAL, **changes})), 600)
    return replace(job, demand=replace(job.demand, accuracy=2e-3))  # closely solved, on few panels all the same


@pytest.fixture(scope="module")
def kept() -> Kept:
    return make_kept(job_of())


def on_the_panels(kept: Kept, job: Job, monkeypatch: pytest.MonkeyPatch) -> Plan:
    """Return a whole plan of a job, in which only the choice of panels is that of the kept plan; nothing else is taken over."""
    old = kept.grounds[0].level

    def refined(cell, demand, choose, wanted, say):
        panels = geom.plan.Hangings(old, 0).at(cell, cell.pose).panels
        prepared = prepare(cell, panels)
        limits, control, _ = choose(prepared, None)
        return Level(old.options, prepared, limits, control, solve_field(prepared, control)), kept.plan.accuracy

    monkeypatch.setattr(geom.plan, "refined", refined)
    return make_plan(job)


def figures(plan: Plan) -> dict[str, float]:
    """Return what a plan recommends and promises."""
    return {
        "current": plan.current,
        "voltage": plan.voltage,
        "time": plan.time,
        "least": plan.minimum_local_thickness,
        "metal": plan.deposit.mass,
        "charge": plan.deposit.charge,
        "edges": plan.edge_to_face or 0.0,
        "sides": plan.front_to_back or 0.0,
        "strip": plan.hottest_strip.current_density if plan.hottest_strip else 0.0,
        "anodes": plan.fields[0].anode_current,
        **{f"thickness {name}": value for name, value in plan.thickness.items()},
        **{f"mean of {one.name}": one.thickness for one in plan.features},
        **{f"stage {k}": stage.time for k, stage in enumerate(plan.deposit.stages)},
    }


def codes(plan: Plan) -> set[str]:
    """Return what is found of a plan but for what bands tell."""
    return {finding.code for finding in plan.findings} - {"target-not-sure"}


def assert_alike(one: Plan, other: Plan, within: float) -> None:
    first, second = figures(one), figures(other)
    assert first.keys() == second.keys()
    off = {name: abs(first[name] / second[name] - 1) for name in first if second[name]}
    assert {name: share for name, share in off.items() if share > within} == {}
    looked_for = max(within, LOOKED_FOR) if within > 1e-6 else within
    for limit, same in zip(one.limits, other.limits, strict=True):
        if limit.name == AT_VOLTS and not limit.binds:  # far off it is not looked for again on the last panels
            continue
        assert limit.value == pytest.approx(same.value, rel=looked_for), limit.name
    assert [stage.name for stage in one.deposit.stages] == [stage.name for stage in other.deposit.stages]
    assert [(limit.name, limit.binds) for limit in one.limits] == [(limit.name, limit.binds) for limit in other.limits]
    assert codes(one) == codes(other)


def test_the_kept_plan_is_the_plan(kept):
    assert_alike(kept.plan, make_plan(job_of()), 1e-9)
    assert kept.plan.bands is not None


def test_no_change_gives_the_same_plan_without_bands_and_without_a_solve(kept, monkeypatch):
    forbid_solves(monkeypatch)
    again = what_if(kept, job_of())
    assert_alike(again, kept.plan, 1e-9)
    assert again.bands is None


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_gives_what_a_whole_plan_on_the_same_panels_gives(kept, monkeypatch, change):
    job = job_of(**CHANGES[change])
    found = what_if(kept, job)
    assert found.job is job
    assert found.cell.bath is job.bath
    assert found.accuracy is kept.plan.accuracy
    assert_alike(found, on_the_panels(kept, job, monkeypatch), CLOSE if job.target.is_fixed else LOOKED_FOR)
    assert figures(found) != figures(kept.plan)


@pytest.mark.parametrize("change", ["bath", "quarter turn", "turned and more"])
def test_at_a_given_current_it_is_so_to_the_tolerance_of_the_solve(kept, monkeypatch, change):
    job = job_of(**{**CHANGES[change], "control": 'current = "0.8 A"'})
    assert_alike(what_if(kept, job), on_the_panels(kept, job, monkeypatch), CLOSE)


def test_what_was_asked_before_changes_nothing(kept):
    job = job_of(**CHANGES["temperature"])
    first = what_if(kept, job)
    for change in ("bath", "half turn", "current"):
        what_if(kept, job_of(**CHANGES[change]))
    assert figures(what_if(kept, job)) == figures(first)


def forbid_solves(monkeypatch: pytest.MonkeyPatch) -> None:
    def solve(*arguments, **more):
        raise AssertionError("something was solved")

    for module in ("geom.plan", "geom.kept", "geom.advice.current"):
        monkeypatch.setattr(f"{module}.solve_field", solve)


@pytest.mark.parametrize("change", ["target", "significant"])
def test_a_change_of_the_target_alone_needs_no_solve(kept, monkeypatch, change):
    forbid_solves(monkeypatch)
    what_if(kept, job_of(**CHANGES[change]))


def test_a_change_of_the_current_weighs_no_limit_again(kept, monkeypatch):
    monkeypatch.setattr(geom.plan, "weighed_limits", None)
    found = what_if(kept, job_of(**CHANGES["current"]))
    assert found.current == pytest.approx(0.5, rel=1e-9)
    assert not any(limit.binds for limit in found.limits)


def test_nothing_is_prepared_twice(kept, monkeypatch):
    for change in ("half turn", "quarter turn"):
        what_if(kept, job_of(**CHANGES[change]))
    monkeypatch.setattr("geom.refine.mesh_cell", None)
    for change in ("half turn", "quarter turn", "bath"):
        what_if(kept, job_of(**CHANGES[change]))


def test_a_half_turn_and_back_is_where_it_began(kept):
    back = job_of(turn='["0 deg", "90 deg", "360 deg"]')
    assert_alike(what_if(kept, back), kept.plan, 1e-9)


@pytest.mark.parametrize(("changes", "where"), [({"tank": "210 mm"}, "[tank]"), ({"anode": "-70 mm"}, "[[anode]]")])
def test_another_set_up_in_the_same_pose_is_refused(kept, changes, where):
    with pytest.raises(JobError) as caught:
        what_if(kept, job_of(**changes))
    assert (caught.value.slug, caught.value.where) == ("what-if-geometry", where)


def test_another_part_is_refused(kept):
    job = job_of()
    others = {
        "[part]": replace(job, shape=replace(job.shape, length=61e-3)),
        "[part] roughness": replace(job, roughness=1.2),
    }
    for where, other in others.items():
        with pytest.raises(JobError) as caught:
            what_if(kept, other)
        assert (caught.value.slug, caught.value.where) == ("what-if-geometry", where)


def test_with_another_pose_the_anode_may_move_along(kept, monkeypatch):
    job = job_of(at="30 mm", anode="-70 mm")
    assert_alike(what_if(kept, job), on_the_panels(kept, job, monkeypatch), LOOKED_FOR)


def test_a_pose_that_cannot_be_is_told_as_in_a_whole_plan(kept):
    job = job_of(at="-78.5 mm")
    with pytest.raises(CellError) as caught:
        what_if(kept, job)
    with pytest.raises(CellError) as whole:
        make_plan(job)
    assert caught.value.slug == whole.value.slug == "part-touches-anode"


def test_half_out_of_the_liquid_other_panels_are_wet(kept):
    job = job_of()
    with pytest.raises(JobError) as caught:
        what_if(kept, replace(job, pose=replace(job.pose, at=(0.02, 0.0, 0.110))))
    assert (caught.value.slug, caught.value.where) == ("what-if-geometry", "[pose]")


def test_a_name_of_no_feature_is_refused(kept):
    with pytest.raises(PartError) as caught:
        what_if(kept, job_of(control='significant = ["handle"]'))
    assert caught.value.slug == "feature-unknown"


def test_poses_are_compared_and_what_is_wrong_with_one_spoils_no_other(kept):
    jobs = [job_of(), job_of(at="-78.5 mm"), job_of(**CHANGES["half turn"])]
    first, wrong, last = in_poses(kept, jobs)
    assert isinstance(wrong, CellError)
    assert_alike(first, kept.plan, 1e-9)
    assert figures(last) == figures(what_if(kept, jobs[2]))


def test_poses_beyond_the_last_few_are_forgotten(kept, monkeypatch):
    hung = kept.grounds[0].hung
    monkeypatch.setattr(hung, "room", 3)
    sizes = []
    for number in range(4):
        job = job_of(at=f"{number} mm", control='current = "0.5 A"')
        what_if(kept, job)
        sizes.append(len(hung.prepared))
    assert sizes[-1] == 1 + 3
    whole = 4 * kept.grounds[0].level.prepared.operators.entries
    assert whole < kept.size < 6 * whole


def test_a_law_of_an_anode_is_put_on_where_it_stands(kept, monkeypatch):
    job = job_of()
    law = replace(job, anodes=tuple(replace(one, law=job.bath.law) for one in job.anodes))
    found = what_if(kept, law)
    assert found.cell.anodes[0].law == job.bath.law
    assert found.voltage > kept.plan.voltage
    assert_alike(found, on_the_panels(kept, law, monkeypatch), LOOKED_FOR)
