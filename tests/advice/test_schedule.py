"""The two-pose schedule is never worse than one pose, nor than half and half, and comes out even where all is even."""

import numpy as np
import pytest
from helpers.flows import on_the_link
from helpers.small_plan import small_plan
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.advice.schedule import WORTH_TURNING, best_schedule, time_to_thinnest
from geom.arrays import Bools, Floats
from geom.deposit import growth_rate, local_mean, plate
from geom.field import Field

TARGET = 8e-6
few = settings(max_examples=40, deadline=None, derandomize=True)
seeds = st.integers(0, 2**32 - 1)


def everywhere() -> Bools:
    return np.ones(small_plan().fields[0].panels.part_count, dtype=np.bool_)


def sided(seed: int | None, front: float, back: float) -> Field:
    """A flow that differs between the two broad sides, with noise where a seed is given."""
    panels = small_plan().fields[0].panels
    side = -panels.part.normals[:, 0]
    noise = 1.0 if seed is None else np.random.default_rng(seed).uniform(0.8, 1.2, panels.part_count)
    return on_the_link(noise * np.where(side < -0.5, front, np.where(side > 0.5, back, 0.5 * (front + back))))


def rate(field: Field) -> Floats:
    return local_mean(growth_rate(field), field.panels)


def mixed_times(first: Field, second: Field, shares: list[float]) -> list[float]:
    """Times to the target when those shares of it are spent in the first pose, worked out afresh."""
    one, other = rate(first), rate(second)
    return [float((TARGET / (share * one + (1 - share) * other)).max()) for share in shares]


densities = st.floats(20.0, 500.0)


@few
@given(seeds, densities, densities, densities, densities)
def test_a_schedule_is_no_worse_than_one_pose_or_half_and_half(seed: int, a: float, b: float, c: float, d: float):
    first, second = sided(seed, a, b), sided(seed + 1, c, d)
    schedule = best_schedule(first, second, everywhere(), TARGET)
    alone, half, *others = mixed_times(first, second, [1.0, 0.5, *np.linspace(0, 1, 37)])
    assert_allclose(schedule.one_pose, alone, rtol=1e-9, atol=0)
    assert schedule.time <= alone * (1 + 1e-9)
    # where a turn is not worth the handling, up to that share is given away
    assert schedule.time <= half * (1 + 1e-9) or (schedule.second == 0 and half > WORTH_TURNING * alone)
    assert schedule.turned is not None
    assert schedule.turned <= 1.02 * min(others)


@few
@given(seeds, densities, densities, densities, densities)
def test_after_the_schedule_the_thinnest_place_has_the_target_exactly(
    seed: int, a: float, b: float, c: float, d: float
):
    first, second = sided(seed, a, b), sided(seed + 1, c, d)
    schedule = best_schedule(first, second, everywhere(), TARGET)
    deposit = plate((first, second), (schedule.first, schedule.second), ("as hung", "turned"), everywhere())
    assert_allclose(deposit.local_thickness.min(), TARGET, rtol=1e-9, atol=0)


@few
@given(densities, densities)
def test_mirror_images_get_half_the_time_each(front: float, back: float) -> None:
    """A symmetric part: the second pose is the first with the sides changed."""
    assume(front > back / 3)  # else turning is not worth the trouble
    first, second = sided(None, 1.5 * front + back, back), sided(None, back, 1.5 * front + back)
    schedule = best_schedule(first, second, everywhere(), TARGET)
    assert schedule.first == schedule.second > 0


def test_a_turn_that_saves_half_the_time_is_advised_and_one_that_saves_nothing_is_not() -> None:
    schedule = best_schedule(sided(1, 300.0, 50.0), sided(1, 50.0, 300.0), everywhere(), TARGET)
    assert schedule.second > 0
    assert schedule.time < 0.6 * schedule.one_pose
    even = best_schedule(sided(1, 200.0, 200.0), sided(1, 200.0, 200.0), everywhere(), TARGET)
    assert even.second == 0
    assert_allclose(even.turned, even.one_pose, rtol=1e-9, atol=0)


def test_shares_differ_where_the_two_poses_do() -> None:
    """In the second pose the back grows three times faster than the front does in the first."""
    schedule = best_schedule(sided(1, 100.0, 10.0), sided(1, 10.0, 300.0), everywhere(), TARGET)
    assert schedule.first > 2 * schedule.second > 0


def test_a_part_that_cannot_be_turned_is_plated_as_hung() -> None:
    first = sided(1, 300.0, 50.0)
    (alone,) = mixed_times(first, first, [1.0])
    schedule = best_schedule(first, None, everywhere(), TARGET)
    assert (schedule.second, schedule.turned) == (0.0, None)
    assert_allclose((schedule.first, schedule.one_pose), alone, rtol=1e-12, atol=0)


def test_only_the_significant_surface_sets_the_time() -> None:
    first = sided(1, 300.0, 50.0)
    front = -first.panels.part.normals[:, 0] < -0.5
    schedule = best_schedule(first, None, front, TARGET)
    assert_allclose(schedule.time, TARGET / rate(first)[front].min(), rtol=1e-12, atol=0)
    assert schedule.time < 0.3 * best_schedule(first, None, everywhere(), TARGET).time


@few
@given(seeds, st.floats(1e-6, 1e-4), st.floats(1.1, 10.0))
def test_time_is_in_proportion_to_the_target(seed: int, target: float, times: float) -> None:
    first, second = sided(seed, 300.0, 50.0), sided(seed, 50.0, 300.0)
    one, more = (best_schedule(first, second, everywhere(), t) for t in (target, times * target))
    assert_allclose((more.first, more.second), (times * one.first, times * one.second), rtol=1e-9, atol=0)


def test_a_place_without_current_never_gets_there() -> None:
    growth = np.array([1e-9, 0.0, 2e-9])
    assert time_to_thinnest(growth, np.array([True, True, True]), TARGET) == float("inf")
    assert_allclose(time_to_thinnest(growth, np.array([True, False, True]), TARGET), 8000.0, rtol=1e-12, atol=0)


def test_a_turn_that_rescues_a_place_without_current_is_advised() -> None:
    schedule = best_schedule(sided(1, 300.0, 0.0), sided(1, 0.0, 300.0), everywhere(), TARGET)
    assert schedule.one_pose == float("inf")
    assert schedule.first == schedule.second == pytest.approx(schedule.time / 2)


def test_a_place_that_no_pose_reaches_gives_no_time() -> None:
    schedule = best_schedule(sided(1, 300.0, 0.0), sided(1, 300.0, 0.0), everywhere(), TARGET)
    assert schedule.time == float("inf")
    assert schedule.second == 0


def test_where_it_must_begin_as_hung_though_the_other_pose_alone_is_best_half_and_half_is_taken_if_that_pays() -> None:
    first, second = sided(1, 100.0, 100.0), sided(1, 400.0, 400.0)
    alone, half = mixed_times(first, second, [1.0, 0.5])
    schedule = best_schedule(first, second, everywhere(), TARGET, begun=True)
    assert half < WORTH_TURNING * alone
    assert_allclose((schedule.first, schedule.second), half / 2, rtol=1e-9, atol=0)
