"""Parts of other shapes on a rack: where they hang, what they are called, and that all is there once."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.cell.bodies import part_solid
from geom.cell.cell import Pose
from geom.errors import PartError
from geom.part.build import build_part
from geom.part.rack import Other, Rack, racked
from geom.part.shapes import Bar, Hole, Washer
from geom.surface.turning import rotation

BAR = Bar(60e-3, 20e-3, 4e-3, 0.0, (Hole(8e-3, (20e-3, 0.0)),))
WASHER = Washer(30e-3, 10e-3, 2e-3)
UPRIGHT = (0.0, math.pi / 2, 0.0)
RACK = Rack((1, 2, 1), (0.0, 40e-3, 0.0), (Other("washer", WASHER, (math.pi / 2, 0.0, 0.3), (10e-3, 55e-3, -20e-3)),))


def hung(turn, rack=RACK):
    part = racked(build_part(BAR), rack, rotation(turn))
    return part, part_solid(part, Pose(turn, (0.0, 0.0, 0.0)))


def test_area_and_volume_are_those_of_all_parts():
    part, bar, washer = hung(UPRIGHT)[0], build_part(BAR), build_part(WASHER)
    assert_allclose(part.area, 2 * bar.area + washer.area, rtol=1e-12, atol=0)
    assert_allclose(part.volume, 2 * bar.volume + washer.volume, rtol=1e-12, atol=0)
    assert_allclose(part.area_of_each, bar.area + washer.area, rtol=1e-9, atol=0)
    assert_allclose(part.surface.area, 2 * bar.surface.area + washer.surface.area, rtol=1e-12, atol=0)


def test_each_feature_has_a_name_of_its_own_and_the_other_comes_last():
    names = [feature.name for feature in hung(UPRIGHT)[0].features]
    assert len(set(names)) == len(names)
    assert "washer: bore 1 (10.0 mm), part 3" in names
    assert "bore 1 (8.0 mm), part 2" in names
    assert {feature.copy for feature in hung(UPRIGHT)[0].features if feature.name.startswith("washer: ")} == {3}


def test_the_other_part_hangs_where_it_was_asked_from_the_middle_of_the_copies():
    part, solid = hung(UPRIGHT)
    copy = np.array([feature.copy for feature in part.features])[solid.tag]
    middles = {}
    for number in (1, 2, 3):
        points = solid.corners[copy == number].reshape(-1, 3)
        middles[number] = (points.min(axis=0) + points.max(axis=0)) / 2
    from_copies = middles[3] - (middles[1] + middles[2]) / 2
    assert_allclose(from_copies, RACK.others[0].at, rtol=0, atol=1e-9)


def test_the_other_part_is_turned_as_it_was_asked_whatever_the_copies_are():
    for turn in (UPRIGHT, (0.0, 0.0, 0.0), (0.2, 0.4, 1.0)):
        part, solid = hung(turn)
        flat = [k for k, feature in enumerate(part.features) if feature.name == "washer: face A (+z), part 3"]
        normals = solid.normals[np.isin(solid.tag, flat)]
        wanted = rotation(RACK.others[0].turn) @ np.array([0.0, 0.0, 1.0])
        assert_allclose(normals, np.broadcast_to(wanted, normals.shape), rtol=0, atol=1e-9)


def test_half_a_turn_takes_all_of_it_round_and_every_part_keeps_its_number():
    part, solid = hung(UPRIGHT)
    x, y, z = UPRIGHT
    other, turned = hung((x, y, z + math.pi), RACK.half_turned)
    assert [feature.name for feature in other.features] == [feature.name for feature in part.features]
    assert_allclose(turned.vertices, solid.vertices * [-1.0, -1.0, 1.0], rtol=0, atol=1e-12)


def test_another_part_that_touches_is_refused_with_both_named():
    near = Rack((1, 2, 1), (0.0, 40e-3, 0.0), (Other("washer", WASHER, (0.0, 0.0, 0.0), (0.0, 20e-3, 0.0)),))
    with pytest.raises(PartError) as caught:
        hung(UPRIGHT, near)
    assert caught.value.slug == "rack-copies-touch"
    assert "washer touches or overlaps part 2" in str(caught.value)
    assert "[[rack.other]] number 1" in str(caught.value)


def test_two_others_that_touch_are_refused():
    both = tuple(Other(name, WASHER, (0.0, 0.0, 0.0), (0.0, y, 0.0)) for name, y in (("one", 70e-3), ("two", 95e-3)))
    with pytest.raises(PartError, match="two touches or overlaps part 3"):
        hung(UPRIGHT, Rack((1, 2, 1), (0.0, 40e-3, 0.0), both))
