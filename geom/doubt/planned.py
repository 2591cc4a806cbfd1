"""The bands of a plan as it stands: its poses on large panels, its figures, their numerical errors."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from geom.advice.accuracy import Accuracy
from geom.advice.copies import over_copies
from geom.advice.current import AT_VOLTS
from geom.advice.figures import MEAN_OF
from geom.advice.limit import Limit
from geom.advice.sureness import of_edge_to_face, of_front_to_back
from geom.advice.words import FeatureResult
from geom.bem.problem import Current
from geom.deposit import Deposit, significant_panels
from geom.doubt.bands import (
    AMPERES,
    AVERAGE,
    CURRENT,
    EDGES_TO_FACES,
    METAL,
    SIDE_TO_SIDE,
    THICKEST,
    THINNEST,
    TIME,
    VOLTAGE,
    Bands,
    Told,
    bands,
)
from geom.doubt.moved import is_at_strip
from geom.doubt.response import SOLVED, UNCHECKED, Posed
from geom.errors import SolveError
from geom.field import Field, solve_field
from geom.findings import Finding, Severity
from geom.job.job import Target
from geom.refine import Level, posed

NEEDED = {VOLTAGE, TIME, THINNEST, AVERAGE}
"""Every plan with bands has one of these."""

LONG_MINUTES = 180
"""From here on a time is told in hours."""

FAR_UNDER = 0.9
"""Of the target: where the thinnest place may get less than this, it is worth a warning."""


@dataclass(frozen=True, eq=False)
class Planned:
    """What a plan says, as far as bands are put on it."""

    target: Target
    fields: tuple[Field, ...]  # one for each pose, the first first
    times: tuple[float, ...]  # in each of them [s]
    deposit: Deposit
    thickness: Mapping[str, float]  # mean, max [m]
    features: tuple[FeatureResult, ...]
    edge_to_face: float | None
    front_to_back: float | None
    accuracy: Accuracy


def bands_of(plan: Planned, level: Level) -> Bands | None:
    """Return what the ranges of the inputs make of a plan; None where it has no end, or they cannot be solved.

    ``level`` is that of the first pose. What is read off its first look, on large panels, are ratios: they move alike.
    """
    least = float(plan.deposit.local_thickness[plan.deposit.significant].min())
    if not (math.isfinite(plan.deposit.time) and least > 0):
        return None
    limits = () if plan.target.is_fixed else level.limits
    try:
        look = _posed(plan, level.coarsest or level)
        found = bands(look, _told(plan, least, limits), limits)
        return found if found.of.keys() >= NEEDED else None
    except SolveError:
        return None


def _posed(plan: Planned, look: Level) -> Posed:
    """Return the poses that the schedule spends time in, and the first, on the panels of a level."""
    at, prepared = Current(plan.fields[0].total_current), look.prepared
    first = solve_field(prepared, at, start=look.field, tolerance=SOLVED, balance=UNCHECKED)
    chosen = significant_panels(prepared.cell.part, prepared.panels, plan.target.significant)
    fields, prepareds, times = [first], [prepared], [plan.times[0]]
    for field, time in zip(plan.fields[1:], plan.times[1:], strict=True):
        moved = posed(look, field.cell.pose) if time > 0 else None
        if moved is None:
            continue
        start = first if len(moved.panels.body) == len(first.panels.body) else None
        fields.append(solve_field(moved, at, start=start, tolerance=SOLVED, balance=UNCHECKED))
        prepareds.append(moved)
        times.append(time)
    if not any(times):  # no pose of the schedule can be had on these panels
        times[0] = plan.deposit.time
    return Posed(tuple(fields), tuple(prepareds), tuple(times), chosen)


def _told(plan: Planned, least: float, limits: Sequence[Limit]) -> Told:
    """Return the figures of a plan that get a band, with their numerical errors."""
    first, volts = plan.fields[0], plan.target.voltage
    known = {
        **({CURRENT: first.total_current} if limits else {}),
        **({} if volts is None else {AMPERES: first.total_current}),
        VOLTAGE: first.voltage,
        TIME: plan.deposit.time,
        THINNEST: least,
        AVERAGE: plan.thickness["mean"],
        THICKEST: plan.thickness["max"],
        METAL: plan.deposit.mass,
        EDGES_TO_FACES: plan.edge_to_face,
        SIDE_TO_SIDE: plan.front_to_back,
    }
    features = over_copies(plan.features)
    plated = [field.voltage for field, time in zip(plan.fields, plan.times, strict=True) if time > 0]
    return Told(
        {name: value for name, value in known.items() if value},
        features,
        plan.target.thickness,
        volts,
        tuple(plated),
        {**_errors(plan, limits), **{feature.name: _feature_error(plan, feature) for feature in features}},
    )


def _errors(plan: Planned, limits: Sequence[Limit]) -> dict[str, float]:
    """Return the numerical error of each figure; what current, time and area alone make has none."""
    accuracy, first = plan.accuracy, plan.fields[0]
    bound = min(limits, key=lambda limit: limit.value, default=None)
    of_current = 0.0
    if bound is not None and is_at_strip(bound):
        of_current = accuracy.hottest
    elif bound is not None and bound.name == AT_VOLTS:
        of_current = accuracy.voltage
    fixed = plan.target.voltage is not None
    flows = accuracy.current if fixed else 0.0
    amounts = flows + (accuracy.features if first.panels.thieves else 0.0)
    return {
        VOLTAGE: 0.0 if fixed else accuracy.voltage,
        AMPERES: flows,
        CURRENT: of_current,
        THINNEST: accuracy.thinnest + flows,
        TIME: accuracy.thinnest + flows,
        AVERAGE: amounts,
        METAL: amounts,
        THICKEST: accuracy.errors["p99"] + flows,
        EDGES_TO_FACES: of_edge_to_face(plan.features, accuracy) or 0.0,
        SIDE_TO_SIDE: of_front_to_back(plan.features, accuracy) or 0.0,
    }


def _feature_error(plan: Planned, feature: FeatureResult) -> float:
    """Return the error of the mean of a feature, or of the least sure of those of that name on a rack."""
    known = plan.accuracy.errors
    alike = [known.get(MEAN_OF + one.name, 0.0) for one in plan.features if one.name_alone == feature.name]
    flows = plan.accuracy.current if plan.target.voltage is not None else 0.0
    return max(alike, default=0.0) + flows


def bands_findings(found: Bands | None, target: float) -> list[Finding]:
    """Return what to do where the low end of the thinnest place misses the target; a warning where it misses it by far."""
    if found is None or THINNEST not in found.of or TIME not in found.of:
        return []
    thinnest, time = found.of[THINNEST], found.of[TIME]
    if thinnest.low >= target * (1 - 1e-6) or not time.high < math.inf:
        return []
    side = 50 * (1 + found.level)
    severity = Severity.WARNING if thinnest.low < FAR_UNDER * target else Severity.NOTE
    text = (
        f"by what is not known of bath and meter the thinnest significant place misses {1e6 * target:.3g} µm in about "
        f"{100 * (1 - found.met):.0f} of 100 cases, and gets less than {1e6 * thinnest.low:.2g} µm in {100 - side:.0f} of 100. "
        f"{_minutes(found.more_time)} more, {_minutes(time.high)} in all with every stage longer alike, meet it in {side:.0f} of 100; "
        f"edges grow along. What moves it most: {thinnest.driver or 'all alike'}"
    )
    return [Finding(severity, "target-not-sure", text)]


def _minutes(seconds: float) -> str:
    minutes = seconds / 60
    if minutes >= LONG_MINUTES:
        return f"{minutes / 60:.1f} h".replace(".0 h", " h")
    return f"{minutes:.1f} min" if minutes < 10 else f"{minutes:.0f} min"
