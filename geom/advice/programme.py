"""Least time over several poses: a linear programme, and how far a cap must give way where none meets it.

    minimise sum t   with   sum_k t_k r_k(place) >= target,   sum_k t_k c_k(cap) <= most,   t >= 0

Solved by HiGHS (Huangfu and Hall, Math. Prog. Comp. 10 (2018) 119) through scipy. Of thousands of places only a few bind:
the programme begins with few rows and takes in the one it violates most, until it violates none.

With at most so many poses it is a search by branch and bound (Land and Doig, Econometrica 28 (1960) 497). What a set of poses
can do at best bounds all its subsets; where that best spends time in too many, every subset that is as good lacks one of them.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.optimize import linprog

from geom.arrays import Floats

SLACK = 1e-9
"""Relative violation of a row that is none."""

ROUNDS = 200

SPENT = 1e-9  # of the whole time: a pose with less is not used
SHORT = 0.01  # of the whole time: a stay in a pose that is not worth a turn


@dataclass(frozen=True, eq=False)
class Asked:
    """What the thickness must reach, and must not pass."""

    rates: Floats  # (poses, places) growth of local thickness where the target counts [m/s]
    target: float  # [m]
    caps: Floats  # (poses, caps) growth where a cap counts [m/s]
    most: Floats  # (caps,) [m]

    def excess(self, times: Floats) -> float:
        """Return by how many times (poses,) times [s] pass the tightest cap; 1 where all are kept."""
        return max(1.0, float((times @ self.caps / self.most).max())) if self.most.size else 1.0


@dataclass(frozen=True, eq=False)
class Times:
    """Times in each pose; ``excess`` is by how many times the tightest cap is passed, 1 where all are met."""

    times: Floats  # (poses,) [s]
    excess: float

    @property
    def total(self) -> float:
        """[s]"""
        return float(self.times.sum())

    @property
    def used(self) -> frozenset[int]:
        """Numbers of the poses that time is spent in."""
        return frozenset(int(k) for k in np.flatnonzero(self.times > SPENT * self.total))


Worth = Callable[[Times], bool]


class Programme:
    """One question, asked of many sets of poses: what was solved for one of them is kept for the others."""

    def __init__(self, asked: Asked) -> None:
        self.asked = asked
        self._solved: dict[frozenset[int], Times | None] = {}
        self._rows: set[int] = set()  # places that have bound so far
        self._capped: set[int] = set()

    @property
    def solves(self) -> int:
        """How many sets of poses were solved so far."""
        return len(self._solved)

    def least(self, poses: Iterable[int]) -> Times | None:
        """Return the least times with the poses numbered alone; None where some place never gets there."""
        key = frozenset(poses)
        if key not in self._solved:
            self._solved[key] = self._least(sorted(key))
        return self._solved[key]

    def best(self, most_poses: int, always: int | None = None, worth: Worth | None = None) -> Times | None:
        """Return the least times with at most so many poses, of those that are ``worth`` it.

        Of two that pass the caps equally little the shorter is taken, of two as short the one with fewer poses.

        Parameters
        ----------
        always : a pose that more than a short time must be spent in
        worth : what is not worth it must not become so with fewer poses
        """
        is_wanted = worth or (lambda found: True)
        best = self._search(most_poses, always, is_wanted)
        while best is not None and len(best.used) > 1:
            fewer = self._search(len(best.used) - 1, always, partial(_as_good, best=best))
            if fewer is None:
                break
            best = fewer
        return best

    def _search(self, size: int, always: int | None, is_wanted: Worth) -> Times | None:
        kept = frozenset(() if always is None else (always,))
        best: Times | None = None
        # poses that may be used, and those of them that must be
        nodes = [(frozenset(range(len(self.asked.rates))), kept)]
        while nodes:
            allowed, must = nodes.pop()
            found = self.least(allowed)
            if found is None or not (is_wanted(found) if best is None else _better(found, best)):
                continue
            uses = found.used
            if len(uses | kept) <= size and (always is None or found.times[always] >= SHORT * found.total):
                best = found
                continue
            branches = []
            for pose in sorted(uses - must, key=lambda k: float(found.times[k])):  # the least missed first
                branches.append((allowed - {pose}, must))
                must |= {pose}
                if len(must) > size:
                    break
            nodes += reversed(branches)
        return best

    def _least(self, poses: Sequence[int]) -> Times | None:
        chosen, asked = list(poses), self.asked
        rates = asked.rates[chosen] / asked.target
        if not chosen or not (rates.max(axis=0) > 0.0).all():
            return None
        caps = asked.caps[chosen] / asked.most
        found = self._meeting(rates, caps, gives_way=False)
        keeps = found is not None
        if found is None:
            found = self._meeting(rates, caps, gives_way=True)
        if found is None:
            return None
        times = np.zeros(len(asked.rates))
        times[chosen] = found
        return Times(times, 1.0 if keeps else asked.excess(times))

    def _meeting(self, rates: Floats, caps: Floats, *, gives_way: bool) -> Floats | None:
        """Return the times; ``gives_way``: those that pass the caps least, and of these the shortest."""
        # so that the numbers are near 1 whatever the rates
        unit = 1.0 / float(rates.max())
        lower, upper = rates * unit, caps * unit
        count = len(lower)
        self._rows |= {int(pose.argmin()) for pose in lower} | {int(lower.max(axis=0).argmin())}
        self._capped |= {int(pose.argmax()) for pose in upper} if upper.size else set()
        for turn in range(ROUNDS + 1):
            if turn == ROUNDS:  # hardly ever: then all at once
                self._rows, self._capped = set(range(lower.shape[1])), set(range(upper.shape[1]))
            found = _small(lower[:, sorted(self._rows)], upper[:, sorted(self._capped)], gives_way=gives_way)
            if found is None:
                return None
            times, factor = found[:count], float(found[count]) if gives_way else 1.0
            reached = times @ lower
            low = int(reached.argmin())
            passed = times @ upper if upper.size else np.zeros(0)
            high = int(passed.argmax()) if passed.size else -1
            is_short = bool(reached[low] < 1.0 - SLACK) and low not in self._rows
            is_over = high >= 0 and bool(passed[high] > factor * (1.0 + SLACK)) and high not in self._capped
            if not is_short and not is_over:
                break
            self._rows |= {low} if is_short else set()
            self._capped |= {high} if is_over else set()
        return np.asarray(times * unit)


def least_times(asked: Asked, poses: Sequence[int]) -> Times | None:
    """Return the least times with the poses numbered alone; None where some place never gets there."""
    return Programme(asked).least(poses)


def best_times(asked: Asked, most_poses: int, always: int | None = None) -> Times | None:
    """Return the least times with at most so many poses, as `Programme.best`."""
    return Programme(asked).best(most_poses, always)


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


def _better(one: Times, other: Times) -> bool:
    if abs(one.excess - other.excess) > 1e-4:
        return one.excess < other.excess
    return one.total < other.total * (1.0 - 1e-9)


def _as_good(one: Times, *, best: Times) -> bool:
    return not _better(best, one)
