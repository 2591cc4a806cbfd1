"""A solid bar amid a tank, in two dimensions: one quadrant, between two insulating planes.

Bar 20 x 5 mm in a tank 60 mm wide whose end walls, 80 mm apart, are anodes that the broad faces look at; the side
walls insulate. Known figures: integral equation of our own on a Schwarz-Christoffel map.
"""

import math
from functools import cache

import numpy as np
import pytest
from helpers.cells import MM, bath
from helpers.kept import Kept
from helpers.order import observed_order
from helpers.profiles import along
from helpers.slabs import crowded, rectangle, slab
from helpers.validation import hold

from geom.arrays import Floats
from geom.bem.problem import BoundarySolution, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Pose, SheetAnode
from geom.electrode.laws import Linear
from geom.field import prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Bar
from geom.surface.solid import joined

TABLE = "bar-in-tank"
EQUATION = "integral equation of our own"
A, C, B, H = (10.0, 2.5, 30.0, 40.0)  # half of the bar's breadth and thickness, of the tank's width and length [mm]
DEPTH = 60.0
FLOOR = 0.3 * MM  # the least gap that the program takes is 0.2 mm
BROAD, NARROW = 1, 3


def half(stop: float, n: int) -> Floats:
    """Strips from the middle of a face to its edge, crowded to the edge, nearly even in the middle."""
    return crowded(0.0, stop, n, 2.5, to="stop")


@cache
def quadrant(n: int = 10) -> tuple[Kept, Floats, Floats]:
    """Lengths in mm, the conductivity one: only ratios matter. And the strips' edges on the broad and narrow face."""
    broad, narrow = half(A, n), half(C, n // 2)
    right = crowded(A, B, n, 1.7)
    up = crowded(C, H, n, 1.7)
    above = slab(rectangle, broad, up, (0, None, BROAD, 2), DEPTH)
    corner = slab(rectangle, right, up, (None, 0, None, 2), DEPTH)
    beside = slab(rectangle, right, narrow, (NARROW, 0, 0, None), DEPTH)
    return Kept(joined([above, corner, beside]), cathode=(BROAD, NARROW)), broad, narrow


def figures(found: BoundarySolution) -> tuple[float, Floats]:
    """Share of current on the broad face; i / mean at its centre, at the edge, at the centre of the narrow face."""
    cell, broad, narrow = quadrant()
    tags = cell.surface.tag[cell.here]
    ends = []
    for tag, axis, edges in ((BROAD, 0, broad), (NARROW, 1, narrow)):
        face = tags == tag
        density, areas = cell.density(found)[face], cell.areas[face]
        where = cell.middles(lambda points, axis=axis: points[:, axis])[face]
        scale = density @ areas / areas.sum() / cell.mean(found)
        ends.append(along(density, areas, where, edges, np.array([0.0, edges[-1]])) * scale)
    share = cell.within([BROAD], found) / found.cathode_current
    return share, np.array([ends[0][0], 0.5 * (ends[0][1] + ends[1][1]), ends[1][0]])


def held(case: str, found: BoundarySolution, known: tuple[float, ...], corner: float) -> None:
    """Hold share and current densities to the known ones."""
    share, places = figures(found)
    panels = quadrant()[0].panels
    hold(TABLE, case, "share of broad faces", share, known[0], rtol=3e-3, panels=panels, source=EQUATION)
    hold(
        TABLE, case, "i / mean at centre of broad face", places[0], known[1], rtol=5e-3, panels=panels, source=EQUATION
    )
    hold(TABLE, case, "i / mean at edge", places[1], known[2], rtol=corner, panels=panels, source=EQUATION)
    hold(
        TABLE,
        case,
        "i / mean at centre of narrow face",
        places[2],
        known[3],
        rtol=0.015,
        panels=panels,
        source=EQUATION,
    )


LINEAR = [
    (5.0, 0.50586555, (0.761955, 0.854, 1.274164, 1.154058)),
    (20.0, 0.31399494, (0.785734, 0.943999, 1.087345, 1.063417)),
    (50.0, 0.17897571, (0.793663, 0.974966, 1.037327, 1.028747)),
]


@pytest.mark.parametrize(("length", "conductance", "known"), LINEAR)
def test_bar_with_a_linear_law_agrees_with_the_integral_equation(
    length: float, conductance: float, known: tuple[float, ...]
) -> None:
    """kappa R_ct in mm: conductance of a quadrant over kappa W, shares and current densities."""
    cell, _, _ = quadrant()
    found = cell.solved(Linear(length))
    case = f"linear law, kappa R_ct {length:g} mm"
    got = found.cathode_current / DEPTH
    hold(TABLE, case, "conductance / (kappa W)", got, conductance, rtol=8e-3, panels=cell.panels, source=EQUATION)
    held(case, found, known, 0.01)


TAFEL = [
    (1.0, 19.52964407, (0.730692, 0.750814, 2.008828, 1.177304)),
    (10.0, 1.97297086, (0.77495, 0.90582, 1.167293, 1.106127)),
    (50.0, 0.39659673, (0.793613, 0.975043, 1.037775, 1.028904)),
]


@pytest.mark.parametrize(("length", "volts", "known"), TAFEL)
def test_bar_with_a_tafel_law_agrees_with_the_integral_equation(
    length: float, volts: float, known: tuple[float, ...]
) -> None:
    """kappa beta / mean in mm."""
    cell, _, _ = quadrant()
    found, over = cell.tafel(length, 1.0)
    case = f"Tafel law, kappa beta / mean {length:g} mm"
    hold(TABLE, case, "(V - drop at mean) / beta", over, volts, rtol=8e-3, panels=cell.panels, source=EQUATION)
    held(case, found, known, 0.03)


def test_conductance_of_the_bar_converges() -> None:
    found = [quadrant(n)[0].solved(Linear(5.0)).cathode_current / DEPTH for n in (6, 8, 10)]
    known, panels, case = 0.50586555, quadrant(10)[0].panels, "linear law, kappa R_ct 5 mm"
    order = observed_order((1 / 6, 1 / 8, 1 / 10), np.array(found) - known)
    assert order > 1.6
    whose, quantity = EQUATION, "the same, three meshes"
    hold(TABLE, case, quantity, found[-1], known, rtol=8e-3, panels=panels, source=whose, order=order)


def test_the_same_bar_meshed_by_the_program_agrees() -> None:
    """From 0.3 mm over the floor to above the surface of a tank 82 x 60 mm whose ends are lined with sheets, 20 S/m."""
    kappa = 20.0
    tank = BoxTank((2 * H + 2) * MM, 2 * B * MM, DEPTH * MM)
    anodes = tuple(
        SheetAnode(1 * MM, 2 * B * MM, DEPTH * MM, (side * (H + 0.5) * MM, 0.0, 0.5 * DEPTH * MM)) for side in (-1, 1)
    )
    tall = DEPTH * MM + 5 * MM
    pose = Pose((0.5 * math.pi, 0.0, 0.5 * math.pi), (0.0, 0.0, FLOOR + 0.5 * tall))
    part = build_part(Bar(2 * A * MM, tall, 2 * C * MM))
    cell = build_cell(part, bath(kappa, Linear(5.0 * MM / kappa)), tank=tank, anodes=anodes, pose=pose)
    field = solve_field(prepare(cell, mesh_cell(cell, MeshOptions(budget=3000))), Voltage(1.0))
    normals = field.panels.part.normals
    flow = field.current_density * field.areas
    broad, narrow = (float(flow[np.abs(normals[:, axis]) > 0.9].sum()) for axis in (0, 1))
    panels, whose = len(field.panels.surface.faces), EQUATION
    case = "meshed by the program, kappa R_ct 5 mm"
    found = (broad + narrow) / (4 * kappa * DEPTH * MM)
    hold(TABLE, case, "conductance / (kappa W)", found, 0.50586555, rtol=0.01, panels=panels, source=whose)
    hold(
        TABLE, case, "share of broad faces", broad / (broad + narrow), 0.761955, rtol=5e-3, panels=panels, source=whose
    )
