"""Numerical errors of figures that are put together from others, and the names of figures in words.

Each is relative, and None where an error it hangs on is not known.
"""

from collections.abc import Sequence

from geom.advice.accuracy import Accuracy
from geom.advice.bench_limits import DIFFUSION
from geom.advice.current import AT_STRIP, AT_VOLTS, FAR_OFF
from geom.advice.figures import CURRENT, HOTTEST, MEAN_OF, THINNEST, VOLTAGE
from geom.advice.limit import Limit
from geom.advice.words import FeatureResult
from geom.feature import Kind

WORDS = {
    VOLTAGE: "the voltage",
    CURRENT: "the current",
    THINNEST: "the thinnest significant place (and so the time)",
    HOTTEST: "the hottest strip (and so the limit it sets)",
}


def in_words(figure: str) -> str:
    """Return what a figure of an accuracy is called in a sentence."""
    if figure.startswith(MEAN_OF):
        return f"the {figure}"
    return WORDS.get(figure, f"percentile {figure}")


def finer_panels(spent: str) -> str:
    """Return why the panels were not refined further, from the budget that forbade it: "16000 panels", "60 s"."""
    number, unit = spent.split(" ", 1)
    over = f"be over the {number} allowed" if unit == "panels" else f"take more than the {spent} allowed"
    return f"the next finer panels would {over}"


def of_features(features: Sequence[FeatureResult], accuracy: Accuracy) -> float | None:
    """Return the most that the mean over some features may be off: the mean of their errors, by what flows into each."""
    errors = [accuracy.errors.get(MEAN_OF + feature.name) for feature in features]
    flows = [feature.area * feature.current_density_ratio for feature in features]
    known = [flow * error for flow, error in zip(flows, errors, strict=True) if error is not None]
    return sum(known) / sum(flows) if len(known) == len(flows) and sum(flows) > 0 else None


def of_edge_to_face(features: Sequence[FeatureResult], accuracy: Accuracy) -> float | None:
    """Return the error of edges over broad faces."""
    edges, faces = (
        of_features([feature for feature in features if feature.kind in kinds], accuracy)
        for kinds in ((Kind.EDGE, Kind.END), (Kind.FACE,))
    )
    return summed(edges, faces)


def of_front_to_back(features: Sequence[FeatureResult], accuracy: Accuracy) -> float | None:
    """Return the error of the broad faces toward the anode over those away from it, both taken as equally sure.

    None for a part with a skin all round: the error of its mean says nothing of one side.
    """
    if any(feature.kind == Kind.SKIN for feature in features):
        return None
    faces = of_features([feature for feature in features if feature.kind == Kind.FACE], accuracy)
    return summed(faces, faces)


def of_limit(limit: Limit, limits: Sequence[Limit], accuracy: Accuracy) -> float | None:
    """Return the error of one of the limits on the current; None where no field decides it, or only that of a first look."""
    if limit.name == AT_STRIP or limit.name.startswith(DIFFUSION):
        return accuracy.errors.get(HOTTEST)
    others = [other.value for other in limits if other is not limit]
    if limit.name != AT_VOLTS or limit.value >= FAR_OFF * min(others, default=float("inf")):
        return None
    # what flows at a voltage is as unsure as the voltage at a current: one of the two is set, and has no error
    return summed(accuracy.errors.get(VOLTAGE), accuracy.errors.get(CURRENT))


def summed(*errors: float | None) -> float | None:
    """Return the sum of errors."""
    known = [error for error in errors if error is not None]
    return sum(known) if len(known) == len(errors) else None
