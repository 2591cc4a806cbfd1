"""The sections of what stands round the cell: hook, lead, room, the metal plated on."""

import math
import re
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, model_validator

from geom.bench.records import Hook, Lead, MakeUp, Room, Substrate
from geom.bench.wires import GAUGES, gauge_diameter
from geom.chemistry import Range
from geom.constants import ROOM_RISE, ROOM_TEMPERATURE
from geom.errors import TableError
from geom.job.fields import (
    Current,
    Length,
    Mistake,
    Section,
    Span,
    Temperature,
    Text,
    complain,
    complain_of,
    list_of,
    quantity,
    quoted,
)
from geom.tables.stock import wire_name
from geom.tables.substrates import strike_name, substrate_name
from geom.units import UnitError, parse

MOST_HOOKS = 1000
_WattsPerKelvin = Annotated[float, quantity("heat loss", Span("W/K", 0.0, 1e4, above=True))]
_Kelvins = Annotated[float, quantity("temperature difference", Span("K", 0.0, 80.0, above=True))]
_Concentration = Annotated[float, quantity("concentration", Span("g/L", 0.0, 300.0))]
_Strength = Annotated[float, quantity("pressure", Span("MPa", 1e7, 4e9))]
_DIAMETER = Span("mm", 1e-5, 0.1)
_GAUGE = re.compile(r"(?:AWG|gauge)\s*(\d{1,2})|(\d{1,2})\s*(?:AWG|gauge)", re.IGNORECASE)


def _wire(value: object) -> object:
    """Return the diameter [m] of a wire that is named as it is sold, by gauge or by section; anything else as it is."""
    text = value if isinstance(value, str) else ""
    named = _GAUGE.fullmatch(text.strip())
    if named:
        gauge = int(named[1] or named[2])
        if gauge not in GAUGES:
            complain("job-range", f"{quoted(value)} is out of range; gauges {min(GAUGES)} to {max(GAUGES)} are known")
        return gauge_diameter(gauge)
    try:
        section = parse(text, "area")
    except UnitError:
        return value
    return _DIAMETER.check(math.sqrt(4 * section / math.pi), quoted(value)) if section > 0 else value


def _wire_diameter(value: object) -> object:
    """Return the diameter of a wire [m], from its gauge, section or diameter."""
    found = _wire(value)
    return found if isinstance(found, float) else _read_diameter(found)


_read_diameter = quantity("length", _DIAMETER).func
_WireDiameter = Annotated[float, BeforeValidator(_wire_diameter)]


def _count(value: object) -> int:
    """Return how many hooks share the current."""
    if isinstance(value, bool) or not isinstance(value, int):
        complain("job-type", f"{quoted(value)} stands where a whole number of hooks is expected")
    if not 1 <= value <= MOST_HOOKS:
        complain("job-range", f"{quoted(value)} hooks are out of range; at least 1 and at most {MOST_HOOKS}")
    return value


def _of_table(name: Callable[[str], str]) -> Any:
    """Return the type of a key that holds the name of a row of a table, as ``name`` finds it."""

    def read(value: str) -> str:
        try:
            return name(value)
        except TableError as error:
            complain(error.slug, error.message, error.hint)

    return AfterValidator(read)


class HookKeys(Section):
    """What the part hangs by and is fed through."""

    metal: Annotated[Text, _of_table(wire_name)] = "copper"
    diameter: _WireDiameter
    count: Annotated[int, BeforeValidator(_count)] = 1

    def record(self) -> Hook:
        """Return the domain's record."""
        return Hook(self.metal, self.diameter, self.count)


class LeadKeys(Section):
    """The wire from supply to cell."""

    metal: Annotated[Text, _of_table(wire_name)] = "copper"
    diameter: _WireDiameter
    length: Length

    def record(self) -> Lead:
        """Return the domain's record."""
        return Lead(self.metal, self.diameter, self.length)


class RoomKeys(Section):
    """What the bath loses heat to."""

    temperature: Temperature = ROOM_TEMPERATURE
    loss: (
        Annotated[
            tuple[_WattsPerKelvin, _WattsPerKelvin],
            BeforeValidator(list_of(2, 'the least and the most heat lost per kelvin, such as ["0.5 W/K", "0.9 W/K"]')),
        ]
        | None
    ) = None
    most_rise: _Kelvins = ROOM_RISE

    def record(self) -> Room:
        """Return the domain's record."""
        loss = None if self.loss is None else Range(min(self.loss), sum(self.loss) / 2, max(self.loss))
        return Room(self.temperature, loss, self.most_rise)


class SubstrateKeys(Section):
    """The metal that is plated on."""

    metal: Annotated[Text, _of_table(substrate_name)]
    strength: _Strength | None = None
    strike: Annotated[Text, _of_table(strike_name)] | None = None

    def record(self) -> Substrate:
        """Return the domain's record."""
        return Substrate(self.metal, self.strength, self.strike)


class MakeUpKeys(Section):
    """A bath that is to be brought to strength by dissolving anodes; amounts are of the metal."""

    start: _Concentration = 0.0
    end: _Concentration
    current: Current | None = None

    @model_validator(mode="after")
    def _check(self) -> "MakeUpKeys":
        if self.end <= self.start:
            complain_of([Mistake(("end",), "job-range", "the strength to reach is not above that at the start")])
        return self

    def record(self) -> MakeUp:
        """Return the domain's record."""
        return MakeUp(self.start, self.end, self.current)
