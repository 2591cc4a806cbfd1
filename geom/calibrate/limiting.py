"""Limiting current density from a plate that burnt."""

import numpy as np

from geom.bench.fit import LEVEL, drawn, student
from geom.bench.readings import BurntPlate
from geom.calibrate.figure import Figure
from geom.chemistry import Range
from geom.findings import Finding, Severity

EDGE = Range(1.0, 1.5, 3.0)
"""Local over mean current density where a flat plate burns first, at its edges, if nothing is stated: least and most are
read as its 95 % (common practice, no source)."""


def limiting(plate: BurntPlate) -> tuple[Figure, tuple[Finding, ...]]:
    """Return the limiting current density: local where it burnt, between the last clean current and the first burnt one."""
    burnt, clean = plate.current / plate.area, (plate.clean or plate.current) / plate.area
    values = _interval(clean, burnt, EDGE.typical if plate.ratio is None else plate.ratio, plate)
    key = "limiting_current_density_stirred" if plate.stirred else "limiting_current_density"
    where = (
        f"current at the edge {EDGE.low:g} to {EDGE.high:g} times the mean, usually {EDGE.typical:g} (common practice, no source)"
        if plate.ratio is None
        else f"current at the place {plate.ratio:g} times the mean, as stated"
    )
    still = ": how far below it may lie is not told" if plate.clean is None else f", not yet at {plate.clean:g} A"
    rests = (
        f"a plate that burnt at {plate.current:g} A{still}",
        where,
        "it burns at the limiting current density or somewhat under it: the figure is on the safe side",
    )
    findings = []
    if plate.clean is None:
        text = "the plate burnt, but at which current it would not have is not told: the limit may lie anywhere below; state clean"
        findings.append(Finding(Severity.WARNING, "calibrate-limit-open", text))
    if plate.ratio is None:
        text = "state ratio, local over mean current density where it burnt: geom plan of the same plate prints it"
        findings.append(Finding(Severity.NOTE, "calibrate-limit-open", text))
    level = None if plate.clean is None else LEVEL
    return Figure(key, values, level, rests, 0.5 * (values.high - values.low) / values.typical), tuple(findings)


def _interval(clean: float, burnt: float, ratio: float, plate: BurntPlate) -> Range:
    """Return the local current density at which it burns, at `LEVEL`.

    Anywhere between the two currents alike, meters off by anything within their limits, and the ratio, where it is not stated, a
    two-piece normal of its logarithm.
    """
    middle = 0.5 * (clean + burnt)
    between = middle + 0.5 * (burnt - clean) * drawn(1, None)
    meters = 1.0 + plate.meters_to * drawn(2, None)
    ratios = np.full(len(between), ratio)
    if plate.ratio is None:
        share = drawn(0, np.inf) / student(np.inf)
        ratios *= np.exp(np.abs(share) * np.log(np.where(share > 0.0, EDGE.high, EDGE.low) / ratio))
    tail = 0.5 * (1.0 - LEVEL)
    low, high = (float(end) for end in np.quantile(between * meters * ratios, (tail, 1.0 - tail)))
    return Range(low, min(max(middle * ratio, low), high), high)
