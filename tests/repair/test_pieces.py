"""Fins, loose faces, gaps, sheets, joints, one-sided bands and skins that touch themselves: one case each."""

import math
from collections.abc import Sequence

import numpy as np
import pytest
import trimesh
from helpers.damage import area, box, codes, corners_of, flipped, halved, mend, shuffled, sound, volume, voxels
from numpy.testing import assert_allclose

from geom.errors import PartError
from geom.repair.holes import rings_of
from geom.surface.soundness import edge_report

MM2 = 1e-6
PLATE = 2080 * MM2  # of the box of 40 x 20 x 4 mm


def moebius(sections: int = 40) -> np.ndarray:
    """A band joined after half a twist."""
    turn = np.linspace(0, 2 * math.pi, sections + 1)[:, None]
    across = np.array([-0.01, 0.01])[None, :]
    radius = 0.05 + across * np.cos(turn / 2)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), across * np.sin(turn / 2)], axis=2)
    points[-1] = points[0, ::-1]
    a, b, c, d = points[:-1, 0], points[1:, 0], points[1:, 1], points[:-1, 1]
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def test_band_with_one_side_is_refused_by_name() -> None:
    with pytest.raises(PartError, match="one side only") as caught:
        mend(moebius())
    assert caught.value.slug == "part-mesh-one-sided"
    assert len(caught.value.marks) == 80


def test_band_with_two_sides_is_a_sheet() -> None:
    ring = trimesh.creation.annulus(0.03, 0.04, 0.01, sections=32)
    walls = np.array(ring.triangles)[np.abs(ring.face_normals[:, 2]) < 0.5]
    outer = walls[np.linalg.norm(walls[:, :, :2].mean(axis=1), axis=1) > 0.035]
    with pytest.raises(PartError) as caught:
        mend(flipped(outer, np.arange(len(outer)) % 2 == 0))
    assert caught.value.slug == "part-mesh-sheet"
    assert "2 openings" in caught.value.message


@pytest.mark.parametrize(
    "fin",
    [
        [[(0, 0, 4), (40, 0, 4), (20, 0, 8)]],  # on a whole edge
        [[(0, 0, 4), (40, 0, 4), (40, 0, 8)], [(0, 0, 4), (40, 0, 8), (0, 0, 8)]],  # two faces wide
        [[(0, 0, 4), (40, 0, 4), (20, 0, 8)], [(40, 0, 4), (0, 0, 4), (20, 0, 8)]],  # drawn from both sides
    ],
)
def test_fin_on_an_edge_is_left_out_and_told(fin: list[list[tuple[float, ...]]]) -> None:
    corners = np.concatenate([box(), np.array(fin) * 1e-3])
    mesh = mend(corners)
    assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-12, atol=0)
    assert len(mesh.changes) == 1
    assert mesh.changes[0].code in ("repair-fin", "repair-joint")
    assert_allclose(-mesh.changes[0].area, area(np.array(fin) * 1e-3), rtol=1e-9, atol=0)


def test_face_given_twice_beside_a_fin_stays() -> None:
    fin = np.array([[(0, 0, 4), (40, 0, 4), (20, 0, 8)]]) * 1e-3
    beside = [corners for corners in box() if (np.abs(corners - fin[0, 0]).max(axis=1) < 1e-9).any()]
    mesh = mend(np.concatenate([box(), fin, beside]))
    assert codes(mesh) == ["repair-double", "repair-fin"]
    assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-12, atol=0)


def test_large_fin_is_not_left_out() -> None:
    fin = np.array([[(0, 0, 4), (40, 0, 4), (20, 0, 40)]]) * 1e-3
    with pytest.raises(PartError):
        mend(np.concatenate([box(), fin]))


def test_loose_face_beside_a_body_is_left_out_and_told() -> None:
    loose = np.array([[(60, 0, 0), (70, 0, 0), (60, 10, 0)]]) * 1e-3
    mesh = mend(np.concatenate([box(), loose]))
    assert codes(mesh) == ["repair-loose"]
    assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-12, atol=0)
    assert_allclose(mesh.changes[0].area, -50 * MM2, rtol=1e-9, atol=0)
    assert "face 13" in mesh.changes[0].message


def test_closed_skin_without_volume_is_left_out_beside_a_solid_and_refused_alone() -> None:
    a, b, c, d, m = (0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (4, 5, 0)
    flap = np.array([[a, b, m], [b, c, m], [c, d, m], [d, a, m], [a, c, b], [a, d, c]]) * 1e-3 + [0, 0, 0.02]
    mesh = mend(np.concatenate([box(), flap]))
    assert codes(mesh) == ["repair-loose"]
    assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-12, atol=0)
    for corners in (flap, np.concatenate([box(), 3 * flap])):
        with pytest.raises(PartError, match="enclose no volume") as caught:
            mend(corners)
        assert caught.value.slug == "part-mesh-flat"


def test_two_boxes_with_faces_on_each_other_lose_the_joint() -> None:
    mirrored = box()[:, ::-1] * [-1, 1, 1]  # the diagonals of the joint agree
    mesh = mend(shuffled(np.concatenate([box(), mirrored]), 1))  # in a row they would be two bodies
    assert codes(mesh) == ["repair-joint"]
    assert_allclose(area(corners_of(mesh)), 4000 * MM2, rtol=1e-12, atol=0)
    assert_allclose(mesh.changes[0].area, -160 * MM2, rtol=1e-9, atol=0)
    assert mesh.bodies == 1


def test_four_boxes_round_one_edge_lose_all_four_joints() -> None:
    one = box()
    four = np.concatenate([one, one[:, ::-1] * [-1, 1, 1], one[:, ::-1] * [1, -1, 1], one * [-1, -1, 1]])
    mesh = mend(shuffled(four, 1))
    assert codes(mesh) == ["repair-joint"]
    assert_allclose(area(corners_of(mesh)), 2 * (80 * 40 + 80 * 4 + 40 * 4) * MM2, rtol=1e-12, atol=0)
    assert_allclose(volume(corners_of(mesh)), 4 * 3200e-9, rtol=1e-12, atol=0)


@pytest.mark.parametrize("over", [[], range(0, 24, 3), range(12), range(12, 24), range(24)])
def test_boxes_that_touch_along_an_edge_are_taken_apart(over: Sequence[int]) -> None:
    corners = np.concatenate([box(), box(at=(0.04, 0.02, 0))])
    mesh = mend(shuffled(flipped(corners, np.isin(np.arange(24), over)), 1))
    assert "repair-apart" in codes(mesh)
    assert mesh.bodies == 2
    assert_allclose(area(corners_of(mesh)), 2 * PLATE, rtol=1e-12, atol=0)
    assert_allclose(volume(corners_of(mesh)), 2 * 3200e-9, rtol=1e-12, atol=0)
    assert edge_report(np.array(mesh.faces)).is_closed


def test_one_body_that_touches_itself_along_an_edge_stays_one() -> None:
    cubes = [
        (0, 0, 0),
        (0, 0, 1),
        (0, 0, 2),
        (1, 0, 2),
        (1, 1, 2),
        (1, 1, 1),
        (1, 1, 0),
    ]  # first and last share an edge
    corners = voxels(cubes)
    mesh = mend(corners)
    assert codes(mesh) == ["repair-apart"]
    assert mesh.bodies == 1
    assert_allclose(area(corners_of(mesh)), area(corners), rtol=1e-12, atol=0)
    assert_allclose(volume(corners_of(mesh)), 7e-6, rtol=1e-12, atol=0)


def test_patches_between_edges_of_four_faces_are_turned_outside_out() -> None:
    # a ring of cubes on the rim of a cube: the four edges of its lid cut the skin into patches
    ring = [(x, y, 1) for x in (-1, 0, 1) for y in (-1, 0, 1) if (x, y) != (0, 0)]
    corners = voxels([(0, 0, 0), *ring])
    lid = (np.abs(corners[:, :, 2] - 0.01).max(axis=1) < 1e-9) & (corners[:, :, :2].min(axis=(1, 2)) >= 0)
    lid &= corners[:, :, :2].max(axis=(1, 2)) < 0.011
    assert lid.sum() == 2
    for over in (lid, ~lid, np.zeros_like(lid)):
        mesh = mend(flipped(corners, over))
        assert ("repair-winding" in codes(mesh)) == bool(over.any())
        assert mesh.bodies == 2
        assert_allclose(area(corners_of(mesh)), 38e-4, rtol=1e-9, atol=0)
        assert_allclose(volume(corners_of(mesh)), 9e-6, rtol=1e-9, atol=0)


def test_body_inside_out_in_another_and_a_body_inside_out_beside_it() -> None:
    within = 0.5 * box()[:, ::-1] + [0.01, 0.005, 0.001]
    beside = box(at=(0.06, 0, 0))[:, ::-1]
    mesh = mend(np.concatenate([box(), within, beside]))
    assert codes(mesh) == ["repair-inside-out", "part-void", "part-bodies"]
    assert_allclose(area(corners_of(mesh)), 2 * PLATE, rtol=1e-9, atol=0)
    turned = mend(np.concatenate([box(), within])[:, ::-1])
    assert codes(turned) == ["repair-inside-out", "part-void"]
    assert_allclose(area(corners_of(turned)), PLATE, rtol=1e-9, atol=0)


@pytest.mark.parametrize("within_turned", [False, True])
def test_void_of_a_file_wound_both_ways_is_a_void(within_turned: bool) -> None:
    within = 0.5 * box()[:, :: -1 if within_turned else 1] + [0.01, 0.005, 0.001]
    mesh = mend(flipped(np.concatenate([box(), within]), np.arange(24) % 5 == 0))
    assert "part-void" in codes(mesh)
    assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-9, atol=0)


def test_small_open_body_on_an_edge_is_no_fin() -> None:
    ledge = box((0.04, 0.0005, 0.0005), at=(0, 0.02, 0.004))
    mesh = mend(np.concatenate([box(), ledge[1:]]))
    assert "repair-hole-filled" in codes(mesh)
    assert_allclose(area(corners_of(mesh)), PLATE + area(ledge), rtol=1e-9, atol=0)


def test_missing_facet_of_a_flat_face_is_filled_but_not_a_missing_side() -> None:
    for missing in range(12):
        mesh = mend(np.delete(box(), missing, axis=0))
        assert codes(mesh) == ["repair-hole-filled"]
        assert "1 of them missing from a flat face" in mesh.changes[0].message
        assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-12, atol=0)
        assert mesh.source[-1] == -1
    with pytest.raises(PartError, match="1 opening of 800 mm²") as caught:
        mend(box()[np.abs(box()[:, :, 2] - 0.004).max(axis=1) > 1e-9])  # a tray
    assert caught.value.slug == "part-mesh-sheet"
    assert "--thickness" in caught.value.hint


def test_bore_without_its_wall_is_not_taken_for_missing_facets() -> None:
    ring = trimesh.creation.annulus(0.008, 0.02, 0.004, sections=32)
    middle = np.linalg.norm(np.array(ring.triangles)[:, :, :2], axis=2).max(axis=1)
    with pytest.raises(PartError) as caught:
        mend(np.array(ring.triangles)[middle > 0.009])
    assert "2 openings of" in caught.value.message


@pytest.mark.parametrize(("share", "fills"), [(0.008, True), (0.03, False)])
def test_gap_in_a_curved_skin_is_filled_below_a_hundredth_of_the_area(share: float, fills: bool) -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=0.01)
    keep = ball.triangles_center[:, 2] < 0.01 * (1 - 2 * share)
    corners = np.array(ball.triangles)[keep]
    if not fills:
        with pytest.raises(PartError) as caught:
            mend(corners)
        assert caught.value.slug in ("part-mesh-open", "part-mesh-sheet")
        return
    mesh = mend(corners)
    assert codes(mesh) == ["repair-hole-filled"]
    assert_allclose(area(corners_of(mesh)), ball.area, rtol=1e-3, atol=0)


def test_sheet_of_a_stated_thickness_becomes_a_plate() -> None:
    square = np.array([[(0, 0, 0), (40, 0, 0), (40, 20, 0)], [(0, 0, 0), (40, 20, 0), (0, 20, 0)]]) * 1e-3
    for corners in (square, np.concatenate([square, square[:, ::-1]]), flipped(square, np.array([True, False]))):
        with pytest.raises(PartError) as caught:
            mend(corners)
        assert caught.value.slug == "part-mesh-sheet"
        mesh = mend(corners, thickness=0.004)
        assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-9, atol=0)
        assert_allclose(volume(corners_of(mesh)), 3200e-9, rtol=1e-9, atol=0)


@pytest.mark.parametrize("missing", [0, 5, 11])
def test_thickness_is_for_sheets_and_gaps_that_can_be_filled_are_filled(missing: int) -> None:
    mesh = mend(np.delete(box(), missing, axis=0), thickness=0.001)
    assert codes(mesh) == ["repair-hole-filled"]
    assert_allclose(area(corners_of(mesh)), PLATE, rtol=1e-12, atol=0)


def test_bodies_apart_are_found_and_no_repair() -> None:
    mesh = mend(np.concatenate([box(), box(at=(0.06, 0, 0))]), strict=True)
    assert mesh.changes == ()
    assert [(found.code, str(found.severity)) for found in mesh.findings] == [("part-bodies", "warning")]


def test_thickness_leaves_a_solid_alone() -> None:
    mesh = mend(sound("link"), thickness=0.002)
    assert mesh.changes == ()
    assert_allclose(area(corners_of(mesh)), area(sound("link")), rtol=1e-12, atol=0)


def test_scattered_faces_are_no_sheet_even_with_a_thickness() -> None:
    corners = halved(box()) * 1.0
    corners += np.random.default_rng(1).uniform(-5e-4, 5e-4, (len(corners), 1, 3))
    with pytest.raises(PartError) as caught:
        mend(corners, thickness=0.001)
    assert caught.value.slug == "part-mesh-open"


def test_rings_that_share_a_corner_are_two() -> None:
    tail = np.array([0, 1, 2, 0, 3, 4])
    head = np.array([1, 2, 0, 3, 4, 0])
    rings, stray = rings_of(tail, head)
    assert sorted(sorted(ring) for ring in rings) == [[0, 1, 2], [0, 3, 4]]
    assert stray == []
    assert rings_of(np.array([0, 1]), np.array([1, 2])) == ([], [(0, 1), (1, 2)])
