"""`Run`: one plating run as it was done, and what the plan had said of it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Planned:
    """What the plan says, as far as a run is compared with it."""

    bath: str  # its name in the tables
    current: float  # to set [A]
    voltage: float  # [V]
    time: float  # whole schedule [s]
    mass: float  # on the part [kg]
    charge: float  # through the supply [C]
    efficiency: float  # that the plan reckons with
    least_thickness: float  # lowest local thickness on the significant surface [m]
    target: float  # [m]
    equivalent: float  # metal per charge at an efficiency of 1, M/(nF) [kg/C]

    @property
    def share(self) -> float:
        """Share of the charge that goes into the part; the rest goes into thieves."""
        return self.mass / (self.charge * self.equivalent * self.efficiency)


@dataclass(frozen=True, slots=True)
class Run:
    """One run; None where nothing was noted."""

    date: str  # ISO 8601
    bath: str  # that was planned with, so that runs in another one are told apart
    current: float | None = None  # mean over the run [A]
    voltage: float | None = None  # [V]
    time: float | None = None  # with current on [s]
    mass_before: float | None = None  # dry [kg]
    mass_after: float | None = None  # dry [kg]
    balance: float | None = None  # smallest step of the balance [kg]
    share: float = 1.0  # of the charge into the part
    equivalent: float | None = None  # M/(nF) of the metal [kg/C]
    look: str = ""

    @property
    def charge(self) -> float | None:
        """Through the supply [C]."""
        return None if self.current is None or self.time is None else self.current * self.time

    @property
    def gain(self) -> float | None:
        """Metal that the balance found [kg]."""
        return None if self.mass_before is None or self.mass_after is None else self.mass_after - self.mass_before
