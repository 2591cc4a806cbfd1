"""Panel integrals against a slow twin, and the matrices against theorems that need no reference number."""

import math

import numpy as np
import pytest
from helpers.meshes import box_in_box, cube, icosphere, turned_over
from helpers.order import observed_order
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import quad

from geom.arrays import Floats
from geom.bem.kernels import panel_integrals
from geom.bem.operators import assemble
from geom.surface.surface import Surface

TRIANGLE = np.array([[0.0, 0.0, 0.0], [1.0, 0.1, 0.0], [0.3, 0.8, 0.0]])
SLIVER = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.6, 0.02, 0.0]])

few = settings(max_examples=30, deadline=None, derandomize=True)


def wedge(far: float, height: float, start: float, end: float) -> tuple[float, float]:
    """Both layers of the triangle from the foot of the point to one side, ``far`` away."""

    def slant(t: float) -> float:
        return math.hypot(far / math.cos(t), height)

    low, high = math.atan2(start, far), math.atan2(end, far)
    single = quad(lambda t: slant(t) - height, low, high, epsabs=1e-13)[0]
    return single, quad(lambda t: 1 - height / slant(t), low, high, epsabs=1e-13)[0]


def twin(place: Floats, corners: Floats) -> tuple[float, float]:
    """Single and double layer times 4 pi: polar about the foot of the point, radius by hand, angle by `quad`."""
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal /= np.linalg.norm(normal)
    height = float((corners[0] - place) @ normal)
    flat = corners - (place + height * normal)
    single = double = 0.0
    for a, b in zip(flat, np.roll(flat, -1, axis=0), strict=True):
        along = (b - a) / np.linalg.norm(b - a)
        aside = float(np.cross(along, normal) @ a)
        if abs(aside) < 1e-14:  # the foot of the point lies on the line of this side
            continue
        with_height, angle = wedge(abs(aside), abs(height), float(a @ along), float(b @ along))
        single += math.copysign(with_height, aside)
        double -= math.copysign(angle, aside) * float(np.sign(height))
    return single, double


def closed_form(place: Floats, corners: Floats) -> tuple[float, float]:
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    return panel_integrals(*place, corners, normal / np.linalg.norm(normal))


@pytest.mark.parametrize("corners", [TRIANGLE, SLIVER], ids=["triangle", "sliver"])
@pytest.mark.parametrize(
    "place",
    [
        (0.4, 0.3, 1e-3),
        (0.4, 0.3, -1e-3),
        (0.5, 0.005, 0.2),
        (0.4, 0.3, -0.5),
        (2.0, -1.0, 0.3),
        (9.0, 5.0, -7.0),
    ],
)
def test_panel_integrals_agree_with_quadrature(corners: Floats, place: tuple[float, float, float]) -> None:
    single, double = closed_form(np.array(place), corners)
    slow_single, slow_double = twin(np.array(place), corners)
    assert_allclose(single, slow_single, rtol=1e-9, atol=0)
    assert_allclose(double, slow_double, rtol=1e-7, atol=0)


def test_single_layer_agrees_in_the_panel_itself() -> None:
    for corners in (TRIANGLE, SLIVER):
        place = corners.mean(axis=0)
        assert_allclose(closed_form(place, corners)[0], twin(place, corners)[0], rtol=1e-10, atol=0)


def test_single_layer_stays_finite_on_a_corner_and_on_an_edge() -> None:
    for place in (TRIANGLE[1], 0.5 * (TRIANGLE[0] + TRIANGLE[1])):
        nearby = place + np.array([0.0, 0.0, 1e-9])
        assert_allclose(closed_form(place, TRIANGLE)[0], closed_form(nearby, TRIANGLE)[0], rtol=1e-6, atol=0)


def test_single_layer_of_a_square_at_its_centre_is_the_published_integral() -> None:
    """Side 1: 4 ln(1 + sqrt 2), elementary (Harrington, Field Computation by Moment Methods, ch. 2)."""
    quarter = np.array([[0.0, 0.0, 0.0], [0.5, -0.5, 0.0], [0.5, 0.5, 0.0]])
    assert_allclose(4 * closed_form(np.zeros(3), quarter)[0], 4 * math.log(1 + math.sqrt(2)), rtol=1e-12, atol=0)


@few
@given(st.tuples(*[st.floats(-2, 2)] * 3).filter(lambda p: abs(p[2]) > 0.05))
def test_solid_angle_seen_from_anywhere_agrees_with_quadrature(place: tuple[float, float, float]) -> None:
    assert_allclose(closed_form(np.array(place), TRIANGLE), twin(np.array(place), TRIANGLE), rtol=1e-6, atol=0)


@few
@given(st.floats(1e-3, 1e3), st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda p: np.linalg.norm(p) > 0.1))
def test_single_layer_scales_with_length_and_solid_angle_does_not(
    scale: float, place: tuple[float, float, float]
) -> None:
    at = np.array([0.4, 0.3, 0.7]) + np.array(place) * 0.5
    single, double = closed_form(at, TRIANGLE)
    assert_allclose(closed_form(scale * at, scale * TRIANGLE), (scale * single, double), rtol=1e-8, atol=0)


def test_double_layer_jumps_by_four_pi_through_the_panel() -> None:
    place = TRIANGLE.mean(axis=0)
    step = np.array([0.0, 0.0, 1e-9])
    above, below = closed_form(place + step, TRIANGLE)[1], closed_form(place - step, TRIANGLE)[1]
    assert_allclose(above - below, 4 * math.pi, rtol=1e-7, atol=0)


@pytest.mark.parametrize(
    "surface", [cube(4, 2.0), box_in_box(4, 1.0, 3.0), icosphere(2)], ids=["cube", "box in box", "sphere"]
)
def test_row_sums_obey_the_theorem_of_gauss(surface: Surface) -> None:
    """A point inside a flat panel of a closed surface sees it under half the full angle, whichever side is wet."""
    operators = assemble(surface, np.arange(0), dtype=np.float64)
    assert operators.gauss_error < 1e-4
    outside = assemble(turned_over(surface), np.arange(0), enclosed=False, dtype=np.float64)
    assert_allclose(outside.free + operators.free, 1.0, rtol=1e-12, atol=0)


def test_distant_panels_are_integrated_within_a_tenth_of_a_percent() -> None:
    surface = cube(6)
    operators = assemble(surface, np.arange(len(surface.faces)), dtype=np.float64, compress_from=10**9)
    row = 17
    exact = np.array(
        [panel_integrals(*surface.centroids[row], c, n) for c, n in zip(surface.corners, surface.normals, strict=True)]
    ) / (4 * math.pi)
    double, single = operators.matrices()
    assert_allclose(single[row], exact[:, 0], rtol=1e-3, atol=0)
    elsewhere = (np.abs(exact[:, 1]) > 1e-12) & (np.arange(len(exact)) != row)
    assert_allclose(double[row, elsewhere], exact[elsewhere, 1], rtol=1e-2, atol=0)


POLYNOMIALS = {
    "x": (lambda p: p[:, 0], lambda p: np.tile([1.0, 0.0, 0.0], (len(p), 1))),
    "xy": (lambda p: p[:, 0] * p[:, 1], lambda p: np.stack([p[:, 1], p[:, 0], 0 * p[:, 0]], 1)),
    "x2 + y2 - 2 z2": (
        lambda p: p[:, 0] ** 2 + p[:, 1] ** 2 - 2 * p[:, 2] ** 2,
        lambda p: p * np.array([2.0, 2.0, -4.0]),
    ),
}


@pytest.mark.parametrize("name", POLYNOMIALS)
def test_harmonic_polynomials_satisfy_the_equation_ever_better_on_finer_panels(name: str) -> None:
    value, gradient = POLYNOMIALS[name]
    sizes, errors = [], []
    for n in (2, 4, 8):
        surface = cube(n)
        places = surface.centroids
        operators = assemble(surface, np.arange(len(places)), dtype=np.float64)
        phi, flux = value(places), np.einsum("ij,ij->i", gradient(places), surface.normals)
        miss = operators.product(np.stack([phi, phi], 1), np.stack([-flux, 0 * flux], 1))[:, 0]
        sizes.append(1 / n)
        errors.append(float(np.sqrt(surface.areas @ miss**2 / (surface.areas @ phi**2))))
    assert observed_order(sizes, errors) > 1.2
    assert errors[-1] < 0.01
