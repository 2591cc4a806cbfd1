"""The figures of one field that a plan prints or acts on, by name: what two solves are compared by."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geom.advice.measures import feature_means, hottest_current_density, ratio_percentiles
from geom.arrays import Floats
from geom.deposit import area_factors, local_mean, significant_panels
from geom.field import Field

VOLTAGE, CURRENT, THINNEST, HOTTEST = "voltage", "current", "thinnest", "hottest"
MEAN_OF = "mean of "


def figures(field: Field, wanted: tuple[str, ...], width: float) -> Mapping[str, float]:
    """Return voltage, current, hottest strip of ``width``, thinnest place, percentiles and means of features.

    Current densities are relative to the mean of the part. ``wanted`` are the names of the significant features.
    """
    mean = field.mean_current_density
    chosen = significant_panels(field.cell.part, field.panels, wanted)
    found = {
        VOLTAGE: field.voltage,
        CURRENT: field.total_current,
        THINNEST: float(local_mean(field.current_density / area_factors(field), field.panels)[chosen].min()) / mean,
        HOTTEST: hottest_current_density(field, width) / mean,
        **ratio_percentiles(field),
    }
    means = _means(field, field.current_density) / mean
    for feature, value in zip(field.cell.part.features, means, strict=True):
        if np.isfinite(value):
            found[MEAN_OF + feature.name] = float(value)
    return found


@dataclass(frozen=True, slots=True)
class Bends:
    """By which share the values within panels bend away from those at the centroids: what coarse panels hide."""

    whole: float  # of the mean of the part
    features: Mapping[str, float]  # of the mean of each feature, by its figure's name


def bends(field: Field) -> Bends:
    """Return by how much the values within the panels bend, part and features."""
    values = field.at_centroids
    change = field.panels.recovery.raw_means(values) - values
    means, moved = _means(field, values), _means(field, change)
    return Bends(
        float(change @ field.areas / (values @ field.areas)),
        {
            MEAN_OF + feature.name: float(m / mean)
            for feature, mean, m in zip(field.cell.part.features, means, moved, strict=True)
            if np.isfinite(mean) and mean != 0
        },
    )


def _means(field: Field, values: Floats) -> Floats:
    return feature_means(values, field.areas, field.panels, len(field.cell.part.features))
