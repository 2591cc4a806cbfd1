"""What hangs and stands in the tank beside the usual: a rack of copies and other parts, shields, thieves."""

from collections.abc import Callable, Iterator
from math import prod
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, model_validator

from geom.cell.cell import Shield, Slab, Thief, Wire
from geom.job.fields import (
    Length,
    LengthOrZero,
    Mistake,
    Point3,
    Section,
    Text,
    Turn,
    a_list,
    complain,
    complain_of,
    list_of,
    quoted,
    table,
)
from geom.job.files import FileKeys
from geom.job.partkeys import any_part
from geom.job.parts import ShapeKeys
from geom.part.rack import Other, Rack

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


class OtherKeys(Section):
    """A part of another shape on the rack."""

    name: Text
    part: Annotated[ShapeKeys | FileKeys, any_part]
    at: Point3
    turn: Turn = (0.0, 0.0, 0.0)

    @model_validator(mode="after")
    def _check(self) -> "OtherKeys":
        bad = [letter for letter in ":,()" if letter in self.name]
        if bad:
            text = f"{quoted(self.name)} has {quoted(bad[0])} in it, which stands between the words of the names of features"
            complain_of([Mistake(("name",), "job-range", text, 'a plain word serves: "washer"')])
        if self.part.roughness_factor != 1.0:
            text = "the area factor of roughness is taken for the part under [part] alone"
            complain_of([Mistake(("part", "roughness_factor"), "job-range", text, "leave it out here")])
        if getattr(self.part, "ends", "open") == "plugged":
            text = "plugs, like every mask, are those of the part under [part] alone"
            complain_of([Mistake(("part", "ends"), "job-range", text, 'leave it out here, or let this be the part under [part]')])
        return self

    def record(self, folder: Path) -> Other:
        """Return the domain's record; a file's path is taken from ``folder``."""
        shape = self.part.record(folder) if isinstance(self.part, FileKeys) else self.part.record()
        return Other(self.name, shape, self.turn, self.at)


class RackKeys(Section):
    """Copies of the part, and other parts, that hang as one."""

    copies: Copies = (1, 1, 1)
    pitch: Pitch = (0.0, 0.0, 0.0)
    other: Annotated[tuple[Annotated[OtherKeys, table(OtherKeys)], ...], a_list, many("rack.other")] = ()

    @model_validator(mode="after")
    def _check(self) -> "RackKeys":
        total, mistakes = prod(self.copies) + len(self.other), list(self._alike())
        if not 2 <= total <= MOST_COPIES:
            text = f"{total} parts in all; at least 2 and at most {MOST_COPIES} are expected on a rack"
            mistakes.append(Mistake(("copies",), "job-range", text, "leave [rack] out for a single part"))
        for axis, (name, copies, pitch) in enumerate(zip("xyz", self.copies, self.pitch, strict=True)):
            if copies > 1 and pitch == 0:
                text = f"{copies} copies along {name} with no pitch would hang in one place"
                hint = "the pitch is the distance from centre to centre"
                mistakes.append(Mistake(("pitch", axis), "job-range", text, hint))
        complain_of(mistakes)
        return self

    def _alike(self) -> Iterator[Mistake]:
        """Yield each name that an other part has already."""
        names = [one.name for one in self.other]
        for index, name in enumerate(names):
            if name in names[:index]:
                text = f"{quoted(name)} is the name of another part already"
                yield Mistake(("other", index, "name"), "job-range", text, "each has a name of its own")

    def record(self, folder: Path) -> Rack:
        """Return the domain's record; paths of files are taken from ``folder``."""
        return Rack(self.copies, self.pitch, tuple(one.record(folder) for one in self.other))


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
