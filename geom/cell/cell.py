"""Records of the set-up. Tank frame: origin on the floor at the centre of the tank, z up, metres."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.chemistry import Bath
from geom.electrode.laws import Law
from geom.findings import Finding
from geom.part.part import Part
from geom.surface.turning import rotation


@dataclass(frozen=True, slots=True)
class BoxTank:
    """A rectangular tank; the liquid surface is at z = depth."""

    length: float  # along x [m]
    width: float  # along y [m]
    depth: float  # of liquid [m]

    @property
    def volume(self) -> float:
        """Liquid volume with nothing in it [m³]."""
        return self.length * self.width * self.depth


@dataclass(frozen=True, slots=True)
class JarTank:
    """A round tank; the liquid surface is at z = depth."""

    diameter: float
    depth: float

    @property
    def volume(self) -> float:
        """Liquid volume with nothing in it [m³]."""
        return float(np.pi) / 4.0 * self.diameter**2 * self.depth


Tank = BoxTank | JarTank


@dataclass(frozen=True, slots=True)
class SheetAnode:
    """A flat anode: length along x, width along y, height along z; ``at`` is its centre."""

    length: float
    width: float
    height: float
    at: tuple[float, float, float]
    law: Law | None = None  # None: no polarization


@dataclass(frozen=True, slots=True)
class RodAnode:
    """A round anode standing along z; ``at`` is its centre."""

    diameter: float
    height: float
    at: tuple[float, float, float]
    law: Law | None = None


@dataclass(frozen=True, slots=True)
class InnerWire:
    """A straight wire asked for along the axis of a bore, slot or inside of the part: placed when the part hangs.

    Of a rack of copies, each has its own.
    """

    diameter: float
    through: str  # name of the feature, or the words before its size
    beyond: float  # how far it sticks out of the feature at both ends [m]
    law: Law | None = None


@dataclass(frozen=True, slots=True)
class WireAnode:
    """A round wire from one point to another."""

    diameter: float
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    law: Law | None = None
    inner: InnerWire | None = None  # it runs through the part, and moves with it

    @property
    def at(self) -> tuple[float, float, float]:
        """Its middle [m]."""
        x, y, z = (0.5 * (a + b) for a, b in zip(self.start, self.end, strict=True))
        return x, y, z


Anode = SheetAnode | RodAnode | WireAnode


@dataclass(frozen=True, slots=True)
class Slab:
    """A flat plate: length along x, width along y, height along z, then turned as a part is; ``at`` is its centre."""

    length: float
    width: float
    height: float
    at: tuple[float, float, float]
    turn: tuple[float, float, float] = (0.0, 0.0, 0.0)  # about x, then y, then z [rad]


@dataclass(frozen=True, slots=True)
class Wire:
    """A round wire from one point to another."""

    diameter: float
    start: tuple[float, float, float]
    end: tuple[float, float, float]


Thief = Slab | Wire
"""An extra cathode, at the potential of the part: it takes current that an edge would get."""

Shield = Slab
"""An insulating plate."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Where and how the part hangs: turned about the tank's x, then y, then z axis, then moved.

    ``at`` is where the centre of the part's bounding box, after turning, comes to lie.
    """

    turn: tuple[float, float, float]  # [rad]
    at: tuple[float, float, float]  # [m]

    @property
    def rotation(self) -> Floats:
        """(3, 3) rotation matrix: Rz @ Ry @ Rx."""
        return rotation(self.turn)


@dataclass(frozen=True, slots=True)
class Immersed:
    """A pose given by how deep the lowest point of the part lies under the liquid surface."""

    turn: tuple[float, float, float]  # [rad]
    at: tuple[float, float]  # x and y of the centre of the part's bounding box [m]
    depth: float  # [m]

    def pose(self, height: float, tank: Tank) -> Pose:
        """Return the pose of a part that is so high after turning [m]."""
        return Pose(self.turn, (*self.at, tank.depth - self.depth + 0.5 * height))


@dataclass(frozen=True, eq=False)
class Cell:
    """Everything the current flows through and between."""

    tank: Tank
    anodes: tuple[Anode, ...]
    part: Part
    pose: Pose
    bath: Bath
    findings: tuple[Finding, ...] = ()
    shields: tuple[Shield, ...] = ()
    thieves: tuple[Thief, ...] = ()
