"""Area and volume of a surface: the same however it lies and is numbered, true powers of the size, order 2 in the facets."""

import math
from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from helpers.meshes import icosphere
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from geom.part.build import build_part
from geom.part.shapes import Bar, Hole
from geom.surface.shell import triangulate
from geom.surface.solid import upright_cylinder
from geom.surface.surface import Surface

MM = 1e-3
few = settings(max_examples=30, deadline=None, derandomize=True)


def drilled() -> Surface:
    return build_part(Bar(60 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (15 * MM, 0)),))).surface


def plain(mesh: trimesh.Trimesh) -> Surface:
    return Surface(np.array(mesh.vertices), np.array(mesh.faces), np.zeros(len(mesh.faces)))


@few
@given(st.integers(0, 2**32 - 1), st.floats(0.0, 10.0))
def test_area_and_volume_do_not_depend_on_place_turn_or_numbering(seed: int, away: float) -> None:
    before, rng = drilled(), np.random.default_rng(seed)
    shift = rng.normal(size=3)
    shift *= away * 60 * MM / np.linalg.norm(shift)
    moved = before.moved(Rotation.random(random_state=seed).as_matrix(), shift)
    number = rng.permutation(len(moved.vertices))
    vertices = np.zeros_like(moved.vertices)
    vertices[number] = moved.vertices
    order = rng.permutation(len(moved.faces))
    faces = np.roll(number[moved.faces][order], int(rng.integers(3)), axis=1)
    after = Surface(vertices, faces, moved.tag[order])
    assert_allclose(after.area, before.area, rtol=1e-9, atol=0)
    assert_allclose(after.volume, before.volume, rtol=1e-9, atol=0)


def test_halving_every_edge_changes_neither_area_nor_volume() -> None:
    before = drilled()
    vertices, faces = trimesh.remesh.subdivide(before.vertices, before.faces)
    after = Surface(vertices, faces, np.zeros(len(faces)))
    assert len(after.faces) == 4 * len(before.faces)
    assert_allclose(after.area, before.area, rtol=1e-9, atol=0)
    assert_allclose(after.volume, before.volume, rtol=1e-9, atol=0)


@few
@given(st.floats(1e-2, 1e2))
def test_area_grows_as_the_square_and_volume_as_the_cube_of_the_size(scale: float) -> None:
    before = drilled()
    after = Surface(scale * before.vertices, before.faces, before.tag)
    assert_allclose(after.area, scale**2 * before.area, rtol=1e-12, atol=0)
    assert_allclose(after.volume, scale**3 * before.volume, rtol=1e-12, atol=0)


def ball(n: int) -> Surface:
    return icosphere(round(math.log2(n / 8)) + 2)


def can(n: int) -> Surface:
    """A cylinder inscribed in one of radius 1 and height 2 (the shell of the program has the true perimeter)."""
    shrink = math.sin(math.pi / n) / (math.pi / n)
    return upright_cylinder((0.0, 0.0, 0.0), 2.0 * shrink, 2.0, n)


def ring(n: int) -> Surface:
    return plain(trimesh.creation.torus(2.0, 0.5, major_sections=4 * n, minor_sections=n))


def plate_wall(n: int) -> Surface:
    """A disc of radius 1 with a square hole, inscribed."""
    angle = 2 * np.pi * np.arange(n) / n
    outer = np.stack([np.cos(angle), np.sin(angle), np.zeros(n)], axis=1)
    inner = 0.5 * np.array([[1.0, 1, 0], [1, -1, 0], [-1, -1, 0], [-1, 1, 0]])
    points = np.concatenate([outer, inner])
    faces = triangulate(points, [np.arange(n), np.arange(n, n + 4)])
    return Surface(points, faces, np.zeros(len(faces)))


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        (ball, 4 * math.pi),
        (can, 2 * math.pi * 2 + 2 * math.pi),
        (ring, 4 * math.pi**2 * 2.0 * 0.5),
        (plate_wall, math.pi - 1.0),
    ],
    ids=["sphere", "cylinder", "torus", "disc with a hole"],
)
def test_facets_come_to_the_formula_from_below_with_order_two(shape: Callable[[int], Surface], area: float) -> None:
    short = np.array([1.0 - shape(n).area / area for n in (16, 32, 64)])
    assert np.all(short > 0)
    assert_allclose(np.log2(short[:-1] / short[1:]), 2.0, rtol=0, atol=0.1)
