"""`Field` to `Deposit`: thickness on every panel of the part after a schedule of poses."""

from dataclasses import dataclass

from geom.arrays import Bools, Floats


@dataclass(frozen=True, slots=True)
class Stage:
    """One stretch of the schedule: a pose held for a time at a current."""

    name: str  # "as hung", "turned half round"
    minutes_share: float  # share of the whole time, 0..1
    time: float  # [s]
    current: float  # [A]
    voltage: float  # [V]


@dataclass(frozen=True, eq=False)
class Deposit:
    """What lies on the part after the whole schedule; arrays run over the part's panels."""

    stages: tuple[Stage, ...]
    thickness: Floats  # (part_count,) [m]
    local_thickness: Floats  # (part_count,) mean over the reference area around each panel [m]
    significant: Bools  # (part_count,)
    areas: Floats  # (part_count,) [m²]
    mass: float  # [kg]
    charge: float  # [C]
    anode_mass: float  # dissolved [kg]
