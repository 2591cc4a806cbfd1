"""`Plan`: the whole answer. `make_plan` is the page a new developer reads first."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from geom.advice.accuracy import Accuracy
from geom.advice.copies import CopyResult, copy_results, over_copies, rack_advice
from geom.advice.coverage import Coverage, coverage, coverage_findings
from geom.advice.current import weighed_limits
from geom.advice.doubts import plan_findings
from geom.advice.features import bare_results, feature_results, with_air
from geom.advice.limit import Limit
from geom.advice.measures import (
    Strip,
    front_and_back,
    hottest_strip,
    kind_mean,
    ratio_percentiles,
    spread,
)
from geom.advice.schedule import Schedule, best_schedule, holds, schedule_findings
from geom.advice.surroundings import Surroundings, surroundings
from geom.advice.words import Advice, BareResult, FeatureResult, plan_advice
from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import Cell, Pose
from geom.deposit import Deposit, check_names, mean_growth_rate, plate, significant_panels
from geom.doubt.bands import Bands
from geom.doubt.planned import Planned, bands_findings, bands_of
from geom.errors import CellError, SolveError
from geom.feature import Kind
from geom.field import Field, Prepared, check_balance, solve_field
from geom.findings import Finding, Severity
from geom.hanging.hanging import Hanging, hanging_of
from geom.hanging.words import hanging_findings
from geom.job.hung import prepared_part
from geom.job.job import AskedPose, Demand, Job
from geom.options.recesses import RecessCheck, recess_checks
from geom.options.solved import Options, options_of
from geom.part.contacts import contact_findings
from geom.part.lighten import solvable
from geom.part.part import Part
from geom.refine import Chosen, Ground, Hangings, Level, refined, tolerance

Progress = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""

STAGES = ("as hung", "turned half round")
HUNG_AS = "hung as "
"""How the name of a stage begins that is spent in a pose with a name: what follows tells how to hang the part."""

OWN_POSE = "the job has it"
"""What the pose of a job is called in a plan that begins in another one."""


@dataclass(frozen=True, eq=False)
class Plan:
    """Everything a renderer shows; nothing is computed after this."""

    job: Job
    cell: Cell  # first pose, with every default filled in
    fields: tuple[Field, ...]  # one for each pose that was solved, the first first
    deposit: Deposit
    schedule: Schedule
    limits: tuple[Limit, ...]
    accuracy: Accuracy
    time_to_mean: float  # until the mean thickness meets the target, as hung [s]
    ratio: Mapping[str, float]  # p1 p10 p50 p90 p99 of local/mean current density, first pose
    thickness: Mapping[str, float]  # mean min p1 p10 p50 p90 p99 max [m]; min and max are means over 1 % of the area
    features: tuple[FeatureResult, ...]
    hottest_strip: Strip | None  # first pose
    edge_to_face: float | None  # mean current density of the edges / of the broad faces, first pose
    front_to_back: float | None  # broad faces toward the anode / away from it, first pose
    advice: tuple[Advice, ...]
    findings: tuple[Finding, ...]
    copies: tuple[CopyResult, ...] = ()  # parts on the rack; none for a part that hangs alone
    hanging: Hanging | None = (
        None  # what one part holds back as first hung; half a turn about the vertical changes nothing
    )
    bare: tuple[BareResult, ...] = ()  # what is stopped off, plugged or under a contact
    coverage: Coverage | None = None  # how it lies in the bath's range, first pose
    recesses: tuple[RecessCheck, ...] = ()  # holes, slots, insides, inside bends
    options: Options | None = None  # other ways to do it, where they were asked for
    bands: Bands | None = None  # what the ranges of the inputs make of it; None where that cannot be solved
    surroundings: Surroundings | None = None  # supply, wires, bath and anodes

    @property
    def current(self) -> float:
        """Current to set: into part and thieves [A]."""
        return self.fields[0].total_current

    @property
    def current_is_given(self) -> bool:
        """Did the user fix current or voltage? Then no limit binds."""
        return self.job.target.is_fixed

    @property
    def voltage(self) -> float:
        """Voltage to expect between anode and part, as hung [V]."""
        return self.fields[0].voltage

    @property
    def time(self) -> float:
        """Whole schedule, until the lowest local thickness on the significant surface meets the target [s]."""
        return self.deposit.time

    @property
    def wetted_area(self) -> float:
        """What is wet and plated: by formula where the part has dimensions, cut at the waterline [m²]."""
        return self._over_features(1.0)

    @property
    def true_area(self) -> float:
        """The wetted area with the factors of threads and roughness [m²]."""
        return self._over_features(None)

    def _over_features(self, factor: float | None) -> float:
        wetted = self.fields[0].panels.wetted_areas
        pairs = zip(self.cell.part.features, wetted, strict=True)
        return math.fsum(float(area) * (factor or f.factor) for f, area in pairs if f.is_plated)

    @property
    def minimum_local_thickness(self) -> float:
        """Lowest local thickness on the significant surface after the schedule [m]."""
        return float(self.deposit.local_thickness[self.deposit.significant].min())


def make_plan(job: Job, *, progress: Progress | None = None, options: bool = False) -> Plan:
    """Work out current, voltage, time and turning for one job, as surely as it asks.

    ``options``: solve other ways to do it too, which takes several times as long.
    Where other poses without that of the job seem to do it sooner, the job is planned so hung too, and taken if that holds.

    Raises
    ------
    GeomError
        where the part, the set-up or the solve cannot be.
    """
    say = progress or (lambda stage, share: None)
    plan = planned(job, say).plan
    if not options:
        return plan
    target = plan.job.target
    found = options_of(plan.cell, plan.current, target.thickness, target.significant, plan.features, say)
    return replace(plan, options=found)


@dataclass(frozen=True, slots=True)
class Rehung:
    """A pose that a plan begins in instead of that of the job."""

    name: str  # what follows `HUNG_AS`
    rack: Part | None  # all parts on the rack, as the job has them there; None: the job itself tells


@dataclass(frozen=True, eq=False)
class Worked:
    """A plan with the panels that it, and what was weighed against it, was made on: those of the job's own pose first."""

    plan: Plan
    grounds: tuple[Ground, ...]


Again = Callable[[Job, Rehung], Worked | None]
"""Plans a job hung in another pose from the start."""


def planned(job: Job, say: Progress, rehung: Rehung | None = None, *, room: int = 0) -> Worked:
    """Return the plan of a job; ``rehung``: its pose is another one already, and the plan begins in it.

    ``room`` is for how many poses beside the first what is prepared of them is kept.
    """
    say("building the part", 0.0)
    rack = None if rehung is None else rehung.rack
    cell = build_cell(
        solvable(prepared_part(job)) if rack is None else rack,
        job.bath,
        tank=job.tank,
        anodes=job.anodes,
        pose=job.pose,
        rack=job.rack if rack is None else None,
        shields=job.shields,
        thieves=job.thieves,
    )
    check_asked(job, cell.part)
    choose = partial(chosen_current, job)
    level, accuracy = refined(cell, job.demand, choose, job.target.significant, say)
    check_balance(level.field)
    say("solving the other poses", 0.8)
    ground = Ground(job, level, accuracy, Hangings(level, room))
    return on_ground(job, level, ground, say, rehung, lambda hung, how: planned(hung, say, how, room=room))


def check_asked(job: Job, part: Part) -> None:
    """Refuse names of features that the part has not."""
    check_names(part, job.target.significant)
    for fit in job.turns.fits:
        check_names(part, (fit.feature,), where="[[schedule.fit]] feature")


def on_ground(
    job: Job,
    level: Level,
    ground: Ground,
    say: Progress,
    rehung: Rehung | None,
    again: Again,
    *,
    with_bands: bool = True,
) -> Worked:
    """Return the plan of a job whose first pose is solved; ``level``: on the panels of the ground, which need not hang so."""
    first, cell = level.field, level.prepared.cell
    second = other_pose(level, ground, job.demand)
    others, left_out = asked_poses(job, level, ground)
    say("timing", 0.95)
    significant = significant_panels(cell.part, first.panels, job.target.significant)
    timed = partial(
        best_schedule, first, second, significant, job.target.thickness, tuple(field for _, field in others)
    )
    fields = (first, *([] if second is None else [second]), *(field for _, field in others))
    names = (
        STAGES[0] if rehung is None else f"{HUNG_AS}{rehung.name}",
        *STAGES[1 : 1 if second is None else 2],
        *(f"{HUNG_AS}{pose.name}" for pose, _ in others),
    )
    grounds: tuple[Ground, ...] = (replace(ground, fields=fields),)
    schedule = timed(job.turns, begun=rehung is not None)
    if not schedule.uses_first:
        found = planned_otherwise(job, fields, schedule, names, again)
        # the panels are made for the pose they were first hung in: what the others seem to gain there need not hold
        schedule = timed(job.turns, begun=True)
        if found is not None:
            other, grounds = found.plan, (*grounds, *found.grounds)
            alike = timed(replace(job.turns, most_turns=other.schedule.turns), begun=True)
            if holds(other.schedule, alike, schedule):
                other = replace(other, findings=(hung_other_way(other, schedule), *other.findings, *left_out))
                return Worked(other, grounds)
    deposit = plate(fields, schedule.times(len(fields)), names, significant)
    plan = assembled_plan(job, cell, fields, deposit, schedule, level, ground.accuracy, with_bands=with_bands)
    say("done", 1.0)
    return Worked(replace(plan, findings=(*plan.findings, *left_out)), grounds)


def chosen_current(job: Job, prepared: Prepared, before: Level | None) -> Chosen:
    """Return the limits weighed, the control to plate under, and a field to begin its solve from.

    ``before`` may be a level of the same panels: its field is near then.
    """
    known = () if before is None else before.limits
    near = None if before is None or len(before.field.panels.body) != len(prepared.panels.body) else before.field
    limits, near = weighed_limits(prepared, job.supply, known, job.bench, near)
    return controlled(job, limits, near)


def controlled(job: Job, limits: tuple[Limit, ...], near: Field) -> Chosen:
    """Return weighed limits with the control that they, or the job, put on the current."""
    if not job.target.is_fixed:
        return limits, Current(min(limit.value for limit in limits)), near
    unbound = tuple(replace(limit, binds=False) for limit in limits)
    if job.target.current is not None:
        return unbound, Current(job.target.current), near
    return unbound, Voltage(float(job.target.voltage or 0.0)), near


def asked_poses(
    job: Job, level: Level, ground: Ground
) -> tuple[tuple[tuple[AskedPose, Field], ...], tuple[Finding, ...]]:
    """Return the poses that the job asks to weigh with their fields, and a warning for each that cannot be."""
    found, left_out = [], []
    first = level.prepared.cell.pose
    for asked in job.turns.poses:
        pose = replace(first, turn=asked.turn, at=first.at if asked.at is None else asked.at)
        field = field_in_pose(level, ground, job.demand, pose)
        if field is not None:
            found.append((asked, field))
            continue
        text = f"{asked.name} was not weighed: the part does not fit that way, or another part of it would be in the liquid"
        left_out.append(Finding(Severity.WARNING, "pose-left-out", text))
    return tuple(found), tuple(left_out)


def other_pose(level: Level, ground: Ground, demand: Demand) -> Field | None:
    """Return the field with the part turned half round about the vertical, at the same current; None: it cannot be."""
    pose = level.prepared.cell.pose
    x, y, z = pose.turn
    return field_in_pose(level, ground, demand, replace(pose, turn=(x, y, z + np.pi)))


def field_in_pose(level: Level, ground: Ground, demand: Demand, pose: Pose) -> Field | None:
    """Return the field with the part in another pose, at the same current.

    None where the part does not fit that way, or another surface would be wet.
    """
    moved = ground.hung.at(level.prepared.cell, pose)
    if moved is None:
        return None
    first, known = level.field, ground.field_on(moved.panels)
    if known is not None and first.solution is ground.fields[0].solution:  # nothing that it hangs on has changed
        return replace(known, cell=moved.cell)
    alike = len(moved.panels.body) == len(first.panels.body)  # then the first field is a fair place to begin
    start = known or (first if alike else None)
    return solve_field(moved, Current(first.total_current), start=start, tolerance=tolerance(demand))


def planned_otherwise(
    job: Job, fields: tuple[Field, ...], schedule: Schedule, names: tuple[str, ...], again: Again
) -> Worked | None:
    """Return the plan that begins in the pose of a schedule that most time is spent in; None where it cannot be made.

    It weighs that pose, half a turn from it, and the other poses of the schedule.
    """
    times = schedule.times(len(fields))
    longest = int(np.argmax(times))
    is_half_turn = len(fields) - len(schedule.others) == 2
    poses = [field.cell.pose for field in fields]
    called = [name.removeprefix(HUNG_AS) for name in names]
    called[0] = OWN_POSE
    if is_half_turn:  # by the name that the job has for it, where it has one
        alike = (name for name, pose in zip(called[2:], poses[2:], strict=True) if is_same_pose(pose, poses[1]))
        called[1] = next(alike, f"{OWN_POSE}, turned half round about the vertical")
    asked = tuple(
        AskedPose(called[k], poses[k].turn, poses[k].at) for k, time in enumerate(times) if time > 0 and k != longest
    )
    is_turned = is_half_turn and longest == 1
    weighed = replace(job, turns=replace(job.turns, poses=asked))
    hung = rehung_job(weighed, fields[0].cell, poses[longest], is_half_turned=is_turned)
    rack = fields[0].cell.part if job.rack is not None and not is_turned else None
    try:
        return again(hung, Rehung(called[longest], rack))
    except (CellError, SolveError):
        return None


def is_same_pose(one: Pose, other: Pose) -> bool:
    """Does the part hang alike in both, to less than can be set?"""
    turns, places = np.abs(one.rotation - other.rotation), np.abs(np.subtract(one.at, other.at))
    return bool(turns.max() < 1e-6 and places.max() < 1e-6)


def rehung_job(job: Job, cell: Cell, pose: Pose, *, is_half_turned: bool) -> Job:
    """Return the job with the part hung in another pose from the start, in the cell that was built for its own.

    A rack goes half round as a whole, so that its parts keep their numbers.
    """
    x, y, z = pose.turn
    pose = replace(pose, turn=(x, y, z % (2 * np.pi)))
    rack = job.rack.half_turned if job.rack is not None and is_half_turned else job.rack
    return replace(job, tank=cell.tank, anodes=cell.anodes if job.anodes is None else job.anodes, pose=pose, rack=rack)


def hung_other_way(plan: Plan, begun: Schedule) -> Finding:
    """Return what to say of a plan that hangs the part otherwise; ``begun`` is the best that begins in the job's own pose."""
    first = plan.deposit.stages[0].name.removeprefix(HUNG_AS)
    own = f"begun as the job has it {begun.time / 60:.0f} min" if begun.time < math.inf else "as the job has it never"
    caps = ""
    if begun.excess > plan.schedule.excess * 1.01:
        caps = f", and the tightest cap on thickness would be passed {begun.excess:.2f} times"
    return Finding(
        Severity.WARNING,
        "hung-other-way",
        f"this plan hangs the part from the start as {first}, not in the pose of the job: that way {plan.deposit.time / 60:.0f} min "
        f"do, {own}{caps}. Current, voltage and all that is told as first hung are those of that pose",
    )


def assembled_plan(
    job: Job,
    cell: Cell,
    fields: tuple[Field, ...],
    deposit: Deposit,
    schedule: Schedule,
    level: Level,
    accuracy: Accuracy,
    *,
    with_bands: bool = True,
) -> Plan:
    """Read every figure off the fields and the deposit, and put it into words."""
    first = fields[0]
    sides = front_and_back(first)
    faces, edges = (kind_mean(first, cell.part, kinds) for kinds in ((Kind.FACE,), (Kind.EDGE, Kind.END)))
    hanging = hanging_of(cell)
    features = with_air(feature_results(cell.part, first, deposit, job.target.thickness), hanging.under_air)
    copies = copy_results(first, deposit, () if job.rack is None else job.rack.names)
    strip = hottest_strip(first)
    front_to_back = None if sides is None else sides[0] / sides[1]
    times = schedule.times(len(fields))
    within = coverage(first, deposit.significant)
    round_about = surroundings(job, fields, times, deposit, level.prepared)
    shares = spread(deposit.quarters.reshape(-1), np.repeat(deposit.true_areas / 4, 4))
    findings = [
        *coverage_findings(within, first.total_current),
        *schedule_findings(schedule),
        *round_about.findings,
        *contact_findings(cell.part.features, first.panels.wetted_areas),
        *hanging_findings(hanging, cell.part.area_of_each),
        *plan_findings(job.supply, first, deposit, strip, schedule, accuracy, job.bench.stirred),
    ]
    edge_to_face = None if faces is None or edges is None else edges / faces
    known = Planned(job.target, fields, times, deposit, shares, features, edge_to_face, front_to_back, accuracy)
    doubted = bands_of(known, level) if with_bands else None
    return Plan(
        job=job,
        cell=cell,
        fields=fields,
        deposit=deposit,
        schedule=schedule,
        limits=level.limits,
        accuracy=accuracy,
        time_to_mean=job.target.thickness / mean_growth_rate(first),
        ratio=ratio_percentiles(first),
        thickness=shares,
        features=features,
        hottest_strip=strip,
        edge_to_face=edge_to_face,
        front_to_back=front_to_back,
        advice=(
            *plan_advice(first, deposit, schedule, over_copies(features), strip, front_to_back, job.target.thickness),
            *rack_advice(copies),
        ),
        findings=(
            *job.findings,
            *cell.part.findings,
            *cell.findings,
            *first.panels.findings,
            *findings,
            *bands_findings(doubted, job.target.thickness),
        ),
        copies=copies,
        hanging=hanging,
        bare=bare_results(cell.part, first),
        coverage=within,
        recesses=recess_checks(over_copies(features), first, deposit.time, shares["max"]),
        bands=doubted,
        surroundings=round_about,
    )
