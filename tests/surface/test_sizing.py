"""Size fields: who asks for what, and how many panels that makes."""

import numpy as np
import pytest
from helpers.meshes import turned_over
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.part.build import build_part
from geom.part.shapes import Bar, Rod
from geom.surface.remesh import remeshed
from geom.surface.segments import chains_of, nearest_segment
from geom.surface.sizing import (
    GradedSize,
    along,
    bending,
    demand,
    kept_edges,
    patch_widths,
    scattered,
    size_source,
)
from geom.surface.solid import box

MM = 1e-3
few = settings(max_examples=25, deadline=None, derandomize=True)


def test_the_least_asker_wins_and_its_wish_fades_with_distance() -> None:
    near = size_source(np.zeros((1, 3)), 1.0, 0.5)
    far = size_source(np.array([[10.0, 0.0, 0.0]]), 2.0, 0.25)
    size = GradedSize((near, far), 4.0, 0.1)
    places = np.array([[0.0, 0, 0], [2.0, 0, 0], [10.0, 0, 0], [12.0, 0, 0], [100.0, 0, 0]])
    assert_allclose(size(places), [1.0, 2.0, 2.0, 2.5, 4.0], rtol=1e-12, atol=0)
    assert_allclose(GradedSize((near, far), 4.0, 0.1, scale=2.0)(places), 2 * size(places), rtol=1e-12, atol=0)


@few
@given(st.floats(0.2, 3.0), st.floats(0.05, 1.0))
def test_points_along_segments_are_no_farther_apart_than_asked(length: float, spacing: float) -> None:
    points, which = along(np.zeros((1, 3)), np.array([[length, 0.0, 0.0]]), spacing)
    assert np.diff(points[:, 0]).max() <= spacing * (1 + 1e-9)
    assert points[0, 0] == 0.0
    assert_allclose(points[-1, 0], length, rtol=1e-12, atol=0)
    assert not np.any(which)


def test_segments_may_each_have_their_own_spacing() -> None:
    start, end = np.zeros((2, 3)), np.array([[1.0, 0, 0], [0, 1.0, 0]])
    _, which = along(start, end, np.array([0.5, 0.1]))
    assert np.bincount(which).tolist() == [3, 11]


def test_scattered_points_leave_no_place_uncovered() -> None:
    surface = box((0, 0, 0), (4.0, 2.0, 1.0))
    points = scattered(surface, 0.3)
    probe = remeshed(surface, lambda places: np.full(len(places), 0.2)).centroids
    nearest = np.sqrt(((probe[:, None] - points[None]) ** 2).sum(-1)).min(axis=1)
    assert nearest.max() < 0.3


@pytest.mark.parametrize("diameter", [2.0, 10.0, 40.0])
def test_the_bend_of_a_rod_is_its_radius_all_along_it(diameter: float) -> None:
    places, radius = bending(build_part(Rod(120 * MM, diameter * MM)).surface)
    assert_allclose(radius, diameter / 2 * MM, rtol=0.01, atol=0)
    stations = np.sort(places[:, 0])
    assert np.diff(stations).max() < max(diameter / 2, 120 / 100) * MM * 1.01
    assert_allclose(np.ptp(stations), 120 * MM, rtol=1e-9, atol=0)


def test_a_box_bends_nowhere() -> None:
    assert len(bending(box((0, 0, 0), (1, 2, 3)))[0]) == 0


def test_outside_edges_bulge_and_inside_edges_do_not() -> None:
    """Normals into the metal: a box of liquid has twelve inside edges; a box of metal the same as outside ones."""
    liquid = box((0, 0, 0), (1, 2, 3))
    assert np.all(kept_edges(liquid).bulge < -0.99)
    assert np.all(kept_edges(turned_over(liquid)).bulge > 0.99)
    assert len(kept_edges(liquid).bulge) == 12


def test_a_narrow_face_is_as_wide_as_it_is() -> None:
    surface = build_part(Bar(100 * MM, 20 * MM, 1 * MM)).surface
    widths = patch_widths(surface, kept_edges(surface))
    side = 100 * 1 / (100 + 1)  # 2 A / P of 100 x 1
    assert_allclose(np.sort(widths)[[0, -1]] * 1e3, [20 / 21, 2000 / 120], rtol=1e-6, atol=0)
    assert np.any(np.abs(widths * 1e3 - side) < 1e-6)


@pytest.mark.parametrize("size_mm", [1.5, 3.0, 6.0])
def test_the_expected_number_of_faces_is_near_the_real_one(size_mm: float) -> None:
    surface = box((0, 0, 0), (60 * MM, 40 * MM, 20 * MM))
    size = GradedSize((), size_mm * MM, 1e-6)
    assert 0.6 < demand(surface, size).faces(size.scale) / len(remeshed(surface, size).faces) < 1.6


def test_nearest_segments_are_found_on_ends_and_between() -> None:
    start, end = np.array([[0.0, 0, 0], [0, 5, 0]]), np.array([[1.0, 0, 0], [1, 5, 0]])
    distance, number = nearest_segment(np.array([[0.5, 1, 0], [3.0, 0, 0], [0.5, 4, 3.0]]), start, end)
    assert_allclose(distance, [1.0, 2.0, np.sqrt(10)], rtol=1e-12, atol=0)
    assert number.tolist() == [0, 0, 1]


def test_the_edges_of_a_box_are_twelve_chains_and_a_rod_has_two() -> None:
    for shape, count in ((Bar(9 * MM, 5 * MM, 2 * MM), 12), (Rod(30 * MM, 8 * MM), 2)):
        edges = kept_edges(remeshed(build_part(shape).surface, lambda places: np.full(len(places), 1 * MM)))
        assert len(np.unique(chains_of(edges.vertices, edges.start, edges.end))) == count


def test_a_firm_wish_is_not_enlarged_by_the_scale() -> None:
    origin = np.zeros((1, 3))
    size = GradedSize((size_source(origin, 1.0, 0.5),), 4.0, 0.1, scale=3.0, firm=(size_source(origin, 0.7, 0.5),))
    assert_allclose(size(np.array([[0.0, 0, 0], [2.0, 0, 0], [90.0, 0, 0]])), [0.7, 1.7, 12.0], rtol=1e-12, atol=0)
