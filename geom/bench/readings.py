"""Records of what was read at the bench to fit a bath; None where nothing was read. SI."""

from dataclasses import dataclass, field
from pathlib import Path

from geom.cell.cell import Tank

PLACE_TO = 1e-3
"""How far a length read off a ruler may be off, where nothing is stated [m]; common practice, no source."""

METER_TO = 0.02
"""How far a cheap meter's scale may be off, as a share, where nothing is stated; common practice, no source."""

BALANCE_STEP = 1e-5
"""Smallest step of a balance where none is stated: 0.01 g [kg]."""


@dataclass(frozen=True, slots=True)
class Plate:
    """One of two plates that hang upright, face to face."""

    width: float  # [m]
    thickness: float  # [m]
    immersed: float  # how deep its lower edge hangs under the liquid [m]
    covered: float = 0.0  # liquid over its upper edge; 0: it stands out of the liquid [m]


@dataclass(frozen=True, slots=True)
class TwoPlates:
    """Two plates in a tank, across its length, midway between its walls unless ``middle`` says where."""

    tank: Tank
    first: Plate
    second: Plate
    gap: float  # between the faces [m]
    middle: tuple[float, float]  # x and y of the middle of the gap, from the middle of the tank [m]
    gap_to: float = PLACE_TO
    immersed_to: float = PLACE_TO
    width_to: float = 0.0


@dataclass(frozen=True, slots=True)
class VoltsAmps:
    """Readings of voltage against current; ``*_to`` is how far a reading may be off, None where not stated."""

    volts: tuple[float, ...]
    amps: tuple[float, ...]
    volts_to: float | None = None
    amps_to: float | None = None


@dataclass(frozen=True, slots=True)
class ConductivityReadings:
    """What two plates were read at."""

    plates: TwoPlates
    readings: VoltsAmps
    leads: float = 0.0  # resistance of leads and contacts that the voltage was read over [ohm]
    meters_to: float = METER_TO


@dataclass(frozen=True, slots=True)
class Coupon:
    """A part that was weighed before and after plating."""

    current: float  # [A]
    time: float  # [s]
    gain: float  # [kg]
    step: float = BALANCE_STEP  # smallest step of the balance [kg]
    area: float | None = None  # plated [m²]
    meters_to: float = METER_TO


@dataclass(frozen=True, slots=True)
class SlantPanel:
    """A panel plated in the slant-panel test cell of 267 mL; places are counted from its end near the anode."""

    current: float  # [A]
    burnt_to: float | None = None  # [m]; None: nothing was burnt
    bright_to: float | None = None
    bare_from: float | None = None
    place_to: float = PLACE_TO
    thickness: tuple[tuple[float, float], ...] = ()  # place and thickness [m]
    thickness_to: float | None = None  # [m]
    thickness_current: float = 0.0  # of the panel whose thickness was read [A]
    stirred: bool = False


@dataclass(frozen=True, slots=True)
class PolarizationReadings:
    """Voltage against current over more than a decade."""

    readings: VoltsAmps
    reference: bool  # read against a wire that carries no current, not against the anode


@dataclass(frozen=True, slots=True)
class BurntPlate:
    """A plate that burnt at one current and not yet at another."""

    current: float  # at which it burnt [A]
    clean: float | None  # the highest at which it did not [A]
    area: float  # plated [m²]
    ratio: float | None  # local over mean current density at the place that burnt
    stirred: bool
    meters_to: float = METER_TO


@dataclass(frozen=True, slots=True)
class Readings:
    """The whole file."""

    name: str  # of the bath, as jobs will call it
    title: str
    like: str  # the bath of the tables that it is based on
    temperature: float  # at which all was read [K]
    conductivity: ConductivityReadings | None = None
    coupons: tuple[Coupon, ...] = ()
    panel: SlantPanel | None = None
    polarization: PolarizationReadings | None = None
    limiting: BurntPlate | None = None
    path: Path | None = field(default=None, compare=False)
