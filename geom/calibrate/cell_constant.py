"""What two plates in a tank conduct at unit conductivity: solved for where they really hang."""

from dataclasses import dataclass, replace

from geom.bem.problem import Current
from geom.bench.readings import Plate, TwoPlates
from geom.cell.build import build_cell
from geom.cell.cell import BoxTank, Cell, Pose, SheetAnode
from geom.chemistry import Bath
from geom.errors import CalibrateError, CellError
from geom.field import prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Bar
from geom.surface.solid import LEAST_GAP

COARSE, FINE, FINEST = 2.4, 1.5, 1.0
"""How much larger than usual the panels of the levels are."""

ABOVE = 10e-3
"""How far a plate stands out of the liquid [m]: what is dry carries nothing."""

PANELS = 9000
"""At most, of one level."""


@dataclass(frozen=True, slots=True)
class CellConstant:
    """Conductance over conductivity, and how it hangs on the lengths."""

    value: float  # [m]
    error: float  # numerical, as a share: how far it may be off
    by_gap: float  # share that it changes by where the gap is `gap_to` wider
    by_immersed: float  # and where the plates hang `immersed_to` deeper
    is_exact: bool  # the plates fill the whole cross-section: area over gap


def cell_constant(plates: TwoPlates, bath: Bath) -> CellConstant:
    """Return the cell constant of two plates; ``bath`` is any, nothing of it counts.

    The electrodes have no polarization here: what theirs does to the voltage is the intercept of the readings.

    Raises
    ------
    CalibrateError
        where the plates cannot hang so.
    """
    if fills(plates):
        area = plates.tank.depth * _breadth(plates)
        return CellConstant(area / plates.gap, 0.0, plates.gap_to / plates.gap, 0.0, True)
    rough = conductance(plates, bath, COARSE)
    better, best = conductance(plates, bath, FINE), conductance(plates, bath, FINEST)
    by_gap = by_immersed = 0.0
    if plates.gap_to > 0.0:
        wider = replace(plates, gap=plates.gap + plates.gap_to)
        by_gap = abs(conductance(wider, bath, COARSE) / rough - 1.0)
    if plates.immersed_to > 0.0:
        by_immersed = abs(conductance(_hung(plates, plates.immersed_to), bath, COARSE) / rough - 1.0)
    return CellConstant(best, abs(best / better - 1.0), by_gap, by_immersed, False)


def fills(plates: TwoPlates) -> bool:
    """Do both plates fill the cross-section of a box, so that the field between them is even?"""
    if not isinstance(plates.tank, BoxTank):
        return False
    tank, both = plates.tank, (plates.first, plates.second)
    wide = all(plate.width > tank.width - 2.0 * LEAST_GAP for plate in both)
    return wide and all(p.immersed > tank.depth - LEAST_GAP and p.covered < LEAST_GAP for p in both)


def conductance(plates: TwoPlates, bath: Bath, scale: float) -> float:
    """Return the conductance at unit conductivity [m], on panels so much larger than usual."""
    try:
        cell = plate_cell(plates, bath)
    except CellError as error:
        hint = "plates hang clear of walls and floor by 0.2 mm at least, or fill the whole cross-section of the tank"
        raise CalibrateError("calibrate-plates", error.message, where="[conductivity]", hint=hint) from error
    if any(finding.code == "anode-through-wall" for finding in cell.findings):
        hint = "look at gap and middle, and that the plates hang across the length of the tank"
        raise CalibrateError(
            "calibrate-plates", "the second plate reaches through a wall", where="[conductivity]", hint=hint
        )
    prepared = prepare(cell, mesh_cell(cell, MeshOptions(budget=PANELS, scale=scale)))
    field = solve_field(prepared, Current(1.0))
    return field.total_current / field.voltage


def plate_cell(plates: TwoPlates, bath: Bath) -> Cell:
    """Return the cell of two plates, the first as the part, the second as the anode, at unit conductivity."""
    first, second = plates.first, plates.second
    x, y = plates.middle
    height, z = _standing(first, plates.tank.depth)
    turn = (0.0, 0.0, 0.0)
    part = build_part(Bar(first.thickness, first.width, height))
    pose = Pose(turn, (x + 0.5 * (plates.gap + first.thickness), y, z))
    height, z = _standing(second, plates.tank.depth)
    anode = SheetAnode(second.thickness, second.width, height, (x - 0.5 * (plates.gap + second.thickness), y, z))
    ideal = replace(bath, conductivity=1.0, law=None)
    return build_cell(part, ideal, tank=plates.tank, anodes=[anode], pose=pose)


def _standing(plate: Plate, depth: float) -> tuple[float, float]:
    """Return the height of a plate and that of its middle over the floor [m]."""
    low = depth - plate.immersed
    high = depth - plate.covered if plate.covered >= LEAST_GAP else depth + ABOVE
    return high - low, 0.5 * (high + low)


def _hung(plates: TwoPlates, deeper: float) -> TwoPlates:
    """Return the plates hung deeper, or that much less deep where there is no room under them."""
    lowest = max(plates.first.immersed, plates.second.immersed)
    step = deeper if lowest + deeper < plates.tank.depth - LEAST_GAP else -deeper
    first, second = (replace(p, immersed=p.immersed + step) for p in (plates.first, plates.second))
    return replace(plates, first=first, second=second)


def _breadth(plates: TwoPlates) -> float:
    return plates.tank.width if isinstance(plates.tank, BoxTank) else plates.tank.diameter
