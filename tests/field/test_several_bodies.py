"""Racks, shields, thieves and inner anodes against symmetry, balance and what the trade knows."""

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from helpers.cells import MM, bath
from numpy.testing import assert_allclose

from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, InnerWire, Pose, SheetAnode, Slab, Wire, WireAnode
from geom.electrode.laws import Linear
from geom.feature import Kind
from geom.field import Field, prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.rack import Rack
from geom.part.shapes import Bar, Hole, Shape

LAW = Linear(1e-4)
KAPPA = 8.0
UPRIGHT = (0.0, math.pi / 2, 0.0)  # length down, width along y, face to the anode at -x
LINK = Bar(40 * MM, 20 * MM, 4 * MM)
DRILLED = Bar(40 * MM, 20 * MM, 8 * MM, holes=(Hole(10 * MM, (0.0, 0.0)),))
SHEET = SheetAnode(2 * MM, 60 * MM, 60 * MM, (-40 * MM, 0.0, 40 * MM))
TANK = BoxTank(110 * MM, 100 * MM, 80 * MM)
POSE = Pose(UPRIGHT, (15 * MM, 0.0, 40 * MM))


@cache
def solved(shape: Shape = LINK, control: Voltage | Current = Voltage(1.0), budget: int = 900, **changes: Any) -> Field:  # noqa: B008
    """A link before its anode under 1 V, with whatever stands beside it; solved once for a run."""
    given: dict[str, Any] = {"tank": TANK, "anodes": (SHEET,), "pose": POSE, **changes}
    cell = build_cell(build_part(shape), bath(KAPPA, LAW), **given)
    return solve_field(prepare(cell, mesh_cell(cell, MeshOptions(budget=budget))), control)


def shares(field: Field) -> dict[str, float]:
    """Mean current density of each feature over that of the part."""
    return {
        feature.name: float(np.average(field.current_density[rows], weights=field.areas[rows]))
        / field.mean_current_density
        for k, feature in enumerate(field.cell.part.features)
        for rows in [field.panels.feature == k]
    }


def copies(field: Field) -> list[float]:
    """Current into each part on the rack."""
    copy = np.array([feature.copy for feature in field.cell.part.features])[field.panels.feature]
    amperes = field.current_density * field.areas
    return [float(amperes[copy == k].sum()) for k in range(1, field.cell.part.copies + 1)]


def test_two_parts_each_before_its_own_anode_get_what_one_gets_in_half_the_tank():
    """The plane between them is a mirror: the field is that of one part beside an insulating wall there."""
    wide = BoxTank(TANK.length, 2 * TANK.width, TANK.depth)
    anodes = tuple(
        SheetAnode(2 * MM, 60 * MM, 60 * MM, (-40 * MM, y, 40 * MM)) for y in (-TANK.width / 2, TANK.width / 2)
    )
    two = solved(tank=wide, anodes=anodes, rack=Rack((1, 2, 1), (0.0, TANK.width, 0.0)), budget=1800)
    one = solved()
    assert_allclose(copies(two), [one.current] * 2, rtol=0.01, atol=0)
    assert_allclose(two.current, 2 * one.current, rtol=0.01, atol=0)
    alone, beside = shares(one), shares(two)
    for name, share in alone.items():
        assert_allclose([beside[f"{name}, part {k}"] for k in (1, 2)], [share] * 2, rtol=0.03, atol=0)


def test_of_three_in_a_row_the_middle_one_gets_less():
    """Common practice, no source: the outer parts shadow the middle one."""
    field = solved(tank=BoxTank(110 * MM, 160 * MM, 80 * MM), rack=Rack((1, 3, 1), (0.0, 30 * MM, 0.0)), budget=1500)
    first, middle, last = copies(field)
    assert_allclose(first, last, rtol=0.01, atol=0)
    assert middle < 0.9 * first
    assert_allclose(first + middle + last, field.current, rtol=1e-9, atol=0)


def test_a_thief_of_the_shape_of_the_part_in_the_mirror_place_takes_the_same_current():
    strip = Slab(4 * MM, 20 * MM, 40 * MM, (15 * MM, 20 * MM, 40 * MM))
    field = solved(thieves=(strip,), pose=Pose(UPRIGHT, (15 * MM, -20 * MM, 40 * MM)), budget=1400)
    assert_allclose(field.thief_currents, [field.current], rtol=0.02, atol=0)


THIEF = Wire(4 * MM, (15 * MM, 20 * MM, 15 * MM), (15 * MM, 20 * MM, 100 * MM))
"""Beside the long edge +y of the link, 8 mm off it, coming out of the liquid."""


def with_thief() -> Field:
    return solved(control=Current(0.5), thieves=(THIEF,), budget=1300)


def test_a_thief_takes_current_and_evens_the_edge_beside_it():
    """Common practice, no source."""
    field, plain = with_thief(), shares(solved())
    found = shares(field)
    assert sum(field.thief_currents) > 0.1 * field.current
    ratio = found["long edge +y"] / found["face A (+z)"]
    assert ratio < 0.85 * plain["long edge +y"] / plain["face A (+z)"]
    far = found["long edge -y"] / found["long edge +y"]
    assert far > 1.15 * plain["long edge -y"] / plain["long edge +y"]


def test_the_current_that_is_set_is_that_into_part_and_thieves_and_comes_out_of_the_anodes():
    field = with_thief()
    assert_allclose(field.total_current, 0.5, rtol=1e-4, atol=0)
    assert_allclose(field.current + sum(field.thief_currents), field.total_current, rtol=1e-9, atol=0)
    assert_allclose(sum(field.anode_currents), field.anode_current, rtol=1e-9, atol=0)
    assert_allclose(field.anode_current, field.total_current, rtol=5e-3, atol=0)
    assert_allclose(field.mean_current_density, field.current / field.wetted_area, rtol=1e-12, atol=0)
    wet = math.pi * 4 * 65 + math.pi * 4  # of the wire: its side in the liquid and its lower end, mm²
    assert_allclose(field.thief_densities[0] * wet * MM**2, field.thief_currents[0], rtol=0.03, atol=0)


@pytest.mark.parametrize("kind", ["thief", "rack"])
def test_all_cathodes_are_at_one_potential(kind: str):
    """Behind the drop that the law asks for at its current, the metal has the same potential on every panel."""
    rack = Rack((1, 3, 1), (0.0, 30 * MM, 0.0))
    field = (
        with_thief() if kind == "thief" else solved(tank=BoxTank(110 * MM, 160 * MM, 80 * MM), rack=rack, budget=1500)
    )
    panels = field.panels
    rows = np.concatenate([np.arange(panels.part_count), *(panels.rows(body) for body in panels.thieves)])
    metal = field.potential[rows] - 1e-4 * field.solution.current_density[rows]
    assert_allclose(metal, -field.voltage, rtol=1e-3, atol=0)
    assert_allclose(field.solution.current_density[np.setdiff1d(np.arange(len(panels.body)), panels.electrodes)], 0.0)


def test_a_shield_in_front_of_the_lower_end_lowers_it():
    """Common practice, no source."""
    plain = shares(solved())
    shield = Slab(2 * MM, 40 * MM, 24 * MM, (6 * MM, 0.0, 16 * MM))
    field = solved(shields=(shield,), budget=1100)
    found = shares(field)
    assert found["end +x"] / found["end -x"] < 0.8 * plain["end +x"] / plain["end -x"]
    assert field.current < solved().current  # an insulator can only take from what flows at one voltage


def test_a_shield_from_wall_to_wall_behind_the_part_is_a_wall():
    """The tank then ends at the shield: the same cell in a shorter tank, its middle moved."""
    wall = Slab(2 * MM, TANK.width, 2 * TANK.depth, (26 * MM, 0.0, TANK.depth / 2))
    shielded = solved(shields=(wall,))
    moved = -15 * MM  # middle of the shorter tank, from -55 to 25 mm
    short = solved(
        tank=BoxTank(80 * MM, TANK.width, TANK.depth),
        anodes=(SheetAnode(2 * MM, 60 * MM, 60 * MM, (-40 * MM - moved, 0.0, 40 * MM)),),
        pose=Pose(UPRIGHT, (15 * MM - moved, 0.0, 40 * MM)),
    )
    assert_allclose(shielded.current, short.current, rtol=0.01, atol=0)


def test_a_wire_along_the_bore_raises_its_mean():
    inner = InnerWire(3 * MM, "bore 1", 6 * MM)
    plain = shares(solved(DRILLED))
    field = solved(DRILLED, anodes=(SHEET, inner), budget=1300)
    assert shares(field)["bore 1 (10.0 mm)"] > 2.0 * plain["bore 1 (10.0 mm)"]
    assert sum(kind == Kind.BORE for kind in (f.kind for f in field.cell.part.features)) == 1
    assert_allclose(sum(field.anode_currents), field.current, rtol=0.01, atol=0)


def test_a_wire_anode_upright_is_a_rod():
    from geom.cell.cell import RodAnode

    rod = RodAnode(6 * MM, 60 * MM, (-30 * MM, 0.0, 40 * MM))
    wire = WireAnode(6 * MM, (-30 * MM, 0.0, 10 * MM), (-30 * MM, 0.0, 70 * MM))
    currents = [solved(anodes=(anode,)).current for anode in (rod, wire)]
    assert_allclose(currents[1], currents[0], rtol=0.01, atol=0)


def test_panels_of_shields_carry_no_current_and_are_counted_apart():
    field = solved(shields=(Slab(2 * MM, 40 * MM, 24 * MM, (6 * MM, 0.0, 16 * MM)),), budget=1100)
    panels = field.panels
    assert (panels.anode_count, panels.shield_count, panels.thief_count) == (1, 1, 0)
    (rows,) = [panels.rows(body) for body in range(3, 4)]
    assert_allclose(panels.surface.areas[rows].sum(), 2 * (2 * 40 + 2 * 24 + 40 * 24) * MM**2, rtol=1e-6, atol=0)
    assert np.all(field.solution.current_density[rows] == 0.0)
    assert np.all(field.anode_current_density[rows] == 0.0)
