"""`Cell` and `Panels` to `Field`: the only module that knows geometry, kinetics and potential theory."""

from dataclasses import dataclass

from geom.arrays import Floats
from geom.cell.cell import Cell
from geom.panels import Panels


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

    @property
    def wetted_area(self) -> float:
        """Area of the part's panels [m²]."""
        return float(self.panels.surface.areas[: self.panels.part_count].sum())

    @property
    def mean_current_density(self) -> float:
        """Current over wetted area [A/m²]."""
        return self.current / self.wetted_area

    @property
    def imbalance(self) -> float:
        """Relative difference of anode and cathode current."""
        return abs(self.anode_current - self.current) / self.current
