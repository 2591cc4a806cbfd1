"""Sheets that get a thickness against the area and volume of plates, trays, tubes and shells by formula."""

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.repair.thicken import thickened
from geom.surface.solid import box
from geom.surface.surface import Surface

T = 1.5e-3


def solid(vertices: Floats, faces: Ints, thickness: float = T) -> Surface:
    points, made, source, _ = thickened(vertices, faces, np.arange(len(faces)), thickness)
    assert trimesh.Trimesh(points, made, process=False).is_watertight
    return Surface(points, made, source)


def grid(across: int, along: int) -> tuple[Floats, Ints]:
    """Unit square of quads, each cut in two: corners (n, 2) and faces."""
    u, v = np.meshgrid(np.linspace(0, 1, across + 1), np.linspace(0, 1, along + 1), indexing="ij")
    i = (np.arange(across)[:, None] * (along + 1) + np.arange(along)).reshape(-1)
    j = i + along + 1
    faces = np.concatenate([np.stack([i, j, j + 1], axis=1), np.stack([i, j + 1, i + 1], axis=1)])
    return np.stack([u.reshape(-1), v.reshape(-1)], axis=1), faces


def tray(a: float, b: float, h: float) -> tuple[Floats, Ints]:
    whole = box((0, 0, 0), (a, b, h))
    return whole.vertices, whole.faces[whole.normals[:, 2] < 0.5]


@pytest.mark.parametrize("cells", [1, 7])
def test_a_plate_has_both_sides_and_its_border(cells: int) -> None:
    flat, faces = grid(cells, cells)
    vertices = Rotation.random(rng=3).apply(np.column_stack([flat * [0.05, 0.03], np.zeros(len(flat))]))
    made = solid(vertices, faces)
    assert_allclose(made.area, 2 * 0.0015 + 0.16 * T, rtol=1e-12, atol=0)
    assert_allclose(made.volume, 0.0015 * T, rtol=1e-12, atol=0)


def test_a_washer_has_a_wall_round_its_hole() -> None:
    flat, faces = grid(24, 6)
    radius, angle = 0.01 + 0.01 * flat[:, 1], 2 * np.pi * flat[:, 0]
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)
    join = np.where(np.arange(len(points)) >= 24 * 7, np.arange(len(points)) - 24 * 7, np.arange(len(points)))
    drawn = Surface(points, join[faces[:, ::-1]], np.zeros(len(faces)))
    border = 24 * 2 * np.sin(np.pi / 24) * 0.03
    assert_allclose(solid(points, join[faces]).area, 2 * drawn.area + border * T, rtol=1e-12, atol=0)


@pytest.mark.parametrize("turned", [False, True])
def test_an_open_tray_has_square_corners_inside_and_outside(turned: bool) -> None:
    a, b, h = 0.04, 0.03, 0.02
    vertices, faces = tray(a, b, h)
    made = solid(vertices, faces[:, ::-1] if turned else faces)
    area = 2 * (a + T) * (b + T) + 2 * (a + b + 2 * T) * (h + T / 2) + 2 * (a + b - 2 * T) * (h - T / 2)
    volume = (a + T) * (b + T) * (h + T / 2) - (a - T) * (b - T) * (h - T / 2)
    assert_allclose(made.area, area, rtol=1e-12, atol=0)
    assert_allclose(made.volume, volume, rtol=1e-12, atol=0)


@pytest.mark.parametrize("bend", [30.0, 90.0, 140.0])
def test_both_legs_of_an_angle_keep_their_thickness(bend: float) -> None:
    """Of legs l and width w, metal t thick round the line where the middles meet: volume 2 l w t."""
    leg, width, turn = 0.03, 0.02, np.radians(bend)
    outline = np.array([[-leg, 0], [0, 0], [leg * np.cos(turn), leg * np.sin(turn)]])
    vertices = np.array([[x, y, z] for z in (0, width) for x, y in outline])
    made = solid(vertices, np.array([[0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4]]))
    assert_allclose(made.volume, 2 * leg * width * T, rtol=1e-12, atol=0)
    assert_allclose(made.area, 4 * leg * width + (4 * leg + 2 * width) * T, rtol=1e-12, atol=0)


def test_a_strip_of_tube_is_the_tube_within_its_flats() -> None:
    radius, length, turn, cells = 0.02, 0.03, np.radians(200), 80
    flat, faces = grid(cells, 1)
    angle = turn * flat[:, 0]
    made = solid(np.stack([radius * np.cos(angle), radius * np.sin(angle), length * flat[:, 1]], axis=1), faces)
    area = 2 * turn * radius * length + 2 * turn * radius * T + 2 * length * T
    within = (turn / cells) ** 2 / 6
    assert_allclose(made.area, area, rtol=within, atol=0)
    assert_allclose(made.volume, turn * radius * length * T, rtol=within, atol=0)


def test_half_a_ball_is_a_shell_within_its_flats() -> None:
    ball = trimesh.creation.icosphere(5, radius=0.02)
    faces = ball.faces[ball.triangles_center[:, 2] > 0]
    drawn = Surface(ball.vertices, faces, np.zeros(len(faces)))
    outer, inner = 0.02 + T / 2, 0.02 - T / 2
    made = solid(ball.vertices, faces)
    assert_allclose(made.volume / drawn.area, (outer**3 - inner**3) / 3 / 0.02**2, rtol=1e-3, atol=0)


def test_pieces_that_meet_in_a_point_are_solids_of_their_own() -> None:
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [-1, 0, 0.5], [0, -1, 0.5]]) * 0.02
    made = solid(vertices, np.array([[0, 1, 2], [0, 3, 4]]))
    drawn = Surface(vertices, np.array([[0, 1, 2], [0, 3, 4]]), np.zeros(2))
    assert_allclose(made.volume, drawn.area * T, rtol=1e-12, atol=0)


def test_the_change_says_the_thickness_and_the_area() -> None:
    flat, faces = grid(1, 1)
    vertices = np.column_stack([flat * 0.02, np.zeros(4)])
    _, _, source, told = thickened(vertices, faces, np.array([7, 9]), T)
    assert told.code == "repair-thickened"
    assert_allclose(told.area, 0.0004 + 0.08 * T, rtol=1e-12, atol=0)
    assert "1.5 mm of thickness, half to each side" in told.message
    assert "400 mm² on one side" in told.message
    assert sorted(np.bincount(source)[[7, 9]]) == [6, 6]


def refused(vertices: Floats, faces: Ints, thickness: float) -> PartError:
    with pytest.raises(PartError) as told:
        thickened(vertices, faces, np.arange(len(faces)), thickness)
    return told.value


def test_a_sheet_that_branches_is_refused() -> None:
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1]]) * 0.02
    error = refused(vertices, np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]]), T)
    assert error.slug == "part-sheet-branching"
    assert error.marks == ((0.01, 0.0, 0.0),)


@pytest.mark.parametrize("thickness", [0.031, 0.05])
def test_a_tray_too_narrow_for_its_thickness_is_refused(thickness: float) -> None:
    error = refused(*tray(0.04, 0.03, 0.02), thickness)
    assert error.slug in ("part-sheet-crossing", "part-sheet-thickness")
    assert error.marks


def test_a_fold_narrower_than_the_metal_is_refused() -> None:
    outline = np.array([[0, 0], [0.03, 0], [0.03, 0.001], [0, 0.001]])
    vertices = np.array([[x, y, z] for z in (0, 0.02) for x, y in outline])
    faces = np.array([f for i in range(3) for f in ([i, i + 1, i + 5], [i, i + 5, i + 4])])
    assert solid(vertices, faces, 0.9e-3).volume > 0
    assert refused(vertices, faces, 1.1e-3).slug == "part-sheet-crossing"


@pytest.mark.parametrize("thickness", [1e-9, 0.03])
def test_a_thickness_out_of_all_proportion_is_refused(thickness: float) -> None:
    flat, faces = grid(1, 1)
    vertices = np.column_stack([flat * 0.02, np.zeros(4)])
    assert refused(vertices, faces, thickness).slug == "part-sheet-thickness"
