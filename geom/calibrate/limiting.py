"""Limiting current density from a plate that burnt."""

from geom.bench.readings import BurntPlate
from geom.calibrate.figure import Figure
from geom.chemistry import Range
from geom.findings import Finding, Severity

EDGE = Range(1.0, 1.5, 3.0)
"""Local over mean current density where a flat plate burns first, at its edges, if nothing is stated; common practice,
no source."""


def limiting(plate: BurntPlate) -> tuple[Figure, tuple[Finding, ...]]:
    """Return the limiting current density: local where it burnt, between the last clean current and the first burnt one."""
    ratio = EDGE if plate.ratio is None else Range(plate.ratio, plate.ratio, plate.ratio)
    burnt, clean = plate.current / plate.area, (plate.clean or plate.current) / plate.area
    low = clean * ratio.low * (1.0 - plate.meters_to)
    high = burnt * ratio.high * (1.0 + plate.meters_to)
    middle = 0.5 * (clean + burnt) * ratio.typical
    key = "limiting_current_density_stirred" if plate.stirred else "limiting_current_density"
    where = (
        f"current at the edge {EDGE.low:g} to {EDGE.high:g} times the mean, usually {EDGE.typical:g} (common practice, no source)"
        if plate.ratio is None
        else f"current at the place {plate.ratio:g} times the mean, as stated"
    )
    still = "" if plate.clean is None else f", not yet at {plate.clean:g} A"
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
    values = Range(low, min(max(middle, low), high), high)
    return Figure(key, values, None, rests, 0.5 * (high - low) / values.typical), tuple(findings)
