"""Bands, flats, prisms and rings: closed forms of small cases."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.surface import rings
from geom.surface.prism import ALONG_MINUS_Y, ALONG_X, ALONG_Z, Loop, prism
from geom.surface.shell import Shell, area_vector, triangulate
from geom.surface.soundness import edge_report


def loop(points: np.ndarray, tag: int) -> Loop:
    return Loop(points, np.full(len(points), tag))


@pytest.mark.parametrize("frame", [ALONG_X, ALONG_Z, ALONG_MINUS_Y])
def test_frames_are_rotations_so_that_outside_stays_outside(frame: np.ndarray) -> None:
    assert_allclose(np.linalg.det(frame), 1.0, rtol=1e-15, atol=0)
    box = prism([loop(rings.rectangle(0.03, 0.02), 0)], 0.01, frame, (1, 2))
    assert edge_report(box.faces).is_closed
    assert_allclose(box.volume, 6e-6, rtol=1e-12, atol=0)
    low = box.area_vectors[box.tag == 1].sum(axis=0)
    assert_allclose(low @ frame, [0, 0, -6e-4], rtol=1e-12, atol=1e-20)  # exact zeros across the sweep


def test_prism_with_holes_has_the_area_of_its_outline_times_its_length() -> None:
    loops = [
        loop(rings.rectangle(0.1, 0.04), 0),
        loop(rings.circle(0.005, (-0.02, 0.0))[::-1], 1),
        loop(rings.slot(0.004, 0.01, (0.02, 0.0), 0.7)[::-1], 2),
    ]
    solid = prism(loops, 0.002, ALONG_Z, (3, 4))
    section = sum(float(area_vector(np.column_stack([p.points, np.zeros(len(p.points))]))[2]) for p in loops)
    assert edge_report(solid.faces).is_closed
    assert_allclose(solid.volume, section * 0.002, rtol=1e-12, atol=0)
    caps = [solid.areas[solid.tag == tag].sum() for tag in (3, 4)]
    assert_allclose(caps, section, rtol=1e-12, atol=0)


def test_every_vertex_of_a_straight_side_is_used_so_that_no_face_hangs() -> None:
    ring = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [3, 0, 0], [3, 1, 0], [1.5, 1, 0], [0, 1, 0]], dtype=float)
    faces = triangulate(ring, [np.arange(7)])
    assert len(faces) == 5
    assert set(faces.ravel()) == set(range(7))
    open_edges = {tuple(edge) for edge in edge_report(faces).open}
    assert open_edges == {tuple(sorted((k, (k + 1) % 7))) for k in range(7)}


def test_band_with_a_side_shrunk_to_a_point_has_no_empty_faces() -> None:
    shell = Shell()
    base = shell.add(np.column_stack([rings.rectangle(2, 2), np.zeros(4)]))
    tip = shell.add(np.array([[0.0, 0.0, 3.0]]))
    shell.band(base, np.repeat(tip, 4), 0)
    shell.flat(base[::-1], [], 1)
    pyramid = shell.surface()
    assert len(pyramid.faces) == 6
    assert edge_report(pyramid.faces).is_closed
    assert_allclose(pyramid.volume, 4.0, rtol=1e-12, atol=0)  # a third of base times height


def test_ring_of_a_bore_has_the_perimeter_of_the_circle() -> None:
    ring = rings.circle(0.004 * rings.SAME_PERIMETER)
    around = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum()
    assert_allclose(around, 2 * math.pi * 0.004, rtol=1e-12, atol=0)


@pytest.mark.parametrize(("start", "turn"), [(0.3, 2.0), (-0.2, -2.5), (0.0, math.pi / 2), (1.0, 0.02)])
def test_arc_keeps_its_ends_its_radius_and_its_extent(start: float, turn: float) -> None:
    points = rings.arc(np.array([1.0, 2.0]), 0.5, start, turn) - [1.0, 2.0]
    assert_allclose(np.linalg.norm(points, axis=1), 0.5, rtol=1e-12, atol=0)
    ends = 0.5 * np.array([[math.cos(a), math.sin(a)] for a in (start, start + turn)])
    assert_allclose(points[[0, -1]], ends, rtol=1e-9, atol=1e-15)
    fine = start + np.linspace(0, turn, 100_001)
    circle = 0.5 * np.stack([np.cos(fine), np.sin(fine)], axis=1)
    assert_allclose(np.ptp(points, axis=0), np.ptp(circle, axis=0), rtol=1e-8, atol=0)
    assert len(np.unique(points.round(12), axis=0)) == len(points)
