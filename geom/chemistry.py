"""Metals and baths, as the plan uses them: SI floats, each with the range it is known to."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from geom.arrays import Floats
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

    def scaled(self, factor: float) -> "Range":
        """Return the range times a positive ``factor``."""
        return Range(self.low * factor, self.typical * factor, self.high * factor)


UNSTATED_TEMPERATURES = Range(273.15, 298.15, 373.15)
"""Where a bath of water is liquid: the range of a bath whose own is not stated [K]."""


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal that is deposited."""

    symbol: str
    name: str
    molar_mass: float  # [kg/mol]
    density: float  # [kg/m³]
    electrons: int  # electrons per atom deposited

    def __post_init__(self) -> None:
        _need_positive(self, "molar_mass", "density", "electrons")


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
    law: Law | None  # polarization of the cathode; None: none, the primary distribution
    conductivity_range: Range  # [S/m], at `temperature`
    efficiency_range: Range
    limiting_current_density: Range | None  # [A/m²], unstirred unless the job says that the bath is moved
    anode_current_density: Range | None  # [A/m²]
    anode_materials: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: Mapping[str, Source]  # attribute name -> who says so; what a job states itself has no entry
    temperature_range: Range = UNSTATED_TEMPERATURES  # working range [K]
    anode_area_ratio: Range | None = None  # anode area over cathode area
    run_time: Range | None = None  # how long a part usually stays in a strike [s]; None: as long as it takes
    efficiency_curve: tuple[tuple[float, float], ...] = ()  # (current density [A/m²], efficiency), rising in the first
    laws: tuple[Law, Law, Law] | None = (
        None  # least, typically and most polarized; None: of a stated law, or no slope known
    )
    exchange_range: Range | None = None  # exchange current density [A/m²], where `laws` have one
    growth_per_kelvin: float | None = None  # share by which the conductivity grows [1/K], at `temperature`
    levels: Mapping[str, float] = field(
        default_factory=dict
    )  # attribute name -> share of the cases that its range is stated to hold
    family: str = ""  # bath of the tables that it is like; "": none but itself

    def efficiency_at(self, current_density: Floats | float) -> Floats:
        """Return the efficiency at each current density [A/m²]: on the curve, flat beyond its ends; or the one there is."""
        density = np.asarray(current_density, dtype=np.float64)
        if not self.efficiency_curve:
            return np.full(density.shape, self.efficiency)
        where, shares = np.array(self.efficiency_curve).T
        return np.asarray(np.interp(density, where, shares))

    @property
    def kin(self) -> str:
        """The name that rules for kinds of bath go by: that of the bath it is like, else its own."""
        return self.family or self.name

    def __post_init__(self) -> None:
        _need_positive(self, "conductivity", "temperature", "efficiency")
        if self.efficiency > 1.0:
            raise ValueError(f"Bath.efficiency cannot exceed 1, got {self.efficiency!r}")
        if self.efficiency_range.high > 1.0:
            raise ValueError(f"Bath.efficiency_range cannot exceed 1, got {self.efficiency_range!r}")
        for name in ("current_density", "conductivity_range", "efficiency_range", "temperature_range"):
            _need_positive(getattr(self, name), "low", "high", owner=f"Bath.{name}")
        for name in ("limiting_current_density", "anode_current_density", "anode_area_ratio", "run_time"):
            if getattr(self, name) is not None:
                _need_positive(getattr(self, name), "low", "high", owner=f"Bath.{name}")
        _check_curve(self.efficiency_curve)
        if not all(0.0 < level < 1.0 for level in self.levels.values()):
            raise ValueError(f"Bath.levels must lie between 0 and 1, got {dict(self.levels)!r}")


def _check_curve(curve: tuple[tuple[float, float], ...]) -> None:
    """Raise ValueError unless current densities rise from zero or more and every efficiency can be."""
    where = [at for at, _ in curve]
    if not all(math.isfinite(at) and at >= 0.0 for at in where) or any(low >= high for low, high in pairwise(where)):
        raise ValueError(f"Bath.efficiency_curve needs current densities that rise, got {where!r}")
    for _, share in curve:
        if not 0.0 < share <= 1.0:
            raise ValueError(f"Bath.efficiency_curve holds an efficiency that cannot be: {share!r}")


def _need_positive(record: object, *names: str, owner: str = "") -> None:
    """Raise ValueError unless each named attribute is a positive finite number."""
    for name in names:
        value = getattr(record, name)
        if not (math.isfinite(value) and value > 0.0):
            raise ValueError(f"{owner or type(record).__name__}.{name} must be positive and finite, got {value!r}")
