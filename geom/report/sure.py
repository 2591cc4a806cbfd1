"""Numerical errors beside the figures of a report: "± 1.2 %", or nothing where none is known."""

from geom.advice.copies import CopyResult
from geom.advice.figures import CURRENT, HOTTEST, MEAN_OF, THINNEST, VOLTAGE
from geom.advice.limit import Limit
from geom.advice.sureness import (
    finer_panels,
    in_words,
    of_edge_to_face,
    of_features,
    of_front_to_back,
    of_limit,
    summed,
)
from geom.advice.words import FeatureResult
from geom.plan import Plan
from geom.report.amounts import amount, percent, plus_minus
from geom.report.tree import Row, Section


def at_volts(plan: Plan, text: str) -> str:
    """Return a figure with the error of the current where the voltage is fixed; as it is where the current is."""
    fixed = plan.job.target.voltage is not None
    return plus_minus(text, plan.accuracy.errors.get(CURRENT)) if fixed else text


def of_voltage(plan: Plan, text: str) -> str:
    """Return a voltage with its error; one that the user fixed has none."""
    fixed = plan.job.target.voltage is not None
    return text if fixed else plus_minus(text, plan.accuracy.errors.get(VOLTAGE))


def of_time(plan: Plan, text: str) -> str:
    """Return a time of the schedule, or the least thickness it leads to, with its error."""
    return plus_minus(text, _plated(plan, plan.accuracy.errors.get(THINNEST)))


def of_strip(plan: Plan, text: str) -> str:
    """Return the current density of the hottest strip with its error."""
    return plus_minus(text, _plated(plan, plan.accuracy.errors.get(HOTTEST)))


def of_ratios(plan: Plan) -> tuple[float | None, float | None]:
    """Return the errors of broad faces toward the anode over those away from it, and of edges over faces."""
    return of_front_to_back(plan.features, plan.accuracy), of_edge_to_face(plan.features, plan.accuracy)


def of_percentile(plan: Plan, name: str) -> str:
    """Return the error of a percentile for a cell of a table."""
    return _cell(_plated(plan, plan.accuracy.errors.get(name)))


def of_feature(plan: Plan, feature: FeatureResult) -> str:
    """Return the error of the mean of a feature, or of those of that name on all copies, for a cell of a table."""
    known = plan.accuracy.errors
    on_copies = [known[key] for key in known if key.startswith(f"{MEAN_OF}{feature.name}, part ")]
    return _cell(_plated(plan, known.get(MEAN_OF + feature.name, max(on_copies, default=None))))


def of_copy(plan: Plan, copy: CopyResult) -> str:
    """Return the error of the mean of one part on a rack for a cell of a table."""
    own = [feature for feature in plan.features if feature.copy == copy.number]
    return _cell(_plated(plan, of_features(own, plan.accuracy)))


def limit_error(plan: Plan, limit: Limit) -> str:
    """Return the error of a limit for a cell of a table."""
    return _cell(of_limit(limit, plan.limits, plan.accuracy))


def _plated(plan: Plan, error: float | None) -> float | None:
    """Return the error of what is plated: where the voltage is fixed the current adds its own."""
    return error if plan.job.target.voltage is None else summed(error, plan.accuracy.errors.get(CURRENT))


def _cell(error: float | None) -> str:
    return "" if error is None else percent(error)


def numerical_error(plan: Plan) -> Section:
    """Return what was asked, whether it was reached, on which panels, and the error of each kind of figure."""
    accuracy = plan.accuracy
    set_off = (CURRENT, "current") if plan.job.target.voltage is not None else (VOLTAGE, "voltage")
    rows = (
        Row("asked of every figure", f"{amount(accuracy.wanted, '%', 2)}: {_outcome(plan)}"),
        Row("levels of panels", f"{len(accuracy.panels)}: {_levels(accuracy.panels)} panels"),
        Row(set_off[1], percent(accuracy.errors[set_off[0]])),
        Row("thinnest significant place, and so the time", percent(accuracy.thinnest)),
        Row("hottest strip, and so the limit it sets", percent(accuracy.hottest)),
        Row("percentiles p1 to p99, the worst", percent(accuracy.percentiles)),
        Row(f"means of features, the worst ({accuracy.worst_feature})", percent(accuracy.features)),
    )
    notes = (
        "± behind a figure is its numerical error, estimated from what changed from level to level and from how values "
        "bend within panels, as first hung. Figures in sentences have the error they have in the tables. min and max, and "
        "features under 0.5 % of the area, may be less sure than was asked.",
        "A figure without ± follows from the current, the time and the area alone, or was not estimated. What is not known "
        "of the bath usually weighs more than any of this.",
    )
    return Section("Numerical error", notes, rows)


def _levels(panels: tuple[int, ...]) -> str:
    return ", then ".join(str(count) for count in panels)


def _outcome(plan: Plan) -> str:
    """Return whether the accuracy was reached, and what ended the refining if not."""
    accuracy = plan.accuracy
    if accuracy.reached:
        return "reached"
    figure, error = accuracy.worst
    spent = f"; {finer_panels(accuracy.spent)}" if accuracy.spent else ""
    return f"NOT reached, {percent(error)} left of {in_words(figure)}{spent}"
