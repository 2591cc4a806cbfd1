"""Figures read off a field or a deposit: percentiles, tail means, feature means, strips along edges."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats
from geom.feature import Kind
from geom.field import Field
from geom.panels import EDGE_SIZE, Panels
from geom.part.part import Part

PERCENTILES = (1, 10, 50, 90, 99)
TAIL = 0.01  # `min` and `max` are means over this share of the area: a point value at an edge means nothing
STRIP = 1.0e-3  # width of the strip along an edge that its current density is a mean over [m]
LEAST_EDGE = 5.0e-3  # shorter edges are corners: their strips are too small to be meant or resolved [m]


@dataclass(frozen=True, slots=True)
class Strip:
    """Mean over the strip of stated width along one sharp edge."""

    width: float  # [m]
    current_density: float  # [A/m²]


def percentiles(values: Floats, areas: Floats) -> dict[str, float]:
    """Return area-weighted percentiles p1 p10 p50 p90 p99."""
    order = np.argsort(values)
    middle = np.cumsum(areas[order]) - 0.5 * areas[order]
    found = np.interp(np.array(PERCENTILES) / 100 * areas.sum(), middle, values[order])
    return {f"p{p}": float(v) for p, v in zip(PERCENTILES, found, strict=True)}


def ratio_percentiles(field: Field) -> dict[str, float]:
    """Return the percentiles of local over mean current density, by quarters of panels."""
    return percentiles(field.quarters.reshape(-1) / field.mean_current_density, np.repeat(field.areas / 4, 4))


def tail_mean(values: Floats, areas: Floats, share: float) -> float:
    """Return the mean over the lowest ``share`` of the area, or over the highest where ``share`` < 0."""
    order = np.argsort(values if share > 0 else -values)
    wanted = abs(share) * areas.sum()
    before = np.cumsum(areas[order]) - areas[order]
    part = np.clip(wanted - before, 0.0, areas[order])
    return float(part @ values[order] / part.sum())


def spread(values: Floats, areas: Floats) -> Mapping[str, float]:
    """Return mean, min, p1..p99 and max; min and max are means over the extreme ``TAIL`` of the area."""
    return {
        "mean": float(values @ areas / areas.sum()),
        "min": tail_mean(values, areas, TAIL),
        **percentiles(values, areas),
        "max": tail_mean(values, areas, -TAIL),
    }


def strip_width(panels: Panels) -> float:
    """Return the width of the edge strip: 1 mm, or half a panel where the panels were much enlarged [m]."""
    return max(STRIP, 0.5 * panels.scale * EDGE_SIZE)


def hottest_strip(field: Field, width: float | None = None) -> Strip | None:
    """Return the strip along the sharp edge that gets most; None for a part without sharp edges.

    A strip lies on one side of its edge, within one feature: the hot side is not evened out by the cool one.
    ``width`` of the strip [m]; by default what the panels allow.
    """
    panels = field.panels
    width = strip_width(panels) if width is None else width
    inside = _inside(panels, width)
    near = (inside > 0).any(axis=1)
    if not np.any(near):
        return None
    edges = len(panels.edge_length)
    strip = panels.feature[near] * edges + panels.edge_chain[near]
    quarter = field.areas[near] / 4
    total = np.bincount(strip, quarter * inside[near].sum(axis=1))
    flow = np.bincount(strip, quarter * (field.quarters * inside)[near].sum(axis=1))
    long = panels.edge_length >= min(LEAST_EDGE, panels.edge_length.max())
    # a strip that has barely begun (the corner panels of a neighbour face) is none
    whole = total > 0.5 * width * panels.edge_length[np.arange(len(total)) % edges]
    believed = long[np.arange(len(total)) % edges] & whole
    if not np.any(believed):
        believed = total > 0
    mean = np.where(believed, flow / np.where(total > 0, total, 1.0), -np.inf)
    return Strip(width, float(mean.max()))


def _inside(panels: Panels, width: float) -> Floats:
    """Return (part_count, 4) the share of each quarter that lies nearer than ``width`` to an edge.

    A quarter reaches half its height to both sides of its middle.
    """
    height = np.sqrt(np.sqrt(3.0) * panels.part.areas / 4)[:, None]
    reach = np.where(np.isfinite(panels.edge_distance), width - panels.edge_distance, -np.inf)
    return np.asarray(np.clip(0.5 + reach / height, 0.0, 1.0))


def hottest_current_density(field: Field, width: float | None = None) -> float:
    """Return what the burn limit is weighed against: the hottest strip, or the top of the spread without one [A/m²]."""
    strip = hottest_strip(field, width)
    if strip is not None:
        return strip.current_density
    return tail_mean(field.current_density, field.areas, -TAIL)


def feature_means(values: Floats, areas: Floats, panels: Panels, count: int) -> Floats:
    """Return (count,) the area mean over each feature; NaN for a feature that is not wetted."""
    area = np.bincount(panels.feature, areas, count)
    total = np.bincount(panels.feature, areas * values, count)
    return np.where(area > 0, total / np.where(area > 0, area, 1.0), np.nan)


def kind_mean(field: Field, part: Part, kinds: tuple[Kind, ...]) -> float | None:
    """Return the mean current density over all features of some kinds [A/m²]; None where there are none.

    It counts by what it deposits: where the efficiency changes with it, over that at the typical current density.
    """
    chosen = np.array([feature.kind in kinds for feature in part.features])[field.panels.feature]
    return _mean_over(field, chosen)


def _mean_over(field: Field, chosen: Bools) -> float | None:
    area = float(field.areas[chosen].sum())
    if not area > 0:
        return None
    density, bath = field.current_density[chosen], field.cell.bath
    deposits = density * (bath.efficiency_at(density) / bath.efficiency)
    return float(deposits @ field.areas[chosen]) / area


def anode_direction(field: Field) -> Floats | None:
    """Return the unit vector from the part to where the current comes from; None when it comes from all round."""
    surface = field.panels.surface
    centre = surface.centroids[: field.panels.part_count].mean(axis=0)
    on_anode = field.panels.on_anode
    weight = surface.areas[on_anode] * field.anode_current_density[on_anode]
    away = surface.centroids[on_anode] - centre
    unit = away / np.linalg.norm(away, axis=1)[:, None]
    direction = weight @ unit / weight.sum()
    length = float(np.linalg.norm(direction))
    return np.asarray(direction / length) if length > 0.4 else None


def front_and_back(field: Field) -> tuple[float, float] | None:
    """Return the mean current density of broad faces toward and away from the anode, by what it deposits [A/m²].

    None where the current comes from all round, or the part has no broad face on one of the two sides.
    """
    direction = anode_direction(field)
    if direction is None:
        return None
    part = field.cell.part
    broad = np.array([feature.kind in (Kind.FACE, Kind.SKIN) for feature in part.features])[field.panels.feature]
    facing = -(field.panels.part.normals @ direction)  # panel normals point into the metal
    front = _mean_over(field, broad & (facing > 0.7))
    back = _mean_over(field, broad & (facing < -0.7))
    return None if front is None or back is None or back <= 0 else (front, back)
