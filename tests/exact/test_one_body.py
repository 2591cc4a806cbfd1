"""One electrode far from everything: resistance to infinity is 1 / (4 pi kappa C*), C* by closed form or published."""

import math

import numpy as np
import pytest
from helpers import analytic
from helpers.electrodes import alone
from helpers.meshes import cube, ellipsoid, icosphere
from helpers.order import extrapolated, observed_order
from helpers.validation import hold
from numpy.testing import assert_allclose

from geom.electrode.laws import Linear
from geom.surface.surface import Surface

KAPPA = 2.0
HALVING = (1.0, 0.5, 0.25)


def capacitance(body: Surface) -> float:
    return alone(body, conductivity=KAPPA).cathode_current / (4 * math.pi * KAPPA)


def test_sphere_converges_at_second_order() -> None:
    """C* = radius."""
    found = np.array([capacitance(icosphere(level)) for level in (1, 2, 3)])
    order = observed_order(HALVING, found - 1.0)
    assert order > 1.7
    hold(
        "one-body",
        "sphere",
        "capacitance / radius",
        found[-1],
        1.0,
        rtol=5e-3,
        panels=1280,
        source="closed form",
        order=order,
    )


def test_cube_with_panels_crowded_to_its_edges_converges_at_second_order() -> None:
    """Helsing & Perfekt, Appl. Comput. Harmon. Anal. 34 (2013) 445: 0.66067815 for the unit cube."""
    found = np.array([capacitance(cube(n, 2.0)) for n in (3, 6, 9)])
    order = observed_order((1 / 3, 1 / 6, 1 / 9), found - analytic.CUBE)
    assert order > 2.0
    case, source = "cube, panels crowded to its edges", "Helsing & Perfekt, Appl. Comput. Harmon. Anal. 34 (2013) 445"
    hold(
        "one-body",
        case,
        "capacitance / side",
        found[-1],
        analytic.CUBE,
        rtol=3e-4,
        panels=3888,
        source=source,
        order=order,
    )


def test_even_panels_on_the_cube_converge_more_slowly_than_crowded_ones() -> None:
    """The charge density has an edge singularity: first order or little better on an even mesh."""
    found = np.array([capacitance(cube(n)) for n in (3, 6, 9)])
    assert 1.0 < observed_order((1 / 3, 1 / 6, 1 / 9), found - analytic.CUBE) < 1.7


@pytest.mark.parametrize("semi_axes", [(1.0, 1.0, 0.5), (1.0, 1.0, 0.1), (1.0, 2.0, 3.0), (1.0, 1.0, 2.0)])
def test_ellipsoids_down_to_a_thin_disc_agree_with_the_closed_form(
    semi_axes: tuple[float, float, float],
) -> None:
    """Landau & Lifshitz, Electrodynamics of Continuous Media, sec. 4, by Carlson's R_F."""
    exact = analytic.ellipsoid_capacitance(*semi_axes)
    found = np.array([capacitance(ellipsoid(level, semi_axes)) for level in (1, 2, 3)])
    order = observed_order(HALVING, found - exact)
    assert order > 1.7
    case = "ellipsoid " + " : ".join(f"{axis:g}" for axis in semi_axes)
    hold(
        "one-body",
        case,
        "capacitance",
        found[-1],
        exact,
        rtol=6e-3,
        panels=1280,
        source="closed form, Carlson's R_F",
        order=order,
    )


def test_closed_form_of_ellipsoids_gives_the_known_figures() -> None:
    """Elementary forms for spheroids: sqrt(a2 - c2) / acos(c / a), sqrt(c2 - a2) / acosh(c / a)."""
    assert_allclose(analytic.ellipsoid_capacitance(1, 1, 0.5), 0.826993343132688, rtol=1e-12, atol=0)
    assert_allclose(analytic.ellipsoid_capacitance(1, 1, 2), 1.31519072220405, rtol=1e-12, atol=0)
    assert_allclose(analytic.ellipsoid_capacitance(1, 1, 1e-9), 2 / math.pi, rtol=1e-8, atol=0)


def test_local_current_density_on_an_ellipsoid_agrees_with_the_closed_form() -> None:
    """Charge density of a conducting ellipsoid (Landau & Lifshitz, sec. 4): the tip has three times the waist."""
    semi_axes = (1.0, 2.0, 3.0)
    body = ellipsoid(3, semi_axes)
    found = alone(body)
    # as shares of the mean, so that the facets' smaller area does not count twice
    local = found.current_density / (found.cathode_current / body.area)
    exact = analytic.ellipsoid_density(body.centroids, semi_axes, 1.0)
    exact /= (exact @ body.areas) / body.area
    assert_allclose(local, exact, rtol=0.06, atol=0)
    share = float(np.sqrt(body.areas @ (local / exact - 1) ** 2 / body.area))
    assert share < 0.015


def at_the_ends(body: Surface) -> list[float]:
    """Local over mean current density of the panels that meet at the end of each axis."""
    density = alone(body).current_density
    density = density / (density @ body.areas / body.area)
    tips = [int(np.argmax(body.vertices[:, axis])) for axis in range(3)]
    around = [np.any(body.faces == tip, axis=1) for tip in tips]
    return [float(np.average(density[near], weights=body.areas[near])) for near in around]


@pytest.mark.parametrize(
    ("semi_axes", "known"),
    [
        ((1.0, 2.0, 3.0), (0.6483196010831, 1.2966392021662, 1.9449588032493)),
        ((1.0, 1.0, 0.5), (1.3801729981505, 1.3801729981505, 0.6900864990752)),
    ],
)
def test_current_density_at_the_ends_of_the_axes_of_an_ellipsoid_agrees_with_the_closed_form(
    semi_axes: tuple[float, float, float], known: tuple[float, float, float]
) -> None:
    """i = I / (4 pi a b c) / sqrt(x²/a⁴ + y²/b⁴ + z²/c⁴): at the ends proportional to the axis itself."""
    found = np.array([at_the_ends(ellipsoid(level, semi_axes)) for level in (2, 3)])
    case = "ellipsoid " + " : ".join(f"{axis:g}" for axis in semi_axes)
    for axis, exact in enumerate(known):
        limit = extrapolated((2.0, 1.0), found[:, axis])
        name = f"i / mean at the end of axis {'abc'[axis]}, extrapolated"
        hold("one-body", case, name, limit, exact, rtol=1e-2, source="closed form")


def test_sphere_with_polarization_adds_its_resistance_to_that_of_the_bath() -> None:
    """R = 1 / (4 pi kappa a) + R_ct / (4 pi a2), elementary."""
    found = alone(icosphere(3), conductivity=KAPPA, law=Linear(0.3))
    exact = 1 / (4 * math.pi * KAPPA) + 0.3 / (4 * math.pi)
    assert_allclose(1 / found.cathode_current, exact, rtol=8e-3, atol=0)
