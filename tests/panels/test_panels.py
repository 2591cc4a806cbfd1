"""Panels of whole cells: every typed shape, every way a body can stand in the liquid, the budget, poses."""

import math
from functools import cache

import numpy as np
import pytest
from helpers.cells import MM, UPRIGHT, bath, drilled_bar, reference_cell, sheet
from helpers.meshes import turned_over
from helpers.quality import is_closed, least_angles
from numpy.testing import assert_allclose

from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, JarTank, Pose, RodAnode, SheetAnode
from geom.feature import Feature, Kind
from geom.panels import FIRST_ANODE, PART, TANK, MeshOptions, Panels, mesh_cell
from geom.part.build import build_part
from geom.part.part import Part
from geom.part.shapes import Angle, Bar, Channel, Hole, Offset, Outline, Rod, Shape, Tube, Washer
from geom.surface.sizing import size_source
from geom.surface.solid import box, joined
from geom.surface.surface import Surface

RIGHT = math.pi / 2
USUAL, MIDDLE = MeshOptions(), MeshOptions(budget=3000)
SHAPES: dict[str, Shape] = {
    "bar": Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0)), Hole(8 * MM, (30 * MM, 0)))),
    "bar with slot": Bar(60 * MM, 25 * MM, 5 * MM, holes=(Hole(8 * MM, (0, 0), 20 * MM, 0.3),)),
    "rod": Rod(80 * MM, 10 * MM),
    "tube": Tube(60 * MM, 22 * MM, 1.5 * MM),
    "washer": Washer(24 * MM, 8.4 * MM, 2 * MM),
    "angle": Angle(50 * MM, 40 * MM, 20 * MM, 3 * MM, 3 * MM, holes=(Hole(6 * MM, (10 * MM, 0)),)),
    "sharp angle": Angle(50 * MM, 40 * MM, 20 * MM, 3 * MM, 0.0),
    "open angle": Angle(50 * MM, 40 * MM, 20 * MM, 3 * MM, 3 * MM, bend=math.pi / 4),
    "channel": Channel(60 * MM, 30 * MM, 20 * MM, 2 * MM, 2 * MM),
    "offset": Offset(80 * MM, 20 * MM, 3 * MM, 15 * MM, 3 * MM),
    "outline": Outline(
        tuple((x * MM, y * MM) for x, y in ((0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50))), 4 * MM
    ),
}


def anode_rows(panels: Panels) -> np.ndarray:
    return np.flatnonzero(panels.body >= FIRST_ANODE)


@cache
def usual(name: str) -> tuple[Cell, Panels]:
    cell = build_cell(build_part(SHAPES[name]), bath(), tank=None, anodes=None, pose=None)
    return cell, mesh_cell(cell)


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_is_meshed_true_to_its_area_in_good_triangles(name: str) -> None:
    cell, panels = usual(name)
    assert_allclose(panels.part.area, cell.part.area, rtol=5e-3, atol=0)
    assert least_angles(panels.surface).min() > 8
    assert np.percentile(least_angles(panels.surface), 1) > 16


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_keeps_the_areas_of_its_features(name: str) -> None:
    cell, panels = usual(name)
    found = np.bincount(panels.feature, weights=panels.part.areas, minlength=len(cell.part.features))
    assert_allclose(found, [feature.area for feature in cell.part.features], rtol=0.02, atol=0)


@pytest.mark.parametrize("name", SHAPES)
def test_panels_of_part_and_of_all_bodies_close_with_normals_out_of_the_liquid(name: str) -> None:
    cell, panels = usual(name)
    assert is_closed(panels.part)
    assert panels.part.volume < 0  # seen from the liquid the part is a hollow
    assert_allclose(-panels.part.volume, cell.part.volume, rtol=0.02, atol=0)
    assert panels.surface.volume > 0
    assert np.all(panels.body[: panels.part_count] == PART)
    assert np.all(panels.body[panels.part_count :] != PART)


@pytest.mark.parametrize("budget", [1500, 4000])
def test_the_budget_is_kept_roughly(budget: int) -> None:
    panels = mesh_cell(reference_cell(None), MeshOptions(budget=budget))
    assert 0.5 * budget < len(panels.body) < 1.6 * budget
    assert panels.scale > 1.0


def test_a_tight_budget_is_told() -> None:
    cell = reference_cell(None)
    slugs = {finding.code for finding in mesh_cell(cell, MeshOptions(budget=700)).findings}
    assert "panels-enlarged" in slugs
    assert "panels-enlarged" not in {finding.code for finding in mesh_cell(cell).findings}


def test_panels_are_small_at_edges_and_know_how_far_from_one_they_are() -> None:
    panels = mesh_cell(reference_cell(None))
    side = np.sqrt(panels.part.areas * 4 / math.sqrt(3))
    nearest = panels.edge_distance.reshape(panels.part_count, -1).min(axis=1)
    assert np.median(side[nearest < 1 * MM]) < 1.3 * MM
    assert np.median(side[nearest > 7 * MM]) > 1.5 * MM
    # the middle of a face 20 mm wide is 10 mm from its edges; a hole's rim is an outside edge too
    assert 8 * MM < panels.edge_distance.max() <= 10 * MM
    assert panels.edge_distance.min() > 0
    assert panels.edge_chain.min() >= 0


def test_a_part_through_the_surface_is_wet_below_it_only() -> None:
    pose = Pose((0.0, RIGHT, 0.0), (30 * MM, 0.0, 80 * MM))
    cell = build_cell(
        build_part(Bar(100 * MM, 20 * MM, 4 * MM)),
        bath(),
        tank=BoxTank(0.2, 0.1, 0.1),
        anodes=(sheet(-60 * MM, size=60 * MM),),
        pose=pose,
    )
    panels = mesh_cell(cell, MIDDLE)
    assert_allclose(panels.part.area, (2 * (20 + 4) * 70 + 20 * 4) * MM**2, rtol=1e-6, atol=0)
    assert panels.part.vertices[:, 2].max() <= 0.1 + 1e-12
    assert "part-through-surface" in {finding.code for finding in cell.findings}


@pytest.mark.parametrize(
    ("anode", "area"),
    [
        # lining the wall at -x, floor to surface: one face
        (SheetAnode(2 * MM, 0.1, 0.1, (-99 * MM, 0.0, 50 * MM)), 0.1 * 0.1),
        # standing on the floor: five faces
        (
            SheetAnode(2 * MM, 0.06, 0.05, (-60 * MM, 0.0, 25 * MM)),
            (2 * 60 * 50 + 2 * 2 * 50 + 2 * 60) * MM**2,
        ),
        # through the surface: the same
        (
            SheetAnode(2 * MM, 0.06, 0.08, (-60 * MM, 0.0, 90 * MM)),
            (2 * 60 * 50 + 2 * 2 * 50 + 2 * 60) * MM**2,
        ),
        # free: six faces
        (
            SheetAnode(2 * MM, 0.06, 0.05, (-60 * MM, 0.0, 50 * MM)),
            (2 * 60 * 50 + 2 * 2 * 50 + 2 * 2 * 60) * MM**2,
        ),
        # a rod through the surface
        (RodAnode(10 * MM, 0.1, (-60 * MM, 0.0, 70 * MM)), (math.pi * 10 * 80 + math.pi * 25) * MM**2),
    ],
    ids=["wall", "floor", "surface", "free", "rod"],
)
def test_an_anode_is_wet_where_the_liquid_reaches_it(anode: SheetAnode | RodAnode, area: float) -> None:
    cell = build_cell(
        build_part(Bar(60 * MM, 20 * MM, 4 * MM)),
        bath(),
        tank=BoxTank(0.2, 0.1, 0.1),
        anodes=(anode,),
        pose=Pose(UPRIGHT, (30 * MM, 0.0, 50 * MM)),
    )
    panels = mesh_cell(cell, MIDDLE)
    rows = anode_rows(panels)
    # the flat faces of a sheet are kept exactly; a rod becomes a polygon of about twelve sides
    assert_allclose(
        panels.surface.areas[rows].sum(), area, rtol=1e-9 if isinstance(anode, SheetAnode) else 1.5e-2, atol=0
    )
    walls = panels.surface.areas[panels.body == TANK].sum()
    assert walls < 2 * (0.2 * 0.1 + 0.2 * 0.1 + 0.1 * 0.1) * (1 + 1e-9)


def test_a_jar_is_meshed_round() -> None:
    cell = build_cell(
        build_part(Bar(40 * MM, 12 * MM, 2 * MM)),
        bath(),
        tank=JarTank(90 * MM, 100 * MM),
        anodes=(RodAnode(8 * MM, 70 * MM, (-30 * MM, 0.0, 60 * MM)),),
        pose=Pose(UPRIGHT, (15 * MM, 0.0, 50 * MM)),
    )
    panels = mesh_cell(cell, MIDDLE)
    walls = panels.surface.areas[panels.body == TANK].sum()
    assert_allclose(walls, math.pi * 90 * (100 + 45) * MM**2, rtol=0.03, atol=0)
    assert least_angles(panels.surface).min() > 8


def hollow_block() -> Part:
    """A block 40 mm wide with a sealed void of 20 mm."""
    outer = box((-20 * MM,) * 3, (20 * MM,) * 3, tag=0)
    inner = turned_over(box((-10 * MM,) * 3, (10 * MM,) * 3, tag=1))
    features = (
        Feature("skin 1", Kind.SKIN, outer.area, 0.0, 0.0),
        Feature("skin 2", Kind.SKIN, inner.area, 0.0, 0.0),
    )
    whole = joined([outer, inner])
    return Part("block", whole, features, whole.area, whole.volume, False, 10 * MM)


def test_a_sealed_void_is_left_out_and_told() -> None:
    cell = build_cell(
        hollow_block(),
        bath(),
        tank=BoxTank(0.2, 0.12, 0.12),
        anodes=(sheet(-60 * MM, size=60 * MM),),
        pose=Pose((0.0, 0.0, 0.0), (30 * MM, 0.0, 60 * MM)),
    )
    panels = mesh_cell(cell, MIDDLE)
    assert_allclose(panels.part.area, 6 * 40**2 * MM**2, rtol=1e-9, atol=0)
    told = [finding for finding in panels.findings if finding.code == "part-cut-off"]
    assert len(told) == 1
    assert "2400 mm²" in told[0].message


def test_an_anode_that_spans_the_tank_cuts_the_far_one_off() -> None:
    anodes = (
        SheetAnode(2 * MM, 0.1, 0.1, (-20 * MM, 0.0, 50 * MM)),
        SheetAnode(2 * MM, 0.05, 0.05, (-70 * MM, 0.0, 50 * MM)),
    )
    part, pose = build_part(Bar(60 * MM, 20 * MM, 4 * MM)), Pose(UPRIGHT, (40 * MM, 0.0, 50 * MM))
    cell = build_cell(part, bath(), tank=BoxTank(0.2, 0.1, 0.1), anodes=anodes, pose=pose)
    panels = mesh_cell(cell, MIDDLE)
    assert "anode-idle" in {finding.code for finding in panels.findings}
    assert len(panels.rows(FIRST_ANODE + 1)) == 0


def test_a_turned_pose_carries_the_same_panels() -> None:
    first = reference_cell(None)
    panels = mesh_cell(first, MIDDLE)
    turned = Pose((UPRIGHT[0], 0.3, UPRIGHT[2] + math.pi), (31.5 * MM, 0.0, 75 * MM))
    second = build_cell(first.part, first.bath, tank=first.tank, anodes=first.anodes, pose=turned)
    carried = mesh_cell(second, MIDDLE, like=panels)
    assert carried.part_count == panels.part_count
    assert np.array_equal(carried.feature, panels.feature)
    assert_allclose(carried.part.areas, panels.part.areas, rtol=1e-9, atol=0)
    # seen from the part, every panel is where it was
    here = (panels.part.centroids - first.pose.at) @ first.pose.rotation
    there = (carried.part.centroids - second.pose.at) @ second.pose.rotation
    assert np.abs(here - there).max() < 1e-9
    assert is_closed(Surface(carried.part.vertices, carried.part.faces, carried.feature))


def test_a_part_hung_higher_so_that_it_breaks_the_surface_is_meshed_anew() -> None:
    part = drilled_bar()
    tank, anodes = BoxTank(0.2, 0.15, 0.15), (sheet(-60 * MM),)
    poses = [Pose((0.0, RIGHT, 0.0), (30 * MM, 0.0, z)) for z in (75 * MM, 120 * MM)]
    below, through = (build_cell(part, bath(), tank=tank, anodes=anodes, pose=pose) for pose in poses)
    panels = mesh_cell(below, MIDDLE)
    again = mesh_cell(through, MIDDLE, like=panels)
    assert again.part.area < 0.85 * panels.part.area
    assert again.part.vertices[:, 2].max() <= 0.15 + 1e-12


def test_a_place_that_asks_for_finer_panels_gets_them_and_no_other_place_does() -> None:
    cell = reference_cell(None)
    plain = mesh_cell(cell, scales=(2.0, 3.0))
    place = plain.part.vertices[np.argmin(np.linalg.norm(plain.part.vertices - cell.pose.at, axis=1))]
    finer = mesh_cell(cell, scales=(2.0, 3.0), asked=[size_source(place[None], 0.4 * MM, 0.35)])
    side = np.sqrt(finer.part.areas * 4 / math.sqrt(3))
    apart = np.linalg.norm(finer.part.centroids - place, axis=1)
    assert 0.25 * MM < np.median(side[apart < 0.8 * MM]) < 0.6 * MM
    assert (
        abs(
            np.count_nonzero(apart > 15 * MM)
            - np.count_nonzero(np.linalg.norm(plain.part.centroids - place, axis=1) > 15 * MM)
        )
        < 0.05 * plain.part_count
    )
