"""What the job leaves out is filled in so that the part can be plated: it fits, hangs upright, faces an anode."""

import math
from dataclasses import dataclass

import numpy as np
import pytest
from helpers.cells import MM, bath
from numpy.testing import assert_allclose

from geom.cell.bodies import anode_solid, part_solid
from geom.cell.build import build_cell, turned_extent
from geom.cell.cell import BoxTank, Cell, JarTank, Pose, RodAnode, SheetAnode, Tank
from geom.errors import CellError
from geom.part.build import build_part
from geom.part.shapes import Angle, Bar, Channel, Hole, Offset, Outline, Rod, Shape, Tube, Washer
from geom.surface.solid import clearance

SHAPES: dict[str, Shape] = {
    "bar": Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0)),)),
    "narrow bar given on edge": Bar(100 * MM, 3 * MM, 20 * MM),
    "plate": Bar(120 * MM, 90 * MM, 2 * MM, kind="plate"),
    "thin small plate": Bar(8 * MM, 8 * MM, 0.5 * MM, kind="plate"),
    "cube": Bar(30 * MM, 30 * MM, 30 * MM),
    "rod": Rod(80 * MM, 8 * MM),
    "tube": Tube(80 * MM, 20 * MM, 2 * MM),
    "flattened tube": Tube(80 * MM, 20 * MM, 2 * MM, 8 * MM),
    "washer": Washer(40 * MM, 17 * MM, 3 * MM),
    "angle": Angle(60 * MM, 30 * MM, 20 * MM, 3 * MM, 3 * MM),
    "channel": Channel(100 * MM, 30 * MM, 20 * MM, 2 * MM, 2 * MM),
    "offset": Offset(80 * MM, 18 * MM, 2 * MM, 12 * MM, 3 * MM),
    "outline": Outline(((0, 0), (80 * MM, 0), (80 * MM, 15 * MM), (0, 40 * MM)), 3 * MM),
    "large plate": Bar(600 * MM, 400 * MM, 5 * MM, kind="plate"),
}


@dataclass(frozen=True)
class Room:
    """How far the hung part is from everything [m]."""

    wall: float
    floor: float
    over: float
    anode: float


def room(cell: Cell) -> Room:
    part = part_solid(cell.part, cell.pose)
    low, high = part.bounds
    if isinstance(cell.tank, BoxTank):
        reach = np.array([cell.tank.length, cell.tank.width]) / 2
        wall = float(np.minimum(low[:2] + reach, reach - high[:2]).min())
    else:
        wall = cell.tank.diameter / 2 - float(np.linalg.norm(part.vertices[:, :2], axis=1).max())
    anode = min(clearance(part, anode_solid(a, cell.tank), 1.0) for a in cell.anodes)
    return Room(wall, float(low[2]), float(cell.tank.depth - high[2]), float(anode))


def with_defaults(shape: Shape, tank: Tank | None = None, **given) -> Cell:
    return build_cell(build_part(shape), bath(), **{"tank": tank, "anodes": None, "pose": None, **given})


@pytest.mark.parametrize("name", SHAPES)
def test_a_tank_of_ours_leaves_room_on_every_side(name: str) -> None:
    """Common practice, no source: 50 mm to walls and floor, 30 mm of liquid above, 100 mm or more to the anode."""
    cell = with_defaults(SHAPES[name])
    assert cell.findings == ()
    free = room(cell)
    assert free.wall > 49.5 * MM
    assert free.floor > 49.9 * MM
    assert free.over > 29.9 * MM
    assert free.anode > 99 * MM
    for side in (cell.tank.length, cell.tank.width, cell.tank.depth):
        assert_allclose(side / (5 * MM), round(side / (5 * MM)), rtol=1e-9, atol=0)


@pytest.mark.parametrize("name", SHAPES)
def test_a_part_hangs_upright_with_its_broad_side_towards_the_anode(name: str) -> None:
    cell = with_defaults(SHAPES[name])
    extent = turned_extent(cell.part, cell.pose.turn)
    own = np.sort(turned_extent(cell.part, (0.0, 0.0, 0.0)))
    assert_allclose(extent, own[[0, 1, 2]], rtol=1e-9, atol=0)  # thinnest along x, longest up
    (anode,) = cell.anodes
    assert isinstance(anode, SheetAnode)
    away = np.asarray(cell.pose.at) - anode.at
    assert away[0] > 0
    assert abs(away[1]) < 1e-9
    assert abs(away[2]) < 1.1 * MM


@pytest.mark.parametrize("name", SHAPES)
def test_an_anode_of_ours_has_its_usual_area_and_lies_in_the_liquid(name: str) -> None:
    """Common practice, no source: 1.5 times the area of the part, both sides, where the tank has room for it."""
    cell = with_defaults(SHAPES[name])
    (anode,) = cell.anodes
    low, high = anode_solid(anode, cell.tank).bounds
    assert low[2] > 0
    assert high[2] < cell.tank.depth
    assert np.abs([low[:2], high[:2]]).max(axis=0)[0] < cell.tank.length / 2
    assert np.abs([low[:2], high[:2]]).max(axis=0)[1] < cell.tank.width / 2
    assert min(anode.width, anode.height) > 9 * MM
    both = 2 * anode.width * anode.height
    roomy = anode.width < cell.tank.width - 11 * MM
    if roomy:
        assert both >= 0.95 * 1.5 * cell.part.area
    for side in (anode.width, anode.height):
        assert_allclose(1e3 * side, round(1e3 * side), rtol=1e-9, atol=0)


@pytest.mark.parametrize("tank", [BoxTank(0.2, 0.15, 0.15), JarTank(0.16, 0.2)], ids=["box", "jar"])
@pytest.mark.parametrize("name", [n for n in SHAPES if n not in ("large plate", "plate")])
def test_a_part_finds_its_place_in_a_tank_of_the_user(name: str, tank: Tank) -> None:
    free = room(with_defaults(SHAPES[name], tank))
    assert free.wall > 5 * MM
    assert free.floor > 1 * MM
    assert free.over > 1 * MM
    assert free.anode > 20 * MM


def test_a_part_is_laid_down_where_the_liquid_is_shallow() -> None:
    cell = with_defaults(SHAPES["bar"], BoxTank(0.2, 0.16, 0.06))
    extent = turned_extent(cell.part, cell.pose.turn)
    assert_allclose(extent, (3 * MM, 100 * MM, 20 * MM), rtol=1e-9, atol=0)
    assert room(cell).over > 15 * MM


def test_a_plate_lies_flat_where_it_cannot_stand_at_all() -> None:
    cell = with_defaults(SHAPES["plate"], BoxTank(0.3, 0.2, 0.08))
    assert_allclose(turned_extent(cell.part, cell.pose.turn)[2], 2 * MM, rtol=1e-9, atol=0)


def test_a_tank_of_ours_holds_the_anodes_of_the_user() -> None:
    anodes = (
        SheetAnode(2 * MM, 300 * MM, 100 * MM, (-0.3, 0.0, 0.4)),
        RodAnode(20 * MM, 200 * MM, (0.2, 0.25, 0.2)),
    )
    cell = with_defaults(SHAPES["bar"], anodes=anodes)
    assert cell.anodes == anodes
    assert cell.findings == ()
    assert room(cell).anode > 50 * MM


def test_a_part_hangs_between_two_anodes_of_the_user_in_the_middle() -> None:
    two = tuple(SheetAnode(2 * MM, 80 * MM, 100 * MM, (x * MM, 0.0, 75 * MM)) for x in (-80, 80))
    cell = with_defaults(SHAPES["bar"], BoxTank(0.2, 0.15, 0.15), anodes=two)
    assert abs(cell.pose.at[0]) < 1e-9


def test_a_pose_of_the_user_is_kept_and_the_anode_stands_across_from_it() -> None:
    pose = Pose((0.0, math.pi / 2, 0.0), (31.5 * MM, 10 * MM, 75 * MM))
    cell = with_defaults(SHAPES["bar"], BoxTank(0.2, 0.15, 0.15), pose=pose)
    assert cell.pose == pose
    (anode,) = cell.anodes
    assert_allclose(anode.at[1:], pose.at[1:], rtol=1e-9, atol=0)
    assert anode.at[0] < 0


def test_the_same_job_gives_the_same_cell() -> None:
    a, b = (with_defaults(SHAPES["outline"]) for _ in range(2))
    assert (a.tank, a.anodes, a.pose) == (b.tank, b.anodes, b.pose)


NO_ROOM = {
    "too shallow": (SHAPES["cube"], dict(tank=BoxTank(0.2, 0.15, 0.03)), "part-does-not-fit"),
    "too narrow": (SHAPES["plate"], dict(tank=BoxTank(0.1, 0.08, 0.3)), "part-does-not-fit"),
    "jar too narrow": (SHAPES["plate"], dict(tank=JarTank(0.08, 0.3)), "part-does-not-fit"),
    "full of anodes": (
        SHAPES["cube"],
        dict(
            tank=BoxTank(0.1, 0.1, 0.1),
            anodes=[SheetAnode(40 * MM, 80 * MM, 90 * MM, (x * MM, 0.0, 0.05)) for x in (-30, 30)],
        ),
        "part-does-not-fit",
    ),
    "no width for an anode": (
        SHAPES["thin small plate"], dict(tank=BoxTank(0.1, 0.012, 0.05)), "anode-no-room",
    ),
    "no height for an anode": (
        Bar(1 * MM, 1 * MM, 0.5 * MM), dict(tank=BoxTank(0.1, 0.1, 0.004)), "anode-no-room",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NO_ROOM)
def test_a_set_up_without_room_is_refused_in_words(name: str) -> None:
    shape, given, slug = NO_ROOM[name]
    with pytest.raises(CellError) as caught:
        with_defaults(shape, **given)
    assert caught.value.slug == slug
    assert caught.value.hint
