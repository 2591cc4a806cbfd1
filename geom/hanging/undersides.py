"""Level undersides, where hydrogen clings."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools
from geom.feature import Feature
from geom.hanging.pockets import Pocket
from geom.surface.surface import Surface

LEVEL = np.radians(5.0)
"""A face that slopes less lets bubbles cling; common practice, no source."""

LEAST_WIDTH = 5e-3
"""Bubbles leave a narrower strip over its edge; common practice, no source [m]."""

AWAY = 0.5
"""Share of an underside against trapped air, from which on it is told there alone."""


@dataclass(frozen=True, slots=True)
class Underside:
    """The nearly level part of a feature that faces down."""

    feature: str
    area: float  # [m²]
    width: float  # across it, roughly [m]
    is_free: bool  # does gas get away along it without sinking?


def undersides(solid: Surface, features: Sequence[Feature], trapped: Sequence[Pocket]) -> tuple[Underside, ...]:
    """Return the level undersides wide enough to hold bubbles, the largest first; not those of features left bare."""
    level = solid.normals[:, 2] < -np.cos(LEVEL)
    bare: dict[str, float] = {}
    for pocket in trapped:
        for name, area in pocket.features:
            bare[name] = bare.get(name, 0.0) + area
    out = []
    for number in np.unique(solid.tag[level]):
        mine = level & (solid.tag == number)
        feature, area = features[number], float(solid.areas[mine].sum())
        width = _width(solid, mine)
        if feature.is_plated and width >= LEAST_WIDTH and area >= LEAST_WIDTH**2:
            out.append(Underside(feature.name, area, width, bare.get(feature.name, 0.0) < AWAY * area))
    return tuple(sorted(out, key=lambda u: -u.area))


def _width(solid: Surface, mine: Bools) -> float:
    """Return the shorter side of the rectangle with the area and perimeter of these faces [m].

    So a ring is as wide as its strip, and a disc nearly as its diameter.
    """
    faces, area = solid.faces[mine], float(solid.areas[mine].sum())
    sides = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    edges, count = np.unique(sides, axis=0, return_counts=True)
    ends = solid.vertices[edges[count == 1]]
    perimeter = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
    apart = perimeter**2 - 16 * area
    return float((perimeter - np.sqrt(apart)) / 4 if apart > 0 else np.sqrt(area))
