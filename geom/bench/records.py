"""Records of what a job states beside cell and supply; None where it states nothing."""

from dataclasses import dataclass

from geom.chemistry import Range
from geom.provenance import Source


@dataclass(frozen=True, slots=True)
class Hook:
    """What the part hangs by and is fed through."""

    metal: str  # a row of the table of wires
    diameter: float  # of one hook [m]
    count: int = 1


@dataclass(frozen=True, slots=True)
class Lead:
    """The wire from supply to cell."""

    metal: str  # a row of the table of wires
    diameter: float  # of the conductor [m]
    length: float  # there and back together [m]


@dataclass(frozen=True, slots=True)
class Room:
    """What the bath loses heat to."""

    temperature: float  # of the air [K]
    loss: Range | None  # heat lost per kelvin over the air [W/K]; None: estimated from the tank
    most_rise: float  # of the bath over the run, that is put up with [K]


@dataclass(frozen=True, slots=True)
class Substrate:
    """The metal that is plated on."""

    metal: str  # a row of the table of substrates
    strength: float | None  # tensile [Pa]
    strike: str | None = None  # the thin first coat it has had, a row of the table of strikes


@dataclass(frozen=True, slots=True)
class MakeUp:
    """A bath that is to be brought to strength by dissolving anodes."""

    start: float  # metal held [kg/m³]
    end: float  # [kg/m³]
    current: float | None  # [A]


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything of a job's surroundings."""

    hook: Hook | None = None
    lead: Lead | None = None
    room: Room | None = None
    substrate: Substrate | None = None
    make_up: MakeUp | None = None
    stirred: bool | None = None  # is the bath moved at the part? None: not stated
    ventilated: bool = False  # is the air over the bath drawn off?
    anode_materials: tuple[str | None, ...] = ()  # in the words of the job, one for each anode; None: not stated


@dataclass(frozen=True, slots=True)
class WireRule:
    """What a metal carries as hook, rack or lead."""

    metal: str
    rack_rule: float  # stays cool and stiff, by cross-section [A/m²]
    caution: float  # gets warm above this, by cross-section [A/m²]
    warning: float  # gets too hot to touch above this, by cross-section [A/m²]
    resistivity: float  # at 20 °C [ohm m]
    density: float  # [kg/m³]
    source: Source  # of the rack rule
    caution_source: Source  # of caution and warning
    metal_source: Source  # of resistivity and density


@dataclass(frozen=True, slots=True)
class AnodeStock:
    """How a metal is sold that makes anodes of it."""

    metal: str  # symbol
    grade: str  # what to ask for
    sheets: tuple[float, ...]  # usual thicknesses of sheet and strip, the thinnest first [m]
    rods: tuple[float, ...]  # usual diameters of rod and wire, the thinnest first [m]
    density: float  # [kg/m³]
    source: Source
