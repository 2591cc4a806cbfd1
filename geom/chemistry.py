"""Metals and baths, as the plan uses them: SI floats, each with the range it is known to."""

from collections.abc import Mapping
from dataclasses import dataclass

from geom.electrode.laws import Law
from geom.provenance import Source


@dataclass(frozen=True, slots=True)
class Range:
    """Low, typical and high value of one quantity, in the SI unit its owner states."""

    low: float
    typical: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.typical <= self.high:
            raise ValueError(f"not in order: {self.low}, {self.typical}, {self.high}")


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal that is deposited."""

    symbol: str
    name: str
    molar_mass: float  # [kg/mol]
    density: float  # [kg/m³]
    electrons: int  # electrons per atom deposited


@dataclass(frozen=True, slots=True)
class Bath:
    """A plating bath at its working temperature."""

    name: str  # "watts-nickel"
    title: str  # "Watts nickel (sulfate-chloride-boric)"
    metal: Metal
    conductivity: float  # [S/m], at `temperature`
    temperature: float  # [K]
    efficiency: float  # cathode current efficiency, 0 < e <= 1
    current_density: Range  # bright range at the cathode [A/m²]
    law: Law  # polarization of the cathode
    conductivity_range: Range  # [S/m], at `temperature`
    efficiency_range: Range
    limiting_current_density: Range | None  # [A/m²], unstirred
    anode_current_density: Range | None  # [A/m²]
    anode_materials: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: Mapping[str, Source]  # attribute name -> who says so
