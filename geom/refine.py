"""Level after level of panels until the figures are as sure as asked: the first pose of a plan."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from time import monotonic

import numpy as np

from geom.advice.accuracy import COARSER, Accuracy, compared, wishes
from geom.advice.current import UNCHECKED
from geom.advice.figures import figures
from geom.advice.limit import Limit
from geom.advice.measures import strip_width
from geom.bem.problem import Current, Voltage
from geom.cell.build import build_cell
from geom.cell.cell import Cell, Pose
from geom.errors import CellError
from geom.field import LEAST_BALANCE, Field, Prepared, prepare, solve_field
from geom.job.job import USUAL, Demand
from geom.panel_sizes import MeshOptions
from geom.panels import Panels, mesh_cell
from geom.surface.sizing import SizeSource

Say = Callable[[str, float], None]
Chosen = tuple[tuple[Limit, ...], Current | Voltage, Field]
Choose = Callable[[Prepared, "Level | None"], Chosen]
"""Weighs the limits on prepared panels; the level before, if there is one, tells where to look."""

FIRST_SCALE, POWER = 1.2, 0.6
"""Panels of the second level are so many times their usual size at the usual accuracy, and go with that power of it."""

WISH_SHARE = 0.3  # of the panels at most are asked for where the error is
STEP = 1.6  # by how much the panels shrink from the second level on
TOLERANCE_SHARE = 0.01  # of the accuracy: how closely the equations are solved


@dataclass(frozen=True, eq=False)
class Level:
    """One choice of panels with everything that was solved on it."""

    options: MeshOptions
    prepared: Prepared
    limits: tuple[Limit, ...]
    control: Current | Voltage
    field: Field
    coarsest: "Level | None" = None  # the first look: for what only ratios are asked of


def tolerance(demand: Demand) -> float:
    """Return how closely the equations are to be solved, relative."""
    return TOLERANCE_SHARE * demand.accuracy


def posed(level: Level, pose: Pose) -> Prepared | None:
    """Return the cell of a level prepared with the part in another pose, on the same panels of the part.

    None where the part does not fit that way, or another surface would be wet.
    """
    prepared = level.prepared
    cell = prepared.cell
    try:
        turned = build_cell(
            cell.part,
            cell.bath,
            tank=cell.tank,
            anodes=cell.anodes,
            pose=pose,
            shields=cell.shields,
            thieves=cell.thieves,
        )
        panels = mesh_cell(turned, level.options, like=prepared.panels)
    except CellError:
        return None
    return prepare(turned, panels, kept=prepared) if same_panels(prepared.panels, panels) else None


def same_panels(a: Panels, b: Panels) -> bool:
    """Are the part's panels of two poses the same ones, in the same order?"""
    if a.part_count != b.part_count:
        return False
    return bool(np.abs(a.part.areas - b.part.areas).max() <= 1e-9 * a.part.areas.max())


def refined(cell: Cell, demand: Demand, choose: Choose, wanted: tuple[str, ...], say: Say) -> tuple[Level, Accuracy]:
    """Return the finest level that was needed, or could be paid for, and how sure its figures are.

    ``wanted`` are the names of the significant features.

    Raises
    ------
    GeomError
        where the cell cannot be meshed or solved, or anode and cathode current do not agree on the last level.
    """
    begun = monotonic()
    scale = FIRST_SCALE * (demand.accuracy / USUAL) ** POWER
    say("a first look on large panels", 0.05)
    first = MeshOptions(budget=int(demand.panels / COARSER**2), scale=COARSER * scale)
    look = coarse = _level(cell, first, (), None, choose, demand)
    counts = [len(coarse.field.panels.body)]
    asked: tuple[SizeSource, ...] = ()
    share = 0.25
    while True:
        say(f"solving on panels {len(counts)} times refined", share)
        took = monotonic()
        asked += wishes(coarse.field, demand.accuracy, WISH_SHARE * demand.panels)
        options = MeshOptions(budget=demand.panels, scale=scale)
        fine = _level(cell, options, asked, coarse, choose, demand)
        took = monotonic() - took
        counts.append(len(fine.field.panels.body))
        accuracy = replace(_compared(coarse, fine, demand, wanted), panels=tuple(counts))
        spent = _spent(counts, demand, monotonic() - begun, took)
        enough = accuracy.reached and fine.field.imbalance <= LEAST_BALANCE
        if enough or spent:
            return replace(fine, coarsest=look), replace(accuracy, spent="" if enough else spent)
        coarse, scale, share = fine, scale / STEP, min(share + 0.2, 0.65)


def _level(
    cell: Cell,
    options: MeshOptions,
    asked: tuple[SizeSource, ...],
    before: Level | None,
    choose: Choose,
    demand: Demand,
) -> Level:
    panels = mesh_cell(cell, options, asked=asked)
    prepared = prepare(cell, panels)
    limits, control, near = choose(prepared, before)
    field = solve_field(prepared, control, start=near, tolerance=tolerance(demand), balance=UNCHECKED)
    return Level(options, prepared, limits, control, field)


def _compared(coarse: Level, fine: Level, demand: Demand, wanted: tuple[str, ...]) -> Accuracy:
    """Return what the figures of both levels, under the control of the finer one, say of the error of the finer."""
    width = strip_width(fine.field.panels)
    again = solve_field(
        coarse.prepared, fine.control, start=coarse.field, tolerance=tolerance(demand), balance=UNCHECKED
    )
    before, after = (figures(field, wanted, width) for field in (again, fine.field))
    return compared(demand.accuracy, before, after, again, fine.field, width)


def _spent(counts: list[int], demand: Demand, elapsed: float, took: float) -> str:
    """Return which budget forbids one more level; empty if none does."""
    if elapsed + 2.5 * took > demand.seconds:
        return f"{demand.seconds:.0f} s"
    growth = (counts[-1] / counts[-2]) if counts[-1] > counts[-2] else 1.0
    if counts[-1] * max(growth, 1.3) > demand.panels:
        return f"{demand.panels} panels"
    return ""
