"""Air and bath held by parts whose pockets have a closed form."""

import math

import numpy as np
import pytest
from helpers.hollows import (
    BODY,
    HOLE,
    HOLLOW,
    ball,
    block,
    cup,
    held,
    lying,
    round_block,
    shifted,
    tray,
    turned,
    upside_down,
    without,
)
from numpy.testing import assert_allclose

CUP = math.pi / 4 * 20**2 * 25  # mm³


def air(solid, **more):
    return 1e9 * held(solid, **more).trapped_volume


def bath(solid, **more):
    return 1e9 * held(solid, **more).cup_volume


def test_a_cup_mouth_up_carries_its_fill_out_and_holds_no_air():
    found = held(cup())
    assert_allclose(1e9 * found.cup_volume, CUP, rtol=0.01)
    assert found.trapped == ()


def test_a_cup_mouth_down_holds_its_fill_of_air_and_no_bath():
    found = held(upside_down(cup()))
    assert_allclose(1e9 * found.trapped_volume, CUP, rtol=0.01)
    assert found.cups == ()


def test_a_cup_on_its_side_holds_nothing():
    found = held(lying(cup()))
    assert (found.trapped, found.cups) == ((), ())


@pytest.mark.parametrize("degrees", [10, 25, 40, 60])
def test_a_tilted_cup_of_rectangular_section_keeps_a_prism(degrees: float):
    length, width, deep = 40.0, 24.0, 18.0
    slope = math.tan(math.radians(degrees))
    full = length * slope <= deep
    expected = width * length * (deep - length * slope / 2) if full else width * deep**2 / (2 * slope)
    tilted = turned(tray(length, width, deep), "y", degrees)
    assert_allclose(bath(tilted), expected, rtol=0.02)
    assert_allclose(air(turned(tray(length, width, deep), "y", 180 - degrees)), expected, rtol=0.02)


def test_a_round_bowl_holds_the_cap_of_a_sphere():
    """pi h² (R - h/3): Bronstein, Handbook of mathematics (from memory)."""
    radius, deep = 20.0, 12.0
    bowl = without(block((-25, -25, -30), (25, 25, 0)), ball(2 * radius, (0, 0, radius - deep), HOLLOW))
    assert_allclose(bath(bowl), math.pi * deep**2 * (radius - deep / 3), rtol=0.005)


BAR = block((-50, -10, -10), (50, 10, 10))
DRILLED = round_block(8, 0, 20, HOLLOW, at=(17, 3))  # 10 mm deep from the top
BLIND = math.pi / 4 * 8**2 * 10


def test_a_blind_hole_from_above_fills_with_bath_and_from_below_with_air():
    bar = without(BAR, DRILLED)
    assert_allclose(bath(bar, widths={1: 8}), BLIND, rtol=0.02)
    assert_allclose(air(upside_down(bar), widths={1: 8}), BLIND, rtol=0.02)


def test_a_level_blind_hole_holds_nothing():
    bar = turned(without(BAR, DRILLED), "x", 90)
    found = held(bar, widths={1: 8})
    assert (found.trapped, found.cups) == ((), ())


def test_a_blind_hole_that_points_up_a_little_holds_a_wedge_of_air_at_its_end():
    """Mouth lower than the end by 20°: air over the height of the upper lip; the section of a round hole is a segment
    whose height grows along the axis. Integrated here along the axis."""
    angle, radius, deep = math.radians(20), 4.0, 10.0
    bar = turned(without(BAR, DRILLED), "x", 90 + 20)  # axis lies along y, its mouth 20° below level
    along = (np.arange(2000) + 0.5) / 2000 * deep
    rise = np.minimum(along * math.tan(angle), 2 * radius)  # of the segment, square to the axis
    segment = radius**2 * np.arccos(1 - rise / radius) - (radius - rise) * np.sqrt(2 * radius * rise - rise**2)
    assert_allclose(air(bar, widths={1: 8}), segment.mean() * deep, rtol=0.03)


def channel(*plates: float):
    """An inverted channel of 26 x 18 mm inside and 100 mm long, with end plates of such thickness."""
    a, b = plates
    return without(block((-50, -15, 0), (50, 15, 20)), block((-50 + a, -13, -5), (50 - b, 13, 18), HOLLOW))


def test_an_inverted_channel_with_open_ends_holds_no_air():
    assert held(channel(-5, -5)).trapped == ()


def test_an_inverted_channel_with_one_end_plate_holds_no_air_when_level():
    assert held(channel(2, -5)).trapped == ()


def test_an_inverted_channel_with_end_plates_holds_its_inside():
    assert_allclose(air(channel(2, 2)), 96 * 26 * 18, rtol=0.01)


def test_a_wall_thinner_than_the_grid_still_holds():
    found = held(without(block((-50, -15, 0), (50, 15, 20)), block((-49.95, -14.95, -5), (49.95, 14.95, 18), HOLLOW)))
    assert found.step > 3 * 0.05e-3
    assert_allclose(1e9 * found.trapped_volume, 99.9 * 29.9 * 18, rtol=0.02)


@pytest.mark.parametrize("degrees", [30, 45, 71])
def test_a_thin_wall_holds_at_any_angle_to_the_grid(degrees: float):
    solid = without(block((-50, -15, 0), (50, 15, 20)), block((-49.95, -14.95, -5), (49.95, 14.95, 18), HOLLOW))
    assert_allclose(air(turned(solid, "z", degrees)), 99.9 * 29.9 * 18, rtol=0.02)


def test_a_bell_with_a_hole_in_its_top_holds_no_air():
    bell = without(channel(2, 2), round_block(4, 10, 25, HOLE, at=(31, 7)))
    assert held(bell, widths={HOLE: 4}).trapped == ()


def test_a_closed_tube_with_a_vent_holds_the_air_above_it_and_the_bath_below():
    tube = without(
        round_block(24, 0, 40), lying(round_block(4, 0, 40, HOLE, at=(-30, 0))), round_block(20, 2, 38, HOLLOW)
    )
    found = held(tube, widths={HOLE: 4})
    section = math.pi / 4 * 20**2
    assert_allclose(1e9 * found.trapped_volume, section * (38 - 32), rtol=0.02)
    assert_allclose(1e9 * found.cup_volume, section * (28 - 2), rtol=0.02)


def test_two_chambers_that_share_their_air_hold_one_pocket():
    """A wall between them that ends 6 mm below the ceiling: the same air, down to the rim."""
    halves = block((-48, -13, -5), (-1, 13, 18), HOLLOW), block((1, -13, -5), (48, 13, 18), HOLE)
    solid = without(block((-50, -15, 0), (50, 15, 20)), *halves, block((-2, -13, 12), (2, 13, 18), 3))
    (pocket,) = held(solid).trapped
    assert_allclose(1e9 * pocket.volume, 2 * 47 * 26 * 18 + 2 * 26 * 6, rtol=0.01)


def test_a_chamber_vented_into_the_next_keeps_the_air_above_its_vent_only():
    """The first is open below and vented at its top; the second, closed below, has a door to the first at mid height."""
    first = block((-48, -13, -5), (-1, 13, 18), HOLLOW)
    second = block((1, -13, 4), (48, 13, 18), HOLE)
    door = block((-2, -13, 8), (2, 13, 12), 3)
    solid = without(block((-50, -15, 0), (50, 15, 20)), first, second, door, round_block(5, 10, 30, 4, at=(-20, 0)))
    found = held(solid)
    assert_allclose(1e9 * found.trapped_volume, 47 * 26 * (18 - 12), rtol=0.02)
    assert_allclose(1e9 * found.cup_volume, 47 * 26 * (8 - 4), rtol=0.02)


def test_a_trap_bent_like_a_u_holds_bath_in_its_bend_and_an_inverted_one_air():
    """A passage of 10 x 10 mm: down 30, across 30, up 30."""
    legs = block((-20, -5, 0), (-10, 5, 40), HOLLOW), block((10, -5, 0), (20, 5, 40), HOLE)
    solid = without(block((-25, -10, -5), (25, 10, 30)), *legs, block((-11, -5, 0), (11, 5, 10), 3))
    full = 2 * 10 * 10 * 30 + 20 * 10 * 10
    found = held(solid)
    assert_allclose(1e9 * found.cup_volume, full, rtol=0.01)
    assert found.trapped == ()
    assert_allclose(air(upside_down(solid)), full, rtol=0.01)


def test_flat_and_open_parts_hold_nothing():
    washer = without(round_block(30, 0, 3), round_block(12, -2, 5, HOLLOW))
    for solid in (block((-50, -10, 0), (50, 10, 3)), washer, turned(washer, "x", 90), turned(washer, "y", 33)):
        found = held(solid)
        assert (found.trapped, found.cups) == ((), ())


@pytest.mark.parametrize("turn", [("x", 0), ("x", 90), ("y", 17), ("x", 63)])
def test_an_open_tube_holds_nothing_in_any_pose(turn: tuple[str, float]):
    tube = without(round_block(20, 0, 60), round_block(16, -5, 65, HOLLOW))
    found = held(turned(turned(tube, *turn), "z", 31), widths={HOLLOW: 16})
    assert (found.trapped, found.cups) == ((), ())


def test_what_the_air_keeps_bare_is_named_with_its_area():
    (pocket,) = held(upside_down(cup())).trapped
    assert [name for name, _ in pocket.features] == ["piece 1"]
    assert_allclose(1e6 * pocket.features[0][1], math.pi * 20 * 25 + math.pi / 4 * 20**2, rtol=0.02)
    assert_allclose(1e3 * np.array(pocket.middle), [0, 0, -12.5], rtol=0, atol=0.2)
    assert_allclose(pocket.level, -25e-3, rtol=1e-6)


def test_only_the_face_above_the_gas_level_is_bare():
    tube = without(
        round_block(24, 0, 40), lying(round_block(4, 0, 40, HOLE, at=(-30, 0))), round_block(20, 2, 38, HOLLOW)
    )
    (pocket,) = held(tube, widths={HOLE: 4}).trapped
    bare = dict(pocket.features)["piece 1"]
    assert_allclose(1e6 * bare, math.pi * 20 * 6 + math.pi / 4 * 20**2, rtol=0.03)


def test_the_outside_of_a_cup_is_never_bare():
    assert "piece 0" not in dict(held(upside_down(cup(wall=0.2))).trapped[0].features)
    assert BODY == 0


def test_a_part_through_the_surface_holds_air_only_under_it():
    bell = shifted(upside_down(cup()), (0, 0, 30))  # rim at z = 5, ceiling at 30
    assert_allclose(air(bell, level=20), math.pi / 4 * 20**2 * 15, rtol=0.02)
    assert air(bell, level=5.0001) < 1


def test_a_cup_whose_brim_stands_above_the_surface_stays_dry():
    (pocket,) = (found := held(cup(), level=20)).trapped
    assert pocket.dry
    assert found.cups == ()
    assert_allclose(1e9 * pocket.volume, math.pi / 4 * 20**2 * 20, rtol=0.02)


def test_the_same_cup_with_a_hole_in_its_wall_under_the_surface_fills():
    holed = without(cup(), lying(round_block(4, 0, 40, HOLE, at=(-10, 0))))
    found = held(holed, level=20, widths={HOLE: 4})
    assert found.trapped == ()
    assert_allclose(1e9 * found.cup_volume, math.pi / 4 * 20**2 * 8, rtol=0.03)


def test_two_steps_of_a_pocket_are_told_apart_from_their_surroundings():
    """Two cups in one block: two pockets, each with its own volume."""
    solid = without(
        block((-40, -20, 0), (40, 20, 30)),
        round_block(20, 10, 40, HOLLOW, at=(-20, 0)),
        round_block(10, 20, 40, HOLE, at=(20, 0)),
    )
    volumes = [1e9 * pocket.volume for pocket in held(solid).cups]
    assert_allclose(volumes, [math.pi / 4 * 400 * 20, math.pi / 4 * 100 * 10], rtol=0.02)


def test_the_doubt_covers_the_error():
    for solid, true in ((upside_down(cup()), CUP), (upside_down(tray(98.3, 57.1, 8)), 98.3 * 57.1 * 8)):
        (pocket,) = held(solid).trapped
        assert abs(1e9 * pocket.volume - true) <= 1e9 * pocket.doubt <= 0.03 * true
