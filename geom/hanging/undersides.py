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
        width = _width(solid, mine, area)
        if feature.is_plated and width >= LEAST_WIDTH and area >= LEAST_WIDTH**2:
            out.append(Underside(feature.name, area, width, bare.get(feature.name, 0.0) < AWAY * area))
    return tuple(sorted(out, key=lambda u: -u.area))


def _width(solid: Surface, mine: Bools, area: float) -> float:
    """Return the lesser of the least extent over 36 directions and of 4 area / perimeter [m].

    The second is the diameter of a disc, and twice the width of a ring.
    """
    angle = np.pi * np.arange(36) / 36
    across = solid.corners[mine].reshape(-1, 3)[:, :2] @ np.stack([np.cos(angle), np.sin(angle)])
    extent = float((across.max(axis=0) - across.min(axis=0)).min())
    faces = solid.faces[mine]
    sides = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    edges, count = np.unique(sides, axis=0, return_counts=True)
    ends = solid.vertices[edges[count == 1]]
    perimeter = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
    return min(extent, 4 * area / perimeter) if perimeter > 0 else extent
