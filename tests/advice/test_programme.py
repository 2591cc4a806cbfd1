"""The linear programme over poses: against brute force, closed forms, and what no time can give."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from helpers.flows import on_the_link
from helpers.small_plan import small_plan
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.advice.programme import Asked, Programme, best_times, least_times
from geom.advice.schedule import best_schedule, schedule_findings
from geom.arrays import Floats
from geom.field import Field
from geom.findings import Severity
from geom.job.job import Fit, Turns

few = settings(max_examples=50, deadline=None, derandomize=True)
seeds = st.integers(0, 2**32 - 1)
NOTHING = np.zeros((0,))


def asked(rates: Floats, target: float = 1.0, caps: Floats | None = None, most: Floats = NOTHING) -> Asked:
    return Asked(rates, target, np.zeros((len(rates), 0)) if caps is None else caps, most)


@few
@given(seeds)
def test_the_least_time_of_two_poses_is_that_of_a_fine_search(seed: int) -> None:
    rates = np.random.default_rng(seed).uniform(0.1, 1.0, (2, 60))
    found = best_times(asked(rates), 2)
    shares = np.linspace(0, 1, 4001)
    searched = min(1.0 / float((s * rates[0] + (1 - s) * rates[1]).min()) for s in shares)
    assert found is not None
    assert found.total <= searched * (1 + 1e-9)
    assert_allclose(found.total, searched, rtol=1e-3, atol=0)
    assert_allclose((found.times @ rates).min(), 1.0, rtol=1e-7, atol=0)


@few
@given(seeds)
def test_never_worse_than_half_and_half_or_any_pose_alone_on_random_parts(seed: int) -> None:
    """50 random parts of up to five poses and thousands of places."""
    draw = np.random.default_rng(seed)
    rates = draw.lognormal(0.0, 0.7, (int(draw.integers(2, 6)), 3000))
    found = best_times(asked(rates), len(rates))
    assert found is not None
    alone = [1.0 / float(row.min()) for row in rates]
    half = 1.0 / float((0.5 * (rates[0] + rates[1])).min())
    assert found.total <= min(half, *alone) * (1 + 1e-7)


@settings(few, max_examples=15)
@given(seeds)
def test_more_poses_and_a_lower_target_never_take_longer(seed: int) -> None:
    rates = np.random.default_rng(seed).lognormal(0.0, 0.5, (3, 100))
    totals = [best_times(asked(rates), n).total for n in (1, 2, 3)]  # type: ignore[union-attr]
    assert all(later <= before * (1 + 1e-7) for before, later in pairwise(totals))
    low, high = (best_times(asked(rates, target), 3).total for target in (1.0, 2.5))  # type: ignore[union-attr]
    assert_allclose(high, 2.5 * low, rtol=1e-7, atol=0)


def test_four_sides_each_in_its_turn() -> None:
    """Each pose gives one side 1 and the others 0.1: by symmetry each gets 1 / 1.3 of the time unit."""
    rates = np.full((4, 4), 0.1) + 0.9 * np.eye(4)
    found = best_times(asked(rates), 4)
    assert found is not None
    assert_allclose(found.times, 1 / 1.3, rtol=1e-7, atol=0)


def test_a_cap_moves_the_time_and_one_that_cannot_be_kept_says_by_how_much() -> None:
    """Two places. Pose 0: 1 and 0.2, pose 1: 0.5 and 0.5. By hand: pose 0 alone needs 5 and puts 5 on place 0; pose 1 needs 2."""
    rates = np.array([[1.0, 0.2], [0.5, 0.5]])
    capped = asked(rates, 1.0, rates, np.array([1.5, 1.5]))
    found = best_times(capped, 2)
    assert found is not None
    assert_allclose(found.times, (0.0, 2.0), rtol=1e-7, atol=1e-9)
    assert found.excess == 1.0
    alone = least_times(capped, (0,))
    assert alone is not None
    assert_allclose(alone.excess, 5 / 1.5, rtol=1e-5, atol=0)


def test_a_place_that_never_grows_has_no_time() -> None:
    assert best_times(asked(np.array([[1.0, 0.0], [2.0, 0.0]])), 2) is None


def sided(front: float, back: float) -> Field:
    panels = small_plan().fields[0].panels
    side = -panels.part.normals[:, 0]
    return on_the_link(np.where(side < -0.5, front, np.where(side > 0.5, back, 0.5 * (front + back))))


def everywhere() -> np.ndarray:
    return np.ones(small_plan().fields[0].panels.part_count, dtype=np.bool_)


def test_turns_are_limited_and_further_poses_taken_where_they_pay() -> None:
    first, second, third = sided(300.0, 20.0), sided(20.0, 60.0), sided(30.0, 300.0)
    none = best_schedule(first, second, everywhere(), 8e-6, [third], Turns(most_turns=0), begun=True)
    one = best_schedule(first, second, everywhere(), 8e-6, [third], Turns(most_turns=1))
    assert (none.second, none.others) == (0.0, (0.0,))
    assert_allclose(none.time, none.one_pose, rtol=1e-12, atol=0)
    assert one.second == 0.0
    assert one.others[0] > 0
    assert one.time < 0.5 * none.time
    assert [a.name for a in one.alternatives] == ["one pose", "half and half", "this schedule"]
    assert one.alternatives[-1].time <= min(a.time for a in one.alternatives) * (1 + 1e-9)


def test_the_pose_as_hung_is_left_out_where_others_do_better_without_it() -> None:
    """As hung both sides get next to nothing; of the others one serves the front, one the back."""
    poor, front, back = sided(20.0, 20.0), sided(300.0, 40.0), sided(40.0, 300.0)
    free = best_schedule(poor, None, everywhere(), 8e-6, [front, back], Turns(most_turns=1))
    assert not free.uses_first
    assert all(time > 0 for time in free.others)
    begun = best_schedule(poor, None, everywhere(), 8e-6, [front, back], Turns(most_turns=1), begun=True)
    assert begun.uses_first
    assert free.time < 0.25 * begun.time
    alone = best_schedule(poor, None, everywhere(), 8e-6, [front, back], Turns(most_turns=0))
    assert (alone.turns, alone.uses_first) == (0, False)


def test_a_pose_that_saves_little_is_not_worth_hanging_the_part_otherwise() -> None:
    schedule = best_schedule(sided(100.0, 100.0), None, everywhere(), 8e-6, [sided(105.0, 105.0)])
    assert (schedule.uses_first, schedule.others) == (True, (0.0,))


def test_a_schedule_that_begins_as_hung_keeps_the_caps_it_can_and_says_which_it_cannot() -> None:
    first, second = sided(300.0, 100.0), sided(150.0, 150.0)
    free = best_schedule(first, second, everywhere(), 8e-6, (), Turns(most_turns=0, most_thickness=9e-6))
    assert (free.uses_first, free.excess) == (False, 1.0)
    begun = best_schedule(first, second, everywhere(), 8e-6, (), Turns(most_turns=0, most_thickness=9e-6), begun=True)
    assert begun.excess == pytest.approx(24 / 9, rel=0.02)
    assert [one.excess for one in begun.alternatives][-1] == pytest.approx(begun.excess, rel=1e-12)
    assert [finding.code for finding in schedule_findings(begun)] == ["cap-not-kept"]


@settings(few, max_examples=30)
@given(seeds)
def test_few_of_many_poses_are_those_that_trying_every_choice_finds(seed: int) -> None:
    """Branch and bound against brute force: up to six poses, with and without caps, with one that must be used."""
    draw = np.random.default_rng(seed)
    count = int(draw.integers(2, 7))
    rates = draw.lognormal(0.0, 0.8, (count, 12))
    question = asked(rates, 1.0, rates, np.full(12, draw.uniform(1.5, 12.0))) if seed % 2 else asked(rates)
    must = 0 if seed % 3 == 0 else None
    size = int(draw.integers(1, count + 1))
    tried = [
        found
        for some in range(1, size + 1)
        for poses in combinations(range(count), some)
        if (found := least_times(question, poses)) is not None
        and (must is None or found.times[must] >= 0.01 * found.total)
    ]
    found = best_times(question, size, must)
    assert found is not None
    assert len(found.used) <= size
    excess = min(one.excess for one in tried)
    assert_allclose(found.excess, excess, rtol=2e-4, atol=0)
    shortest = min(one.total for one in tried if one.excess <= excess + 1e-4)
    assert found.total <= shortest * (1 + 1e-3)
    if excess == 1.0:
        assert_allclose(found.total, shortest, rtol=1e-6, atol=0)


def test_of_equally_short_ways_the_one_with_fewer_poses_is_taken() -> None:
    """Pose 2 alone takes as long as poses 0 and 1 between them."""
    found = best_times(asked(np.array([[1.0, 0.0], [0.0, 1.0], [0.5, 0.5]])), 3)
    assert found is not None
    assert found.used == {2}
    assert_allclose(found.total, 2.0, rtol=1e-9, atol=0)


def test_twelve_poses_are_no_trouble() -> None:
    """All 4 of 12 were 793 programmes one by one; the best they could do together leaves few of them to solve."""
    draw = np.random.default_rng(1)
    places, ways = draw.normal(size=(600, 3)), draw.normal(size=(12, 3))
    places, ways = (v / np.linalg.norm(v, axis=1)[:, None] for v in (places, ways))
    rates = (0.15 + np.maximum(ways @ places.T, 0.0)) * draw.uniform(0.8, 1.2, (12, 600))
    programme = Programme(asked(rates))
    found = programme.best(4)
    assert found is not None
    assert len(found.used) == 4
    assert programme.solves < 400


def test_a_fit_that_cannot_be_kept_stops() -> None:
    first = sided(300.0, 100.0)
    name = first.cell.part.features[0].name
    kept = best_schedule(first, None, everywhere(), 8e-6, (), Turns(fits=(Fit(name, 1e-3),)))
    assert kept.excess == 1.0
    assert schedule_findings(kept) == []
    broken = best_schedule(first, None, everywhere(), 8e-6, (), Turns(most_thickness=9e-6))
    assert broken.excess == pytest.approx(24 / 9, rel=0.02)
    (finding,) = schedule_findings(broken)
    assert (finding.severity, finding.code) == (Severity.STOP, "cap-not-kept")
