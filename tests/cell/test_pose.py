"""The pose: turned about x, then y, then z, about the part's centre, against SciPy's rotations."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from geom.cell.bodies import part_solid
from geom.cell.cell import Pose
from geom.part.build import build_part
from geom.part.shapes import Angle, Bar, Hole

MM = 1e-3
RIGHT = math.pi / 2
angles = st.tuples(*[st.floats(-4.0, 4.0)] * 3)

few = settings(max_examples=50, deadline=None, derandomize=True)


@few
@given(angles)
def test_a_turn_is_that_of_extrinsic_x_y_z_angles(turn: tuple[float, float, float]) -> None:
    rotation = Pose(turn, (0.0, 0.0, 0.0)).rotation
    difference = np.abs(rotation - Rotation.from_euler("xyz", turn).as_matrix()).max()
    assert difference < 1e-14


@pytest.mark.parametrize(
    ("turn", "before", "after"),
    [
        ((RIGHT, 0, 0), (0, 1, 0), (0, 0, 1)),  # about x: y goes up
        ((0, RIGHT, 0), (0, 0, 1), (1, 0, 0)),  # about y: z goes to x
        ((0, 0, RIGHT), (1, 0, 0), (0, 1, 0)),  # about z: x goes to y
        ((RIGHT, RIGHT, 0), (0, 1, 0), (1, 0, 0)),  # x first: y up, then along x
        ((RIGHT, 0, RIGHT), (1, 0, 0), (0, 1, 0)),
    ],
)
def test_a_quarter_turn_goes_where_a_right_hand_says(turn, before, after) -> None:
    carried = Pose(turn, (0.0, 0.0, 0.0)).rotation @ np.array(before, dtype=float)
    assert np.abs(carried - after).max() < 1e-15


@few
@given(angles)
def test_the_middle_of_the_turned_bounding_box_comes_to_lie_at_the_place_given(turn) -> None:
    part = build_part(Angle(60 * MM, 30 * MM, 20 * MM, 3 * MM, 3 * MM))  # its box moves within it as it turns
    low, high = part_solid(part, Pose(turn, (0.01, -0.02, 0.07))).bounds
    assert_allclose((low + high) / 2, (0.01, -0.02, 0.07), rtol=1e-12, atol=0)


@few
@given(angles)
def test_hanging_a_part_changes_neither_its_size_nor_its_hand(turn) -> None:
    part = build_part(Bar(60 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (18 * MM, 3 * MM)),)))
    hung = part_solid(part, Pose(turn, (0.01, -0.02, 0.07)))
    assert_allclose(hung.volume, part.surface.volume, rtol=1e-9, atol=0)
    assert_allclose(hung.area, part.surface.area, rtol=1e-9, atol=0)
    assert np.array_equal(hung.tag, part.surface.tag)
