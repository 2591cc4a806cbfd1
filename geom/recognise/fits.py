"""Cylinders, cones and balls nearest to a piece of a surface, by least squares. Arrays in, arrays out."""

import math
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats

STRAY = 0.02  # corners lie on a curve to this share of its radius
BOW = 0.15  # and to this share of how far the curve bows out between its ends
TILT = 0.05  # normals are at right angles to the axis of a cylinder to this sine
WHOLE = math.radians(55)  # a curve with no gap wider than this is closed
LEAST_CONE = math.radians(40)  # a piece of a cone goes round by this much
LEAST_WAYS = 3  # flats that make a curve
BOTH_WAYS = 0.05  # a ball is curved across at least this much as along
ENOUGH = 5000  # corners that a curve is laid through
FARTHEST = 50.0  # radii over the size of the piece beyond which it is no curve any more


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A round shape: where its axis is, and how much of a full turn there is."""

    axis: Floats  # (3,) unit
    point: Floats  # (3,) on the axis, or the middle of a ball [m]
    radius: float  # of a cone the largest [m]
    arc: float  # 2 pi for a whole turn [rad]
    slope: float = 0.0  # of a cone: half its angle [rad]


def cylinder(normals: Floats, weights: Floats, points: Floats, blur: float) -> Fit | None:
    """Return the cylinder on which the corners (n, 3) of facets with normals (k, 3) lie; None where there is none."""
    sizes, ways = np.linalg.eigh((normals * weights[:, None]).T @ normals / weights.sum())
    axis, plane = ways[:, 0], ways[:, 1:]
    if sizes[0] > TILT**2 * min(1.0, 20 * sizes[1]) or sizes[1] < 1e-7:
        return None
    flat = points @ plane
    extent = float(np.linalg.norm(np.ptp(flat, axis=0)))
    centre, radius = circle(flat)
    if not 0 < radius < FARTHEST * extent:
        return None
    turns = normals @ plane
    arc, ways_count = turned(np.arctan2(turns[:, 1], turns[:, 0]))
    if ways_count < LEAST_WAYS:
        return None
    bow = radius * (1 - math.cos(min(arc, math.pi) / 2))
    stray = float(np.abs(np.linalg.norm(flat - centre, axis=1) - radius).max())
    if stray > min(STRAY * radius, BOW * bow) + 4 * blur:
        return None
    return Fit(axis, plane @ centre, radius, arc)


def cone(normals: Floats, weights: Floats, points: Floats, blur: float) -> Fit | None:
    """Return the cone on which the points lie."""
    middle = (normals * weights[:, None]).sum(axis=0) / weights.sum()
    spread = normals - middle
    sizes, ways = np.linalg.eigh((spread * weights[:, None]).T @ spread / weights.sum())
    axis, plane = ways[:, 0], ways[:, 1:]
    rise = float(middle @ axis)
    if len(normals) < 6 or sizes[0] > (TILT / 2) ** 2 or not math.sin(0.05) < abs(rise) < math.sin(1.52):
        return None
    across = normals @ plane
    arc, ways_count = turned(np.arctan2(across[:, 1], across[:, 0]))
    if arc < LEAST_CONE or ways_count < 6:
        return None
    # about the axis |across - centre|² = g² (height - tip)²: linear in the centre, the tip and a rest
    slope = math.asin(min(abs(rise), 1.0))
    steep = math.tan(slope) ** 2
    middle = points.mean(axis=0)
    local = points - middle
    height, flat = local @ axis, local @ plane
    system = np.column_stack([2 * flat, -2 * steep * height, np.ones(len(flat))])
    answer = _solved(system, (flat**2).sum(axis=1) - steep * height**2)
    far = np.linalg.norm(flat - answer[:2], axis=1)
    stray = float(np.abs(far - math.sqrt(steep) * np.abs(height - answer[2])).max())
    radius = float(far.max())
    bow = radius * (1 - math.cos(min(arc, math.pi) / 2))
    if stray > min(STRAY * radius, BOW * bow) + 4 * blur:
        return None
    return Fit(axis, middle + plane @ answer[:2], radius, arc, slope)


def ball(normals: Floats, centres: Floats, points: Floats, blur: float) -> Fit | None:
    """Return the ball on which the points lie; ``centres`` (k, 3) are those of the facets."""
    if len(normals) < 6 or len(points) < 6:
        return None
    sizes = np.linalg.eigvalsh(normals.T @ normals)
    if sizes[0] < BOTH_WAYS * sizes[1]:  # curved one way only: two rings of corners lie on a ball too
        return None
    middle = points.mean(axis=0)
    local = points - middle
    system = np.column_stack([2 * local, np.ones(len(local))])
    answer = _solved(system, (local**2).sum(axis=1))
    radius = math.sqrt(max(float(answer[3] + answer[:3] @ answer[:3]), 0.0))
    if not 0 < radius < FARTHEST * float(np.linalg.norm(np.ptp(points, axis=0))):
        return None
    stray = float(np.abs(np.linalg.norm(local - answer[:3], axis=1) - radius).max())
    mean = normals.mean(axis=0)
    spread = float((normals @ mean).min()) / max(float(np.linalg.norm(mean)), 1e-300)
    bow = radius * (1 - max(spread, 0.0))
    if stray > min(STRAY * radius, BOW * bow) + 4 * blur:
        return None
    spokes = centres - middle - answer[:3]
    along = np.einsum("ij,ij->i", spokes, normals) / np.maximum(np.linalg.norm(spokes, axis=1), 1e-300)
    if max(float(along.min()), float(-along.max())) < 0.9:
        return None
    return Fit(np.array([0.0, 0.0, 1.0]), middle + answer[:3], radius, 2 * math.pi)


def circle(points: Floats) -> tuple[Floats, float]:
    """Centre and radius of the circle nearest to plane points (n, 2), by linear least squares."""
    middle = points.mean(axis=0)
    local = points - middle
    size = float(np.abs(local).max()) or 1.0
    system = np.column_stack([2 * local / size, np.ones(len(local))])
    answer = _solved(system, ((local / size) ** 2).sum(axis=1))
    square = float(answer[2] + answer[:2] @ answer[:2])
    return middle + size * answer[:2], size * math.sqrt(max(square, 0.0))


def _solved(system: Floats, right: Floats) -> Floats:
    """Least squares; of very many equations some thousands tell as much as all."""
    step = max(len(right) // ENOUGH, 1)
    answer, *_ = np.linalg.lstsq(system[::step], right[::step], rcond=None)
    return np.asarray(answer)


def turned(angles: Floats) -> tuple[float, int]:
    """Return how much of a turn the directions (n,) cover, and how many different ones there are."""
    ordered = np.sort(angles)
    gaps = np.diff(np.append(ordered, ordered[0] + 2 * math.pi))
    widest = float(gaps.max())
    # gaps between facets of one flat are noise
    count = int((gaps > math.radians(0.1)).sum())
    if widest < WHOLE:
        return 2 * math.pi, count
    return 2 * math.pi - widest, count
