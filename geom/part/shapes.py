"""Parts given by their dimensions: the records. `geom.part.build` makes them into a `Part`.

All lengths in metres. Part frame: origin at the centre of the bounding box, length along x, width along
y, thickness along z.
"""

from dataclasses import dataclass
from pathlib import Path

from geom.formats.raw import USUAL, Limits


@dataclass(frozen=True, slots=True)
class Hole:
    """A through hole along z of the flat it is drilled in, round, or a slot when ``length`` > diameter."""

    diameter: float  # [m]; the width of a slot
    at: tuple[float, float]  # (x, y) of its centre [m]
    length: float = 0.0  # overall length of a slot [m]; 0 = round
    angle: float = 0.0  # of the slot's long axis from x [rad]


@dataclass(frozen=True, slots=True)
class Bar:
    """A rectangular bar or plate with holes through its thickness.

    ``edge_radius`` rounds all twelve edges alike; the edges of holes stay sharp.
    """

    length: float
    width: float
    thickness: float
    edge_radius: float = 0.0  # 0 = sharp; at most half the least dimension
    holes: tuple[Hole, ...] = ()
    kind: str = "bar"  # "bar" | "plate"


@dataclass(frozen=True, slots=True)
class Rod:
    """A round rod along x."""

    length: float
    diameter: float


@dataclass(frozen=True, slots=True)
class Tube:
    """A round tube along x, open at both ends; ``flattened`` > 0 presses it to that thickness along z.

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
    """A strip bent once (L): one leg along x, the other up from its -x end, width along y.

    ``length`` and ``height`` are measured along the outer face of each leg to where the two outer faces would
    meet: for a square bend, the overall size.
    """

    length: float
    height: float
    width: float
    thickness: float
    inside_radius: float
    bend: float = 1.5707963267948966  # angle the strip is bent through [rad]
    holes: tuple[Hole, ...] = ()  # in the leg along x; x from the part's centre


@dataclass(frozen=True, slots=True)
class Channel:
    """A strip bent twice the same way (U), open upwards, long along x.

    The web is ``width`` across y and the flanges ``height`` along z, both outside.
    """

    length: float
    width: float
    height: float
    thickness: float
    inside_radius: float
    holes: tuple[Hole, ...] = ()  # in the web


@dataclass(frozen=True, slots=True)
class Offset:
    """A strip bent twice, opposite ways (Z), width along y: two equal legs along x, ``offset`` apart in z."""

    length: float  # overall, along x
    width: float
    thickness: float
    offset: float  # distance between the two legs' same-side faces along z
    inside_radius: float
    bend: float = 1.5707963267948966  # angle of each bend [rad]
    holes: tuple[Hole, ...] = ()  # in the legs; x from the part's centre


@dataclass(frozen=True, slots=True)
class Outline:
    """A flat outline with holes, extruded along z by ``thickness``.

    Points, cutouts and holes share one drawing with its origin anywhere; the part is centred afterwards.
    """

    points: tuple[tuple[float, float], ...]
    thickness: float
    cutouts: tuple[tuple[tuple[float, float], ...], ...] = ()
    holes: tuple[Hole, ...] = ()


@dataclass(frozen=True, slots=True)
class MeshFile:
    """A mesh read from a file."""

    path: Path
    unit: float | None  # length of one file unit [m], never guessed; None: the file must state it itself
    strict: bool = False  # refuse what would have to be repaired
    thickness: float = 0.0  # of a sheet that the file has without any [m]; 0: refuse one
    limits: Limits = USUAL


@dataclass(frozen=True, slots=True)
class BendLine:
    """Where a flat blank is bent: about a straight line of the drawing.

    What lies to the left of the line, looking from ``start`` to ``end``, stays; the rest is bent upward (+z) for
    a positive angle. The line is the middle of the strip that becomes the bend; it runs from edge to edge of the
    metal that is bent. ``k_factor`` says where the metal keeps its length: at this share of the thickness from
    the inside of the bend, so that a strip ``angle * (inside_radius + k_factor * thickness)`` wide becomes the bend.
    """

    start: tuple[float, float]  # [m], frame of the drawing
    end: tuple[float, float]
    angle: float  # [rad], negative bends down
    inside_radius: float  # [m]
    k_factor: float = 0.5  # half: the bend keeps the volume of the strip; the trade uses 0.33 to 0.5


@dataclass(frozen=True, slots=True)
class Drawing:
    """A flat outline with holes from a DXF or SVG file, extruded along z by ``thickness``, bent where asked."""

    path: Path
    unit: float | None  # as of `MeshFile`
    thickness: float
    bends: tuple[BendLine, ...] = ()
    limits: Limits = USUAL


Shape = Bar | Rod | Tube | Washer | Angle | Channel | Offset | Outline | MeshFile | Drawing
