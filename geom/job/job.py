"""`Job`: what the user asked for, in SI floats and domain records, with the origin of every value."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from geom.bench.records import Bench
from geom.cell.cell import Anode, Immersed, InnerWire, Pose, Shield, Tank, Thief
from geom.chemistry import Bath
from geom.findings import Finding
from geom.part.masks import Mask, Thread
from geom.part.rack import Rack
from geom.part.shapes import Shape
from geom.provenance import Origin


@dataclass(frozen=True, slots=True)
class Supply:
    """The current source."""

    max_voltage: float | None  # [V]; None: not stated, so no limit is weighed
    max_current: float | None  # [A]
    kind: str | None = None  # "constant-current", "constant-voltage", "fixed-voltage"; None: not stated


@dataclass(frozen=True, slots=True)
class Target:
    """What the plating must reach, and the control if the user fixed one (at most one of the two)."""

    thickness: float  # minimum local thickness on the significant surface [m]
    current: float | None  # [A]
    voltage: float | None  # anode metal minus cathode metal [V]
    significant: tuple[str, ...] = ()  # feature names or kinds; ("all",) = everything; () = the default rule
    specification: str | None = None  # the thickness is what this one asks for, in the words of its table

    @property
    def is_fixed(self) -> bool:
        """Did the user fix the current or the voltage?"""
        return self.current is not None or self.voltage is not None


QUICK, USUAL, FINE = 0.05, 0.02, 0.01
"""Accuracies by name, as a share of each figure."""


@dataclass(frozen=True, slots=True)
class Demand:
    """How sure the figures have to be, and what may be spent on it."""

    accuracy: float = USUAL  # the most numerical error of a figure, as a share of it
    panels: int = 16_000  # the most panels of one solve
    seconds: float = 60.0  # after which no finer panels are begun


@dataclass(frozen=True, slots=True)
class AskedPose:
    """One more pose that the schedule may use."""

    name: str
    turn: tuple[float, float, float]  # about the tank's x, then y, then z [rad]
    at: tuple[float, float, float] | None  # of the middle of the part [m]; None: where it hangs first


@dataclass(frozen=True, slots=True)
class Fit:
    """A feature that must not grow more than its fit allows."""

    feature: str  # its name, or the words before its size
    most_thickness: float  # [m]


@dataclass(frozen=True, slots=True)
class Turns:
    """What the schedule may and must do."""

    poses: tuple[AskedPose, ...] = ()  # beside as hung and half turned
    most_turns: int | None = None  # None: one
    most_thickness: float | None = None  # local, at the thickest spot [m]
    fits: tuple[Fit, ...] = ()


@dataclass(frozen=True, eq=False)
class Job:
    """One job, complete but for defaults that need the part's size: those are None and filled by `geom.plan`.

    ``origins`` maps a dotted key ("bath.conductivity", "anode[0].width") to where its value came from.
    """

    title: str
    path: Path | None
    shape: Shape
    bath: Bath
    tank: Tank | None
    anodes: tuple[Anode | InnerWire, ...] | None
    pose: Pose | Immersed | None
    supply: Supply
    target: Target
    origins: Mapping[str, Origin]
    findings: tuple[Finding, ...] = ()
    rack: Rack | None = None  # None: the part hangs alone
    shields: tuple[Shield, ...] = ()
    thieves: tuple[Thief, ...] = ()
    demand: Demand = Demand()
    masks: tuple[Mask, ...] = ()  # stop-off, contacts, plugs
    threads: tuple[Thread, ...] = ()
    roughness: float = 1.0  # true area over drawn area, everywhere
    bench: Bench = field(default_factory=Bench)
    turns: Turns = field(default_factory=Turns)
    tables: tuple[Path, ...] = ()  # files of the user's own baths, the later over the earlier
