"""What hangs and stands in the tank beside the usual: a rack of copies, shields, thieves."""

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from geom.cell.cell import Shield, Slab, Thief, Wire
from geom.job.fields import (
    Length,
    LengthOrZero,
    Mistake,
    Point3,
    Section,
    Turn,
    complain,
    complain_of,
    list_of,
    quoted,
)
from geom.part.rack import Rack

MOST_BODIES = 50  # of one kind
MOST_COPIES = 60


def many(name: str) -> Any:
    """Return the check of a list of tables; a single table is the likeliest slip."""

    def read(value: object) -> object:
        if isinstance(value, dict):
            complain(
                "job-type",
                f"[{name}] is a single table; each {name} is one of a list",
                f"write [[{name}]] in double brackets",
            )
        if isinstance(value, list) and not 1 <= len(value) <= MOST_BODIES:
            complain("job-range", f"{len(value)} entries of {name}; at least 1 and at most {MOST_BODIES} are expected")
        return value

    return BeforeValidator(read)


def _whole_numbers(what: str) -> Callable[[object], object]:
    """Return the check that a list of three whole numbers from 1 stands here."""

    def read(value: object) -> object:
        three = list_of(3, what)(value)
        assert isinstance(three, tuple)
        for number in three:
            if isinstance(number, bool) or not isinstance(number, int):
                complain("job-type", f"{quoted(number)} stands where a whole number of copies is expected")
            if number < 1:
                complain("job-range", f"{number} copies along an axis; 1 is the least, and means no neighbour")
        return three

    return read


Copies = Annotated[tuple[int, int, int], BeforeValidator(_whole_numbers("three whole numbers such as [1, 3, 1]"))]
Pitch = Annotated[
    tuple[LengthOrZero, LengthOrZero, LengthOrZero],
    BeforeValidator(list_of(3, 'three lengths such as ["0 mm", "40 mm", "0 mm"]')),
]


class RackKeys(Section):
    """Copies of the part that hang as one."""

    copies: Copies
    pitch: Pitch

    @model_validator(mode="after")
    def _check(self) -> "RackKeys":
        rack, mistakes = self.record(), []
        if not 2 <= rack.count <= MOST_COPIES:
            text = f"{rack.count} parts in all; at least 2 and at most {MOST_COPIES} are expected on a rack"
            mistakes.append(Mistake(("copies",), "job-range", text, "leave [rack] out for a single part"))
        for axis, (name, copies, pitch) in enumerate(zip("xyz", self.copies, self.pitch, strict=True)):
            if copies > 1 and pitch == 0:
                text = f"{copies} copies along {name} with no pitch would hang in one place"
                hint = "the pitch is the distance from centre to centre"
                mistakes.append(Mistake(("pitch", axis), "job-range", text, hint))
        complain_of(mistakes)
        return self

    def record(self) -> Rack:
        """Return the domain's record."""
        return Rack(self.copies, self.pitch)


class ShieldKeys(Section):
    """An insulating plate."""

    length: Length
    width: Length
    height: Length
    at: Point3
    turn: Turn = (0.0, 0.0, 0.0)

    def record(self) -> Shield:
        """Return the domain's record."""
        return Slab(self.length, self.width, self.height, self.at, self.turn)


class ThiefKeys(Section):
    """What every thief says."""

    shape: str

    def record(self) -> Thief:
        """Return the domain's record."""
        raise NotImplementedError


class StripKeys(ThiefKeys):
    """A flat thief."""

    length: Length
    width: Length
    height: Length
    at: Point3
    turn: Turn = (0.0, 0.0, 0.0)

    def record(self) -> Thief:
        """Return the domain's record."""
        return Slab(self.length, self.width, self.height, self.at, self.turn)


class WireThiefKeys(ThiefKeys):
    """A round thief."""

    diameter: Length
    start: Point3
    end: Point3

    @model_validator(mode="after")
    def _check(self) -> "WireThiefKeys":
        complain_of(no_length(self.start, self.end))
        return self

    def record(self) -> Thief:
        """Return the domain's record."""
        return Wire(self.diameter, self.start, self.end)


THIEVES: dict[str, type[Section]] = {"strip": StripKeys, "wire": WireThiefKeys}


def no_length(start: tuple[float, ...], end: tuple[float, ...]) -> list[Mistake]:
    """Return the mistake that a wire ends where it starts."""
    if start != end:
        return []
    return [Mistake(("end",), "job-range", "start and end are the same place: the wire has no length")]
