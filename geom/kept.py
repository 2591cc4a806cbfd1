"""`Kept`: a plan with its panels and operators, so that other currents, baths, targets and poses are a few solves away."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import partial

from geom.advice.current import AT_MEAN, AT_STRIP
from geom.advice.limit import Limit
from geom.cell.build import build_cell
from geom.cell.cell import Anode, Cell, Immersed, InnerWire, Pose, WireAnode
from geom.errors import GeomError, JobError
from geom.field import Prepared, check_balance, solve_field
from geom.job.job import Job
from geom.plan import (
    Plan,
    Progress,
    Rehung,
    Worked,
    check_asked,
    chosen_current,
    controlled,
    is_same_pose,
    on_ground,
    planned,
)
from geom.refine import Chosen, Ground, Level, lawless, tolerance

POSES = 8
"""Beside the first, of which what is prepared is kept: those asked for last."""

Asked = tuple[Anode | InnerWire, ...]
"""Anodes as a job has them."""

CellOf = Callable[[Ground, Job], Cell]

MATRIX_BYTES = 4  # of one number of an operator


@dataclass(frozen=True, eq=False)
class Kept:
    """A plan, and the panels that it was made on with all that was prepared on them.

    Only the poses that are kept change, when one more is asked for.
    """

    job: Job
    plan: Plan
    grounds: tuple[Ground, ...]  # of the pose of the job, and of the one that was weighed instead of it

    @property
    def size(self) -> int:
        """About how much memory the operators take [bytes]; what poses share counts once."""
        stored = [one.operators for ground in self.grounds for one in ground.hung.prepared]
        pairs = {id(pair): pair.entries for one in stored for row in one.pairs for pair in row}
        near = sum(one.near_double.nbytes + one.near_single.nbytes for one in stored)
        return MATRIX_BYTES * sum(pairs.values()) + near


def make_kept(job: Job, *, progress: Progress | None = None) -> Kept:
    """Work out a job as `geom.plan.make_plan` does, and keep what the next question needs.

    Raises
    ------
    GeomError
        where the part, the set-up or the solve cannot be.
    """
    worked = planned(job, progress or _silent, room=POSES)
    return Kept(job, worked.plan, worked.grounds)


def what_if(kept: Kept, job: Job) -> Plan:
    """Return the plan of a job with the same part on the panels that are kept: other current, bath, target, supply, pose.

    It is what a whole plan would be on these panels, without bands; how sure its figures are is told as of the kept one.
    What a change does not touch is not solved again. With another pose tank and anodes may be others too.

    Raises
    ------
    JobError
        ``what-if-geometry`` where the part is another one, or tank, anodes, shields or thieves moved.
    GeomError
        where the set-up or the solve cannot be.
    """
    _check_part(kept.job, job)
    return _on(kept, kept.grounds[0], job, None).plan


def set_up_otherwise(kept: Kept, job: Job) -> Plan:
    """Return `what_if` of a job whose tank, anodes, shields and thieves may have moved too: for looking round a placing.

    A rack keeps its turn.

    Raises
    ------
    GeomError
        where the set-up or the solve cannot be.
    """
    _check_part(kept.job, job)
    return _on(kept, kept.grounds[0], job, None, _built).plan


def in_poses(kept: Kept, jobs: Iterable[Job]) -> tuple[Plan | GeomError, ...]:
    """Return `what_if` of each job, or what is wrong with it: for comparing ways to hang a part."""
    found: list[Plan | GeomError] = []
    for job in jobs:
        try:
            found.append(what_if(kept, job))
        except GeomError as error:
            found.append(error)
    return tuple(found)


def _on(kept: Kept, ground: Ground, job: Job, rehung: Rehung | None, cell_of: CellOf | None = None) -> Worked:
    """Return the plan of a job on one ground; ``cell_of``: another way to the cell than `_cell_of`."""
    cell = (cell_of or _cell_of)(ground, job)
    check_asked(job, cell.part)
    prepared = ground.hung.at(cell, cell.pose)
    if prepared is None:
        raise _other_geometry("hung so, another part of the surface is in the liquid", "[pose]")
    level = _level(ground, job, replace(prepared, cell=cell))
    check_balance(level.field)
    return on_ground(job, level, ground, _silent, rehung, partial(_again, kept, cell_of), with_bands=False)


def _again(kept: Kept, cell_of: CellOf | None, job: Job, rehung: Rehung) -> Worked | None:
    """Return the plan of a job hung otherwise from the start: on panels made for that pose, where there are some."""
    for ground in () if cell_of else kept.grounds[1:]:
        if _is_hung_alike(ground.job.pose, job.pose):
            return _on(kept, ground, job, rehung)
    return None if job.rack is not None else _on(kept, kept.grounds[0], job, rehung, cell_of)


def _level(ground: Ground, job: Job, prepared: Prepared) -> Level:
    """Return the level of a ground under the current, the bath and the supply of a job."""
    old = ground.level
    limits, control, near = _chosen(ground, job, prepared)
    is_solved = near.solution is old.field.solution and control == old.control
    if not is_solved or job.demand.accuracy != ground.job.demand.accuracy:
        near = solve_field(prepared, control, start=near, tolerance=tolerance(job.demand))
    return replace(old, prepared=prepared, limits=limits, control=control, field=near)


def _chosen(ground: Ground, job: Job, prepared: Prepared) -> Chosen:
    """Return limits and control; limits are weighed again only where something that they hang on has changed."""
    old = ground.level
    if prepared.panels is old.prepared.panels and _flows_alike(ground, job, prepared.cell):
        least = min(old.limits, key=lambda limit: limit.value)
        limits = tuple(replace(limit, binds=limit is least) for limit in old.limits)
        return controlled(job, limits, replace(old.field, cell=prepared.cell))
    field = ground.field_on(prepared.panels) or old.field
    return chosen_current(job, prepared, replace(old, field=field, limits=_hints(ground, job)))


def _hints(ground: Ground, job: Job) -> tuple[Limit, ...]:
    """Return where to look for the limits first: those that go with the range of the bath, gone along with it."""
    old, new = ground.job.bath.current_density, job.bath.current_density
    shares = {AT_MEAN: new.typical / old.typical, AT_STRIP: new.high / old.high}
    return tuple(replace(one, value=one.value * shares[one.name]) for one in ground.level.limits if one.name in shares)


def _flows_alike(ground: Ground, job: Job, cell: Cell) -> bool:
    """Is everything the same that limits and fields hang on, at one control?"""
    laws, old_laws = ([anode.law for anode in one.anodes] for one in (cell, ground.level.prepared.cell))
    old = ground.job
    return laws == old_laws and (old.bath, old.supply, old.bench) == (job.bath, job.supply, job.bench)


def _check_part(old: Job, new: Job) -> None:
    """Refuse another part, or the same one prepared otherwise."""
    parts = {
        "[part]": "shape",
        "[[mask]]": "masks",
        "[[thread]]": "threads",
        "[part] roughness": "roughness",
        "[rack]": "rack",
    }
    for where, name in parts.items():
        if getattr(old, name) != getattr(new, name):
            raise _other_geometry("the part is another one, or prepared otherwise", where)


def _cell_of(ground: Ground, job: Job) -> Cell:
    """Return the cell of a job: that of the ground under its bath and laws, or one that is built where it hangs otherwise."""
    old, cell = ground.job, ground.level.prepared.cell
    if _is_hung_alike(old.pose, job.pose):
        pairs = {
            "[tank]": (old.tank, job.tank),
            "[[anode]]": (_bodies(old.anodes), _bodies(job.anodes)),
            "[[shield]]": (old.shields, job.shields),
            "[[thief]]": (old.thieves, job.thieves),
        }
        for where, (one, other) in pairs.items():
            if one != other:
                raise _other_geometry("the tank, or what stands in it, is another one", where)
        return replace(cell, bath=job.bath, anodes=_under_laws(cell.anodes, job.anodes))
    if job.rack is not None:
        raise _other_geometry("a rack that is hung otherwise holds its parts otherwise", "[pose]")
    return _built(ground, job)


def _built(ground: Ground, job: Job) -> Cell:
    """Return the cell of a job with the part of the ground, of a rack as it is turned there."""
    return build_cell(
        ground.level.prepared.cell.part,
        job.bath,
        tank=job.tank,
        anodes=job.anodes,
        pose=job.pose,
        shields=job.shields,
        thieves=job.thieves,
    )


def _is_hung_alike(one: Pose | Immersed | None, other: Pose | Immersed | None) -> bool:
    return is_same_pose(one, other) if isinstance(one, Pose) and isinstance(other, Pose) else one == other


def _bodies(anodes: Asked | None) -> tuple[Anode | InnerWire, ...] | None:
    return None if anodes is None else tuple(lawless(anode) for anode in anodes)


def _under_laws(anodes: tuple[Anode, ...], asked: Asked | None) -> tuple[Anode, ...]:
    """Return anodes where they stand with the laws of those asked for; a wire inside the part has that of its kind."""
    laws = {lawless(anode): anode.law for anode in asked or ()}
    kinds = [anode.inner if isinstance(anode, WireAnode) and anode.inner is not None else anode for anode in anodes]
    known = [laws.get(lawless(kind), anode.law) for kind, anode in zip(kinds, anodes, strict=True)]
    return tuple(replace(anode, law=law) for anode, law in zip(anodes, known, strict=True))


def _other_geometry(what: str, where: str) -> JobError:
    hint = "work the job out anew"
    return JobError(
        "what-if-geometry", f"the panels of the plan at hand do not serve this: {what}", where=where, hint=hint
    )


def _silent(stage: str, share: float) -> None:
    """Tell nobody how far it is."""
