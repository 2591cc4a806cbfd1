"""Level after level of panels until the figures are as sure as asked: the first pose of a plan."""

from collections.abc import Callable, Hashable
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
from geom.cell.cell import Anode, Cell, InnerWire, Pose, WireAnode
from geom.errors import CellError
from geom.field import LEAST_BALANCE, Field, Prepared, prepare, solve_field
from geom.job.job import USUAL, Demand, Job
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


def posed(level: Level, pose: Pose, cell: Cell | None = None) -> Prepared | None:
    """Return the cell of a level prepared with the part in another pose, on the same panels of the part.

    None where the part does not fit that way, or another surface would be wet. ``cell`` may be another one of the
    same part.
    """
    prepared = level.prepared
    cell = cell or prepared.cell
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


class Hangings:
    """The panels of a level in other poses and set-ups of the same part: what is prepared of them is kept.

    However one came there, it is prepared from the level itself, so that nothing hangs on what was asked before.
    """

    def __init__(self, level: Level, room: int) -> None:
        self.level, self.room = level, room
        self._first = _place(level.prepared.cell, level.prepared.cell.pose)
        self._known: dict[Hashable, Prepared | None] = {}

    @property
    def prepared(self) -> tuple[Prepared, ...]:
        """All that is kept, that of the level first."""
        return (self.level.prepared, *(one for one in self._known.values() if one is not None))

    def at(self, cell: Cell, pose: Pose) -> Prepared | None:
        """Return a cell of the same part prepared with the part in a pose; None as `posed`."""
        place = _place(cell, pose)
        found = self.level.prepared if place == self._first else self._at(place, cell, pose)
        if found is None:
            return None
        laws = zip(found.cell.anodes, cell.anodes, strict=True)
        anodes = tuple(replace(anode, law=other.law) for anode, other in laws)
        return replace(found, cell=replace(found.cell, bath=cell.bath, anodes=anodes))

    def _at(self, place: Hashable, cell: Cell, pose: Pose) -> Prepared | None:
        if place in self._known:
            self._known[place] = self._known.pop(place)  # the last asked for is the last to go
            return self._known[place]
        found = posed(self.level, pose, cell)
        if self.room > 0:
            while len(self._known) >= self.room:
                del self._known[next(iter(self._known))]
            self._known[place] = found
        return found


@dataclass(frozen=True, eq=False)
class Ground:
    """The panels that plans of one part are made on, how sure figures on them are, and the fields of the first such plan."""

    job: Job  # what they were made for
    level: Level
    accuracy: Accuracy
    hung: Hangings
    fields: tuple[Field, ...] = ()  # of every pose that was weighed, the first first

    def field_on(self, panels: Panels) -> Field | None:
        """Return the field that is known on some panels."""
        return next((field for field in self.fields if field.panels is panels), None)


def _place(cell: Cell, pose: Pose) -> Hashable:
    """Return where everything is, whatever flows: what tells one geometry of a part from another."""
    turn, at = np.round(pose.rotation, 9) + 0.0, np.round(pose.at, 9) + 0.0
    anodes = tuple(lawless(anode) for anode in cell.anodes)
    return (cell.tank, anodes, cell.shields, cell.thieves, turn.tobytes(), at.tobytes())


def lawless(anode: Anode | InnerWire) -> Anode | InnerWire:
    """Return an anode as a body alone."""
    if isinstance(anode, WireAnode) and anode.inner is not None:
        anode = replace(anode, inner=replace(anode.inner, law=None))
    return replace(anode, law=None)


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
        say(f"solving, panel level {len(counts) + 1}", share)
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
