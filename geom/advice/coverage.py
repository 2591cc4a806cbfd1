"""Which share of the part plates within the bath's range, and the least current that brings its coldest place into it."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats
from geom.chemistry import Range
from geom.deposit import local_mean
from geom.field import Field
from geom.findings import Finding, Severity

BARE = 0.1
"""Share of the low end of the range below which next to nothing deposits; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of an area by its current density; they add up to 1."""

    bare: float  # under a tenth of the range's low end
    under: float  # under the range
    within: float
    over: float  # burnt, if it lasts


@dataclass(frozen=True, slots=True)
class Coverage:
    """How the part lies in the bath's range, as first hung."""

    range: Range  # [A/m²]
    wetted: Shares
    significant: Shares
    coldest: float  # lowest local mean over about 1 cm² on the significant surface [A/m²]
    least_current: float  # at which that place reaches the range's low end [A]


def coverage(field: Field, significant: Bools) -> Coverage:
    """Return how the part lies in the range of the bath; ``significant`` is (part_count,)."""
    known = field.cell.bath.current_density
    weights = np.repeat(field.areas / 4, 4)
    values = field.quarters.reshape(-1)
    counts = np.repeat(significant, 4)
    coldest = float(local_mean(field.current_density, field.panels)[significant].min())
    least = field.total_current * known.low / coldest if coldest > 0 else float("inf")
    return Coverage(
        known, _shares(values, weights, known), _shares(values[counts], weights[counts], known), coldest, least
    )


def _shares(values: Floats, areas: Floats, known: Range) -> Shares:
    edges = (BARE * known.low, known.low, known.high)
    kind = np.searchsorted(np.array(edges), values, side="right")
    bare, under, within, over = (float(v) for v in np.bincount(kind, areas, 4) / areas.sum())
    return Shares(bare, under, within, over)


def coverage_findings(found: Coverage, current: float) -> list[Finding]:
    """Return a note where the coldest significant place lies under the range at ``current`` [A]."""
    if current >= 0.99 * found.least_current:
        return []
    text = (
        f"the coldest significant place gets {found.coldest / 100:.2g} A/dm², under the bath's range (from {found.range.low / 100:.2g} "
        f"A/dm²): dull or thin cover is possible there; {found.least_current:.2g} A would bring it in, against what the other limits allow"
    )
    return [Finding(Severity.NOTE, "place-under-range", text)]
