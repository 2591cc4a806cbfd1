"""Solids cut out of solids: volumes by arithmetic, tags kept, voids told from liquid."""

import math

import numpy as np
import pytest
from helpers.quality import areas_by_tag, is_closed
from numpy.testing import assert_allclose

from geom.surface.solid import (
    NotSolidError,
    box,
    clearance,
    common_volume,
    joined,
    left_over,
    to_manifold,
    upright_cylinder,
    winding_number,
)
from geom.surface.surface import Surface


def tank() -> Surface:
    return box((0, 0, 0), (10.0, 6.0, 5.0), tag=0)


def test_a_box_has_the_volume_and_area_of_a_box() -> None:
    assert_allclose((tank().volume, tank().area), (300.0, 280.0), rtol=1e-12, atol=0)
    assert is_closed(tank())


def test_a_polygonal_cylinder_has_the_side_area_of_the_round_one() -> None:
    for sides in (12, 48):
        surface = upright_cylinder((1, 2, 3), 2.0, 5.0, sides)
        side = surface.areas[np.abs(surface.normals[:, 2]) < 0.5].sum()
        assert_allclose(side, math.pi * 2 * 5, rtol=1e-12, atol=0)
        assert_allclose(surface.bounds[:, 2], [0.5, 5.5], rtol=1e-12, atol=0)
        assert surface.volume > 0


def test_a_body_in_the_liquid_leaves_a_tank_with_a_hollow() -> None:
    (rest,) = left_over(tank(), [box((4, 2, 2), (6, 4, 3), tag=7)])
    assert_allclose(rest.volume, 300.0 - 4.0, rtol=1e-12, atol=0)
    assert_allclose(areas_by_tag(rest)[[0, 7]], [280.0, 16.0], rtol=1e-12, atol=0)
    on_body = rest.normals[rest.tag == 7]
    outward = rest.centroids[rest.tag == 7] - [5, 3, 2.5]
    assert np.all(np.einsum("ij,ij->i", on_body, outward) < 0)  # out of the liquid, into the body


def test_a_body_standing_on_the_floor_covers_a_piece_of_it() -> None:
    (rest,) = left_over(tank(), [box((4, 2, -1), (6, 4, 3), tag=7)])
    assert_allclose(areas_by_tag(rest)[[0, 7]], [280.0 - 4.0, 4 + 4 * 6.0], rtol=1e-12, atol=0)


def test_a_body_through_the_surface_is_wet_below_it_only() -> None:
    (rest,) = left_over(tank(), [box((4, 2, 2), (6, 4, 9), tag=7)])
    assert_allclose(areas_by_tag(rest)[[0, 7]], [280.0 - 4.0, 4 + 4 * 6.0], rtol=1e-12, atol=0)


def test_a_body_lining_a_wall_takes_the_whole_wall() -> None:
    (rest,) = left_over(tank(), [box((-1, -1, -1), (1, 7, 6), tag=7)])
    assert_allclose(rest.volume, 9 * 6 * 5, rtol=1e-12, atol=0)
    assert_allclose(areas_by_tag(rest)[7], 30.0, rtol=1e-12, atol=0)


def test_a_body_across_the_tank_leaves_two_regions_the_larger_first() -> None:
    rest = left_over(tank(), [box((3, -1, -1), (4, 7, 6), tag=7)])
    assert_allclose([r.volume for r in rest], [180.0, 90.0], rtol=1e-12, atol=0)


def test_a_sealed_void_in_a_body_is_a_region_of_its_own() -> None:
    shell = joined([box((3, 1, 1), (7, 5, 4)), box((4, 2, 2), (6, 4, 3))])
    hollow = Surface(shell.vertices, np.concatenate([shell.faces[:12], shell.faces[12:, ::-1]]), np.full(24, 7))
    rest = left_over(tank(), [hollow])
    assert_allclose([r.volume for r in rest], [300.0 - 48.0, 4.0], rtol=1e-12, atol=0)
    assert_allclose([areas_by_tag(r)[7] for r in rest], [80.0, 16.0], rtol=1e-12, atol=0)


def test_a_body_within_a_void_within_a_body_leaves_three_pieces_in_their_places() -> None:
    """Liquid round a shell that holds liquid round a core."""
    shell = joined([box((3, 1, 1), (7, 5, 4)), box((4, 2, 2), (6, 4, 3))])
    hollow = Surface(shell.vertices, np.concatenate([shell.faces[:12], shell.faces[12:, ::-1]]), np.full(24, 7))
    rest = left_over(tank(), [hollow, box((4.5, 2.5, 2.25), (5.5, 3.5, 2.75), tag=8)])
    assert_allclose([r.volume for r in rest], [252.0, 3.5], rtol=1e-12, atol=0)
    assert set(np.unique(rest[1].tag)) == {7, 8}


def test_every_region_is_closed() -> None:
    cylinder = upright_cylinder((5, 3, 3), 2.0, 6.0, 24, tag=3)
    for region in left_over(tank(), [cylinder, box((1, 1, 1), (2, 2, 2), tag=4)]):
        assert is_closed(region)


def test_winding_number_tells_inside_from_outside() -> None:
    assert_allclose(winding_number(tank(), np.array([1.0, 1.0, 1.0])), 1.0, rtol=1e-12, atol=0)
    assert abs(winding_number(tank(), np.array([11.0, 1.0, 1.0]))) < 1e-12


def test_shared_volume_and_clearance_of_boxes_are_those_of_arithmetic() -> None:
    a, b, c = box((0, 0, 0), (2, 2, 2)), box((1, 1, 1), (3, 3, 3)), box((5, 0, 0), (6, 2, 2))
    assert_allclose(common_volume(a, b), 1.0, rtol=1e-12, atol=0)
    assert common_volume(a, c) == 0.0
    assert_allclose(clearance(a, c, 10.0), 3.0, rtol=1e-12, atol=0)
    assert_allclose(clearance(a, c, 1.0), 1.0, rtol=1e-12, atol=0)
    assert clearance(a, b, 10.0) == 0.0


def test_an_open_surface_is_not_a_solid() -> None:
    opened = tank().selected(np.arange(12) != 5)
    with pytest.raises(NotSolidError, match="NotManifold"):
        to_manifold(opened)


def test_joined_surfaces_keep_vertices_faces_and_tags_in_order() -> None:
    a, b = box((0, 0, 0), (1, 1, 1), tag=2), box((2, 0, 0), (3, 1, 1), tag=5)
    both = joined([a, b])
    assert both.tag.tolist() == [2] * 12 + [5] * 12
    assert_allclose(both.corners[12:], b.corners, rtol=0, atol=0)
