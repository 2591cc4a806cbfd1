"""What a ball of 20 mm can touch, against the geometry of a ball in a corner, a bore and a slot."""

import math

import manifold3d
import numpy as np
import pytest
from helpers.meshes import icosphere
from helpers.typed_parts import MM, as_read, turn
from numpy.testing import assert_allclose

from geom.surface.ball import SLACK, touched, touched_area
from geom.surface.surface import Surface

RADIUS = 10 * MM
Solid = manifold3d.Manifold


def tagged(solid: manifold3d.Manifold, inside: float) -> Surface:
    """Faces with all corners less than ``inside`` [mm] from the z axis have tag 1, the others 0."""
    mesh = solid.to_mesh()
    surface = as_read(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts))
    far = np.linalg.norm(surface.corners[:, :, :2], axis=2).max(axis=1)
    return Surface(surface.vertices, surface.faces, (far < inside * MM).astype(np.int64))


def plate_with_bore(diameter: float, facets: int) -> Surface:
    bore = Solid.cylinder(30, diameter / 2, diameter / 2, facets, True)
    return tagged(Solid.cube((70, 70, 10), True) - bore, diameter / 2 + 0.01)


@pytest.mark.parametrize("facets", [16, 24, 64, 200])
@pytest.mark.parametrize(("diameter", "share"), [(5.0, 0.0), (19.0, 0.0), (21.0, 1.0), (40.0, 1.0)])
def test_a_bore_is_touched_when_it_is_wider_than_the_ball(diameter: float, share: float, facets: int) -> None:
    surface = plate_with_bore(diameter, facets)
    rest, bore = touched_area(surface, RADIUS)
    whole = np.bincount(surface.tag, surface.areas)
    assert bore == pytest.approx(share * whole[1], rel=1e-9)
    assert rest == pytest.approx(whole[0], rel=1e-9)


@pytest.mark.parametrize(("radius", "share"), [(6.0, 0.0), (9.0, 0.0), (10.5, 1.0), (14.0, 1.0)])
def test_an_inside_fillet_is_touched_when_its_radius_is_larger(radius: float, share: float) -> None:
    """A quarter of a cylinder in the corner of a step."""
    step = Solid.cube((40, 80, 80)) - Solid.cube((50, 60, 60)).translate((-5, 20, 20))
    rod = Solid.cylinder(50, radius, radius, 128).rotate((0, 90, 0)).translate((-5, 20 + radius, 20 + radius))
    solid = step + (Solid.cube((40, radius, radius)).translate((0, 20, 20)) - rod)
    mesh = solid.to_mesh()
    vertices = np.asarray(mesh.vert_properties)[:, :3]
    surface = as_read(vertices, np.asarray(mesh.tri_verts))
    middle = surface.centroids + np.array([20, 40, 40]) * MM
    away = np.linalg.norm(middle[:, 1:] - (20 + radius) * MM, axis=1)
    curved = (np.abs(away / (radius * MM) - 1) < 2e-3) & (np.abs(surface.normals[:, 0]) < 0.5)
    curved &= (middle[:, 1] < (20 + radius) * MM) & (middle[:, 2] < (20 + radius) * MM)
    assert curved.sum() >= 32
    tags = Surface(surface.vertices, surface.faces, curved.astype(np.int64))
    assert touched_area(tags, RADIUS)[1] == pytest.approx(share * surface.areas[curved].sum(), rel=0.02, abs=1e-12)


def test_of_a_sharp_inside_corner_a_strip_of_one_radius_is_left_out() -> None:
    """The ball in the corner touches each wall one radius from the other."""
    solid = Solid.cube((50, 80, 80)) - Solid.cube((60, 60, 60)).translate((-5, 20, 20))
    mesh = solid.to_mesh()
    surface = as_read(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts), turn(3))
    areas = touched_area(surface, RADIUS)
    strip = (1 - SLACK) * 10 * 50 * MM**2
    assert_allclose(surface.area - areas.sum(), 2 * strip, rtol=0.03, atol=0)


@pytest.mark.parametrize(("width", "length"), [(18.0, 40.0), (22.0, 40.0), (30.0, 50.0)])
def test_in_a_slot_with_sharp_corners_all_but_the_corners_is_touched(width: float, length: float) -> None:
    solid = Solid.cube((90, 60, 12), True) - Solid.cube((length, width, 20), True)
    surface = tagged(solid, math.hypot(width, length) / 2 + 0.01)
    slack = 20 * (1 - SLACK)
    expected = 2 * 12 * ((length - slack) + (width - slack)) if width > slack else 0.0
    assert_allclose(touched_area(surface, RADIUS)[1], expected * MM**2, rtol=0.05, atol=1e-12)


def test_the_outside_of_a_ball_is_touched_and_its_inside_when_it_is_larger() -> None:
    """A hollow ball: the inside wound the other way."""
    for inner, share in ((9.5, 0.0), (10.5, 1.0)):
        outer, hollow = icosphere(3, 15 * MM), icosphere(3, inner * MM)
        count = len(outer.vertices)
        faces = np.concatenate([outer.faces, hollow.faces[:, ::-1] + count])
        tags = np.repeat([0, 1], [len(outer.faces), len(hollow.faces)])
        surface = Surface(np.concatenate([outer.vertices, hollow.vertices]), faces, tags)
        if surface.volume < 0:
            surface = Surface(surface.vertices, surface.faces[:, ::-1], tags)
        result = touched_area(surface, RADIUS)
        assert_allclose(result[0], outer.area, rtol=1e-9, atol=0)
        assert_allclose(result[1], share * hollow.area, rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("seed", [1, 2])
def test_places_on_a_wall_are_told_by_their_distance_from_the_corner(seed: int) -> None:
    solid = Solid.cube((50, 80, 80)) - Solid.cube((60, 60, 60)).translate((-5, 20, 20))
    mesh = solid.to_mesh()
    rotation = turn(seed)
    surface = as_read(np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts), rotation)
    away = np.array([2.0, 9.0, 9.7, 9.9, 11.0, 30.0])
    walls = np.stack([np.full(6, 25.0), 20 + away, np.full(6, 20.0)], axis=1)
    turned = (np.asarray(mesh.vert_properties)[:, :3] @ rotation.T).astype(np.float64)
    centre = (turned.min(axis=0) + turned.max(axis=0)) / 2
    places = (walls @ rotation.T - centre) * MM
    normals = np.tile(rotation @ [0, 0, 1], (6, 1))
    assert touched(surface, places, normals, RADIUS).tolist() == (away > 10 * (1 - SLACK)).tolist()


def test_a_smaller_ball_touches_all_that_a_larger_one_touches() -> None:
    surface = plate_with_bore(24, 48)
    areas = [touched_area(surface, radius * MM)[1] for radius in (1, 5, 11, 13, 20)]
    assert np.all(np.diff(areas) <= 1e-9 * areas[0])
    assert areas[0] > 0
    assert areas[-1] == 0


def test_tags_that_no_face_has_are_counted_too() -> None:
    surface = plate_with_bore(24, 16)
    assert touched_area(surface, RADIUS, 5).shape == (5,)


def test_a_surface_of_very_many_faces_is_looked_at_in_samples() -> None:
    """The same drilled plate, once plain and once cut until 250,000 faces stand for it."""
    plate = manifold3d.Manifold.cube([60, 40, 6], True) - manifold3d.Manifold.cylinder(20, 6, 6, 64, True)
    areas = []
    for solid in (plate, plate.refine_to_length(0.28)):
        mesh = solid.to_mesh64()
        vertices, faces = np.asarray(mesh.vert_properties)[:, :3] * MM, np.asarray(mesh.tri_verts)
        plain = Surface(vertices, faces, np.zeros(len(faces)))
        tagged = Surface(vertices, faces, np.where(np.abs(plain.normals[:, 2]) > 0.9, 0, 1))
        areas.append(touched_area(tagged, 10 * MM))
    assert len(faces) > 200_000
    assert_allclose(areas[1], areas[0], rtol=0.02, atol=0)
