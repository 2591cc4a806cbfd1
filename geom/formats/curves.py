"""Plane curves as short straight pieces: arcs, Bézier curves and splines, in the units of a drawing.

The pieces are so short that area and length of what they bound are kept to about 5e-5.
"""

import math

import numpy as np

from geom.arrays import Floats
from geom.formats.raw import malformed

STEP = math.radians(1.0)  # most that an arc turns from one point to the next
LEAST_PIECES = 8  # of an arc: a shallow one over a long chord bounds area too
CLOSE = 1e-5  # most that a curve leaves its chords, as a share of its length
MOST_PIECES = 4096  # of one curve


def arc(centre: Floats, radius: float, start: float, turn: float) -> Floats:
    """Points (n, 2) on an arc from angle ``start`` through ``turn`` (signed) [rad], both ends included."""
    angle = start + np.linspace(0.0, turn, pieces_of(turn) + 1)
    return np.asarray(centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def ellipse(centre: Floats, major: Floats, minor: Floats, start: float, turn: float) -> Floats:
    """Points (n, 2) on an ellipse of two half axes, from parameter ``start`` through ``turn`` [rad]."""
    angle = (start + np.linspace(0.0, turn, pieces_of(turn) + 1))[:, None]
    return np.asarray(centre + np.cos(angle) * major + np.sin(angle) * minor)


def pieces_of(turn: float) -> int:
    """Straight pieces for an arc through ``turn`` [rad]."""
    if not math.isfinite(turn):
        raise malformed("a curve of the drawing is too small or too large to be followed")
    return max(math.ceil(abs(turn) / STEP - 1e-9), LEAST_PIECES)


def bulge(start: Floats, end: Floats, value: float) -> Floats:
    """Points (n, 2) from ``start`` to ``end`` on an arc whose quarter angle has the tangent ``value``."""
    chord = end - start
    if value == 0.0 or not np.any(chord):
        return np.stack([start, end])
    turn = 4.0 * math.atan(value)
    left = np.array([-chord[1], chord[0]])
    centre = (start + end) / 2 + left * (1.0 - value * value) / (4.0 * value)
    spoke = start - centre
    points = arc(centre, float(np.hypot(*spoke)), math.atan2(spoke[1], spoke[0]), turn)
    points[0], points[-1] = start, end
    return points


def bezier(control: Floats) -> Floats:
    """Points (n, 2) on a quadratic or cubic Bézier curve of 3 or 4 control points."""
    degree = len(control) - 1
    bend = np.linalg.norm(control[:-2] - 2 * control[1:-1] + control[2:], axis=1).max() * degree * (degree - 1)
    length = float(np.linalg.norm(np.diff(control, axis=0), axis=1).sum())
    if not length > 0:
        return np.asarray(control[[0, -1]])
    count = min(max(math.ceil(math.sqrt(bend / (8.0 * CLOSE * length))), 1), MOST_PIECES)
    t = np.linspace(0.0, 1.0, count + 1)[:, None]
    points = np.zeros((count + 1, 2))
    for k, corner in enumerate(control):
        points += math.comb(degree, k) * t**k * (1.0 - t) ** (degree - k) * corner
    points[0], points[-1] = control[0], control[-1]
    return points


def spline(degree: int, knots: Floats, control: Floats, weights: Floats) -> Floats:
    """Points (n, 2) on a rational B-spline; knots (len(control) + degree + 1,) must not fall."""
    from scipy.interpolate import BSpline

    curve = BSpline(knots, np.column_stack([control * weights[:, None], weights]), degree)
    bounds = np.unique(knots[degree : len(control) + 1])

    def places(each: int) -> Floats:
        t = bounds[:-1, None] + np.diff(bounds)[:, None] * (np.arange(each) / each)
        value = curve(np.append(t.reshape(-1), bounds[-1]))
        return np.asarray(value[:, :2] / value[:, 2:])

    each = 1 if degree == 1 else 8
    while degree > 1 and each * len(bounds) < MOST_PIECES:
        fine = places(2 * each)
        chords = (fine[:-2:2] + fine[2::2]) / 2
        length = float(np.linalg.norm(np.diff(fine, axis=0), axis=1).sum())
        if float(np.linalg.norm(fine[1::2] - chords, axis=1).max()) <= CLOSE * length:
            break
        each *= 2
    return places(each)


def svg_arc(start: Floats, end: Floats, radii: tuple[float, float], turned: float, large: bool, sweep: bool) -> Floats:
    """Points (n, 2) on the elliptical arc of an SVG path (its specification, implementation notes B.2.4).

    ``turned`` is the angle of the first axis from x [rad]; radii that are too small are enlarged as told there.
    """
    rx, ry = abs(radii[0]), abs(radii[1])
    if rx == 0.0 or ry == 0.0 or not np.any(end - start):
        return np.stack([start, end])
    cos, sin = math.cos(turned), math.sin(turned)
    axes = np.array([[cos, sin], [-sin, cos]])
    half = axes @ (start - end) / 2 / [rx, ry]
    share = float(half @ half)
    if share > 1.0:
        rx, ry, half, share = rx * math.sqrt(share), ry * math.sqrt(share), half / math.sqrt(share), 1.0
    side = -1.0 if large == sweep else 1.0
    middle = side * math.sqrt(max(1.0 / share - 1.0, 0.0)) * np.array([half[1], -half[0]])
    first, last = half - middle, -half - middle
    begin = math.atan2(first[1], first[0])
    turn = (math.atan2(last[1], last[0]) - begin) % (2 * math.pi)
    turn = turn if sweep else turn - 2 * math.pi
    centre = axes.T @ (middle * [rx, ry]) + (start + end) / 2
    points = ellipse(centre, axes.T @ [rx, 0.0], axes.T @ [0.0, ry], begin, turn)
    points[0], points[-1] = start, end
    return points
