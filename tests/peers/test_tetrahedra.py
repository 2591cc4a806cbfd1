"""The peer itself against closed forms, before it is believed."""

import math

import numpy as np
import pytest
import shapely
from helpers.tetrahedra import Metal, filling, grid, lines, rings, solve_tetrahedra, stack, triangles
from numpy.testing import assert_allclose

KAPPA, RESISTANCE = 8.0, 2e-4
SIDE, GAP, PLATE = 0.02, 0.03, 0.001  # between plates, and their thickness [m]


def test_parallel_plates_are_exact_whatever_the_mesh() -> None:
    """Ohm's law: the potential is linear, and quadratic elements hold it exactly."""
    size = {0.0: 2e-3, 7e-3: 1e-3, SIDE: 5e-3}
    edges = grid(lines(size, 0.5, 5e-3), np.array([0.0, SIDE]))
    border = np.concatenate([edges, edges[:, ::-1]])
    inside = filling(border, shapely.box(0, 0, SIDE, SIDE), 0.5, 5e-3, 1e-3)
    points = np.concatenate([np.unique(border, axis=0), inside])
    layers = lines({-PLATE: PLATE, 0.0: 1e-3, GAP: 4e-3, GAP + PLATE: PLATE}, 0.5, 5e-3)
    square = shapely.box(-1, -1, 1, 1)
    mesh, on = stack(points, layers, [Metal(square, GAP, GAP + PLATE), Metal(square, -PLATE, 0.0)])
    field = solve_tetrahedra(mesh, on, KAPPA, RESISTANCE, voltage=2.0)
    assert_allclose(field.area, SIDE**2, rtol=1e-12, atol=0)
    assert_allclose(field.current_density, 2.0 / (GAP / KAPPA + RESISTANCE), rtol=1e-5, atol=0)
    assert_allclose(field.percentiles([0.1, 0.9]), 1.0, rtol=1e-5, atol=0)
    assert_allclose(np.abs(field.normals), np.broadcast_to([0, 0, 1], field.normals.shape), rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("sides", [24, 48])
def test_coaxial_cylinders_converge_to_the_closed_form(sides: int) -> None:
    """Current per height: 2 pi kappa V / (ln(b/a) + kappa R / a), cathode inside; straight sides cost 1/sides²; prisms that do not fit cost more."""
    a, b, height = 5e-3, 15e-3, 4e-3
    angles = np.linspace(0.0, 2 * math.pi, sides, endpoint=False)
    radii = lines({a: 1e-3, b: 2e-3}, 0.5, 3e-3)
    # the outer anode is a ring 1 mm thick; the inner cathode needs a point to hang its triangles on
    points = np.concatenate([[(0.0, 0.0)], rings((0.0, 0.0), np.append(radii, b + 1e-3), angles)])
    inner, outer = (shapely.Polygon(rings((0.0, 0.0), np.array([r]), angles)) for r in (a, b))
    metals = [Metal(inner, -1.0, 1.0), Metal(shapely.box(-1, -1, 1, 1) - outer, -1.0, 1.0)]
    field = solve_tetrahedra(*stack(points, np.linspace(0.0, height, 4), metals), KAPPA, RESISTANCE)
    exact = 2 * math.pi * KAPPA * height / (math.log(b / a) + KAPPA * RESISTANCE / a)
    assert_allclose(field.current, exact, rtol=2.5 / sides**2, atol=0)


def test_lines_go_through_every_stop_and_grow_no_faster_than_asked() -> None:
    found = lines({0.0: 0.1, 1.0: 0.02, 4.0: 0.5}, 0.4, 0.3)
    steps = np.diff(found)
    assert {0.0, 1.0, 4.0} <= set(found.tolist())
    assert 0.014 < steps.min() < 0.03
    assert steps.max() < 0.33
    assert (steps[1:] / steps[:-1]).max() < 1.7


def test_triangles_fill_the_outline_of_the_points_and_resolve_a_circle() -> None:
    ring = rings((0.5, 0.5), np.array([0.1, 0.2, 0.3]), np.linspace(0.0, 2 * math.pi, 20, endpoint=False))
    square = grid(np.linspace(0, 1, 8), np.linspace(0, 1, 8))
    square = square[np.hypot(*(square - 0.5).T) > 0.38]
    points = np.concatenate([square, ring])
    found = triangles(points)
    a, b, c = points[found].transpose(1, 0, 2)
    areas = 0.5 * np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    assert_allclose(areas.sum(), 1.0, rtol=1e-12, atol=0)
    circle = shapely.Polygon(ring[20:40])
    within = shapely.contains_xy(circle, *points[found].mean(axis=1).T)
    assert_allclose(areas[within].sum(), circle.area, rtol=1e-9, atol=0)
