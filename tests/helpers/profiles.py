"""Current density along one coordinate of an electrode, from the panels' means."""

import numpy as np
from scipy.interpolate import CubicSpline

from geom.arrays import Floats


def strip_means(values: Floats, areas: Floats, where: Floats, edges: Floats) -> tuple[Floats, Floats]:
    """Mean of ``values`` and total area of the panels between neighbouring ``edges``."""
    strip = np.searchsorted(edges, where) - 1
    if strip.min() < 0 or strip.max() > len(edges) - 2:
        raise ValueError("a panel lies outside the strips")
    area = np.bincount(strip, areas, minlength=len(edges) - 1)
    return np.bincount(strip, values * areas, minlength=len(edges) - 1) / area, area


def along(values: Floats, areas: Floats, where: Floats, edges: Floats, at: Floats, *, measure: int = 1) -> Floats:
    """Local over mean value at the places ``at``; at the last edge the mean of the last strip.

    ``measure`` 1: strips of equal breadth, ``where`` runs straight along them; 2: rings, ``where`` is the
    distance from the axis. A mean over a panel is not the value at its middle where the grading is steep: the
    running total is drawn as a spline over the number of the strip, in which a graded mesh is smooth, and so is
    the measure; the slopes are divided.
    """
    mean, area = strip_means(values, areas, where, edges)
    total = np.concatenate([[0.0], np.cumsum(mean * area)])
    spread = edges**measure
    number = np.arange(len(edges))
    start = "not-a-knot" if measure == 1 else (1, 0.0)  # rings begin with nothing at the axis
    run = CubicSpline(number, total / total[-1], bc_type=(start, "not-a-knot"))
    place = CubicSpline(number, spread, bc_type=(start, "not-a-knot"))
    fine = np.linspace(0.0, len(edges) - 1.0, 200 * (len(edges) - 1) + 1)[1:-1]
    local = run.derivative()(fine) / place.derivative()(fine) * (spread[-1] - spread[0])
    found = np.interp(np.asarray(at) ** measure, place(fine), local)
    overall = total[-1] / area.sum()
    return np.asarray(np.where(np.asarray(at) == edges[-1], mean[-1] / overall, found))
