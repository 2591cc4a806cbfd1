"""Least time over several poses: a linear programme, and how far a cap must give way where none meets it.

    minimise sum t   with   sum_k t_k r_k(place) >= target,   sum_k t_k c_k(cap) <= most,   t >= 0

Solved by HiGHS (Huangfu and Hall, Math. Prog. Comp. 10 (2018) 119) through scipy. Of thousands of places only a few bind:
the programme begins with few rows and takes in the one it violates most, until it violates none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy.optimize import linprog

from geom.arrays import Floats

SLACK = 1e-9
"""Relative violation of a row that is none."""

ROUNDS = 200


@dataclass(frozen=True, eq=False)
class Asked:
    """What the thickness must reach, and must not pass."""

    rates: Floats  # (poses, places) growth of local thickness where the target counts [m/s]
    target: float  # [m]
    caps: Floats  # (poses, caps) growth where a cap counts [m/s]
    most: Floats  # (caps,) [m]


@dataclass(frozen=True, eq=False)
class Times:
    """Times in each pose; ``excess`` is by how many times the tightest cap is passed, 1 where all are met."""

    times: Floats  # (poses,) [s]
    excess: float

    @property
    def total(self) -> float:
        """[s]"""
        return float(self.times.sum())


def least_times(asked: Asked, poses: Sequence[int]) -> Times | None:
    """Return the least times with the poses numbered alone; None where some place never gets there."""
    chosen = list(poses)
    rates = asked.rates[chosen] / asked.target
    if not (rates.max(axis=0) > 0.0).all():
        return None
    caps = asked.caps[chosen] / asked.most
    found = _solved(rates, caps, gives_way=False)
    excess = 1.0
    if found is None:
        found = _solved(rates, caps, gives_way=True)
        if found is None:
            return None
        excess = max(1.0, float((found @ caps).max()))
    times = np.zeros(len(asked.rates))
    times[chosen] = found
    return Times(times, excess)


def _solved(rates: Floats, caps: Floats, *, gives_way: bool) -> Floats | None:
    """Return the times; ``gives_way``: those that pass the caps least, and of these the shortest."""
    # so that the numbers are near 1 whatever the rates
    unit = 1.0 / float(rates.max())
    lower, upper = rates * unit, caps * unit
    count = len(lower)
    rows = sorted({int(pose.argmin()) for pose in lower} | {int(lower.max(axis=0).argmin())})
    capped = sorted({int(pose.argmax()) for pose in upper}) if upper.size else []
    for _ in range(ROUNDS):
        found = _small(lower[:, rows], upper[:, capped], gives_way=gives_way)
        if found is None:
            return None
        times, factor = found[:count], float(found[count]) if gives_way else 1.0
        reached = times @ lower
        low = int(reached.argmin())
        passed = times @ upper if upper.size else np.zeros(0)
        high = int(passed.argmax()) if passed.size else -1
        is_short = bool(reached[low] < 1.0 - SLACK) and low not in rows
        is_over = high >= 0 and bool(passed[high] > factor * (1.0 + SLACK)) and high not in capped
        if not is_short and not is_over:
            return np.asarray(times * unit)
        rows += [low] if is_short else []
        capped += [high] if is_over else []
    return None


def _small(lower: Floats, upper: Floats, *, gives_way: bool) -> Floats | None:
    count = len(lower)
    if not gives_way:
        a = np.vstack([-lower.T, upper.T])
        b = np.concatenate([-np.ones(lower.shape[1]), np.ones(upper.shape[1])])
        done = linprog(np.ones(count), A_ub=a, b_ub=b, method="highs")
        return np.asarray(done.x) if done.success else None
    # the factor by which caps are passed costs far more than time
    a = np.vstack(
        [
            np.hstack([-lower.T, np.zeros((lower.shape[1], 1))]),
            np.hstack([upper.T, -np.ones((upper.shape[1], 1))]),
        ]
    )
    b = np.concatenate([-np.ones(lower.shape[1]), np.zeros(upper.shape[1])])
    first = linprog([*np.zeros(count), 1.0], A_ub=a, b_ub=b, method="highs")
    if not first.success:
        return None
    least = float(first.x[-1]) * (1.0 + 1e-6)
    done = linprog([*np.ones(count), 0.0], A_ub=a, b_ub=b, bounds=[(0, None)] * count + [(0, least)], method="highs")
    return np.asarray(done.x) if done.success else np.asarray(first.x)


def best_times(asked: Asked, most_poses: int, always: int | None = None) -> Times | None:
    """Return the least times with at most so many poses; ``always`` is one that must be among those tried.

    Of two that pass the caps equally little the shorter is taken, of two as short the one with fewer poses.
    """
    count = len(asked.rates)
    best: Times | None = None
    for size in range(1, min(most_poses, count) + 1):
        for poses in combinations(range(count), size):
            if always is not None and always not in poses:
                continue
            found = least_times(asked, poses)
            if found is not None and (best is None or _better(found, best)):
                best = found
    return best


def _better(one: Times, other: Times) -> bool:
    if abs(one.excess - other.excess) > 1e-4:
        return one.excess < other.excess
    return one.total < other.total * (1.0 - 1e-9)
