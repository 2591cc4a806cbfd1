"""Heavy meshes are made light for the solve, and keep what is told of them."""

from dataclasses import replace

import manifold3d
import numpy as np
from numpy.testing import assert_allclose

from geom.part.lighten import HEAVY, lightened, smooth_tags
from geom.surface.sizing import kept_edges
from geom.surface.soundness import edge_report
from geom.surface.surface import Surface

MM = 1e-3


def drilled(longest: float) -> Surface:
    """A bar 60 x 20 x 4 mm with a bore of 8 mm, faces cut until no edge is over ``longest`` mm; tags: +z, -z, rest."""
    bar = manifold3d.Manifold.cube([60, 20, 4], True) - manifold3d.Manifold.cylinder(10, 4, 4, 128, True)
    mesh = bar.refine_to_length(longest).to_mesh64()
    plain = Surface(
        np.asarray(mesh.vert_properties)[:, :3] * MM, np.asarray(mesh.tri_verts), np.zeros(mesh.tri_verts.shape[0])
    )
    return Surface(plain.vertices, plain.faces, np.where(np.abs(plain.normals[:, 2]) > 0.9, plain.normals[:, 2] > 0, 2))


def test_flat_faces_lose_all_that_does_not_shape_them():
    heavy = drilled(0.5)
    light = lightened(heavy)
    assert light is not None
    assert len(heavy.faces) > HEAVY > 20 * len(light.surface.faces)
    assert_allclose(light.surface.area, heavy.area, rtol=1e-6, atol=0)
    assert_allclose(light.surface.volume, heavy.volume, rtol=1e-5, atol=0)


def test_each_tag_keeps_its_area():
    heavy = drilled(0.5)
    light = lightened(heavy)
    assert light is not None
    before, after = (np.bincount(s.tag, s.areas) for s in (heavy, light.surface))
    assert_allclose(after, before, rtol=2e-3, atol=0)


def test_the_lighter_surface_is_closed_and_within_the_distance_told():
    """Against trimesh's nearest points."""
    import trimesh

    angle = np.linspace(0, 2 * np.pi, 160, endpoint=False)
    u, v = np.meshgrid(angle, angle, indexing="ij")
    ring = 20 + (5 + 0.3 * np.sin(6 * v)) * np.cos(v)
    points = np.stack([ring * np.cos(u), ring * np.sin(u), 5 * np.sin(v)], axis=-1).reshape(-1, 3) * MM
    i = np.arange(len(points)).reshape(u.shape)
    a, b, c, d = i, np.roll(i, -1, 0), np.roll(np.roll(i, -1, 0), -1, 1), np.roll(i, -1, 1)
    faces = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    heavy = Surface(points, faces, np.zeros(len(faces)))
    light = lightened(heavy)
    assert light is not None
    assert len(light.surface.faces) < len(heavy.faces)
    assert edge_report(light.surface.faces).is_closed
    body = trimesh.Trimesh(heavy.vertices, heavy.faces, process=False)
    _, far, _ = trimesh.proximity.closest_point_naive(body, light.surface.vertices[::200])
    assert far.max() <= light.distance
    assert_allclose(light.surface.area, heavy.area, rtol=2e-3, atol=0)


def test_a_mesh_of_few_faces_is_left_alone():
    assert lightened(drilled(3.0)) is None


def test_no_edge_is_sharp_within_a_curve_that_was_smooth_before():
    """Faces made fewer turn by more than those they stand for."""
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    u, v = np.meshgrid(angle, angle, indexing="ij")
    ring = 20 + (5 + 0.4 * np.sin(7 * v + 3 * u)) * np.cos(v)
    points = np.stack([ring * np.cos(u), ring * np.sin(u), 5 * np.sin(v)], axis=-1).reshape(-1, 3) * MM
    i = np.arange(len(points)).reshape(u.shape)
    a, b, c, d = i, np.roll(i, -1, 0), np.roll(np.roll(i, -1, 0), -1, 1), np.roll(i, -1, 1)
    faces = np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])
    heavy = Surface(points, faces, np.zeros(len(faces)))
    assert smooth_tags(heavy) == (0,)
    light = lightened(heavy)
    assert light is not None
    assert len(kept_edges(replace(light.surface, smooth=smooth_tags(heavy))).start) == 0
    assert smooth_tags(drilled(0.5)) == (0, 1)  # the sides of the bar meet in sharp edges
