"""What each hole, slot and inside bend gets, and what more time for it does to the edges; nothing is solved anew."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.advice.words import RECESSED, FeatureResult
from geom.electrode.laws import Law
from geom.feature import Feature, Kind
from geom.field import Field

FACES = (Kind.FACE, Kind.SKIN)
ROUND = (Kind.BORE, Kind.BLIND_HOLE)

BLIND_MOST = 1.0
"""Depth over diameter up to which blind holes are usually taken on (a shop's rule, americanelectro.com; trust rough)."""

RECESS_MOST = 0.5
"""Depth over width up to which a recess plates acceptably (ASTM B507 practice and zinc and nickel design guides, from
memory)."""

PRIMARY = 2.4
"""First zero of the Bessel function J0: the primary current density falls off along a bore of radius a by e each a / 2.4."""


@dataclass(frozen=True, slots=True)
class RecessCheck:
    """One recess as the plan leaves it."""

    name: str
    kind: str
    ratio: float | None  # mean thickness over that of the broad faces
    least_ratio: float | None  # its thinnest place over the mean of the broad faces
    extra_time: float  # beyond the plan until its thinnest place meets the target [s]; inf: never
    edges_then: float | None  # mean thickness of the thickest 1 % by then [m]
    aspect: float | None  # depth over diameter or width
    rule: str  # what the trade says of that aspect
    decay: float | None  # length over which the deposit falls off by e along it, by the rule of thumb [m]


def recess_checks(
    features: Sequence[FeatureResult], first: Field, time: float, thickest: float
) -> tuple[RecessCheck, ...]:
    """Return a check of each recess; ``time`` [s] of the schedule, ``thickest`` 1 % of the area after it [m]."""
    faces = [f for f in features if f.kind in FACES]
    area = sum(f.area for f in faces)
    face = sum(f.area * f.thickness for f in faces) / area if area > 0 else None
    known = {feature.name: feature for feature in first.cell.part.features}
    slope = slope_at(first.cell.bath.law, first.mean_current_density)
    found = []
    for result in features:
        if result.kind not in (*RECESSED, Kind.BLIND_HOLE, Kind.RECESS):
            continue
        feature = known.get(result.name)
        aspect = None if feature is None or feature.aspect <= 0 else feature.aspect
        grown = 1.0 + result.extra_time / time if time > 0 else math.inf
        found.append(
            RecessCheck(
                name=result.name,
                kind=result.kind,
                ratio=None if not face else result.thickness / face,
                least_ratio=None if not face else result.least_thickness / face,
                extra_time=result.extra_time,
                edges_then=thickest * grown if math.isfinite(grown) else None,
                aspect=aspect,
                rule=rule_of(result.kind, aspect),
                decay=None if feature is None else decay_of(feature, first.cell.bath.conductivity, slope),
            )
        )
    return tuple(found)


def slope_at(law: Law | None, current_density: float) -> float:
    """Return the slope of the drop against current density [ohm m²] at ``current_density`` [A/m²]."""
    if law is None:
        return 0.0
    step = 1e-3 * current_density
    low, high = law.drop(np.array([current_density - step, current_density + step]))
    return abs(float(high - low)) / (2.0 * step)


def rule_of(kind: str, aspect: float | None) -> str:
    """Return what the trade says of a recess of that depth over width."""
    if aspect is None:
        return ""
    if kind == Kind.BLIND_HOLE:
        verdict = "within" if aspect <= BLIND_MOST else "beyond"
        return f"{verdict} the usual depth of blind holes, {BLIND_MOST:g} diameter"
    # a hole open at both ends plates from both: half its depth counts
    verdict = "within" if aspect / 2.0 <= RECESS_MOST else "beyond"
    return f"{verdict} the usual depth of recesses, half the width from each side"


def decay_of(feature: Feature, conductivity: float, slope: float) -> float | None:
    """Return the length over which the deposit falls off by e along a round hole [m], the larger of two estimates.

    sqrt(kappa a R / 2) for a wall of resistance R [ohm m²] fed along a bore of radius a, as along a fin or a cable; a / 2.4
    where there is no polarization.
    """
    if feature.kind not in ROUND or not feature.width > 0:
        return None
    radius = feature.width / 2.0
    return max(math.sqrt(conductivity * radius * slope / 2.0), radius / PRIMARY)
