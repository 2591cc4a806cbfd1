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
from geom.advice.schedule import WORTH_TURNING, Schedule, best_schedule, one_pose, schedule_findings
from geom.advice.surroundings import Surroundings, surroundings
from geom.advice.words import Advice, BareResult, FeatureResult, plan_advice
from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import Cell, Pose
from geom.deposit import Deposit, check_names, mean_growth_rate, plate, significant_panels
from geom.doubt.bands import Bands
from geom.doubt.planned import Planned, bands_findings, bands_of
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
from geom.refine import Level, posed, refined, tolerance

Progress = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""

STAGES = ("as hung", "turned half round")
HUNG_AS = "hung as "
"""How the name of a stage begins that is spent in a pose of the job's own."""


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
    Where the other pose alone seems to do it sooner, the job is planned that way round too, and taken if it holds.

    Raises
    ------
    GeomError
        where the part, the set-up or the solve cannot be.
    """
    say = progress or (lambda stage, share: None)
    plan = planned(job, say, may_turn=True)
    if not options:
        return plan
    target = plan.job.target
    found = options_of(plan.cell, plan.current, target.thickness, target.significant, plan.features, say)
    return replace(plan, options=found)


def planned(job: Job, say: Progress, *, may_turn: bool) -> Plan:
    """Return the plan of a job; ``may_turn``: try it half turned from the start where that looks sooner."""
    say("building the part", 0.0)
    part = solvable(prepared_part(job))
    cell = build_cell(
        part,
        job.bath,
        tank=job.tank,
        anodes=job.anodes,
        pose=job.pose,
        rack=job.rack,
        shields=job.shields,
        thieves=job.thieves,
    )
    part = cell.part
    check_names(part, job.target.significant)
    for fit in job.turns.fits:
        check_names(part, (fit.feature,), where="[[schedule.fit]] feature")
    choose = partial(chosen_current, job)
    level, accuracy = refined(cell, job.demand, choose, job.target.significant, say)
    first = level.field
    check_balance(first)
    say("solving the other pose", 0.8)
    second = other_pose(level, job.demand)
    others, left_out = asked_poses(job, level)
    say("timing", 0.95)
    significant = significant_panels(part, first.panels, job.target.significant)
    schedule = best_schedule(
        first, second, significant, job.target.thickness, [field for _, field in others], job.turns
    )
    if schedule.first == 0.0 and not any(schedule.others):
        other = planned(turned_job(job, cell), say, may_turn=False) if may_turn else None
        if other is not None and other.deposit.time <= WORTH_TURNING * schedule.one_pose:
            return replace(other, findings=(hung_other_way(other, schedule), *other.findings))
        # the panels are made for the pose they were first hung in: what the other seemed to gain did not hold
        schedule = one_pose(schedule)
    fields = (first, *([] if second is None else [second]), *(field for _, field in others))
    names = (*STAGES[: 1 if second is None else 2], *(f"{HUNG_AS}{pose.name}" for pose, _ in others))
    deposit = plate(fields, schedule.times(len(fields)), names, significant)
    plan = assembled_plan(job, cell, fields, deposit, schedule, level, accuracy)
    say("done", 1.0)
    return replace(plan, findings=(*plan.findings, *left_out)) if left_out else plan


def chosen_current(
    job: Job, prepared: Prepared, before: Level | None
) -> tuple[tuple[Limit, ...], Current | Voltage, Field]:
    """Return the limits weighed, the control to plate under, and a field to begin its solve from."""
    limits, near = weighed_limits(prepared, job.supply, () if before is None else before.limits, job.bench)
    if not job.target.is_fixed:
        return limits, Current(min(limit.value for limit in limits)), near
    unbound = tuple(replace(limit, binds=False) for limit in limits)
    if job.target.current is not None:
        return unbound, Current(job.target.current), near
    return unbound, Voltage(float(job.target.voltage or 0.0)), near


def asked_poses(job: Job, level: Level) -> tuple[tuple[tuple[AskedPose, Field], ...], tuple[Finding, ...]]:
    """Return the poses that the job asks to weigh with their fields, and a warning for each that cannot be."""
    found, left_out = [], []
    first = level.prepared.cell.pose
    for asked in job.turns.poses:
        pose = replace(first, turn=asked.turn, at=first.at if asked.at is None else asked.at)
        field = field_in_pose(level, job.demand, pose)
        if field is not None:
            found.append((asked, field))
            continue
        text = f"{asked.name} was not weighed: the part does not fit that way, or another part of it would be in the liquid"
        left_out.append(Finding(Severity.WARNING, "pose-left-out", text))
    return tuple(found), tuple(left_out)


def other_pose(level: Level, demand: Demand) -> Field | None:
    """Return the field with the part turned half round about the vertical, at the same current; None: it cannot be."""
    pose = level.prepared.cell.pose
    x, y, z = pose.turn
    return field_in_pose(level, demand, replace(pose, turn=(x, y, z + np.pi)))


def field_in_pose(level: Level, demand: Demand, pose: Pose) -> Field | None:
    """Return the field with the part in another pose, at the same current.

    None where the part does not fit that way, or another surface would be wet.
    """
    moved = posed(level, pose)
    if moved is None:
        return None
    first = level.field
    alike = len(moved.panels.body) == len(first.panels.body)  # then the first field is a fair place to begin
    start = first if alike else None
    return solve_field(moved, Current(first.total_current), start=start, tolerance=tolerance(demand))


def turned_job(job: Job, cell: Cell) -> Job:
    """Return the job with the part hung half turned from the start."""
    x, y, z = cell.pose.turn
    return replace(
        job,
        tank=cell.tank,
        anodes=cell.anodes if job.anodes is None else job.anodes,
        pose=replace(cell.pose, turn=(x, y, (z + np.pi) % (2 * np.pi))),
        rack=None if job.rack is None else job.rack.half_turned,
    )


def hung_other_way(plan: Plan, schedule: Schedule) -> Finding:
    """Return what to say of a plan that hangs the part the other way round; ``schedule`` is that of the job's own pose."""
    return Finding(
        Severity.WARNING,
        "hung-other-way",
        "this plan hangs the part half turned about the vertical from the pose of the job, from the start: "
        f"that way {plan.deposit.time / 60:.0f} min do, as the job has it {schedule.one_pose / 60:.0f} min",
    )


def assembled_plan(
    job: Job,
    cell: Cell,
    fields: tuple[Field, ...],
    deposit: Deposit,
    schedule: Schedule,
    level: Level,
    accuracy: Accuracy,
) -> Plan:
    """Read every figure off the fields and the deposit, and put it into words."""
    first = fields[0]
    sides = front_and_back(first)
    faces, edges = (kind_mean(first, cell.part, kinds) for kinds in ((Kind.FACE,), (Kind.EDGE, Kind.END)))
    hanging = hanging_of(cell)
    features = with_air(feature_results(cell.part, first, deposit, job.target.thickness), hanging.under_air)
    copies = copy_results(first, deposit)
    strip = hottest_strip(first)
    quarter_areas = np.repeat(deposit.true_areas / 4, 4)
    front_to_back = None if sides is None else sides[0] / sides[1]
    times = schedule.times(len(fields))
    within = coverage(first, deposit.significant)
    round_about = surroundings(job, fields, times, deposit, level.prepared)
    shares = spread(deposit.quarters.reshape(-1), quarter_areas)
    findings = [
        *coverage_findings(within, first.total_current),
        *schedule_findings(schedule),
        *round_about.findings,
        *contact_findings(cell.part.features, first.panels.wetted_areas),
        *hanging_findings(hanging, cell.part.area / cell.part.copies),
        *plan_findings(job.supply, first, deposit, strip, schedule, accuracy, job.bench.stirred),
    ]
    edge_to_face = None if faces is None or edges is None else edges / faces
    doubted = bands_of(
        Planned(job.target, fields, times, deposit, shares, features, edge_to_face, front_to_back, accuracy), level
    )
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
