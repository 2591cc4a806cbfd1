"""How far the numbers may be off for numerical reasons: a second solve on larger panels, and what it changes."""

from dataclasses import dataclass

import numpy as np

from geom.advice.measures import (
    feature_means,
    hottest_current_density,
    percentiles,
    strip_width,
)
from geom.arrays import Floats
from geom.bem.problem import Current
from geom.deposit import local_mean, significant_panels
from geom.field import Field, prepare, solve_field
from geom.panels import MeshOptions, mesh_cell

COARSER = 1.6
"""How much larger the panels of the second solve are."""

TINY = 0.005  # features under this share of the wetted area are left out of the worst feature


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Relative change of each figure between panels of the plan's size and panels ``COARSER`` times larger.

    With an error that falls at least in proportion to the panel size, the plan's own error is at most
    about 1.7 times the change (Richardson); for one that falls with its square, 0.6 times.
    """

    voltage: float
    thinnest: float  # lowest local current density on the significant surface: sets the time
    hottest: float  # hottest strip: sets the burn limit
    percentiles: float  # the worst of p1 to p99
    features: float  # the worst mean of a feature
    worst_feature: str
    panels: int  # of the second solve


def estimated_accuracy(first: Field, options: MeshOptions, wanted: tuple[str, ...]) -> Accuracy:
    """Return what a solve of the first pose on larger panels, at the same current, changes."""
    panels = mesh_cell(first.cell, options, scales=(COARSER * first.panels.scale, COARSER * first.panels.rest_scale))
    # only its changes are shown, so its currents may differ by more than those of the plan may
    other = solve_field(prepare(first.cell, panels), Current(first.total_current), tolerance=1e-4, balance=0.1)
    ratios = [_ratios(field) for field in (first, other)]
    features = [
        feature_means(field.current_density, field.areas, field.panels, len(first.cell.part.features))
        for field in (first, other)
    ]
    large = np.bincount(first.panels.feature, first.areas, len(features[0])) > TINY * first.wetted_area
    changes = np.where(large & np.isfinite(features[1]), np.abs(features[1] / features[0] - 1), 0.0)
    worst = int(np.argmax(changes))
    return Accuracy(
        voltage=_change(first.voltage, other.voltage),
        thinnest=_change(_thinnest(first, wanted), _thinnest(other, wanted)),
        hottest=_change(hottest_current_density(first), hottest_current_density(other, strip_width(first.panels))),
        percentiles=float(np.abs(ratios[1] / ratios[0] - 1).max()),
        features=float(changes[worst]),
        worst_feature=first.cell.part.features[worst].name,
        panels=len(panels.body),
    )


def _change(value: float, other: float) -> float:
    return abs(other / value - 1)


def _ratios(field: Field) -> Floats:
    return np.array(list(percentiles(field.current_density / field.mean_current_density, field.areas).values()))


def _thinnest(field: Field, wanted: tuple[str, ...]) -> float:
    chosen = significant_panels(field.cell.part, field.panels, wanted)
    return float(local_mean(field.current_density, field.panels)[chosen].min())
