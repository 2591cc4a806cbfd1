"""Plane rings of points: circles, slots, arcs, rectangles. Arrays and metres only."""

import math

import numpy as np

from geom.arrays import Floats

FACETS = 96  # straight pieces to a full circle; a multiple of 4, so that a circle keeps its extent along x and y

# A bore of FACETS flats whose corners lie on this many radii has the perimeter of the round bore.
SAME_PERIMETER = (math.pi / FACETS) / math.sin(math.pi / FACETS)


def circle(radius: float, centre: tuple[float, float] = (0.0, 0.0)) -> Floats:
    """Counter-clockwise ring (FACETS, 2) with its corners on the circle [m]."""
    angle = np.arange(FACETS) * (2 * math.pi / FACETS)
    return np.asarray(np.stack([np.cos(angle), np.sin(angle)], axis=1) * radius + np.asarray(centre))


def rectangle(length: float, width: float) -> Floats:
    """Counter-clockwise ring (4, 2) about the origin, from the corner (-, -) [m]."""
    x, y = length / 2, width / 2
    return np.array([[-x, -y], [x, -y], [x, y], [-x, y]])


def slot(radius: float, straight: float, centre: tuple[float, float], angle: float) -> Floats:
    """Counter-clockwise ring (FACETS + 2, 2): half circles ``straight`` apart, axis turned by ``angle``."""
    turn = np.linspace(-math.pi / 2, math.pi / 2, FACETS // 2 + 1)
    right = np.stack([straight / 2 + radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    ring = np.concatenate([right, -right])
    cos, sin = math.cos(angle), math.sin(angle)
    return np.asarray(ring @ np.array([[cos, sin], [-sin, cos]]) + np.asarray(centre))


def arc(centre: Floats, radius: float, start: float, turn: float) -> Floats:
    """Points on an arc from angle ``start`` through ``turn`` (signed) [rad], both ends included.

    A point lies wherever the arc is farthest along either axis, so that the extent is exact.
    """
    steps = math.ceil(abs(turn) / (2 * math.pi) * FACETS - 1e-9)
    angles = start + np.linspace(0.0, turn, max(steps, 4) + 1)
    quarter = math.pi / 2
    low, high = sorted((start, start + turn))
    crossing = np.arange(math.ceil(low / quarter), math.floor(high / quarter) + 1) * quarter
    inner = angles[1:-1]
    inner = inner[np.abs(inner[:, None] - crossing[None, :]).min(axis=1, initial=np.inf) > 1e-3]
    between = crossing[(crossing > low + 1e-9) & (crossing < high - 1e-9)]
    angles = np.sort(np.concatenate([[low, high], inner, between]))
    angles = angles if turn > 0 else angles[::-1]
    return np.asarray(centre + radius * np.stack([np.cos(angles), np.sin(angles)], axis=1))
