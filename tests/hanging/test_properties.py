"""What must not change what a part holds, how fast the volume settles, and what it costs."""

import math
import time
from pathlib import Path

import numpy as np
import pytest
from helpers.hollows import (
    HOLE,
    HOLLOW,
    SIDES,
    ball,
    block,
    cup,
    features,
    held,
    lying,
    round_block,
    shifted,
    tray,
    turned,
    upside_down,
    without,
)
from helpers.order import observed_order
from numpy.testing import assert_allclose

from geom.hanging.columns import columns_round, grid_over
from geom.hanging.hanging import hung
from geom.hanging.pockets import held_air, held_bath
from geom.part.build import build_part
from geom.part.shapes import Angle, Bar, Channel, Hole, MeshFile, Offset, Rod, Tube, Washer
from geom.surface.solid import joined
from geom.surface.surface import Surface

BOWL = without(block((-25, -25, -30), (25, 25, 0)), ball(40, (0, 0, 8), HOLLOW))
CAP = math.pi * 12**2 * (20 - 12 / 3)  # mm³


def slanted_tray() -> Surface:
    """A tray that holds air in one corner and bath in another."""
    return turned(turned(tray(40, 24, 18), "y", 25), "x", 160)


@pytest.mark.parametrize("degrees", [15, 45, 90, 271])
def test_a_turn_about_the_vertical_changes_nothing(degrees: float):
    before, after = held(slanted_tray()), held(turned(slanted_tray(), "z", degrees))
    assert_allclose(after.trapped_volume, before.trapped_volume, rtol=0.01)
    assert len(after.trapped) == len(before.trapped)


def test_a_shift_changes_nothing():
    before, after = held(slanted_tray()), held(shifted(slanted_tray(), (310.0, -170.0, 95.0)))
    assert_allclose(after.trapped_volume, before.trapped_volume, rtol=1e-6)
    assert_allclose(np.subtract(after.trapped[0].middle, before.trapped[0].middle), [0.31, -0.17, 0.095], rtol=1e-6)


def test_order_of_faces_and_corners_changes_nothing():
    solid, rng = slanted_tray(), np.random.default_rng(5)
    order, place = rng.permutation(len(solid.faces)), rng.permutation(len(solid.vertices))
    new = np.argsort(place)
    shuffled = Surface(solid.vertices[place], np.roll(new[solid.faces[order]], 1, axis=1), solid.tag[order])
    assert_allclose(held(shuffled).trapped_volume, held(solid).trapped_volume, rtol=1e-9)


def test_turned_over_air_and_bath_change_places():
    solid = slanted_tray()
    one, other = held(solid), held(turned(solid, "y", 180))
    assert one.trapped_volume > 1e-7
    assert_allclose(other.cup_volume, one.trapped_volume, rtol=0.01)


@pytest.mark.parametrize("scale", [0.2, 7.0])
def test_volumes_grow_as_the_cube_of_the_size(scale: float):
    solid = upside_down(cup())
    grown = Surface(scale * solid.vertices, solid.faces, solid.tag)
    assert_allclose(held(grown).trapped_volume, scale**3 * held(solid).trapped_volume, rtol=1e-3)


def test_the_volume_settles_with_the_square_of_the_step():
    steps, errors = [3.2e-3, 1.6e-3, 0.8e-3, 0.4e-3], []
    for step in steps:
        columns, flipped = columns_round(BOWL, grid_over(BOWL.bounds, step))
        errors.append(1e9 * held_bath(columns, flipped, np.inf).volumes.sum() / CAP - 1)
    assert observed_order(steps, errors) > 1.5
    assert abs(errors[-1]) < 1e-3


def test_the_way_out_is_never_found_higher_than_it_is():
    """A tilted cup mouth down: the lip lets air out at its highest place; a coarse grid finds a lower one, so more air."""
    solid = turned(upside_down(cup()), "x", 30)
    radius = (
        10e-3 * (math.pi / SIDES) / math.sin(math.pi / SIDES)
    )  # of the corners of the polygon that stands for the circle
    lip = -25e-3 * math.cos(math.radians(30)) + radius * math.sin(math.radians(30))
    for step in (4e-3, 2e-3, 1e-3, 0.5e-3):
        columns, _ = columns_round(solid, grid_over(solid.bounds, step))
        inside = held_air(columns, np.inf).volumes > 0
        level = columns.level[inside].max()
        assert level <= lip + 1e-9
        assert level > lip - 0.6 * step


@pytest.mark.parametrize("at", [(31.0, 7.0), (-77.3, 11.9), (0.0, 0.0)])
def test_a_vent_narrower_than_the_step_is_not_missed(at: tuple[float, float]):
    bell = without(
        block((-150, -40, 0), (150, 40, 20)),
        block((-148, -38, -5), (148, 38, 18), HOLLOW),
        round_block(3.5, 10, 25, HOLE, at=at),
    )
    found = held(bell, widths={HOLE: 3.5})
    assert found.trapped == ()


def test_holes_under_three_millimetres_are_doubtful():
    bell = without(
        block((-50, -15, 0), (50, 15, 20)),
        block((-48, -13, -5), (48, 13, 18), HOLLOW),
        round_block(2, 10, 25, HOLE, at=(31, 7)),
    )
    found = held(bell, widths={HOLE: 2})
    (pocket,) = found.trapped
    assert not pocket.sure
    assert found.trapped_volume == 0.0
    assert_allclose(1e9 * pocket.volume, 96 * 26 * 18, rtol=0.01)
    assert found.tilt is None


def test_a_narrow_side_hole_is_doubtful_too_and_what_it_cannot_let_out_is_sure():
    side = lying(round_block(2, 0, 40, HOLE, at=(-30, 0)))
    tube = without(round_block(24, 0, 40), side, round_block(20, 2, 38, HOLLOW), round_block(8, -5, 5, 3))
    found = held(tube, widths={HOLE: 2})
    section = math.pi / 4 * 20**2
    sure, maybe = sorted(found.trapped, key=lambda pocket: not pocket.sure)
    assert_allclose(1e9 * sure.volume, section * (38 - 31), rtol=0.02)
    assert_allclose(1e9 * maybe.volume, section * (31 - 2), rtol=0.03)


TYPED = [
    Bar(0.1, 0.02, 0.003, holes=(Hole(0.006, (0.03, 0.0)), Hole(0.005, (-0.03, 0.0), 0.012))),
    Rod(0.08, 0.01),
    Tube(0.06, 0.02, 0.002),
    Washer(0.03, 0.012, 0.003),
    Angle(0.05, 0.03, 0.02, 0.003, 0.003),
    Offset(0.09, 0.02, 0.003, 0.02, 0.003),
]


@pytest.mark.parametrize("shape", TYPED, ids=lambda shape: type(shape).__name__)
def test_parts_without_a_pocket_hold_nothing_upright(shape: object):
    part = build_part(shape)
    found = hung(turned(part.surface, "y", 90), part.features, None)
    assert (found.trapped, found.cups) == ((), ())


def test_a_channel_of_given_dimensions_lets_air_out_at_its_ends():
    part = build_part(Channel(0.08, 0.03, 0.02, 0.002, 0.002))
    for surface in (part.surface, upside_down(part.surface)):
        found = hung(surface, part.features, None)
        assert (found.trapped, found.cups) == ((), ())
    tipped = hung(turned(upside_down(part.surface), "x", 8), part.features, None)
    assert (tipped.trapped, tipped.cups) == ((), ())


def test_a_level_underside_is_told_with_its_width():
    part = build_part(Bar(0.1, 0.02, 0.003))
    (underside,) = hung(part.surface, part.features, None).undersides
    assert (underside.feature, underside.is_free) == ("face B (-z)", True)
    assert_allclose([1e6 * underside.area, 1e3 * underside.width], [2000, 20], rtol=1e-6)
    assert hung(turned(part.surface, "y", 6), part.features, None).undersides == ()
    assert len(hung(turned(part.surface, "y", 4), part.features, None).undersides) == 1


def test_the_rim_of_a_cup_is_as_wide_as_its_wall_and_a_floor_nearly_as_its_diameter():
    assert [round(1e3 * u.width) for u in held(cup(wall=8.0)).undersides] == [32]
    (rim, inside) = sorted(held(upside_down(cup(wall=8.0))).undersides, key=lambda u: u.width)
    assert_allclose([1e3 * rim.width, 1e3 * inside.width], [8.0, 20 * math.pi**0.5 / 2], rtol=0.12)
    assert [u.feature for u in held(upside_down(cup(wall=4.0))).undersides] == ["piece 1"]


def test_an_underside_against_trapped_air_has_no_way_out():
    found = held(upside_down(tray(40, 24, 18)))
    assert {u.feature: u.is_free for u in found.undersides} == {"piece 1": False}


def test_a_broken_off_copy_beside_the_part_does_not_close_a_way():
    """Two channels side by side are two parts: nothing is held between them."""
    one = without(block((-50, -15, 0), (50, 15, 20)), block((-60, -13, -5), (60, 13, 18), HOLLOW))
    found = hung(joined([one, shifted(one, (0, 33, 0))]), features(one), None)
    assert found.trapped == ()


def test_the_clamp_takes_a_third_of_a_second():
    mesh = Path(__file__).parents[2] / "samples" / "clamp" / "clamp.stl"
    part = build_part(MeshFile(mesh, 1e-3))
    spent = []
    for axis in "xyz":
        surface = turned(part.surface, axis, 90)
        hung(surface, part.features, None)  # the first call may compile
        before = time.process_time()
        hung(surface, part.features, None)
        spent.append(time.process_time() - before)
    assert min(spent) < 0.3, spent
