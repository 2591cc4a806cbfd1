"""The job file's sections: what may be asked, and in which unit.

Keys are those of the file. Where several shapes or laws share a section, a word in it (``shape``, ``law``)
says which keys it has.
"""

from itertools import pairwise
from typing import Annotated

from pydantic import BeforeValidator, model_validator

from geom.cell.cell import (
    Anode,
    BoxTank,
    Immersed,
    InnerWire,
    JarTank,
    Pose,
    RodAnode,
    SheetAnode,
    Tank,
    WireAnode,
)
from geom.chemistry import Bath, Range
from geom.electrode.laws import ButlerVolmer, Law, Limited, Linear, Tafel
from geom.errors import TableError
from geom.job.bench import HookKeys, LeadKeys, MakeUpKeys, RoomKeys, SubstrateKeys
from geom.job.bodies import THIEVES, RackKeys, ShieldKeys, ThiefKeys, many, no_length
from geom.job.demand import SolveKeys
from geom.job.fields import (
    Conductivity,
    Coordinate,
    Current,
    CurrentDensity,
    Efficiency,
    Length,
    Mistake,
    Point3,
    Resistance,
    Section,
    Slope,
    Temperature,
    Text,
    Thickness,
    Turn,
    Voltage,
    a_list,
    complain,
    complain_of,
    list_of,
    nearest,
    quoted,
    table,
    variant,
)
from geom.job.files import FileKeys
from geom.job.job import Supply, Target
from geom.job.masks import ContactKeys, Names, PlugKeys, StopOffKeys, ThreadKeys
from geom.job.partkeys import any_part
from geom.job.parts import ShapeKeys
from geom.job.turns import ScheduleKeys
from geom.tables.read import FROM_TABLE, bath_name
from geom.tables.read import bath as bath_of_table
from geom.tables.specs import Specification


class LawKeys(Section):
    """A polarization law."""

    law: str

    def record(self, *, is_anode: bool) -> Law | None:
        """Return the domain's law, written for a cathode, or None for no polarization."""
        return None


class LimitedKeys(LawKeys):
    """A law that a limiting current may cap."""

    limiting_current_density: CurrentDensity | None = None

    def record(self, *, is_anode: bool) -> Law | None:
        """Return the law, under its limiting current if there is one."""
        law = self.kinetic(is_anode=is_anode)
        return law if self.limiting_current_density is None else Limited(law, self.limiting_current_density)

    def kinetic(self, *, is_anode: bool) -> Law:
        """Return the law without its limit."""
        raise NotImplementedError


class LinearKeys(LimitedKeys):
    """Drop proportional to current density."""

    resistance: Resistance

    def kinetic(self, *, is_anode: bool) -> Law:
        """Return the law without its limit."""
        return Linear(self.resistance)


class TafelKeys(LimitedKeys):
    """Drop proportional to the logarithm of current density."""

    exchange_current_density: CurrentDensity
    slope: Slope

    def kinetic(self, *, is_anode: bool) -> Law:
        """Return the law without its limit."""
        return Tafel(self.exchange_current_density, self.slope)


class ButlerVolmerKeys(LimitedKeys):
    """Both directions of the electrode reaction."""

    exchange_current_density: CurrentDensity
    slope: Slope
    anodic_slope: Slope

    def kinetic(self, *, is_anode: bool) -> Law:
        """Return the law without its limit; an anode's is written mirrored, so its slopes change places."""
        slopes = (self.anodic_slope, self.slope) if is_anode else (self.slope, self.anodic_slope)
        return ButlerVolmer(self.exchange_current_density, *slopes)


LAWS: dict[str, type[Section]] = {
    "none": LawKeys,
    "linear": LinearKeys,
    "tafel": TafelKeys,
    "butler-volmer": ButlerVolmerKeys,
}
Polarization = Annotated[LawKeys, variant("law", LAWS)]


class RangeKeys(Section):
    """A range of current density."""

    low: CurrentDensity
    high: CurrentDensity
    typical: CurrentDensity | None = None

    @model_validator(mode="after")
    def _check(self) -> "RangeKeys":
        if not self.low <= self.middle <= self.high:
            text = "low, typical and high are not in this order"
            complain_of([Mistake(("low",), "job-range", text)])
        return self

    @property
    def middle(self) -> float:
        """The typical value; half way when it is not given [A/m²]."""
        return 0.5 * (self.low + self.high) if self.typical is None else self.typical

    def record(self) -> Range:
        """Return the domain's record."""
        return Range(self.low, self.middle, self.high)


def known_bath(value: object) -> str:
    """Return the name of a bath that the tables have and do not refuse."""
    if not isinstance(value, str):
        complain("job-type", f"{quoted(value)} stands where the name of a bath is expected")
    try:
        return bath_name(value)
    except TableError as error:
        complain(error.slug, error.message, error.hint)


def _yes_no(value: object) -> bool:
    """Return true or false, and nothing that stands for them."""
    if not isinstance(value, bool):
        complain("job-type", f"{quoted(value)} stands where true or false is expected")
    return value


YesNo = Annotated[bool, BeforeValidator(_yes_no)]


CurvePoint = Annotated[
    tuple[CurrentDensity, Efficiency],
    BeforeValidator(list_of(2, 'a current density and an efficiency such as ["2 A/dm2", "75 %"]')),
]


class BathKeys(Section):
    """The bath: a name of the tables, and what is known better than they do."""

    name: Annotated[str, BeforeValidator(known_bath)]
    conductivity: Conductivity | None = None
    temperature: Temperature | None = None
    efficiency: Efficiency | None = None
    efficiency_curve: Annotated[tuple[CurvePoint, ...], a_list] | None = None
    polarization: Polarization | None = None
    current_density: Annotated[RangeKeys, table(RangeKeys)] | None = None
    stirred: YesNo | None = None
    ventilated: YesNo = False

    @model_validator(mode="after")
    def _check(self) -> "BathKeys":
        curve = self.efficiency_curve
        if self.efficiency is not None and curve is not None:
            text = (
                "efficiency and efficiency_curve are both given; a curve says the efficiency at every current density"
            )
            complain_of([Mistake(("efficiency_curve",), "job-keys-exclude", text, "leave one out")])
        if curve is not None and not curve:
            complain_of([Mistake(("efficiency_curve",), "job-type", "the curve has no point")])
        if any(one[0] >= other[0] for one, other in pairwise(curve or ())):
            text = "the current densities of the points do not rise"
            complain_of([Mistake(("efficiency_curve",), "job-range", text)])
        return self

    def record(self) -> Bath:
        """Return the bath of the tables with what the job says in place of theirs."""
        return bath_of_table(
            self.name,
            temperature=self.temperature,
            conductivity=self.conductivity,
            efficiency=self.efficiency,
            efficiency_curve=self.efficiency_curve or (),
            law=self.polarization.record(is_anode=False) if self.polarization else FROM_TABLE,
            current_density=self.current_density.record() if self.current_density else None,
            stirred=self.stirred,
        )


class BoxKeys(Section):
    """A rectangular tank."""

    shape: str
    length: Length
    width: Length
    depth: Length

    def record(self) -> Tank:
        """Return the domain's record."""
        return BoxTank(self.length, self.width, self.depth)


class JarKeys(Section):
    """A round tank."""

    shape: str
    diameter: Length
    depth: Length

    def record(self) -> Tank:
        """Return the domain's record."""
        return JarTank(self.diameter, self.depth)


TANKS: dict[str, type[Section]] = {"box": BoxKeys, "jar": JarKeys}


class AnodeKeys(Section):
    """What every anode may say."""

    shape: str
    material: Text | None = None
    polarization: Polarization | None = None

    @property
    def law(self) -> Law | None:
        """The law of the anode, or None for no polarization."""
        return self.polarization.record(is_anode=True) if self.polarization else None

    def record(self) -> Anode | InnerWire:
        """Return the domain's record."""
        raise NotImplementedError


class SheetKeys(AnodeKeys):
    """A flat anode."""

    at: Point3
    length: Length
    width: Length
    height: Length

    def record(self) -> Anode:
        """Return the domain's record."""
        return SheetAnode(self.length, self.width, self.height, self.at, self.law)


class RodAnodeKeys(AnodeKeys):
    """A round anode, upright."""

    at: Point3
    diameter: Length
    height: Length

    def record(self) -> Anode:
        """Return the domain's record."""
        return RodAnode(self.diameter, self.height, self.at, self.law)


class WireKeys(AnodeKeys):
    """A round wire from one place to another, or along the axis of a bore of the part."""

    diameter: Length
    start: Point3 | None = None
    end: Point3 | None = None
    through: Text | None = None
    beyond: Length | None = None

    @model_validator(mode="after")
    def _check(self) -> "WireKeys":
        pairs = {"start": self.start, "end": self.end}, {"through": self.through, "beyond": self.beyond}
        given = [[name for name, value in pair.items() if value is not None] for pair in pairs]
        if all(given):
            text = f"{given[0][0]} and {given[1][0]} are both given"
            hint = "a wire runs from start to end in the tank, or through a feature of the part and beyond it"
            complain_of([Mistake((given[1][0],), "job-keys-exclude", text, hint)])
        wanted = pairs[1] if given[1] else pairs[0]
        missing = [name for name, value in wanted.items() if value is None]
        hint = "a wire has start and end, or through and beyond"
        complain_of([Mistake((name,), "job-key-missing", f'"{name}" is missing', hint) for name in missing])
        complain_of(no_length(self.start, self.end) if self.start and self.end else [])
        return self

    def record(self) -> Anode | InnerWire:
        """Return the domain's record."""
        if self.through is not None and self.beyond is not None:
            return InnerWire(self.diameter, self.through, self.beyond, self.law)
        assert self.start is not None
        assert self.end is not None
        return WireAnode(self.diameter, self.start, self.end, self.law)


ANODES: dict[str, type[Section]] = {"sheet": SheetKeys, "rod": RodAnodeKeys, "wire": WireKeys}


def _place(value: object) -> object:
    """Return the two or three lengths that say where the part hangs."""
    what = 'three lengths such as ["0 mm", "0 mm", "75 mm"]'
    return list_of(2 if isinstance(value, list) and len(value) == 2 else 3, what)(value)


class PoseKeys(Section):
    """How the part hangs: by the place of its centre, or by how deep it is dipped."""

    at: Annotated[tuple[Coordinate, Coordinate] | tuple[Coordinate, Coordinate, Coordinate], BeforeValidator(_place)]
    turn: Turn = (0.0, 0.0, 0.0)
    immersed: Length | None = None

    @model_validator(mode="after")
    def _check(self) -> "PoseKeys":
        hint = "at has x, y and z; or x and y alone where immersed says how deep the lowest point lies"
        if self.immersed is None and len(self.at) == 2:
            text = 'a list of 2 stands where three lengths such as ["0 mm", "0 mm", "75 mm"] is expected'
            complain_of([Mistake(("at",), "job-type", text, hint)])
        if self.immersed is not None and len(self.at) == 3:
            text = "the height of the part is given twice: by the third length of at, and by immersed"
            complain_of([Mistake(("immersed",), "job-keys-exclude", text, hint)])
        return self

    def record(self) -> Pose | Immersed:
        """Return the domain's record."""
        if len(self.at) == 3:
            return Pose(self.turn, self.at)
        assert self.immersed is not None
        return Immersed(self.turn, self.at, self.immersed)


SUPPLIES = ("constant-current", "constant-voltage", "fixed-voltage")


def _supply_kind(value: object) -> str:
    """Return what the supply holds steady."""
    if not isinstance(value, str) or value.strip().casefold() not in SUPPLIES:
        text = f"{quoted(value)} is no kind of supply; it is one of: {', '.join(SUPPLIES)}"
        complain("job-word-unknown", text, nearest(str(value), SUPPLIES))
    return value.strip().casefold()


class SupplyKeys(Section):
    """The current source."""

    max_voltage: Voltage | None = None
    max_current: Current | None = None
    kind: Annotated[str, BeforeValidator(_supply_kind)] | None = None

    def record(self) -> Supply:
        """Return the domain's record."""
        return Supply(self.max_voltage, self.max_current, self.kind)


class TargetKeys(Section):
    """What the plating must reach: a thickness, or the specification that asks for one."""

    thickness: Thickness | None = None
    specification: Text | None = None
    current: Current | None = None
    voltage: Voltage | None = None
    significant: Names = ()

    @model_validator(mode="after")
    def _check(self) -> "TargetKeys":
        hint = 'thickness = "5 um" or specification = "B689 class 5"; geom specs lists them'
        if self.thickness is None and self.specification is None:
            complain_of([Mistake(("thickness",), "job-key-missing", '"thickness" is missing', hint)])
        if self.thickness is not None and self.specification is not None:
            text = "thickness and specification are both given; a specification asks for a thickness of its own"
            complain_of([Mistake(("specification",), "job-keys-exclude", text, "leave one out")])
        return self

    def record(self, specification: Specification | None) -> Target:
        """Return the domain's record; ``specification`` is the one that the text means."""
        thickness = self.thickness if specification is None else specification.thickness
        assert thickness is not None
        words = None if specification is None else specification.words
        return Target(thickness, self.current, self.voltage, self.significant, words)


class JobKeys(Section):
    """The whole file."""

    title: Text | None = None
    tables: Text | None = None
    part: Annotated[ShapeKeys | FileKeys, any_part]
    bath: Annotated[BathKeys, table(BathKeys)]
    tank: Annotated[BoxKeys | JarKeys, variant("shape", TANKS)] | None = None
    anode: Annotated[tuple[Annotated[AnodeKeys, variant("shape", ANODES)], ...], a_list, many("anode")] | None = None
    rack: Annotated[RackKeys, table(RackKeys)] | None = None
    shield: Annotated[tuple[Annotated[ShieldKeys, table(ShieldKeys)], ...], a_list, many("shield")] = ()
    thief: Annotated[tuple[Annotated[ThiefKeys, variant("shape", THIEVES)], ...], a_list, many("thief")] = ()
    stop_off: Annotated[tuple[Annotated[StopOffKeys, table(StopOffKeys)], ...], a_list, many("stop_off")] = ()
    contact: Annotated[tuple[Annotated[ContactKeys, table(ContactKeys)], ...], a_list, many("contact")] = ()
    plug: Annotated[tuple[Annotated[PlugKeys, table(PlugKeys)], ...], a_list, many("plug")] = ()
    thread: Annotated[tuple[Annotated[ThreadKeys, table(ThreadKeys)], ...], a_list, many("thread")] = ()
    pose: Annotated[PoseKeys, table(PoseKeys)] | None = None
    hook: Annotated[HookKeys, table(HookKeys)] | None = None
    lead: Annotated[LeadKeys, table(LeadKeys)] | None = None
    room: Annotated[RoomKeys, table(RoomKeys)] | None = None
    make_up: Annotated[MakeUpKeys, table(MakeUpKeys)] | None = None
    substrate: Annotated[SubstrateKeys, table(SubstrateKeys)] | None = None
    schedule: Annotated[ScheduleKeys, table(ScheduleKeys)] = ScheduleKeys()
    supply: Annotated[SupplyKeys, table(SupplyKeys)] = SupplyKeys()
    target: Annotated[TargetKeys, table(TargetKeys)]
    solve: Annotated[SolveKeys, table(SolveKeys)] = SolveKeys()
