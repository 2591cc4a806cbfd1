"""`Cell` and `Panels` to `Field`: the only module that knows geometry, kinetics and potential theory."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints, frozen
from geom.bem.operators import Operators, assemble
from geom.bem.problem import Current, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.cell.cell import Cell
from geom.electrode.laws import Mirrored
from geom.errors import SolveError
from geom.panels import FIRST_ANODE, PART, Panels

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
    current_density: Floats  # (part_count,) into the part, positive where it plates [A/m²]
    potential: Floats  # (n,) on every panel [V]; anode metal at zero
    anode_current_density: Floats  # (n,) out of the metal into the bath on anode panels [A/m²], 0 elsewhere
    voltage: float  # anode metal minus part metal [V]
    current: float  # into the part [A]
    anode_current: float  # out of the anodes [A]
    residuals: tuple[float, ...]

    def __post_init__(self) -> None:
        for name in ("current_density", "potential", "anode_current_density"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))

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
        return abs(self.anode_current - self.current) / self.current


def prepare(cell: Cell, panels: Panels) -> Prepared:
    """Return the cell with its operators assembled: the costly step, done once for each geometry."""
    electrodes = np.flatnonzero(panels.body >= PART)
    return Prepared(cell, panels, assemble(panels.surface, electrodes))


def solve_field(prepared: Prepared, control: Current | Voltage) -> Field:
    """Return the field of a prepared cell under a total current or a voltage.

    Raises
    ------
    SolveError
        where the solve does not converge, or anode and cathode current differ by more than 1 %.
    """
    cell, panels = prepared.cell, prepared.panels
    cathode = ElectrodePatch(np.arange(panels.part_count), cell.bath.law)
    anodes = [
        ElectrodePatch(rows, None if anode.law is None else Mirrored(anode.law))
        for rows, anode in zip(_anode_rows(panels), cell.anodes, strict=True)
        if len(rows)
    ]
    solution = solve(
        prepared.operators,
        anodes=anodes,
        cathodes=[cathode],
        conductivity=cell.bath.conductivity,
        control=control,
    )
    anode_density = np.zeros(len(panels.body))
    for patch in anodes:
        anode_density[patch.panels] = -solution.current_density[patch.panels]
    field = Field(
        cell=cell,
        panels=panels,
        current_density=solution.current_density[: panels.part_count],
        potential=solution.potential,
        anode_current_density=anode_density,
        voltage=solution.voltage,
        current=solution.cathode_current,
        anode_current=solution.anode_current,
        residuals=solution.residuals,
    )
    _balanced(field)
    return field


def _anode_rows(panels: Panels) -> list[Ints]:
    return [panels.rows(FIRST_ANODE + k) for k in range(panels.anode_count)]


def _balanced(field: Field) -> None:
    """Refuse a field whose two currents differ: charge would be made or lost."""
    if not field.current > 0 or not field.imbalance <= LEAST_BALANCE:
        raise SolveError(
            "current-not-balanced",
            f"the anodes give {field.anode_current:.4g} A but the part takes {field.current:.4g} A",
            hint="bodies very close together or very thin are the usual cause; move them apart, or mesh finer",
            residuals=field.residuals,
        )
