"""Racks, wires, shields and thieves in the tank: where they come to lie, and what is refused."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from helpers.cells import MM, bath
from numpy.testing import assert_allclose

from geom.cell.bodies import anode_half, anode_solid, other_solids, part_solid, slab_solid, wire_solid
from geom.cell.build import build_cell
from geom.cell.cell import (
    BoxTank,
    Cell,
    InnerWire,
    JarTank,
    Pose,
    RodAnode,
    SheetAnode,
    Slab,
    Wire,
    WireAnode,
)
from geom.errors import CellError, GeomError
from geom.part.build import build_part
from geom.part.rack import Rack
from geom.part.shapes import Bar, Channel, Hole, Shape, Tube
from geom.surface.solid import clearance

TANK = BoxTank(200 * MM, 200 * MM, 150 * MM)
LINK = Bar(60 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (20 * MM, 0.0)),))
SHEET = SheetAnode(2 * MM, 100 * MM, 100 * MM, (-80 * MM, 0.0, 75 * MM))
UPRIGHT = (0.0, math.pi / 2, 0.0)
POSE = Pose(UPRIGHT, (20 * MM, 0.0, 75 * MM))
ROW = Rack((1, 3, 1), (0.0, 40 * MM, 0.0))


def hung(shape: Shape = LINK, **changes: Any) -> Cell:
    """A link before its anode, with whatever stands beside it."""
    given: dict[str, Any] = {"tank": TANK, "anodes": (SHEET,), "pose": POSE, **changes}
    return build_cell(build_part(shape), bath(), **given)


def wire(*ends: tuple[float, float, float], diameter: float = 2.0) -> Wire:
    """A wire between two places, in mm."""
    start, end = ((x * MM, y * MM, z * MM) for x, y, z in ends)
    return Wire(diameter * MM, start, end)


def plate(x: float, *, y: float = 0.0, turn: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Slab:
    """A plate of 2 x 40 x 20 mm before the lower end of the link, in mm."""
    return Slab(2 * MM, 40 * MM, 20 * MM, (x * MM, y * MM, 50 * MM), turn)


def test_copies_hang_along_the_axes_of_the_tank_however_the_part_is_turned():
    cell = hung(rack=Rack((2, 3, 1), (25 * MM, 40 * MM, 0.0)))
    solid = part_solid(cell.part, cell.pose)
    copy = np.array([feature.copy for feature in cell.part.features])[solid.tag]
    middles = np.array([solid.selected(copy == k).bounds.mean(axis=0) for k in range(1, 7)])
    exact = [(x, y, 75.0) for y in (-40.0, 0.0, 40.0) for x in (7.5, 32.5)]
    assert_allclose(middles / MM, exact, rtol=1e-9, atol=1e-9)
    for number in range(1, 7):
        size = np.ptp(solid.selected(copy == number).bounds, axis=0)
        assert_allclose(size / MM, (3.0, 20.0, 60.0), rtol=1e-9, atol=0)


def test_a_wire_in_a_bore_lies_on_its_axis_sticks_out_and_moves_with_the_part():
    cell = hung(anodes=(SHEET, InnerWire(2 * MM, "bore 1", 8 * MM)))
    found = cell.anodes[1]
    assert isinstance(found, WireAnode)
    # the bore is 20 mm from the middle toward the part's +x, which a quarter turn about y sends down
    assert_allclose(np.array(found.start) / MM, (20 - 9.5, 0, 55), rtol=1e-9, atol=1e-9)
    assert_allclose(np.array(found.end) / MM, (20 + 9.5, 0, 55), rtol=1e-9, atol=1e-9)
    other = Pose((math.pi / 2, 0.0, 0.0), (20 * MM, 10 * MM, 75 * MM))  # on edge, bore along y
    moved = build_cell(cell.part, cell.bath, tank=TANK, anodes=cell.anodes, pose=other).anodes[1]
    assert isinstance(moved, WireAnode)
    ends = np.sort([moved.start, moved.end], axis=0) / MM
    assert_allclose(ends, [(40, 0.5, 75), (40, 19.5, 75)], rtol=1e-9, atol=1e-9)


def test_on_a_rack_every_copy_has_its_wire_and_keeps_it_when_hung_again():
    cell = hung(rack=ROW, anodes=(SHEET, InnerWire(2 * MM, "bore 1", 8 * MM)))
    places = [anode.at for anode in cell.anodes[1:]]
    assert_allclose(np.array(places) / MM, [(20, y, 55) for y in (-40, 0, 40)], rtol=1e-9, atol=1e-9)
    half = replace(cell.pose, turn=(0.0, math.pi / 2, math.pi))
    again = build_cell(cell.part, cell.bath, tank=TANK, anodes=cell.anodes, pose=half)
    turned = [anode.at for anode in again.anodes[1:]]
    assert_allclose(np.array(turned) / MM, [(20, y, 55) for y in (40, 0, -40)], rtol=1e-9, atol=1e-9)


def test_one_copy_alone_can_have_a_wire():
    cell = hung(rack=ROW, anodes=(SHEET, InnerWire(2 * MM, "bore 1, part 3", 8 * MM)))
    (found,) = cell.anodes[1:]
    assert_allclose(np.array(found.at) / MM, (20, 40, 55), rtol=1e-9, atol=1e-9)


def test_a_rack_half_turned_is_the_same_rack_with_its_numbers_kept():
    part = build_part(LINK)
    there = build_cell(part, bath(), tank=TANK, anodes=(SHEET,), pose=POSE, rack=ROW)
    half = replace(POSE, turn=(*POSE.turn[:2], math.pi))
    moved = build_cell(there.part, bath(), tank=TANK, anodes=(SHEET,), pose=half)
    built = build_cell(part, bath(), tank=TANK, anodes=(SHEET,), pose=half, rack=ROW.half_turned)
    assert [f.name for f in moved.part.features] == [f.name for f in built.part.features]
    a, b = (part_solid(cell.part, cell.pose) for cell in (moved, built))
    assert_allclose(a.corners, b.corners, rtol=0, atol=1e-12)


def test_a_slanted_wire_has_its_length_and_its_bounding_box():
    anode = WireAnode(4 * MM, (-30 * MM, 0.0, 40 * MM), (-10 * MM, 30 * MM, 100 * MM))
    solid = anode_solid(anode, TANK)
    assert_allclose(solid.volume, math.pi * (2 * MM) ** 2 * 70 * MM, rtol=0.02, atol=0)
    assert_allclose(solid.bounds.mean(axis=0), anode.at, rtol=0, atol=1e-6)
    assert_allclose(np.ptp(solid.bounds, axis=0), 2 * anode_half(anode), rtol=0.01, atol=0)
    upright = RodAnode(4 * MM, 50 * MM, (0.0, 0.0, 60 * MM))
    same = WireAnode(4 * MM, (0.0, 0.0, 35 * MM), (0.0, 0.0, 85 * MM))
    assert_allclose(anode_half(same), anode_half(upright), rtol=1e-12, atol=0)


@pytest.mark.parametrize("tank", [TANK, JarTank(200 * MM, 150 * MM)])
def test_a_wire_that_ends_at_the_floor_or_a_wall_is_carried_through(tank: BoxTank | JarTank):
    down = wire_solid(wire((0, 0, 0.3), (0, 0, 100)), tank)
    assert down.bounds[0, 2] < 0
    assert_allclose(down.bounds[1, 2], 100 * MM, rtol=1e-9, atol=0)
    aside = wire_solid(wire((50, 0, 75), (99.8, 0, 75)), tank)
    assert aside.bounds[1, 0] > 100 * MM
    free = wire_solid(wire((0, 0, 5), (0, 0, 100)), tank)
    assert_allclose(free.bounds[:, 2], [5 * MM, 100 * MM], rtol=1e-9, atol=0)


def test_a_plate_is_turned_like_a_part():
    solid = slab_solid(plate(0, turn=(0.0, math.pi / 2, 0.0)), TANK)
    assert_allclose(np.ptp(solid.bounds, axis=0) / MM, (20, 40, 2), rtol=1e-9, atol=0)


def test_anodes_come_first_then_shields_then_thieves():
    cell = hung(shields=(plate(0),), thieves=(wire((20, 30, 75), (20, 30, 160)),))
    sizes = [np.ptp(solid.bounds, axis=0)[1] / MM for solid in other_solids(cell)]
    assert_allclose(sizes, (100, 40, 2), rtol=0.01, atol=0)


def test_shields_may_overlap_each_other_and_anodes_and_thieves():
    through = wire((0, 0, 45), (0, 60, 45))
    cell = hung(
        shields=(plate(0), plate(0, y=20, turn=(0.0, 0.0, 1.0))),
        thieves=(through, wire((0, 60, 20), (0, 60, 160))),
        anodes=(SHEET, WireAnode(2 * MM, (-20 * MM, 10 * MM, 50 * MM), (8 * MM, 10 * MM, 50 * MM))),
    )
    assert clearance(*other_solids(cell)[2:4], 1.0) == 0.0
    assert [finding.code for finding in cell.findings] == []


REFUSED = [
    ({"rack": Rack((1, 2, 1), (0.0, 20 * MM, 0.0))}, "rack-copies-touch", "takes 3.0 mm along x, 20.0 mm along y"),
    ({"rack": Rack((1, 2, 1), (0.0, 12 * MM, 0.0))}, "rack-copies-touch", "touch or overlap"),
    ({"rack": Rack((2, 1, 1), (3.1 * MM, 0.0, 0.0))}, "rack-copies-touch", "0.100 mm apart"),
    ({"anodes": (InnerWire(2 * MM, "bore 2", 8 * MM),)}, "wire-feature-unknown", "bore 1 (8.0 mm)"),
    ({"anodes": (InnerWire(2 * MM, "end +x", 8 * MM),)}, "wire-feature-unknown", "end +x is no bore"),
    ({"anodes": (InnerWire(7.7 * MM, "bore 1", 8 * MM),)}, "wire-too-thick", "a wire of 7.70 mm does not pass"),
    (
        {"anodes": (InnerWire(2 * MM, "bore 1", 8 * MM),), "rack": Rack((2, 1, 1), (9 * MM, 0.0, 0.0))},
        "anodes-overlap",
        "stand in the same place",
    ),
    (
        {"anodes": (InnerWire(2 * MM, "bore 1, part 9", 8 * MM),), "rack": ROW},
        "wire-feature-unknown",
        '"bore 1, part 9"',
    ),
    ({"anodes": (WireAnode(2 * MM, (0.0, 0.0, 0.05), (0.1, 0.0, 0.05)),)}, "part-touches-anode", "short circuit"),
    ({"anodes": (WireAnode(2 * MM, (0.0, 0.0, 0.2), (0.1, 0.0, 0.2)),)}, "anode-above-liquid", "does not reach"),
    ({"shields": (plate(18),)}, "body-touches-part", "shield 1 (at 18, 0, 50 mm) touches the part"),
    ({"shields": (plate(17.4),)}, "gap-too-narrow", "0.100 mm from the part"),
    ({"shields": (plate(0), plate(2.1))}, "gap-too-narrow", "let them overlap"),
    ({"shields": (plate(0, turn=(0.0, 0.0, 0.1)), plate(300))}, "body-outside-liquid", "shield 2"),
    ({"thieves": (wire((19, 0, 45), (19, 0, 160)),)}, "body-touches-part", "thief 1 (wire at 19, 0, 103 mm)"),
    ({"thieves": (wire((20, 11.1, 45), (20, 11.1, 160)),)}, "gap-too-narrow", "from the part"),
    ({"thieves": (wire((-80, 0, 45), (20, 60, 45)),)}, "thief-touches-anode", "short circuit"),
    ({"thieves": (wire((-77.9, 0, 45), (-77.9, 0, 160)),)}, "gap-too-narrow", "from anode 1"),
    ({"thieves": (wire((-78.2, 0, 45), (-78.2, 0, 160)),)}, "thief-touches-anode", "anode 1"),
    ({"thieves": (wire((20, 98.9, 45), (20, 98.9, 160)),)}, "gap-too-narrow", "a wall"),
    ({"thieves": (wire((20, 40, 0.1), (20, 60, 0.1), diameter=0.1),)}, "gap-too-narrow", "the floor"),
]


@pytest.mark.parametrize(("changes", "slug", "words"), REFUSED)
def test_what_cannot_stand_is_refused_with_the_reason(changes: dict[str, Any], slug: str, words: str):
    with pytest.raises(GeomError) as caught:
        hung(**changes)
    assert caught.value.slug == slug
    assert words in f"{caught.value.message} {caught.value.hint}"
    assert caught.value.where
    assert caught.value.hint


def test_a_wire_runs_through_tubes_both_walls_and_no_open_flange():
    tube = hung(Tube(50 * MM, 22 * MM, 3 * MM), anodes=(SHEET, InnerWire(4 * MM, "inside", 10 * MM)), pose=None)
    assert_allclose(math.dist(tube.anodes[1].start, tube.anodes[1].end), 70 * MM, rtol=1e-9, atol=0)
    flat = Tube(80 * MM, 20 * MM, 2 * MM, flattened=8 * MM, holes=(Hole(6 * MM, (0.0, 0.0)),))
    pressed = hung(flat, anodes=(SHEET, InnerWire(2 * MM, "bore 1", 5 * MM)), pose=None)
    (through,) = pressed.anodes[1:]
    assert_allclose(math.dist(through.start, through.end), 18 * MM, rtol=1e-6, atol=0)
    channel = Channel(80 * MM, 30 * MM, 20 * MM, 2 * MM, 3 * MM)
    with pytest.raises(CellError) as caught:
        hung(channel, anodes=(SHEET, InnerWire(2 * MM, "web inside", 5 * MM)), pose=None)
    assert caught.value.slug == "wire-feature-unknown"
    assert "start and end" in caught.value.hint


def test_a_shield_that_sticks_through_a_wall_is_remarked_on():
    cell = hung(shields=(Slab(2 * MM, 40 * MM, 20 * MM, (0.0, 90 * MM, 50 * MM)),))
    (finding,) = cell.findings
    assert finding.code == "body-through-wall"
    assert "10.0 mm past" in finding.message


def test_an_upright_shield_may_line_a_wall_and_come_out_of_the_liquid():
    cell = hung(shields=(Slab(2 * MM, 200 * MM, 100 * MM, (99 * MM, 0.0, 120 * MM)),))
    assert cell.findings == ()
