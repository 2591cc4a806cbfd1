"""The field round masks: a plate half stopped off against its closed form, charge kept, poses, and what a factor does."""

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.cells import MM, bath
from numpy.testing import assert_allclose
from scipy.optimize import brentq
from scipy.special import ellipj, ellipk, ellipkinc

from geom.advice.measures import hottest_strip
from geom.bem.operators import assemble
from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, Pose, SheetAnode
from geom.deposit import Deposit, area_factors, plate, significant_panels
from geom.electrode.faraday import mass_of_charge
from geom.electrode.laws import Linear
from geom.errors import PartError
from geom.field import Field, prepare, solve_field
from geom.panels import PART, MeshOptions, Panels, mesh_cell
from geom.part.build import build_part
from geom.part.masking import masked
from geom.part.masks import Contact, Mask, Plug, StopOff, StopOffBox, StopOffNear, Thread
from geom.part.part import Part
from geom.part.shapes import Bar, Hole, Rod, Tube
from geom.part.threads import threaded

LAW = Linear(2e-4)
COARSE = MeshOptions(budget=1500)
WIDTH, GAP, SLIT = 60 * MM, 30 * MM, 1 * MM


def half_plane(width: float, gap: float, low: float, high: float) -> tuple[Callable[[float], float], float]:
    """Map the far wall of a channel on a line, its cathode from ``low`` to ``high`` on 0 to l, and return map and l.

    The near wall, all anode, comes to lie beyond 1. By the map of a rectangle on a half-plane with sn², and one of
    the half-plane on itself (conformal maps, from memory).
    """
    m = float(brentq(lambda m: ellipk(1 - m) / ellipk(m) - gap / width, 1e-12, 1 - 1e-12))

    def place(x: float) -> float:
        return float(m * ellipj(ellipk(m) * x / width, m)[0] ** 2)

    near = place(low)
    return (lambda x: (place(x) - near) / (1 - near)), (place(high) - near) / (1 - near)


def conductance(width: float, gap: float, low: float, high: float) -> float:
    """Of a channel per depth and conductivity: one wall an anode, the wall across the gap a cathode from low to high.

    A plate half covered in a channel twice as wide as its gap has the square root of two.
    """
    _, ratio = half_plane(width, gap, low, high)
    return float(ellipk(ratio) / ellipk(1 - ratio))


def share_up_to(x: float, width: float, gap: float, low: float, high: float) -> float:
    """Return the share of the current that flows into the cathode between its lower end and ``x``."""
    place, ratio = half_plane(width, gap, low, high)
    return float(ellipkinc(math.asin(math.sqrt(place(x) / ratio)), ratio) / ellipk(ratio))


def test_the_closed_form_holds_where_it_is_known():
    assert_allclose(conductance(60, 40, 0, 60), 1.5, rtol=1e-9, atol=0)
    assert_allclose(conductance(60, 30, 0, 30), math.sqrt(2), rtol=1e-9, atol=0)


def channel(*masks: Mask) -> Field:
    """A plate across the middle of a tank between two anodes that line its ends; edges and ends are stopped off."""
    plate = build_part(Bar(WIDTH + 5 * MM, WIDTH - 2 * SLIT, 2 * MM))
    part = masked(plate, [StopOff(("edge", "end")), *masks])
    lining = (SheetAnode(10 * MM, WIDTH, WIDTH, (side * (GAP + 6 * MM), 0.0, WIDTH / 2)) for side in (-1, 1))
    pose = Pose((0.0, -math.pi / 2, 0.0), (0.0, 0.0, SLIT + (WIDTH + 5 * MM) / 2))
    tank = BoxTank(2 * GAP + 22 * MM, WIDTH, WIDTH)
    cell = build_cell(part, bath(10.0), tank=tank, anodes=tuple(lining), pose=pose)
    return solve_field(prepare(cell, mesh_cell(cell, MeshOptions(budget=3500))), Voltage(1.0))


def test_a_plate_half_stopped_off_carries_what_the_closed_form_says():
    """Primary distribution; the two gaps are alike, so nothing flows past the plate from one to the other."""
    field = channel(StopOffBox((-1, 0, -1), (1, 1, 1)))
    known = 2 * conductance(WIDTH, GAP, SLIT, WIDTH / 2)
    assert_allclose(field.total_current / (10.0 * WIDTH), known, rtol=0.01, atol=0)
    assert_allclose(field.wetted_area, 2 * (WIDTH / 2 - SLIT) * (WIDTH - SLIT), rtol=1e-9, atol=0)
    # far from the border the gap is all but a plain resistance, and beside it the current crowds
    y, z = field.panels.part.centroids[:, 1], field.panels.part.centroids[:, 2]
    middle = np.abs(z - WIDTH / 2) < 15 * MM
    away, beside = (field.at_centroids[middle & chosen] for chosen in (y < -20 * MM, y > -2 * MM))
    assert 1.0 < np.median(away) / (10.0 / GAP) < 1.25
    assert beside.mean() > 2.5 * np.median(away)
    # where j goes as r^(-1/2): the mean over a strip beside the border, on panels of 1.6 mm
    wide = 2 * MM
    share = 1 - share_up_to(WIDTH / 2 - wide, WIDTH, GAP, SLIT, WIDTH / 2)
    strip = hottest_strip(field, wide)
    assert strip is not None
    assert_allclose(strip.current_density, share * 0.5 * known * 10.0 / wide, rtol=0.03, atol=0)


def tank_cell(part: Part, turn: float = 0.0) -> Cell:
    return build_cell(
        part,
        bath(8.0, LAW),
        tank=BoxTank(0.16, 0.1, 0.1),
        anodes=(SheetAnode(1 * MM, 60 * MM, 60 * MM, (-60 * MM, 0.0, 50 * MM)),),
        pose=Pose((0.5 * math.pi, 0.0, 0.5 * math.pi + turn), (20 * MM, 0.0, 50 * MM)),
    )


def small_bar(*masks: Mask, thread: float = 1.0) -> Part:
    bar = build_part(Bar(50 * MM, 16 * MM, 4 * MM, holes=(Hole(6 * MM, (-15 * MM, 0)),)))
    return masked(threaded(bar, [Thread("face A", factor=thread)] if thread != 1 else []), masks)


MASKS = (StopOffBox((0.005, -1, -1), (1, 1, 1)), Contact((-0.01, 0.004, 0.002), 3 * MM), Plug("bore 1"))


@cache
def prepared_bar() -> tuple[Panels, Field]:
    cell = tank_cell(small_bar(*MASKS))
    prepared = prepare(cell, mesh_cell(cell, COARSE))
    return prepared.panels, solve_field(prepared, Current(0.3))


def names(part: Part, tags: np.ndarray) -> set[str]:  # type: ignore[type-arg]
    return {part.features[k].name for k in set(tags.tolist())}


def test_plated_panels_come_first_and_bare_ones_are_a_body_without_current():
    panels, field = prepared_bar()
    part = field.cell.part
    bare = int(panels.body[panels.part_count])
    assert bare > max(panels.anodes)
    assert np.all(panels.body[: panels.part_count] == PART)
    assert np.all(panels.body[panels.part_count : panels.hung_count] == bare)
    assert not np.any(panels.body[panels.hung_count :] == bare)
    assert names(part, panels.feature) == {f.name for f in part.features if f.is_plated}
    assert names(part, panels.bare_feature) == {f.name for f in part.features if not f.is_plated}
    assert not np.any(np.isin(np.arange(panels.part_count, panels.hung_count), panels.electrodes))
    assert not np.any(field.solution.current_density[panels.part_count : panels.hung_count])


def test_masked_panels_have_the_areas_of_the_part_and_hang_together():
    panels, field = prepared_bar()
    part = field.cell.part
    assert_allclose(panels.wetted_areas, [f.area for f in part.features], rtol=1e-9, atol=0)
    assert_allclose(panels.part.area, part.area, rtol=3e-3, atol=0)
    assert_allclose(panels.hung.area, part.area + part.bare_area, rtol=1e-3, atol=0)
    edges = np.sort(
        np.stack([panels.hung.faces, np.roll(panels.hung.faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1
    )
    assert set(np.unique(edges, axis=0, return_counts=True)[1].tolist()) == {2}  # closed: no gap at the borders


def test_charge_is_kept_and_the_metal_is_that_of_the_charge():
    _, field = prepared_bar()
    assert_allclose(field.total_current, 0.3, rtol=1e-6, atol=0)
    assert field.imbalance < 5e-3
    metal, efficiency = field.cell.bath.metal, field.cell.bath.efficiency
    assert_allclose(deposit(field).mass, efficiency * mass_of_charge(0.3 * 600, metal), rtol=1e-6, atol=0)


def deposit(field: Field) -> Deposit:
    return plate([field], [600.0], ["as hung"], np.ones(field.panels.part_count, dtype=np.bool_))


def test_the_border_of_a_stop_off_is_an_edge_and_that_of_a_contact_is_none():
    panels, _ = prepared_bar()
    cell = tank_cell(small_bar(*MASKS))
    rotation, at = cell.pose.rotation, np.asarray(cell.pose.at)
    place = (panels.part.centroids - at) @ rotation  # frame of the part: its box is about the origin
    on_face = np.array(["face" in f.name for f in cell.part.features])[panels.feature]
    line = on_face & (np.abs(place[:, 0] - 5 * MM) < 1 * MM) & (np.abs(place[:, 1]) < 5 * MM)
    assert line.any()
    assert panels.edge_distance[line].min(axis=1).max() < 1.1 * MM
    ring = on_face & (place[:, 2] > 0) & (np.hypot(place[:, 0] + 10 * MM, place[:, 1] - 4 * MM) < 2 * MM)
    assert ring.any()
    assert panels.edge_distance[ring, 0].min() > 1.5 * MM  # to the long edge, 4 mm from the contact
    size = np.sqrt(panels.part.areas)
    assert size[line].max() < 2.5 * MM * panels.scale


def test_another_pose_carries_plated_and_bare_panels_and_its_field_is_that_of_a_fresh_solve():
    panels, field = prepared_bar()
    turned = tank_cell(small_bar(*MASKS), math.pi)
    moved = mesh_cell(turned, COARSE, like=panels)
    assert np.array_equal(moved.feature, panels.feature)
    assert np.array_equal(moved.bare_feature, panels.bare_feature)
    assert_allclose(moved.hung.areas, panels.hung.areas, rtol=1e-9, atol=0)
    kept = prepare(turned, moved, kept=prepare(field.cell, panels))
    fresh = assemble(moved.surface, moved.electrodes)
    one = solve_field(kept, Current(0.3))
    two = solve_field(replace(kept, operators=fresh), Current(0.3))
    assert_allclose(one.at_centroids, two.at_centroids, rtol=1e-3, atol=1e-3 * two.mean_current_density)
    assert_allclose(one.voltage, two.voltage, rtol=1e-5, atol=0)


def test_a_plugged_tube_is_a_rod_with_the_middle_of_its_ends_stopped_off():
    tube = masked(build_part(Tube(40 * MM, 16 * MM, 3 * MM)), [Plug("inside")])
    ends = [StopOffNear((side * 20 * MM, 0.0, 0.0), 5 * MM) for side in (-1, 1)]
    rod = masked(build_part(Rod(40 * MM, 16 * MM)), ends)
    assert_allclose(tube.area, rod.area, rtol=1e-3, atol=0)
    currents = []
    for part in (tube, rod):
        cell = tank_cell(part)
        currents.append(solve_field(prepare(cell, mesh_cell(cell, COARSE)), Voltage(1.0)).total_current)
    assert_allclose(currents[0], currents[1], rtol=5e-3, atol=0)


def test_a_thread_thins_the_deposit_by_its_factor_and_leaves_current_and_metal_alone():
    cells = [tank_cell(small_bar(thread=factor)) for factor in (1.0, 1.5)]
    panels = mesh_cell(cells[0], COARSE)
    plain = solve_field(prepare(cells[0], panels), Current(0.3))
    rough = Field(cells[1], panels, plain.solution)
    assert np.array_equal(plain.current_density, rough.current_density)
    factor = area_factors(rough)
    face = np.array(["face A" in f.name for f in cells[1].part.features])[panels.feature]
    assert np.all(factor == np.where(face, 1.5, 1.0))
    one, two = deposit(plain), deposit(rough)
    assert_allclose(two.thickness, one.thickness / factor, rtol=1e-12, atol=0)
    assert_allclose(two.mass, one.mass, rtol=1e-9, atol=0)
    assert two.charge == one.charge
    assert_allclose(two.true_areas.sum() - two.areas.sum(), 0.5 * panels.part.areas[face].sum(), rtol=1e-9, atol=0)


def test_only_what_is_plated_can_be_significant():
    panels, field = prepared_bar()
    assert significant_panels(field.cell.part, panels, ("face B",)).any()
    with pytest.raises(PartError, match="no feature"):
        significant_panels(field.cell.part, panels, ("face B (-z), stopped off",))


def test_a_stopped_off_wall_is_in_the_way_of_the_ball_too():
    """The wall of a bore is beyond the reach of a 20 mm ball, whether the wall across it is plated or not."""
    bar = build_part(Bar(50 * MM, 16 * MM, 10 * MM, holes=(Hole(10 * MM, (0, 0)),)))
    part = masked(bar, [StopOffBox((0, -1, -1), (1, 1, 1))])
    cell = tank_cell(part)
    panels = mesh_cell(cell, COARSE)
    kind = np.array([feature.name.startswith("bore") for feature in part.features])[panels.feature]
    assert not significant_panels(part, panels, ())[kind].any()
