"""Parts given by their dimensions: the records. `geom.part.build` makes them into a `Part`.

All lengths in metres. Part frame: origin at the centre of the bounding box, length along x, width along
y, thickness along z.
"""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Hole:
    """A through hole along z of the flat it is drilled in, round, or a slot when ``length`` > diameter."""

    diameter: float  # [m]; the width of a slot
    at: tuple[float, float]  # (x, y) of its centre [m]
    length: float = 0.0  # overall length of a slot [m]; 0 = round
    angle: float = 0.0  # of the slot's long axis from x [rad]


@dataclass(frozen=True, slots=True)
class Bar:
    """A rectangular bar or plate with holes through its thickness."""

    length: float
    width: float
    thickness: float
    edge_radius: float = 0.0  # rounding along the outline, both faces; 0 = sharp
    holes: tuple[Hole, ...] = ()
    kind: str = "bar"  # "bar" | "plate"


@dataclass(frozen=True, slots=True)
class Rod:
    """A round rod along x."""

    length: float
    diameter: float


@dataclass(frozen=True, slots=True)
class Tube:
    """A round tube along x, open at both ends; ``flattened`` > 0 presses it to that outside thickness along z.

    Flattening keeps the wall and the outside perimeter: two flats joined by half rounds.
    """

    length: float
    diameter: float  # outside, before flattening
    wall: float
    flattened: float = 0.0  # outside thickness after flattening; 0 = round
    holes: tuple[Hole, ...] = ()  # across the flats of a flattened tube, through both walls


@dataclass(frozen=True, slots=True)
class Washer:
    """A flat ring, axis along z."""

    diameter: float
    bore: float
    thickness: float


@dataclass(frozen=True, slots=True)
class Angle:
    """A strip bent once (L): legs of outside length ``length`` along x and ``height`` along z, width along y."""

    length: float
    height: float
    width: float
    thickness: float
    inside_radius: float
    bend: float = 1.5707963267948966  # angle the strip is bent through [rad]
    holes: tuple[Hole, ...] = ()  # in the leg along x; x from the part's centre


@dataclass(frozen=True, slots=True)
class Channel:
    """A strip bent twice the same way (U): web ``width`` across y outside, flanges ``height`` along z, long along x."""

    length: float
    width: float
    height: float
    thickness: float
    inside_radius: float
    holes: tuple[Hole, ...] = ()  # in the web


@dataclass(frozen=True, slots=True)
class Offset:
    """A strip bent twice, opposite ways (Z): two parallel legs along x, ``offset`` apart along z, width along y."""

    length: float  # overall, along x
    width: float
    thickness: float
    offset: float  # distance between the two legs' same-side faces along z
    inside_radius: float
    bend: float = 1.5707963267948966  # angle of each bend [rad]
    holes: tuple[Hole, ...] = ()  # in the legs; x from the part's centre


@dataclass(frozen=True, slots=True)
class Outline:
    """A flat outline with holes, extruded along z by ``thickness``."""

    points: tuple[tuple[float, float], ...]
    thickness: float
    cutouts: tuple[tuple[tuple[float, float], ...], ...] = ()
    holes: tuple[Hole, ...] = ()


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh read from a file; ``unit`` is the length of one file unit in metres, never guessed."""

    path: Path
    unit: float


Shape = Bar | Rod | Tube | Washer | Angle | Channel | Offset | Outline | MeshFile
