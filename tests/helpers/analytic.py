"""Closed forms of current distribution, written out here and nowhere in the program."""

import math

import numpy as np
from scipy.special import elliprf

from geom.arrays import Floats

CUBE = 0.66067815
"""Capacitance over 4 pi epsilon of the unit cube: Helsing & Perfekt, Appl. Comput. Harmon. Anal. 34 (2013) 445;
Hwang & Mascagni, J. Appl. Phys. 95 (2004) 3798 give 0.6606782."""

SQUARE_PLATE = 0.366788
"""The same of the thin unit square: Hwang & Mascagni (2004) and Read (1997) give 0.3667874."""


def ellipsoid_capacitance(a: float, b: float, c: float) -> float:
    """Capacitance over 4 pi epsilon of an ellipsoid [m] (Landau & Lifshitz, Electrodynamics of Continuous Media)."""
    return 1.0 / float(elliprf(a * a, b * b, c * c))


def ellipsoid_density(places: Floats, semi_axes: tuple[float, float, float], total: float) -> Floats:
    """Local current density on an ellipsoid far from everything [A/m²]."""
    axes = np.asarray(semi_axes)
    steepness = np.sqrt(((places / axes**2) ** 2).sum(axis=1))
    return total / (4 * math.pi * axes.prod()) / steepness


def concentric_spheres(inner: float, outer: float) -> float:
    """Conductance over conductivity [m]."""
    return 4 * math.pi * inner * outer / (outer - inner)


def coaxial_cylinders(inner: float, outer: float, length: float) -> float:
    """Conductance over conductivity with insulated ends [m]."""
    return 2 * math.pi * length / math.log(outer / inner)


def eccentric_cylinders(inner: float, outer: float, offset: float, length: float) -> float:
    """Conductance over conductivity, axes ``offset`` apart (Smythe, Static and Dynamic Electricity) [m]."""
    ratio = (inner**2 + outer**2 - offset**2) / (2 * inner * outer)
    return 2 * math.pi * length / math.acosh(ratio)


def torus_capacitance(middle: float, thick: float) -> float:
    """Capacitance over 4 pi epsilon of a ring (Hicks, Phil. Trans. 172 (1881) 609; Smythe) [m].

    (2 f / pi) sum of eps_n Q(n-1/2) / P(n-1/2) at middle / thick, f² = middle² - thick². Q by its integral
    (Heine) and P by Laplace's: both converge at once with the trapezium rule, being periodic.
    """
    x = middle / thick
    focus = math.sqrt(middle**2 - thick**2)
    turn = np.linspace(0.0, 2 * math.pi, 8192, endpoint=False)
    step = 2 * math.pi / len(turn)
    total = 0.0
    for n in range(60):
        # P(n-1/2): mean of (x + sqrt(x²-1) cos t)^(n-1/2); Q: half the integral of cos(n t) / sqrt(2x - 2 cos t)
        p = float(np.mean((x + math.sqrt(x * x - 1) * np.cos(turn)) ** (n - 0.5)))
        q = float(0.5 * step * np.sum(np.cos(n * turn) / np.sqrt(2 * x - 2 * np.cos(turn))))
        total += (1.0 if n == 0 else 2.0) * q / p
    return 2 * focus / math.pi * total
