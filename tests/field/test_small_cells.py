"""Whole cells, meshed as the program meshes them, against independent solutions and what the trade knows."""

import math
from functools import cache

import numpy as np
import pytest
from helpers.cells import COARSE, MM, UPRIGHT, bath, drilled_bar, mesh_part, reference_cell, sheet
from helpers.meshes import icosphere
from numpy.testing import assert_allclose

from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, Pose, SheetAnode
from geom.electrode.laws import Law, Limited, Linear, Tafel
from geom.errors import SolveError
from geom.field import Field, prepare, solve_field
from geom.panels import MeshOptions, Panels, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Bar
from geom.tables import read

HALF = 0.1  # of the cubic tank [m]


def sphere_cell(radius: float, law: Law | None, kappa: float = 1.0) -> Cell:
    """A sphere amid a cubic tank of half-side 0.1 m whose two walls in x are anodes; the rest insulates."""
    linings = tuple(SheetAnode(1 * MM, 2 * HALF, 2 * HALF, (side * (HALF + 0.5 * MM), 0.0, HALF)) for side in (-1, 1))
    return build_cell(
        mesh_part(icosphere(4, radius * HALF)),
        bath(kappa, law),
        tank=BoxTank(2 * HALF + 2 * MM, 2 * HALF, 2 * HALF),
        anodes=linings,
        pose=Pose((0.0, 0.0, 0.0), (0.0, 0.0, HALF)),
    )


@cache
def sphere_panels(radius: float) -> Panels:
    return mesh_cell(sphere_cell(radius, None), MeshOptions())


def sphere_field(radius: float, law: Law | None, control: Voltage | Current, kappa: float = 1.0) -> Field:
    return solve_field(prepare(sphere_cell(radius, law, kappa), sphere_panels(radius)), control)


def towards(field: Field, direction: tuple[float, float, float]) -> float:
    """Local over mean current density of the sphere near a direction and its opposite."""
    centre = np.array([0.0, 0.0, HALF])
    out = field.panels.part.centroids - centre
    out /= np.linalg.norm(out, axis=1)[:, None]
    near = np.abs(out @ np.asarray(direction)) / np.linalg.norm(direction) > math.cos(0.15)
    return float(np.average(field.current_density[near], weights=field.areas[near])) / field.mean_current_density


@pytest.mark.parametrize(
    ("radius", "wagner", "conductance", "poles"),
    [(0.25, 0.0, 3.478629252, (1.04712276, 0.97578652)), (0.75, 0.5, 6.811289997, (1.42157682, 0.74677485))],
)
def test_sphere_between_two_anode_walls_agrees_with_solid_harmonics(
    radius: float, wagner: float, conductance: float, poles: tuple[float, float]
) -> None:
    """Independent solution in solid harmonics, boundary residual under 1e-8: G / (kappa H), i / mean at +x and +y."""
    field = sphere_field(radius, Linear(wagner * HALF) if wagner else None, Voltage(1.0))
    assert_allclose(field.current / HALF, conductance, rtol=0.02, atol=0)
    assert_allclose((towards(field, (1, 0, 0)), towards(field, (0, 1, 0))), poles, rtol=0.04, atol=0)


def test_tafel_sphere_between_two_anode_walls_agrees_with_solid_harmonics() -> None:
    """The same with i_mean H / (kappa beta) = 16: (V - eta(i_mean)) / beta = 7.895, i / mean 2.1517 and 0.4642."""
    beta, kappa = 0.05, 8.0
    law = Tafel(exchange=0.1, cathodic_slope=beta)
    mean = 16 * kappa * beta / HALF
    area = 4 * math.pi * (0.75 * HALF) ** 2
    field = sphere_field(0.75, law, Current(mean * area), kappa)
    assert_allclose(field.voltage - beta * math.log(mean / 0.1), 7.895261083 * beta, rtol=0.01, atol=0)
    assert_allclose((towards(field, (1, 0, 0)), towards(field, (0, 1, 0))), (2.151679, 0.464222), rtol=0.06, atol=0)


def strip_cell(gap: float) -> Cell:
    """Two strips 8 mm wide, 70 mm deep in plain 5 % vinegar: 50 g/kg acetic acid in water."""
    kappa = read.solution_conductivity("acetic acid", 5.0)
    return build_cell(
        build_part(Bar(70 * MM, 8 * MM, 1 * MM)),
        bath(kappa, None),
        tank=BoxTank(120 * MM, 70 * MM, 80 * MM),
        anodes=(SheetAnode(1 * MM, 8 * MM, 70 * MM, (-gap / 2, 0.0, 45 * MM)),),
        pose=Pose((0.0, 0.5 * math.pi, 0.0), (gap / 2, 0.0, 42 * MM)),
    )


@pytest.mark.parametrize("gap", [30 * MM, 40 * MM])
def test_two_strips_in_plain_vinegar_pass_about_a_tenth_of_an_ampere_at_19_volts(gap: float) -> None:
    """Common practice, no source: of the order of 0.1 A."""
    cell = strip_cell(gap)
    field = solve_field(prepare(cell, mesh_cell(cell, COARSE)), Voltage(19.0))
    assert 0.03 < field.current < 0.3


def test_with_one_anode_the_far_side_of_a_flat_bar_gets_less_than_half() -> None:
    """Common practice, no source. A broad plate close to its anode."""
    part = build_part(Bar(60 * MM, 40 * MM, 2 * MM))
    cell = build_cell(
        part,
        bath(20.0, Linear(1e-4)),
        tank=BoxTank(0.16, 0.12, 0.1),
        anodes=(SheetAnode(2 * MM, 80 * MM, 80 * MM, (-50 * MM, 0.0, 50 * MM)),),
        pose=Pose(UPRIGHT, (0.0, 0.0, 50 * MM)),
    )
    field = solve_field(prepare(cell, mesh_cell(cell, COARSE)), Current(1.0))
    normal = field.panels.part.normals[:, 0]
    front, back = normal > 0.99, normal < -0.99  # normals point into the metal

    def flow(rows: np.ndarray) -> float:
        return float(field.current_density[rows] @ field.areas[rows])

    centre = np.linalg.norm(field.panels.part.centroids - cell.pose.at, axis=1) < 10 * MM
    middle = [
        float(np.average(field.current_density[r & centre], weights=field.areas[r & centre])) for r in (front, back)
    ]
    assert middle[1] < 0.5 * middle[0]
    assert flow(back) < 0.7 * flow(front)


def test_anodes_on_both_sides_make_the_two_faces_alike() -> None:
    cell = build_cell(
        drilled_bar(),
        bath(20.0, Linear(1e-4)),
        tank=BoxTank(0.2, 0.15, 0.15),
        anodes=(sheet(-60 * MM), sheet(60 * MM)),
        pose=Pose(UPRIGHT, (0.0, 0.0, 75 * MM)),
    )
    field = solve_field(prepare(cell, mesh_cell(cell, COARSE)), Current(1.0))
    flows = [
        float(field.current_density[field.panels.feature == k] @ field.areas[field.panels.feature == k])
        for k, feature in enumerate(cell.part.features)
        if feature.name.startswith("face")
    ]
    assert_allclose(flows[0], flows[1], rtol=5e-3, atol=0)


def test_a_sluggish_anode_takes_more_voltage_for_the_same_current() -> None:
    plain = reference_cell(Linear(1e-4))
    sluggish = reference_cell(Linear(1e-4), (sheet(-30.5 * MM, law=Linear(2e-4)),))
    panels = mesh_cell(plain, COARSE)
    volts = [solve_field(prepare(cell, panels), Current(1.0)).voltage for cell in (plain, sluggish)]
    # the anode carries 1 A on 0.02 m2, mostly on the side of the bar
    assert 2e-4 / 0.0204 < volts[1] - volts[0] < 4 * 2e-4 / 0.0204


def test_a_field_in_another_pose_of_the_same_cell_turned_over_is_the_same() -> None:
    """A bar turned half about the axis towards the anode is its own image."""
    cell = reference_cell(Linear(1e-4))
    turned = Pose((math.pi + UPRIGHT[0], 0.0, UPRIGHT[2]), cell.pose.at)
    other = build_cell(cell.part, cell.bath, tank=cell.tank, anodes=cell.anodes, pose=turned)
    fields = [solve_field(prepare(c, mesh_cell(c, COARSE)), Voltage(1.0)) for c in (cell, other)]
    assert_allclose(fields[0].current, fields[1].current, rtol=2e-3, atol=0)


def test_a_current_over_the_limiting_current_is_refused() -> None:
    cell = reference_cell(Limited(Linear(1e-4), 200.0))
    panels = mesh_cell(cell, COARSE)
    wetted = float(panels.part.area)
    with pytest.raises(SolveError) as caught:
        solve_field(prepare(cell, panels), Current(1.2 * 200.0 * wetted))
    assert caught.value.slug == "solve-not-converged"
