"""The significant surface: what a 20 mm ball can touch, or what the job names."""

import math
import time

import numpy as np
import pytest
from helpers.cells import MM, sheet
from helpers.flows import coarse

from geom.arrays import Bools
from geom.cell.cell import BoxTank, Cell, Pose
from geom.deposit import significant_panels, touched_by_ball
from geom.errors import PartError
from geom.feature import Kind
from geom.panels import Panels
from geom.part.build import build_part
from geom.part.shapes import Angle, Bar, Channel, Hole, Outline, Rod, Shape, Tube, Washer


def plate_with(diameter_mm: float) -> Shape:
    return Bar(70 * MM, 50 * MM, 4 * MM, holes=(Hole(diameter_mm * MM, (0.0, 0.0)),))


def share(chosen: Bools, cell: Cell, panels: Panels, kind: str) -> float:
    """Share of the area of all features of a kind that is chosen."""
    mine = np.array([f.kind == kind for f in cell.part.features])[panels.feature]
    areas = panels.part.areas
    assert mine.any()
    return float(areas[mine & chosen].sum() / areas[mine].sum())


@pytest.mark.parametrize("diameter", [3, 8, 14, 18])
def test_a_bore_narrower_than_the_ball_is_left_out(diameter: float) -> None:
    cell, panels = coarse(plate_with(diameter))
    assert share(touched_by_ball(panels, cell.part), cell, panels, Kind.BORE) == 0.0


@pytest.mark.parametrize("diameter", [22, 30, 40])
def test_a_bore_wider_than_the_ball_counts(diameter: float) -> None:
    cell, panels = coarse(plate_with(diameter))
    assert share(touched_by_ball(panels, cell.part), cell, panels, Kind.BORE) == 1.0


@pytest.mark.parametrize(
    "shape",
    [
        plate_with(8),
        plate_with(30),
        Bar(60 * MM, 20 * MM, 3 * MM),
        Washer(40 * MM, 17 * MM, 3 * MM),
        Rod(80 * MM, 8 * MM),
        Rod(80 * MM, 30 * MM),
    ],
    ids=str,
)
def test_all_of_the_outside_counts(shape: Shape) -> None:
    cell, panels = coarse(shape)
    hidden = [k for k, f in enumerate(cell.part.features) if f.kind in (Kind.BORE, Kind.INSIDE)]
    outside = ~np.isin(panels.feature, hidden)
    assert np.all(touched_by_ball(panels, cell.part)[outside])


def test_rounded_edges_count() -> None:
    """All but a few badly shaped panels on the rounding: their normals are off, their area is nothing."""
    cell, panels = coarse(Bar(60 * MM, 20 * MM, 3 * MM, edge_radius=1 * MM), 3000)
    chosen = touched_by_ball(panels, cell.part)
    assert panels.part.areas[chosen].sum() > 0.995 * panels.part.area
    assert share(chosen, cell, panels, Kind.FACE) == 1.0


def test_the_inside_of_a_narrow_tube_is_left_out_and_that_of_a_wide_one_counts() -> None:
    for diameter, expected in ((12, 0.0), (40, 1.0)):
        cell, panels = coarse(Tube(60 * MM, diameter * MM, 2 * MM))
        assert share(touched_by_ball(panels, cell.part), cell, panels, Kind.INSIDE) == expected


def test_an_inside_bend_and_the_flats_next_to_it_are_left_out() -> None:
    """The ball touches one leg only where it clears the other: from 10 mm off its inside face."""
    thickness = 3 * MM
    cell, panels = coarse(Angle(50 * MM, 50 * MM, 20 * MM, thickness, 2 * MM), 2000)
    chosen = touched_by_ball(panels, cell.part)
    assert share(chosen, cell, panels, Kind.BEND_INSIDE) == 0.0
    assert share(chosen, cell, panels, Kind.BEND_OUTSIDE) == 1.0
    # in the frame of the part: one leg along x at the bottom, the other up at the -x end
    own = (panels.part.centroids - np.asarray(cell.pose.at)) @ cell.pose.rotation
    normal = -panels.part.normals @ cell.pose.rotation
    corner = np.array([-25 * MM + thickness, 0.0, -25 * MM + thickness])
    away = own - corner
    for along, across in ((0, 2), (2, 0)):
        inner = (normal[:, across] > 0.99) & (np.abs(away[:, across]) < 0.05 * MM)
        assert np.any(inner & (away[:, along] < 8 * MM))
        assert not np.any(chosen[inner & (away[:, along] < 8.5 * MM)])
        assert np.all(chosen[inner & (away[:, along] > 10.5 * MM)])


@pytest.mark.parametrize(("width", "expected"), [(20, False), (40, True)])
def test_the_floor_of_a_channel_counts_where_the_ball_fits_between_the_flanges(width: float, expected: bool) -> None:
    cell, panels = coarse(Channel(80 * MM, width * MM, 20 * MM, 2 * MM, 2 * MM), 2000)
    own = (panels.part.centroids - np.asarray(cell.pose.at)) @ cell.pose.rotation
    normal = -panels.part.normals @ cell.pose.rotation
    floor = (normal[:, 2] > 0.99) & (np.abs(own[:, 2] - (-10 + 2) * MM) < 0.05 * MM)
    middle = floor & (np.abs(own[:, 1]) < 5 * MM)
    assert middle.any()
    assert np.all(touched_by_ball(panels, cell.part)[middle]) == expected


def test_an_inside_corner_of_an_outline_is_left_out_and_its_outside_corners_count() -> None:
    corners = ((0, 0), (60, 0), (60, 20), (20, 20), (20, 60), (0, 60))
    cell, panels = coarse(Outline(tuple((x * MM, y * MM) for x, y in corners), 3 * MM), 2000)
    chosen = touched_by_ball(panels, cell.part)
    own = (panels.part.centroids - np.asarray(cell.pose.at)) @ cell.pose.rotation
    normal = -panels.part.normals @ cell.pose.rotation
    side = np.abs(normal[:, 2]) < 0.1
    notch = np.linalg.norm(own[:, :2] - np.array([-10 * MM, -10 * MM]), axis=1) < 4 * MM
    assert (side & notch).any()
    assert not np.any(chosen[side & notch])
    assert np.all(chosen[~side])


def hung_at(shape: Shape, turn_deg: float, immersed_mm: float) -> tuple[Cell, Panels]:
    """A part turned about y, so deep in the liquid."""
    rotation = Pose((0.0, math.radians(turn_deg), 0.0), (0.0, 0.0, 0.0)).rotation
    half = 0.5 * float(np.ptp(build_part(shape).surface.moved(rotation, np.zeros(3)).bounds[:, 2]))
    pose = Pose((0.0, math.radians(turn_deg), 0.0), (0.0, 0.0, 150 * MM + half - immersed_mm * MM))
    return coarse(shape, tank=BoxTank(0.2, 0.15, 0.15), anodes=(sheet(-80 * MM),), pose=pose)


@pytest.mark.parametrize("immersed", [76.3, 77, 80, 83])
def test_a_bore_that_the_waterline_cuts_is_as_narrow_as_it_is(immersed: float) -> None:
    """The bore is 8 mm wide and ends 76 and 84 mm above the lower end: the ball would cut into what hangs above."""
    cell, panels = hung_at(Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0.0)),)), 90, immersed)
    chosen = touched_by_ball(panels, cell.part)
    assert share(chosen, cell, panels, Kind.BORE) == 0.0
    assert share(chosen, cell, panels, Kind.FACE) == 1.0


@pytest.mark.parametrize(
    ("shape", "turn", "immersed"),
    [
        (Rod(80 * MM, 30 * MM), 90, 41),
        (Rod(80 * MM, 30 * MM), 0, 12),
        (Rod(80 * MM, 8 * MM), 0, 6),
        (Rod(80 * MM, 12 * MM), 30, 20),
        (Bar(60 * MM, 20 * MM, 3 * MM), 90, 55),
        (Bar(60 * MM, 20 * MM, 3 * MM), 40, 15),
    ],
    ids=str,
)
def test_all_of_the_outside_of_a_part_that_hangs_partly_out_counts(shape: Shape, turn: float, immersed: float) -> None:
    """All but a few badly shaped panels of a lying rod at the waterline: their normals are off, their area is nothing."""
    cell, panels = hung_at(shape, turn, immersed)
    areas = panels.part.areas
    assert areas[touched_by_ball(panels, cell.part)].sum() > 0.998 * areas.sum()


def test_a_part_that_hangs_partly_out_is_looked_at_quickly() -> None:
    """0.2 s are allowed; it takes a hundredth."""
    cell, panels = hung_at(Rod(80 * MM, 30 * MM), 90, 41)
    touched_by_ball(panels, cell.part)  # the first call may compile
    begun = time.process_time()
    touched_by_ball(panels, cell.part)
    assert time.process_time() - begun < 0.2


def link() -> tuple[Cell, Panels]:
    return coarse(plate_with(8))


def test_all_means_every_panel() -> None:
    cell, panels = link()
    assert np.all(significant_panels(cell.part, panels, ("all",)))


def test_nothing_named_means_the_ball() -> None:
    cell, panels = link()
    assert np.array_equal(significant_panels(cell.part, panels, ()), touched_by_ball(panels, cell.part))


def test_features_and_kinds_are_chosen_by_name_and_add_up() -> None:
    cell, panels = link()
    bore = next(f.name for f in cell.part.features if f.kind == Kind.BORE)
    chosen = significant_panels(cell.part, panels, (bore, "end"))
    wanted = {k for k, f in enumerate(cell.part.features) if f.kind in (Kind.BORE, Kind.END)}
    assert set(panels.feature[chosen]) == wanted
    assert np.array_equal(chosen, np.isin(panels.feature, list(wanted)))


def test_a_name_that_no_feature_has_is_refused_with_the_nearest() -> None:
    cell, panels = link()
    with pytest.raises(PartError) as caught:
        significant_panels(cell.part, panels, ("bore", "bor 1 (8.0 mm)"))
    assert caught.value.slug == "feature-unknown"
    assert 'nearest: "bore 1 (8.0 mm)"' in caught.value.hint
    for feature in cell.part.features:
        assert feature.name in caught.value.hint


def test_a_surface_that_is_all_dry_is_refused() -> None:
    pose = Pose((0.0, math.pi / 2, 0.0), (0.0, 0.0, 140 * MM))
    cell, panels = coarse(
        Bar(60 * MM, 20 * MM, 3 * MM), tank=BoxTank(0.2, 0.15, 0.15), anodes=(sheet(-60 * MM),), pose=pose
    )
    wet = {cell.part.features[k].name for k in set(panels.feature.tolist())}
    (dry,) = [f.name for f in cell.part.features if f.name not in wet]
    with pytest.raises(PartError) as caught:
        significant_panels(cell.part, panels, (dry,))
    assert caught.value.slug == "nothing-significant"
