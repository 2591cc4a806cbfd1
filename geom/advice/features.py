"""What each feature gets, and how much longer it would need."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from geom.advice.measures import feature_means
from geom.advice.words import BareResult, FeatureResult
from geom.deposit import Deposit
from geom.field import Field
from geom.part.part import Part


def feature_results(part: Part, first: Field, deposit: Deposit, target: float) -> tuple[FeatureResult, ...]:
    """Return a result for each wetted feature, in the order of the part's features."""
    panels, areas, count = first.panels, first.areas, len(part.features)
    area = np.bincount(panels.feature, areas, count)
    ratio = feature_means(first.current_density, areas, panels, count) / first.mean_current_density
    mean = feature_means(deposit.thickness, areas, panels, count)
    significant = feature_means(deposit.significant.astype(np.float64), areas, panels, count)
    results = []
    for k, feature in enumerate(part.features):
        if area[k] <= 0:
            continue
        own = panels.feature == k
        counts = significant[k] >= 0.5
        # what a significant face asks for is asked where it is significant: not in its own recesses
        least = float(deposit.local_thickness[own & deposit.significant if counts else own].min())
        results.append(
            FeatureResult(
                name=feature.name,
                kind=feature.kind,
                area=float(panels.wetted_areas[k]),
                current_density_ratio=float(ratio[k]),
                thickness=float(mean[k]),
                least_thickness=least,
                extra_time=extra_time(least, target, deposit.time),
                significant=bool(counts),
                copy=feature.copy,
                factor=feature.factor,
            )
        )
    return tuple(results)


def with_air(results: Sequence[FeatureResult], under_air: Mapping[str, float]) -> tuple[FeatureResult, ...]:
    """Return the results with the area that lies under trapped air [m²]; it is by name on a part that hangs alone."""
    return tuple(
        replace(feature, under_air=min(feature.area, under_air.get(feature.name_alone, 0.0))) for feature in results
    )


def bare_results(part: Part, first: Field) -> tuple[BareResult, ...]:
    """Return what of the part stays bare under the liquid, feature by feature."""
    return tuple(
        BareResult(feature.name, feature.bare, float(area), feature.copy)
        for feature, area in zip(part.features, first.panels.wetted_areas, strict=True)
        if not feature.is_plated and area > 0
    )


def extra_time(thickness: float, target: float, time: float) -> float:
    """Return how much longer the same schedule must go on until ``thickness`` after ``time`` meets ``target`` [s]."""
    if thickness >= target * (1 - 1e-6):
        return 0.0
    return time * (target / thickness - 1) if thickness > 0 else float("inf")
