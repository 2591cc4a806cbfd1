"""The types that sections of the job file are made of: quantities, words, text, and how they complain.

A complaint is a pydantic error that carries one or more `Mistake`; `table` and `variant` hand those of a
table within a table upwards, so that one pass over the file finds them all. `geom.job.read` adds the lines.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any, NoReturn, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from geom.units import UnitError, parse, show, unit_factor

LONGEST_TEXT = 200


class Section(BaseModel):
    """A table of the job file: no key but those named, nothing converted behind the user's back."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)


S = TypeVar("S", bound=Section)


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake; ``key`` leads to the place to point at, from the table under validation."""

    key: tuple[str | int, ...]
    slug: str
    text: str
    hint: str = ""


def complain(slug: str, text: str, hint: str = "") -> NoReturn:
    """Refuse the value under validation."""
    complain_of([Mistake((), slug, text, hint)])
    raise AssertionError("unreachable")


def complain_of(mistakes: Sequence[Mistake]) -> None:
    """Refuse the value under validation for each of ``mistakes``, if any."""
    if mistakes:
        raise PydanticCustomError("mistakes", "mistakes", {"mistakes": list(mistakes)})


def check(model: type[S], value: object) -> tuple[S | None, list[Mistake]]:
    """Return the section that ``value`` describes, or None and every mistake in it."""
    if not isinstance(value, dict):
        return None, [Mistake((), "job-type", f"{quoted(value)} stands where a table of keys is expected")]
    try:
        return model.model_validate(value), []
    except ValidationError as error:
        return None, list(_mistakes(error, model))


def _mistakes(error: ValidationError, model: type[Section]) -> Iterator[Mistake]:
    """Yield what pydantic collected, as mistakes."""
    needed = [name for name, field in model.model_fields.items() if field.is_required()]
    for found in error.errors(include_url=False):
        key, kind = found["loc"], found["type"]
        if kind == "mistakes":
            for one in found["ctx"]["mistakes"]:
                yield Mistake((*key, *one.key), one.slug, one.text, one.hint)
        elif kind == "missing":
            text = f"{quoted(key[-1])} is missing; required here: {', '.join(needed)}"
            yield Mistake(key, "job-key-missing", text)
        elif kind == "extra_forbidden":
            text = f"{quoted(key[-1])} is not a key of this table"
            yield Mistake(key, "job-key-unknown", text, nearest(str(key[-1]), list(model.model_fields)))
        else:
            yield Mistake(key, "job-type", str(found["msg"])[:LONGEST_TEXT])


def table(model: type[Section]) -> Any:
    """Return the type of a key that holds a table."""
    return BeforeValidator(lambda value: _checked(model, value))


def variant(key: str, models: Mapping[str, type[Section]]) -> Any:
    """Return the type of a key that holds a table whose ``key`` says which keys it has."""

    def read(value: object) -> Section:
        if not isinstance(value, dict):
            complain("job-type", f"{quoted(value)} stands where a table of keys is expected")
        if key not in value:
            complain("job-key-missing", f"{quoted(key)} is missing; it is one of: {', '.join(models)}")
        if not isinstance(value[key], str) or value[key] not in models:
            text = f"{quoted(value[key])} is not known here; expected one of: {', '.join(models)}"
            hint = nearest(value[key], list(models)) if isinstance(value[key], str) else ""
            complain_of([Mistake((key,), "job-word-unknown", text, hint)])
        return _checked(models[value[key]], value)

    return BeforeValidator(read)


def _checked(model: type[Section], value: object) -> Section:
    """Return the section, or hand its mistakes to the table around it."""
    section, mistakes = check(model, value)
    complain_of(mistakes)
    assert section is not None
    return section


def nearest(word: str, known: Sequence[str]) -> str:
    """Return a hint with the nearest known name, or with all of them when none is near."""
    tidy = word.casefold().replace("_", "-").replace(" ", "-")
    folded = {name.replace("_", "-"): name for name in known}
    near = get_close_matches(tidy[:60], folded, n=1, cutoff=0.6)
    return f'did you mean "{folded[near[0]]}"?' if near else f"known here: {', '.join(known)}"


def quoted(value: object) -> str:
    """Return a value as a message shows it: short, on one line, whatever it is."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        shown = "".join(letter if letter.isprintable() else "?" for letter in value[:61])
        return f'"{shown}"' if len(value) <= 60 else f'"{shown[:57]}..."'
    if isinstance(value, int | float):
        return f"{value}" if abs(value) < 1e15 else "a number past all reason"
    if isinstance(value, list | dict):
        return "a list" if isinstance(value, list) else "a table"
    return "a date or time"


@dataclass(frozen=True, slots=True)
class Span:
    """The numbers a quantity may take [SI]; ``unit`` is what the message prints them in."""

    unit: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False  # the low end itself is not allowed

    def check(self, value: float, shown: str) -> float:
        """Return the value, or complain that it is outside."""
        slack = 1e-12 * max(abs(self.low), abs(self.high)) if math.isfinite(self.low + self.high) else 0.0
        if value < self.low - slack or value > self.high + slack or (self.above and value <= self.low):
            complain("job-range", f"{shown} is out of range; {self.words()} is expected here")
        return value

    def words(self) -> str:
        """Return "more than 0 mm and at most 10000 mm"."""
        parts = []
        if math.isfinite(self.low):
            parts.append(f"{'more than' if self.above else 'at least'} {show(self.low, self.unit)}")
        if math.isfinite(self.high):
            parts.append(f"at most {show(self.high, self.unit, 4)}")
        return " and ".join(parts)


def quantity(name: str, span: Span) -> Any:
    """Return the type of a key that holds a quantity as text with its unit, in SI inside."""

    def read(value: object) -> float:
        try:
            number = parse(value, name)
        except UnitError as error:
            slug = {"missing": "job-unit-missing", "mismatch": "job-unit-mismatch"}.get(error.kind)
            slug = slug or ("job-unit-unknown" if error.kind == "unknown" else "job-number")
            complain(slug, str(error))
        return span.check(number, quoted(value))

    return BeforeValidator(read)


def _text(value: object) -> str:
    """Return plain text of a sensible length."""
    if not isinstance(value, str):
        complain("job-type", f"{quoted(value)} stands where text in quotes is expected")
    if not value.strip():
        complain("job-type", "the text is empty")
    if len(value) > LONGEST_TEXT or not value.isprintable():
        complain("job-type", f"text of at most {LONGEST_TEXT} printable characters is expected here")
    return value.strip()


def list_of(count: int | None, what: str) -> Callable[[object], object]:
    """Return the check that a list, of ``count`` entries if given, stands here."""

    def check(value: object) -> object:
        if not isinstance(value, list):
            complain("job-type", f"{quoted(value)} stands where {what} is expected")
        if count is not None and len(value) != count:
            complain("job-type", f"a list of {len(value)} stands where {what} is expected")
        return tuple(value)

    return check


def _mesh_unit(value: object) -> float:
    """Return the length of one unit of a mesh file."""
    if not isinstance(value, str):
        complain("job-type", f'{quoted(value)} stands where a unit in quotes is expected, such as "mm" or "in"')
    try:
        return unit_factor(value, "length")
    except UnitError as error:
        complain("job-unit-unknown", f"{error}; the unit of a mesh file is one word, without a number")


LARGEST_LENGTH = 10.0
_LENGTH = Span("mm", 0.0, LARGEST_LENGTH, above=True)

Text = Annotated[str, BeforeValidator(_text)]
Length = Annotated[float, quantity("length", _LENGTH)]
LengthOrZero = Annotated[float, quantity("length", Span("mm", 0.0, LARGEST_LENGTH))]
Coordinate = Annotated[float, quantity("length", Span("mm", -LARGEST_LENGTH, LARGEST_LENGTH))]
Angle = Annotated[float, quantity("angle", Span("deg", -4.0 * math.pi, 4.0 * math.pi))]
BendAngle = Annotated[float, quantity("angle", Span("deg", math.radians(1.0), math.radians(150.0)))]
OffsetAngle = Annotated[float, quantity("angle", Span("deg", math.radians(1.0), math.radians(90.0)))]
Thickness = Annotated[float, quantity("length", Span("um", 0.05e-6, 1e-3))]
Temperature = Annotated[float, quantity("temperature", Span("°C", 273.15, 373.15, above=True))]
Conductivity = Annotated[float, quantity("conductivity", Span("S/m", 0.0, 200.0, above=True))]
Efficiency = Annotated[float, quantity("fraction", Span("%", 0.0, 1.0, above=True))]
CurrentDensity = Annotated[float, quantity("current density", Span("A/dm2", 0.0, 1e5, above=True))]
Resistance = Annotated[float, quantity("area resistance", Span("ohm m2", 0.0, 10.0, above=True))]
Slope = Annotated[float, quantity("slope", Span("mV/decade", 0.0, 1.0, above=True))]
Current = Annotated[float, quantity("current", Span("A", 0.0, 1e4, above=True))]
Voltage = Annotated[float, quantity("voltage", Span("V", 0.0, 1e3, above=True))]
MeshUnit = Annotated[float, BeforeValidator(_mesh_unit)]
Point2 = Annotated[
    tuple[Coordinate, Coordinate], BeforeValidator(list_of(2, 'a pair of lengths such as ["10 mm", "0 mm"]'))
]
Point3 = Annotated[
    tuple[Coordinate, Coordinate, Coordinate],
    BeforeValidator(list_of(3, 'three lengths such as ["0 mm", "0 mm", "75 mm"]')),
]
Turn = Annotated[
    tuple[Angle, Angle, Angle],
    BeforeValidator(list_of(3, 'three angles such as ["0 deg", "90 deg", "0 deg"]')),
]
Polygon = Annotated[tuple[Point2, ...], BeforeValidator(list_of(None, "a list of points"))]
a_list: Any = BeforeValidator(list_of(None, "a list"))
