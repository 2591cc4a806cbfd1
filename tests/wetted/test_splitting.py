"""Surfaces cut by planes and balls: closed as before, of the same area, and what lies inside by closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.surface.cutters import SAME_AREA, Ball, HalfSpace
from geom.surface.solid import box, to_manifold
from geom.surface.splitting import Split, split
from geom.surface.surface import Surface

BAR = box((-50.0, -10.0, -1.5), (50.0, 10.0, 1.5))
few = settings(max_examples=40, deadline=None, derandomize=True)


def within(cut: Split) -> float:
    return float(cut.surface.areas[cut.inside].sum())


def sound(cut: Split, before: Surface) -> None:
    """The pieces are a closed surface of the same area; each lies on the face it came from."""
    to_manifold(cut.surface)  # raises where it is not closed
    assert_allclose(cut.surface.area, before.area, rtol=1e-12, atol=0)
    assert_allclose(np.bincount(cut.source, cut.surface.areas, len(before.faces)), before.areas, rtol=1e-9, atol=0)
    found, wanted = cut.surface.normals, before.normals[cut.source]
    assert np.einsum("ij,ij->i", found, wanted).min() > 1 - 1e-6


def ball(x: float, y: float, z: float, radius: float) -> Ball:
    return Ball((x, y, z), radius)


def test_a_plane_cuts_a_box_at_its_level():
    cut = split(BAR, HalfSpace((0.0, 0.0, 1.0), 0.3, 1e-9))
    sound(cut, BAR)
    assert_allclose(within(cut), 100 * 20 + 2 * (100 + 20) * 1.8, rtol=1e-12, atol=0)


def test_a_face_that_lies_in_the_plane_is_inside():
    cut = split(BAR, HalfSpace((0.0, 0.0, -1.0), -1.5, 1e-9))
    assert_allclose(within(cut), 2000, rtol=1e-12, atol=0)
    assert len(cut.surface.faces) == 12


def test_only_faces_that_are_meant_are_divided_and_neighbours_get_the_new_corners():
    upper = BAR.normals[:, 2] > 0.5
    cut = split(BAR, HalfSpace((1.0, 0.0, 0.0), 10.0, 1e-9), upper)
    sound(cut, BAR)
    assert_allclose(within(cut), 60 * 20, rtol=1e-12, atol=0)


@pytest.mark.parametrize("at", [(20.0, 3.0), (0.0, 0.0), (20.0, 2.0 / 3.0), (-49.0, -9.0)])
def test_a_circle_within_a_face_has_its_area(at: tuple[float, float]):
    upper = BAR.normals[:, 2] > 0.5
    radius = 0.9
    cut = split(BAR, ball(*at, 1.5, radius * SAME_AREA), upper)
    sound(cut, BAR)
    assert_allclose(within(cut), math.pi * radius**2, rtol=2e-4, atol=0)


def test_a_ball_off_a_face_cuts_the_smaller_circle():
    cut = split(BAR, ball(20, 3, 4.5, 5.0))
    sound(cut, BAR)
    assert_allclose(within(cut), math.pi * 4.0**2, rtol=4e-4, atol=0)


def test_a_ball_at_an_edge_takes_half_a_circle_of_one_face_and_half_of_the_other():
    cut = split(BAR, ball(10, 10, 1.5, 2.0 * SAME_AREA))
    sound(cut, BAR)
    assert_allclose(within(cut), math.pi * 2.0**2, rtol=4e-4, atol=0)


def test_a_ball_at_a_corner_takes_three_quarters_of_a_circle():
    cut = split(BAR, ball(50, 10, 1.5, 2.0 * SAME_AREA))
    sound(cut, BAR)
    assert_allclose(within(cut), 0.75 * math.pi * 2.0**2, rtol=4e-4, atol=0)


def test_a_ball_round_everything_takes_everything_and_cuts_nothing():
    cut = split(BAR, ball(0, 0, 0, 200))
    assert cut.surface is BAR
    assert np.all(cut.inside)


def test_a_ball_beside_takes_nothing():
    assert not np.any(split(BAR, ball(0, 0, 10, 8)).inside)


@few
@given(st.floats(-52, 52), st.floats(-12, 12), st.floats(-2, 2), st.floats(0.3, 12))
def test_any_ball_leaves_a_closed_surface_divided_at_its_border(x: float, y: float, z: float, radius: float):
    cut = split(BAR, ball(x, y, z, radius))
    sound(cut, BAR)
    away = np.linalg.norm(cut.surface.centroids - [x, y, z], axis=1)
    assert np.all(away[cut.inside] < radius * (1 + 1e-5))
    assert np.all(away[~cut.inside] > radius * (1 - 1e-3))


@few
@given(st.floats(-1.4, 1.4), st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1))
def test_any_plane_leaves_a_closed_surface_divided_at_its_border(offset: float, x: float, y: float, z: float):
    length = math.sqrt(x * x + y * y + z * z)
    if length < 0.1:
        return
    normal = (x / length, y / length, z / length)
    cut = split(BAR, HalfSpace(normal, offset, 1e-7))
    sound(cut, BAR)
    beyond = cut.surface.centroids @ np.array(normal) - offset
    assert np.all(beyond[cut.inside] <= 1e-6)
    assert np.all(beyond[~cut.inside] >= -1e-6)
