"""Ways to hang a part side by side: what each costs, which are worth a thought, and whether one of them wins."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import anode_solid, part_solid
from geom.cell.cell import BoxTank, Cell, Pose
from geom.errors import GeomError, JobError
from geom.findings import Severity
from geom.job.job import AskedPose, Job
from geom.kept import Kept, in_poses, make_kept, what_if
from geom.plan import Plan, planned
from geom.poses.candidates import Candidate, candidates, own_name
from geom.surface.solid import clearance

FAR = 1.0  # beyond which a distance is not looked at [m]
MIXED = 3  # of the best poses that the schedule over several is made of

ANEW = 4  # of the first, at most, that are planned anew
NEAR = 1.5  # of the least time: what takes longer is not

ELSEWHERE = 0.5
"""Of the accuracy asked: the least error of a time on panels that were made for another pose. Two levels of panels are
compared in the job's own pose alone; docs/poses.md has what this was measured against."""

Say = Callable[[str, float], None]


@dataclass(frozen=True, eq=False)
class Hung:
    """One way to hang the part, with the plan of it; turning half round within it is the plan's to weigh."""

    name: str
    pose: Pose
    plan: Plan | None  # None where it cannot be
    why_not: str = ""
    to_anode: float = 0.0  # least distance [m]
    to_wall: float = 0.0  # least distance to wall or floor, by the bounding box [m]
    own_panels: bool = False  # planned on panels made for this very pose

    @property
    def time(self) -> float:
        """Until the target, turns of the plan included [s]."""
        return float("inf") if self.plan is None else self.plan.time

    @property
    def spread(self) -> float:
        """Thickest over thinnest on the significant surface, means over about 1 cm², after the schedule."""
        if self.plan is None:
            return float("inf")
        local = self.plan.deposit.local_thickness[self.plan.deposit.significant]
        least = float(local.min())
        return float(local.max()) / least if least > 0 else float("inf")

    @property
    def trapped(self) -> float:
        """Air that surely stays under it [m³]."""
        return 0.0 if self.plan is None or self.plan.hanging is None else self.plan.hanging.trapped_volume

    @property
    def carried(self) -> float:
        """Bath that surely comes out with it [m³]."""
        return 0.0 if self.plan is None or self.plan.hanging is None else self.plan.hanging.cup_volume

    @property
    def bare(self) -> float:
        """Share of the significant surface that stays next to bare, as first hung."""
        return 0.0 if self.plan is None or self.plan.coverage is None else self.plan.coverage.significant.bare

    @property
    def burnt(self) -> float:
        """Share of the significant surface over the bath's range, as first hung."""
        return 0.0 if self.plan is None or self.plan.coverage is None else self.plan.coverage.significant.over

    @property
    def is_stopped(self) -> bool:
        """Has its plan a finding that forbids it?"""
        return self.plan is not None and any(f.severity == Severity.STOP for f in self.plan.findings)

    @property
    def error(self) -> float:
        """Numerical error of the time, relative."""
        if self.plan is None:
            return 0.0
        known = self.plan.accuracy
        return known.thinnest if self.own_panels else max(known.thinnest, ELSEWHERE * known.wanted)

    @property
    def costs(self) -> tuple[float, ...]:
        """What is better the less of it: time, spread, air, bath, bare, burnt."""
        return (self.time, self.spread, self.trapped, self.carried, self.bare, self.burnt)


@dataclass(frozen=True, eq=False)
class Compared:
    """All ways that were weighed, in order: first what holds no air and has no finding that stops it, then by time."""

    job: Job
    hung: tuple[Hung, ...]
    front: frozenset[int]  # those that no other betters in one thing without being worse in another
    winner: int | None  # None: no clear winner
    mixed: Plan | None  # the schedule over the best of them, where it pays

    @property
    def rivals(self) -> tuple[int, ...]:
        """Those that the first does not beat by more than the numerical error, itself among them."""
        first = self.hung[0]
        return tuple(k for k, one in enumerate(self.hung) if one.plan is not None and not _beats(first, one))


def compared_poses(job: Job, say: Say, *, asked: Sequence[AskedPose] = ()) -> Compared:
    """Weigh ways to hang the part of a job, on the panels of its own pose: those asked for, or a set made of its sides.

    Raises
    ------
    JobError
        "poses-rack": for a rack, which hangs as it is built.
    GeomError
        where the job's own pose cannot be planned.
    """
    if job.rack is not None:
        text = "a rack is hung as it is built: the poses of one part are compared, without [rack]"
        raise JobError("poses-rack", text, where="[rack]", hint="take [rack] out of a copy of the job")
    kept = make_kept(job, progress=lambda stage, share: say(stage, 0.4 * share))
    cell = kept.plan.cell
    found = (
        _asked(cell, asked) if asked else candidates(cell, kept.plan.fields[0].panels, kept.plan.deposit.significant)
    )
    hung = []
    for count, one in enumerate(found):
        say(f"pose {count + 1} of {len(found)}", 0.4 + 0.25 * count / len(found))
        hung.append(_hung(kept, one, own_panels=count == 0))
    ordered = _surer(kept, sorted(hung, key=_order), say)
    say("the best of them together", 0.95)
    return Compared(job, ordered, _front(ordered), _winner(ordered), _mixed(kept, ordered))


def _asked(cell: Cell, asked: Sequence[AskedPose]) -> tuple[Candidate, ...]:
    own = Candidate(own_name(cell), cell.pose)
    return (own, *(Candidate(one.name, Pose(one.turn, cell.pose.at if one.at is None else one.at)) for one in asked))


def _hung(kept: Kept, candidate: Candidate, *, own_panels: bool) -> Hung:
    """Return a pose with its plan, at the height where as much liquid stands over the part as in the job's own."""
    cell = kept.plan.cell
    pose = candidate.pose if own_panels else _lowered(cell, candidate.pose)
    plan: Plan | GeomError = kept.plan if own_panels else in_poses(kept, [_with_pose(kept.job, cell, pose)])[0]
    if isinstance(plan, GeomError):
        return Hung(candidate.name, pose, None, plan.message)
    if plan.cell.pose != pose and not own_panels:  # it was planned half turned, or otherwise, from the start
        pose = plan.cell.pose
    return Hung(candidate.name, pose, plan, "", *_distances(plan.cell), own_panels=own_panels)


def _surer(kept: Kept, hung: Sequence[Hung], say: Say) -> tuple[Hung, ...]:
    """Return all in order, those that may be first planned anew: on panels made for another pose none is sure enough."""
    first = hung[0]
    if first.plan is None:
        return tuple(hung)
    chosen = [
        one for one in hung if one.plan is not None and (_is_plated_alike(one, first) and one.time <= NEAR * first.time)
    ][:ANEW]
    found = []
    for count, one in enumerate(chosen):
        say(f"planning anew {count + 1} of {len(chosen)}", 0.65 + 0.3 * count / len(chosen))
        found.append(_anew(kept, one))
    return tuple(sorted([*found, *(one for one in hung if one not in chosen)], key=_order))


def _is_plated_alike(one: Hung, other: Hung) -> bool:
    return (one.is_stopped, one.trapped > 0) == (other.is_stopped, other.trapped > 0)


def _anew(kept: Kept, one: Hung) -> Hung:
    """Return a pose with a plan on panels of its own; as it is where that cannot be made."""
    if one.own_panels:
        return one
    try:
        plan = planned(_with_pose(kept.job, kept.plan.cell, one.pose), _silent).plan
    except GeomError:
        return one
    return Hung(one.name, plan.cell.pose, plan, "", *_distances(plan.cell), own_panels=True)


def _silent(stage: str, share: float) -> None:
    pass


def _with_pose(job: Job, cell: Cell, pose: Pose) -> Job:
    """Return the job hung otherwise in the very tank that its own pose was built in."""
    anodes = cell.anodes if job.anodes is None else job.anodes
    return replace(job, pose=pose, tank=cell.tank, anodes=anodes, turns=replace(job.turns, poses=()))


def _lowered(cell: Cell, pose: Pose) -> Pose:
    """Return the pose with its top as deep under the liquid as that of the cell's own pose."""
    own, other = (_heights(cell, one) for one in (cell.pose, pose))
    x, y, _ = pose.at
    return Pose(pose.turn, (x, y, cell.pose.at[2] + (own - other) / 2))


def _heights(cell: Cell, pose: Pose) -> float:
    low, high = part_solid(cell.part, pose).bounds
    return float(high[2] - low[2])


def _distances(cell: Cell) -> tuple[float, float]:
    """Return the least distance of the part to an anode, and of its bounding box to wall or floor [m]."""
    part = part_solid(cell.part, cell.pose)
    gaps = [clearance(part, anode_solid(anode, cell.tank), FAR) for anode in cell.anodes]
    low, high = part.bounds
    half = _half(cell)
    sides = [*(half - np.abs(np.stack([low[:2], high[:2]])).max(axis=0)), float(low[2])]
    return min(gaps), float(min(sides))


def _half(cell: Cell) -> Floats:
    tank = cell.tank
    sides = (tank.length, tank.width) if isinstance(tank, BoxTank) else (tank.diameter, tank.diameter)
    return np.asarray(sides) / 2


def _order(one: Hung) -> tuple[bool, bool, bool, float, float]:
    return (one.plan is None, one.is_stopped, one.trapped > 0, one.time, one.spread)


def _front(hung: Sequence[Hung]) -> frozenset[int]:
    """Return which are bettered by no other; times and spreads within the numerical error count as one."""
    possible = [k for k, one in enumerate(hung) if one.plan is not None]
    return frozenset(k for k in possible if not any(_betters(hung[j], hung[k]) for j in possible if j != k))


def _betters(one: Hung, other: Hung) -> bool:
    """Is one no worse than the other in anything, and clearly better in something?"""
    slack = one.error + other.error
    sure = [(a * (1 + slack) < b, a <= b * (1 + slack)) for a, b in zip(one.costs, other.costs, strict=True)]
    return one.is_stopped <= other.is_stopped and all(fair for _, fair in sure) and any(less for less, _ in sure)


def _beats(one: Hung, other: Hung) -> bool:
    """Does one come before the other by more than the numerical error?"""
    ranks = (one.is_stopped, one.trapped > 0), (other.is_stopped, other.trapped > 0)
    if ranks[0] != ranks[1]:
        return ranks[0] < ranks[1]
    return one.time * (1 + one.error + other.error) < other.time


def _winner(hung: Sequence[Hung]) -> int | None:
    """Return the first, where it beats all others by more than the numerical error."""
    possible = [one for one in hung if one.plan is not None]
    if not possible or not all(_beats(possible[0], one) for one in possible[1:]):
        return None
    return 0


def _mixed(kept: Kept, hung: Sequence[Hung]) -> Plan | None:
    """Return the plan that may spend time in each of the best poses; None where one of them alone does as well."""
    best = [one for one in hung if one.plan is not None and not one.is_stopped and one.trapped == 0][:MIXED]
    if len(best) < 2:
        return None
    cell = kept.plan.cell
    first, *others = best
    job = _with_pose(kept.job, cell, first.pose)
    poses = tuple(AskedPose(one.name, one.pose.turn, one.pose.at) for one in others)
    try:
        plan = what_if(kept, replace(job, turns=replace(job.turns, poses=poses)))
    except GeomError:
        return None
    return plan if plan.time < first.time * (1 - first.error) and len(plan.deposit.stages) > 1 else None
