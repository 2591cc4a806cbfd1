"""Narrow gaps, thin walls, small holes, near walls and anodes, the waterline: resolved, or refused with the reason."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from helpers.cells import MM, UPRIGHT, bath, sheet
from helpers.quality import is_closed, least_angles
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, Pose, RodAnode, SheetAnode
from geom.errors import CellError, GeomError
from geom.panels import FIRST_ANODE, TANK, MeshOptions, Panels, mesh_cell
from geom.part.build import build_part
from geom.part.part import Part
from geom.part.rack import Rack, racked
from geom.part.shapes import Bar, Channel, Hole, Tube
from geom.surface.surface import Surface

AMPLE = MeshOptions(budget=20000)
TANK_USED = BoxTank(0.2, 0.1, 0.1)
BESIDE = Bar(60 * MM, 20 * MM, 4 * MM)


def hung(part: Part, x_mm: float, anode: SheetAnode | RodAnode | None = None, z_mm: float = 50.0) -> Cell:
    """The part on edge with its middle at ``x_mm``, a sheet of 60 mm at -60 mm unless another anode is given."""
    pose = Pose(UPRIGHT, (x_mm * MM, 0.0, z_mm * MM))
    return build_cell(part, bath(), tank=TANK_USED, anodes=(anode or sheet(-60 * MM, size=60 * MM),), pose=pose)


def pair(gap_mm: float) -> Cell:
    """Two plates of 2 mm face to face across a gap, as a rack."""
    part = racked(build_part(Bar(30 * MM, 12 * MM, 2 * MM)), Rack((2, 1, 1), ((2 + gap_mm) * MM, 0, 0)), turned())
    return build_cell(
        part, bath(), tank=TANK_USED, anodes=(sheet(-60 * MM, size=60 * MM),), pose=Pose(UPRIGHT, (20 * MM, 0, 50 * MM))
    )


def turned() -> Floats:
    return Pose(UPRIGHT, (0.0, 0.0, 0.0)).rotation


def sides(surface: Surface) -> Floats:
    """Edge of the equilateral triangle of each panel's area [m]."""
    return np.sqrt(surface.areas * 4 / math.sqrt(3))


def sound(cell: Cell, panels: Panels) -> None:
    """Closed, true to area and volume, and without slivers."""
    assert is_closed(panels.part)
    assert least_angles(panels.surface).min() > 15
    assert_allclose(panels.part.area, cell.part.area, rtol=1e-3, atol=0)
    assert_allclose(-panels.part.volume, cell.part.volume, rtol=5e-3, atol=0)


@pytest.mark.parametrize(
    ("make", "gap_mm"),
    [
        (lambda: hung(build_part(BESIDE), 97.0), 1.0),  # a wall 1 mm away
        (lambda: hung(build_part(BESIDE), 0.0, SheetAnode(1 * MM, 60 * MM, 60 * MM, (-3.5 * MM, 0, 50 * MM))), 1.0),
        (lambda: hung(build_part(BESIDE), 0.0, z_mm=11.0), 1.0),  # the floor 1 mm away
    ],
    ids=["wall", "anode", "floor"],
)
def test_panels_that_face_a_neighbour_a_millimetre_away_are_no_larger_than_the_gap(
    make: Callable[[], Cell], gap_mm: float
) -> None:
    cell = make()
    panels = mesh_cell(cell, AMPLE)
    sound(cell, panels)
    at = cell.pose.at
    inner = {97.0: (0, 99.0), 0.0: (0, -2.0)}.get(round(at[0] / MM, 1)) if at[2] > 20 * MM else (2, 1.0)
    assert inner is not None
    facing = np.abs(panels.part.centroids[:, inner[0]] - inner[1] * MM) < 1e-6
    assert facing.sum() > 50
    assert np.median(sides(panels.part)[facing]) < 1.2 * gap_mm * MM


def test_two_plates_a_quarter_of_a_millimetre_apart_are_resolved() -> None:
    cell = pair(0.25)
    panels = mesh_cell(cell, MeshOptions(budget=40000))
    sound(cell, panels)
    facing = np.abs(np.abs(panels.part.centroids[:, 0] - 20 * MM) - 0.125 * MM) < 1e-6
    assert np.median(sides(panels.part)[facing]) < 1.7 * 0.25 * MM


@pytest.mark.parametrize(
    ("make", "slug", "words"),
    [
        (lambda: pair(0.1), "rack-copies-touch", "0.100 mm apart"),
        (lambda: hung(build_part(BESIDE), 97.9), "gap-too-narrow", "0.100 mm from the wall"),
        (lambda: hung(build_part(BESIDE), 97.9, z_mm=10.1), "gap-too-narrow", "wall"),
        (lambda: hung(build_part(BESIDE), 0.0, z_mm=10.0), "gap-too-narrow", "0.000 mm from the floor"),
        (lambda: hung(build_part(BESIDE), 0.0, z_mm=9.0), "part-outside-tank", "1.00 mm through the floor"),
        (
            lambda: hung(build_part(BESIDE), 0.0, SheetAnode(1 * MM, 60 * MM, 60 * MM, (-2.6 * MM, 0, 50 * MM))),
            "gap-too-narrow",
            "0.100 mm from anode 1",
        ),
        (lambda: hung(build_part(BESIDE), 0.0, z_mm=90.1), "gap-too-narrow", "0.2 mm of the liquid surface"),
    ],
    ids=["bodies", "wall", "wall and floor", "on the floor", "through the floor", "anode", "just through the surface"],
)
def test_gaps_too_narrow_to_resolve_are_refused_with_the_reason(
    make: Callable[[], Cell], slug: str, words: str
) -> None:
    with pytest.raises(GeomError) as refused:
        make()
    assert refused.value.slug == slug
    assert words in str(refused.value)


@pytest.mark.parametrize(
    "shape",
    [
        Tube(40 * MM, 16 * MM, 0.5 * MM),
        Channel(40 * MM, 20 * MM, 12 * MM, 0.5 * MM, 1 * MM),
        Bar(40 * MM, 15 * MM, 0.5 * MM, holes=(Hole(4 * MM, (5 * MM, 0)),)),
        Bar(40 * MM, 15 * MM, 3 * MM, holes=(Hole(2 * MM, (-10 * MM, 0)), Hole(2 * MM, (10 * MM, 3 * MM)))),
        Bar(40 * MM, 15 * MM, 3 * MM, holes=(Hole(10 * MM, (0, 0)), Hole(2 * MM, (7 * MM, 0)))),
    ],
    ids=["tube 0.5 mm", "channel 0.5 mm", "sheet 0.5 mm", "holes 2 mm", "web of 1 mm"],
)
def test_thin_walls_and_small_holes_are_resolved(shape: Tube | Channel | Bar) -> None:
    cell = build_cell(build_part(shape), bath(), tank=None, anodes=None, pose=None)
    panels = mesh_cell(cell)
    sound(cell, panels)
    found = np.bincount(panels.feature, panels.part.areas, len(cell.part.features))
    assert_allclose(found, [feature.area for feature in cell.part.features], rtol=5e-3, atol=0)


def test_the_liquid_surface_is_as_fine_as_the_part_where_the_part_passes_through_it() -> None:
    cell = build_cell(
        build_part(Bar(100 * MM, 20 * MM, 4 * MM)),
        bath(),
        tank=TANK_USED,
        anodes=(sheet(-60 * MM, size=60 * MM),),
        pose=Pose((0.0, math.pi / 2, 0.0), (30 * MM, 0.0, 80 * MM)),
    )
    panels = mesh_cell(cell)
    low, high = panels.part.bounds

    def near(centroids: Floats) -> np.ndarray:
        outside = np.maximum(np.maximum(low - centroids, centroids - high), 0.0)
        return np.linalg.norm(outside[:, :2], axis=1) < 1.5 * MM

    walls = panels.surface.selected(panels.body == TANK)
    level = near(walls.centroids) & (walls.centroids[:, 2] > 0.1 - 1e-9)
    own = panels.part.centroids[:, 2] > 0.1 - 1.5 * MM
    assert np.median(sides(walls)[level]) < 1.25 * np.median(sides(panels.part)[own])


@pytest.mark.parametrize("scale", [0.5, 1.0, 2.0, 3.0])
def test_the_guarantees_hold_at_every_scale(scale: float) -> None:
    cell = build_cell(
        build_part(Bar(50 * MM, 15 * MM, 3 * MM, holes=(Hole(6 * MM, (10 * MM, 0)),))),
        bath(),
        tank=BoxTank(0.12, 0.08, 0.08),
        anodes=(RodAnode(8 * MM, 60 * MM, (-40 * MM, 0.0, 40 * MM)),),
        pose=Pose(UPRIGHT, (20 * MM, 0.0, 40 * MM)),
    )
    panels = mesh_cell(cell, scales=(scale, scale))
    assert is_closed(panels.part)
    assert least_angles(panels.surface).min() > 15
    assert_allclose(panels.part.area, cell.part.area, rtol=1e-3, atol=0)
    anode = panels.surface.areas[panels.rows(FIRST_ANODE)].sum()
    assert_allclose(anode, (math.pi * 8 * 60 + 2 * math.pi * 16) * MM**2, rtol=5e-3, atol=0)


def test_every_panel_knows_the_face_of_the_input_that_it_lies_on() -> None:
    part = build_part(Bar(60 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (10 * MM, 0)),)))
    cell = hung(part, 30.0)
    panels = mesh_cell(cell)
    whole = cell.part.surface
    assert np.array_equal(whole.tag[panels.source], panels.feature)
    rotation = cell.pose.rotation
    own = (panels.part.centroids - np.asarray(cell.pose.at)) @ rotation
    facing = -panels.part.normals @ rotation  # out of the metal
    assert np.einsum("ij,ij->i", facing, whole.normals[panels.source]).min() > 0.97
    off = np.einsum("ij,ij->i", own - whole.centroids[panels.source], whole.normals[panels.source])
    assert np.abs(off).max() < 0.05 * MM


def test_an_anode_above_the_liquid_is_refused() -> None:
    with pytest.raises(CellError, match="reach into the liquid"):
        hung(build_part(BESIDE), 30.0, RodAnode(8 * MM, 20 * MM, (-40 * MM, 0.0, 115 * MM)))
