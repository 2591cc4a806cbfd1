"""The least tilt that frees air and bath."""

import math

import numpy as np
import pytest
from helpers.hollows import (
    HOLE,
    HOLLOW,
    about,
    block,
    cup,
    held,
    least,
    round_block,
    tray,
    turned,
    upside_down,
    without,
)
from numpy.testing import assert_allclose

from geom.cell.cell import Pose
from geom.hanging.tilts import SIDES, Tilt, tilt_rotation
from geom.surface.solid import upright_cylinder
from geom.surface.surface import Surface
from geom.surface.turning import rotation


def dish(slope: float, radius: float = 30.0) -> Surface:
    """A block with a hollow cone in its top whose sides rise at ``slope`` [deg] from level, 60 mm across."""
    sides = 240
    cone = upright_cylinder((0, 0, 0), 2e-3 * radius, 1e-3, sides, HOLLOW)
    deep = radius * math.tan(math.radians(slope))
    wide = float(np.hypot(*cone.vertices[0, :2]))
    vertices = cone.vertices.copy()
    vertices[:sides] *= [1e-9, 1e-9, 0]
    vertices[2 * sides] = 0.0
    vertices[:, :2] *= 1e-3 * radius / wide
    vertices[:sides, 2] = vertices[2 * sides, 2] = -1e-3 * deep
    vertices[sides : 2 * sides, 2] = vertices[2 * sides + 1, 2] = 0.0
    # all corners of the bottom are one: the tip
    faces = cone.faces.copy()
    faces[faces < sides] = 2 * sides
    real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    hollow = Surface(vertices, faces[real], cone.tag[real])
    used, packed = np.unique(hollow.faces, return_inverse=True)
    return without(
        block((-35, -35, -deep - 5), (35, 35, 0)),
        Surface(hollow.vertices[used], packed.reshape(-1, 3), hollow.tag),
    )


@pytest.mark.parametrize(("slope", "mouth"), [(9.0, "up"), (14.0, "down"), (34.0, "up")])
def test_a_cone_is_free_once_its_side_is_level(slope: float, mouth: str):
    """The first step of 5° at or over the slope of the side; just under it less than a fiftieth may be left."""
    tilt = least(dish(slope) if mouth == "up" else upside_down(dish(slope)))
    assert tilt is not None
    degrees = round(math.degrees(tilt.angle))
    assert degrees % 5 == 0
    assert slope - 5.0 <= degrees <= slope + 5.0
    assert (tilt.frees_air, tilt.frees_bath) == (mouth == "down", mouth == "up")


def test_what_is_told_to_free_the_air_does_and_one_step_less_does_not():
    solid = upside_down(dish(19.0))
    before = held(solid).trapped_volume
    tilt = least(solid)
    assert tilt is not None
    less = tilt_rotation(tilt.angle - math.radians(5), tilt.raised)
    assert held(solid.moved(tilt.rotation, np.zeros(3))).trapped_volume <= 0.02 * before
    assert held(solid.moved(less, np.zeros(3))).trapped_volume > 0.02 * before


def test_a_deep_cup_is_freed_by_no_tilt_up_to_45_degrees():
    assert least(upside_down(cup())) is None


def test_a_tray_is_free_but_for_a_wedge():
    """Walls of height h, width w: h² / (2 tan) of the section w h is left, a fiftieth at tan = 25 h / w. Along x alone."""
    shallow = upside_down(tray(100, 60, 1.0, wall=1.0))
    full = held(shallow).trapped_volume
    for degrees in (10, 20, 40):
        left = held(turned(shallow, "y", degrees)).trapped_volume
        assert_allclose(left / full, 1.0 / (2 * 100 * math.tan(math.radians(degrees))), rtol=0.05)
    tilt = least(shallow)
    assert tilt is not None
    assert tilt.angle <= math.radians(15) + 1e-9  # 14.0° by the wedge along x; two walls at once do better


def test_a_bell_with_one_low_end_is_freed_by_lifting_that_end():
    """A channel, closed at one end and at the other by a plate that ends 4 mm under the ceiling: gone at atan(4/96) and over,
    once the ceiling at the open end is the highest place and less than 4 mm of air stand in front of the plate."""
    body, inside = block((-50, -15, 0), (50, 15, 20)), block((-48, -13, -5), (48, 13, 18), HOLLOW)
    bell = without(body, inside, block((47, -13, 14), (55, 13, 18), HOLE))
    found = held(bell)
    assert found.trapped == ()  # level, the slit at the ceiling lets all air out
    tipped = turned(bell, "y", 10)  # the end with the slit 10° down
    assert held(tipped).trapped_volume > 1e-6
    tilt = least(tipped)
    assert tilt is not None
    assert tilt.raised[0] == 1
    assert math.degrees(tilt.angle) <= 10.1


def test_nothing_held_asks_for_no_tilt():
    assert least(block((-50, -10, 0), (50, 10, 3))) is None


@pytest.mark.parametrize("raised", SIDES)
def test_the_side_named_comes_up(raised: tuple[int, int]):
    turn = tilt_rotation(math.radians(20), raised)
    assert_allclose(turn @ turn.T, np.eye(3), rtol=0, atol=1e-14)
    arm = np.array([*raised, 0.0]) / np.hypot(*raised)
    assert_allclose((turn @ arm)[2], math.sin(math.radians(20)), rtol=1e-12)
    assert_allclose(np.linalg.det(turn), 1.0, rtol=1e-12)


@pytest.mark.parametrize("raised", SIDES)
def test_the_turn_of_the_pose_holds_the_tilt(raised: tuple[int, int]):
    pose = Pose((0.3, -0.4, 1.1), (0.0, 0.0, 0.1))
    tilt = Tilt(math.radians(15), raised, True, False)
    assert_allclose(rotation(tilt.pose_turn(pose.rotation)), tilt.rotation @ pose.rotation, rtol=0, atol=1e-12)


def test_words_of_a_tilt():
    assert [Tilt(0.1, raised, True, True).side for raised in ((1, 0), (0, -1), (-1, 1))] == ["+x", "-y", "-x +y"]
    assert [Tilt(0.1, raised, True, True).axis for raised in ((1, 0), (0, -1), (-1, 1))] == [
        "y",
        "x",
        "an axis between x and y",
    ]


def test_raising_x_is_a_turn_about_y_backwards():
    assert_allclose(tilt_rotation(0.2, (1, 0)), about("y", -math.degrees(0.2)), rtol=0, atol=1e-12)


def test_pits_that_no_tilt_empties_leave_the_air_to_be_freed_alone():
    solid = upside_down(dish(14.0))
    top = float(1e3 * solid.bounds[1, 2])
    pits = [round_block(4, top - 4, top + 1, HOLE, at=(x, 25)) for x in (-25, 25)]
    tilt = least(without(solid, *pits))
    assert tilt is not None
    assert (tilt.frees_air, tilt.frees_bath) == (True, False)
