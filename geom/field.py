"""`Cell` and `Panels` to `Field`: the only module that knows geometry, kinetics and potential theory."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from geom.arrays import Floats, frozen
from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundarySolution, Current, ElectrodePatch, Voltage
from geom.bem.solve import TOLERANCE, solve
from geom.bem.store import kept as stored
from geom.bem.store import key_of
from geom.cell.cell import Cell
from geom.electrode.laws import Mirrored
from geom.errors import SolveError
from geom.panels import Panels

LEAST_BALANCE = 0.01  # anode and cathode current may differ by this share, no more


@dataclass(frozen=True, eq=False)
class Prepared:
    """A cell with its geometry operators: ready for any number of solves at other currents and laws."""

    cell: Cell
    panels: Panels
    operators: Operators


@dataclass(frozen=True, eq=False)
class Field:
    """The solved current distribution of one pose at one control."""

    cell: Cell
    panels: Panels
    solution: BoundarySolution

    @cached_property
    def quarters(self) -> Floats:
        """(part_count, 4) current density over the middle and the corner quarters of each panel [A/m²].

        The solve gives one value a panel; what lies between is recovered from the neighbours. The sum is kept.
        """
        return frozen(self.panels.recovery.quarters(self.at_centroids), np.float64)

    @cached_property
    def current_density(self) -> Floats:
        """(part_count,) mean over each panel into the part, positive where it plates [A/m²]."""
        return frozen(self.quarters.mean(axis=1), np.float64)

    @property
    def at_centroids(self) -> Floats:
        """(part_count,) as solved: one value for each panel [A/m²]."""
        return self.solution.current_density[: self.panels.part_count]

    @cached_property
    def anode_current_density(self) -> Floats:
        """(n,) out of the metal into the bath on anode panels [A/m²], zero elsewhere."""
        return frozen(np.where(self.panels.on_anode, -self.solution.current_density, 0.0), np.float64)

    @property
    def potential(self) -> Floats:
        """(n,) just inside the electrolyte on every panel [V]; anode metal is at zero."""
        return self.solution.potential

    @property
    def voltage(self) -> float:
        """Anode metal minus part metal [V]."""
        return self.solution.voltage

    @cached_property
    def current(self) -> float:
        """Into the part [A]."""
        return float(self.current_density @ self.areas)

    @cached_property
    def thief_currents(self) -> tuple[float, ...]:
        """Into each thief [A]."""
        return tuple(self._into(body) for body in self.panels.thieves)

    @property
    def total_current(self) -> float:
        """Into part and thieves together, what the supply gives [A]."""
        return self.solution.cathode_current

    @cached_property
    def anode_currents(self) -> tuple[float, ...]:
        """Out of each anode [A]."""
        return tuple(-self._into(body) for body in self.panels.anodes)

    @property
    def anode_densities(self) -> tuple[float, ...]:
        """Mean current density of each anode over what the liquid wets of it [A/m²]; 0 for an idle one."""
        return self._densities(self.anode_currents, self.panels.anodes)

    @property
    def thief_densities(self) -> tuple[float, ...]:
        """Mean current density of each thief [A/m²]; 0 for an idle one."""
        return self._densities(self.thief_currents, self.panels.thieves)

    def _densities(self, currents: tuple[float, ...], bodies: range) -> tuple[float, ...]:
        areas = (float(self.panels.surface.areas[self.panels.rows(body)].sum()) for body in bodies)
        return tuple(current / area if area > 0 else 0.0 for current, area in zip(currents, areas, strict=True))

    def _into(self, body: int) -> float:
        rows = self.panels.rows(body)
        return float(self.solution.current_density[rows] @ self.panels.surface.areas[rows])

    @property
    def anode_current(self) -> float:
        """Out of the anodes [A]."""
        return self.solution.anode_current

    @property
    def residuals(self) -> tuple[float, ...]:
        """By how much each step of the solve missed the electrode laws."""
        return self.solution.residuals

    @property
    def areas(self) -> Floats:
        """(part_count,) areas of the part's panels [m²]."""
        return np.asarray(self.panels.surface.areas[: self.panels.part_count])

    @property
    def wetted_area(self) -> float:
        """Area of the part's panels [m²]."""
        return float(self.areas.sum())

    @property
    def mean_current_density(self) -> float:
        """Current over wetted area [A/m²]."""
        return self.current / self.wetted_area

    @property
    def imbalance(self) -> float:
        """Relative difference of anode and cathode current."""
        return abs(self.anode_current - self.total_current) / self.total_current


def prepare(cell: Cell, panels: Panels, *, kept: Prepared | None = None, store: Path | None = None) -> Prepared:
    """Return the cell with its operators assembled: the costly step, done once for each geometry.

    ``kept`` is the same part prepared in another pose: what its move left alike is taken over. ``store`` is a folder
    where the operators of earlier runs lie and these are laid: it saves half a second at 6,000 panels.
    """
    part, bare = np.arange(panels.part_count), np.arange(panels.part_count, panels.hung_count)
    old = None if kept is None else kept.operators

    def made() -> Operators:
        return assemble(panels.surface, panels.electrodes, body=part, mates=bare, kept=old)

    if store is None:
        return Prepared(cell, panels, made())
    key = key_of(panels.surface, panels.electrodes, body=part, mates=bare)
    return Prepared(cell, panels, stored(store, key, made))


def solve_field(
    prepared: Prepared,
    control: Current | Voltage,
    *,
    start: Field | None = None,
    tolerance: float = TOLERANCE,
    balance: float = LEAST_BALANCE,
) -> Field:
    """Return the field of a prepared cell under a total current, into part and thieves, or a voltage.

    ``start`` is a field of the same prepared cell at another control, to begin from: it saves time only.
    ``tolerance`` is relative. ``balance`` is the share by which anode and cathode current may differ.

    Raises
    ------
    SolveError
        where the solve does not converge, or anode and cathode current differ by more than ``balance``.
    """
    cell, panels = prepared.cell, prepared.panels
    thieves = [panels.rows(body) for body in panels.thieves]
    cathodes = [np.arange(panels.part_count), *(rows for rows in thieves if len(rows))]
    anodes = [
        ElectrodePatch(rows, None if anode.law is None else Mirrored(anode.law))
        for rows, anode in zip(map(panels.rows, panels.anodes), cell.anodes, strict=True)
        if len(rows)
    ]
    solution = solve(
        prepared.operators,
        anodes=anodes,
        cathodes=[ElectrodePatch(rows, cell.bath.law) for rows in cathodes],
        conductivity=cell.bath.conductivity,
        control=control,
        start=None if start is None else start.solution,
        tolerance=tolerance,
    )
    field = Field(cell, panels, solution)
    check_balance(field, balance)
    return field


def check_balance(field: Field, balance: float = LEAST_BALANCE) -> None:
    """Refuse a field whose two currents differ: charge would be made or lost."""
    if not field.current > 0 or not field.imbalance <= balance:
        raise SolveError(
            "current-not-balanced",
            f"the anodes give {field.anode_current:.4g} A but the cathodes take {field.total_current:.4g} A",
            hint="bodies very close together or very thin are the usual cause; move them apart, or mesh finer",
            residuals=field.residuals,
        )
