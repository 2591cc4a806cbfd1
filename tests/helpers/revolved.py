"""Surfaces of revolution about z, drawn as a line in the half plane of radius and height."""

from collections.abc import Sequence

import numpy as np

from geom.arrays import Floats
from geom.surface.solid import joined
from geom.surface.surface import Surface
from helpers.meshes import grid

Line = tuple[Floats, Floats, int]
"""Radii, heights, tag: of one stretch of the line."""


def evened(n: int) -> float:
    """By what a polygon of ``n`` corners is too small: radius of its corners over that of the circle of its area."""
    return float(np.sqrt(2 * np.pi / n / np.sin(2 * np.pi / n)))


def revolved(lines: Sequence[Line], n: int) -> Surface:
    """Lines turned about z in ``n`` steps, every ring of the area of its circle.

    The electrolyte lies to the left of each line as it runs: up along an outer wall, inwards along a lid.
    """
    turn = np.linspace(0.0, 2 * np.pi, n + 1)
    return joined([_turned(np.asarray(r) * evened(n), np.asarray(z), turn, tag) for r, z, tag in lines])


def _turned(radius: Floats, height: Floats, turn: Floats, tag: int) -> Surface:
    number = np.arange(len(radius), dtype=float)

    def place(phi: Floats, k: Floats) -> Floats:
        step = k.astype(int)
        return np.column_stack([radius[step] * np.cos(phi), radius[step] * np.sin(phi), height[step]])

    whole = grid(place, turn, number, tag)
    return whole.selected(whole.areas > 1e-12 * whole.areas.max())


def arc(radius: float, n: int) -> tuple[Floats, Floats]:
    """Radii and heights of a quarter of a circle, from the plane up to the axis, in ``n`` steps."""
    t = np.linspace(0.0, 0.5 * np.pi, n + 1)
    r = radius * np.cos(t)
    r[-1] = 0.0
    return r, radius * np.sin(t)


def from_axis(points: Floats) -> Floats:
    """Distance from z of (n, 3) points."""
    return np.asarray(np.hypot(points[:, 0], points[:, 1]))
