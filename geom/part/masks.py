"""What is done to a part before it is hung: stop-off, contacts, plugs, threads. Places in the frame of the part [m]."""

from dataclasses import dataclass

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class StopOff:
    """Whole features covered with lacquer, wax or tape: by name, name without its size, or kind."""

    features: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StopOffBox:
    """All of the surface inside a box, or on its sides."""

    low: Point
    high: Point


@dataclass(frozen=True, slots=True)
class StopOffNear:
    """All of the surface nearer to a point than ``within``."""

    at: Point
    within: float  # [m]


@dataclass(frozen=True, slots=True)
class StopOffFacing:
    """All faces of the surface that look into a direction, or aslant to it by at most ``within``."""

    direction: Point  # of any length
    within: float  # [rad]


@dataclass(frozen=True, slots=True)
class Contact:
    """Where a hook or a clip sits: a round spot on the surface, round the nearest point of it to ``at``."""

    at: Point
    diameter: float  # [m]


@dataclass(frozen=True, slots=True)
class Plug:
    """A bore, slot, blind hole or inside of a tube that is closed at every opening."""

    feature: str


CoveringMask = StopOff | StopOffBox | StopOffNear | StopOffFacing | Contact
"""A mask that lies on the surface."""

Mask = CoveringMask | Plug


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread on a feature that is drawn as a plain cylinder.

    ``factor`` is its true area over the drawn one; 0: by the profile, from pitch and nominal diameter.
    """

    feature: str
    factor: float = 0.0
    pitch: float = 0.0  # [m]
    diameter: float = 0.0  # nominal, over the crests of the bolt [m]
