"""Rows of a user's own table of a bath: what may be stated, in which unit, and who stands behind it."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Annotated, Any

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from geom.job.fields import (
    Mistake,
    Section,
    Span,
    Text,
    check,
    complain,
    complain_of,
    list_of,
    nearest,
    quantity,
    quoted,
    table,
)
from geom.provenance import Trust
from geom.tables.load import BASES, Row
from geom.tables.own import BOUNDS

LONGEST = 2000

_AMOUNT = re.compile(r"\s*([-+]?[0-9.]+(?:[eE][-+]?[0-9]+)?)\s*(\S.*?)?\s*")


@dataclass(frozen=True, slots=True)
class _Kind:
    """What a row holds: a quantity of `geom.units`, or a number that always has the same unit."""

    quantity: str  # "" for a number with `unit`
    span: Span
    unit: str = ""

    def check(self, number: float, unit: str) -> None:
        """Complain unless the number, in its unit, can be."""
        if not self.quantity:
            if unit != self.unit:
                asked = f'in "{self.unit}"' if self.unit else "without a unit"
                complain("job-unit-mismatch", f"{quoted(f'{number:g} {unit}'.strip())} is not {asked}")
            self.span.check(number, f"{number:g} {unit}".strip())
        else:
            text: object = number if self.quantity == "fraction" and not unit else f"{number!r} {unit}".strip()
            quantity(self.quantity, self.span).func(text)


_DENSITY = _Kind("current density", Span("A/dm2", 0.0, 1e5, above=True))
_SHARE = _Kind("fraction", Span("%", 0.0, 1.0, above=True))
_SLOPE = _Kind("slope", Span("mV/decade", 0.0, 1.0, above=True))
_CONDUCTIVITY = _Kind("conductivity", Span("S/m", 0.0, 200.0, above=True))
_TEMPERATURE = _Kind("temperature", Span("°C", 273.15, 373.15, above=True))
_PLAIN = _Kind("", Span("", 0.0, 1e6))


def _words(value: object) -> str:
    """Return printable text."""
    if not isinstance(value, str) or not value.strip():
        complain("job-type", f"{quoted(value)} stands where text in quotes is expected")
    if len(value) > LONGEST or not value.isprintable():
        complain("job-type", f"text of at most {LONGEST} printable characters is expected here")
    return value.strip()


def _one_of(words: tuple[str, ...]) -> Any:
    """Return the type of a key that holds one of the words."""

    def read(value: object) -> str:
        if not isinstance(value, str) or value not in words:
            text = f"{quoted(value)} is not known here; it is one of: {', '.join(words)}"
            complain("job-word-unknown", text, nearest(value, words) if isinstance(value, str) else "")
        return value

    return BeforeValidator(read)


def _sources(value: object) -> tuple[str, ...]:
    """Return one or more texts."""
    if not isinstance(value, list):
        return (_words(value),)
    if not value:
        complain("job-type", "the list of sources is empty")
    return tuple(_words(entry) for entry in value)


def _temperature_text(value: object) -> str:
    """Return a temperature as it is written."""
    quantity("temperature", _TEMPERATURE.span).func(value)
    return str(value)


Words = Annotated[str, BeforeValidator(_words)]


class StandingKeys(Section):
    """Who stands behind a row, and a remark."""

    source: Annotated[tuple[str, ...], BeforeValidator(_sources)] | None = None
    basis: Annotated[str, _one_of(BASES)] = "user"
    trust: Annotated[str, _one_of(tuple(Trust))] = "fair"
    text: Words | None = None

    def standing(self) -> Row:
        """Return the row so far; without a source it is that of the file."""
        row: dict[str, Any] = {"source": list(self.source or ()), "basis": self.basis, "trust": self.trust}
        return row if self.text is None else row | {"text": self.text}


class RowKeys(StandingKeys):
    """One figure."""

    typical: Any
    low: Any = None
    high: Any = None
    unit: Text | None = None
    at: Annotated[str, BeforeValidator(_temperature_text)] | None = None
    level: Annotated[float, quantity("fraction", Span("%", 0.5, 0.999))] | None = None


class CurveKeys(StandingKeys):
    """A figure against another."""

    points: Annotated[tuple[Any, ...], BeforeValidator(list_of(None, "a list of points"))]
    unit: Text | None = None


class NoteKeys(StandingKeys):
    """Words alone."""

    text: Words


def collected(mistakes: list[Mistake], key: tuple[str | int, ...], read: Callable[[], Any]) -> Any:
    """Return what ``read`` returns, or None with its complaints added to ``mistakes`` under ``key``."""
    try:
        return read()
    except PydanticCustomError as error:
        context: Any = error.context
        mistakes += [Mistake((*key, *one.key), one.slug, one.text, one.hint) for one in context["mistakes"]]
        return None


def _amount(value: object, unit: str | None, kind: _Kind) -> tuple[float, str]:
    """Return number and unit of a bound: a number in the row's unit, or text with its own."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        complain("job-type", f"{quoted(value)} stands where a number, or text with a unit, is expected")
    if isinstance(value, str):
        found = _AMOUNT.fullmatch(value)
        if found is None:
            complain("job-number", f"{quoted(value)} is no number with a unit")
        if unit is not None and found[2]:
            complain("job-keys-exclude", f"{quoted(value)} has a unit, and unit gives another", "leave one out")
        try:
            value, unit = float(found[1]), found[2] or unit
        except ValueError:
            complain("job-number", f"{quoted(value)} is no number with a unit")
    number = float(value)
    if not math.isfinite(number):
        complain("job-number", "a number is expected here")
    kind.check(number, unit or "")
    return number, unit or ""


def _row(kind: _Kind, *, at: str | None = None) -> Any:
    """Return the type of a key that holds a figure; ``at`` is "needed", or the temperature it has without one."""

    def read(value: object) -> Row:
        keys, mistakes = check(RowKeys, value if isinstance(value, dict) else {"typical": value})
        complain_of(mistakes)
        assert keys is not None
        found: dict[str, tuple[float, str]] = {}
        for bound in BOUNDS:
            given = getattr(keys, bound)
            if given is None:
                continue
            key = (bound,) if isinstance(value, dict) else ()
            one = collected(mistakes, key, partial(_amount, given, keys.unit, kind))
            found |= {bound: one} if one is not None else {}
        complain_of(mistakes)
        units = {unit for _, unit in found.values()}
        if len(units) > 1:
            complain("job-unit-mismatch", f"low, typical and high are in different units: {', '.join(sorted(units))}")
        numbers = {bound: found[bound][0] for bound in BOUNDS if bound in found}
        if list(numbers.values()) != sorted(numbers.values()):
            complain("job-range", "low, typical and high are not in this order")
        if keys.at is not None and at is None:
            complain_of([Mistake(("at",), "job-key-unknown", '"at" says nothing here: the figure has no temperature')])
        if keys.at is None and at == "needed":
            text = "at what temperature does this hold? A conductivity grows with it"
            complain_of(
                [Mistake(("at",), "job-key-missing", text, 'write { typical = 8.1, unit = "S/m", at = "50 C" }')]
            )
        (unit,) = units
        return {
            **numbers,
            **({"unit": unit} if unit else {}),
            **({"at": keys.at or at} if at else {}),
            **({} if keys.level is None else {"level": keys.level}),
            **keys.standing(),
        }

    return BeforeValidator(read)


def _point(value: object, unit: str | None) -> tuple[float, str, float]:
    """Return current density, its unit and the efficiency of a point of a curve."""
    pair: Any = list_of(2, 'a current density and an efficiency such as ["2 A/dm2", "75 %"]')(value)
    number, unit = _amount(pair[0], unit, _Kind("current density", Span("A/dm2", 0.0, 1e5)))
    share, percent = _amount(pair[1], None, _SHARE)
    return number, unit, share / 100.0 if percent else share


def _curve(value: object) -> Row:
    """Return a curve of efficiency against current density."""
    keys, mistakes = check(CurveKeys, value if isinstance(value, dict) else {"points": value})
    complain_of(mistakes)
    assert keys is not None
    points, units = [], set()
    for index, point in enumerate(keys.points):
        key = ("points", index) if isinstance(value, dict) else (index,)
        one = collected(mistakes, key, partial(_point, point, keys.unit))
        if one is not None:
            points.append([one[0], one[2]])
            units.add(one[1])
    complain_of(mistakes)
    if not points:
        complain("job-type", "the curve has no point")
    if len(units) > 1:
        complain("job-unit-mismatch", f"the points are in different units: {', '.join(sorted(units))}")
    if any(one[0] >= other[0] for one, other in pairwise(points)):
        complain("job-range", "the current densities of the points do not rise")
    return {"points": points, "unit": units.pop(), **keys.standing()}


def _note(value: object) -> Row:
    """Return words, and who stands behind them."""
    keys, mistakes = check(NoteKeys, value if isinstance(value, dict) else {"text": value})
    complain_of(mistakes)
    assert keys is not None
    return keys.standing()


class ValuesKeys(Section):
    """The figures of a bath."""

    temperature: Annotated[Row, _row(_TEMPERATURE)] | None = None
    pH: Annotated[Row, _row(_Kind("", Span("", -2.0, 16.0)))] | None = None
    current_density: Annotated[Row, _row(_DENSITY)] | None = None
    current_density_asf: Annotated[Row, _row(_DENSITY)] | None = None
    current_density_cold: Annotated[Row, _row(_DENSITY)] | None = None
    efficiency: Annotated[Row, _row(_SHARE)] | None = None
    efficiency_curve: Annotated[Row, BeforeValidator(_curve)] | None = None
    conductivity: Annotated[Row, _row(_CONDUCTIVITY, at="needed")] | None = None
    conductivity_20C: Annotated[Row, _row(_CONDUCTIVITY)] | None = None
    conductivity_per_kelvin: Annotated[Row, _row(_Kind("", Span("", 0.0, 5.0), "%/K"), at="20 C")] | None = None
    tafel_slope: Annotated[Row, _row(_SLOPE)] | None = None
    anodic_slope: Annotated[Row, _row(_SLOPE)] | None = None
    exchange_current_density: Annotated[Row, _row(_DENSITY)] | None = None
    activation_energy: Annotated[Row, _row(_Kind("", Span("", 0.0, 1e3), "kJ/mol"))] | None = None
    limiting_current_density: Annotated[Row, _row(_DENSITY)] | None = None
    limiting_current_density_stirred: Annotated[Row, _row(_DENSITY)] | None = None
    anode_current_density: Annotated[Row, _row(_DENSITY)] | None = None
    anode_area_ratio: Annotated[Row, _row(_Kind("", Span("", 0.0, 100.0, above=True)))] | None = None
    throwing_power: Annotated[Row, _row(_Kind("", Span("", -100.0, 100.0), "%"))] | None = None
    cell_voltage: Annotated[Row, _row(_Kind("voltage", Span("V", 0.0, 1e3, above=True)))] | None = None
    time: Annotated[Row, _row(_Kind("time", Span("min", 0.0, 1e7, above=True)))] | None = None

    def rows(self) -> dict[str, Row]:
        """Return what is stated."""
        found = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: row for name, row in found.items() if row is not None}


def _rows_of(read_one: Callable[[object], Row]) -> Any:
    """Return the type of a table of rows whose names are free."""

    def read(value: object) -> dict[str, Row]:
        if not isinstance(value, dict):
            complain("job-type", f"{quoted(value)} stands where a table of keys is expected")
        mistakes: list[Mistake] = []
        found = {key: collected(mistakes, (key,), partial(read_one, one)) for key, one in value.items()}
        complain_of(mistakes)
        return found

    return BeforeValidator(read)


def _constituent(value: object) -> Row:
    """Return how much of a substance is in the bath, in any unit, or words."""
    keys, mistakes = check(RowKeys, value if isinstance(value, dict) else {"typical": value})
    complain_of(mistakes)
    assert keys is not None
    text = keys.typical if isinstance(keys.typical, str) else ""
    unit = keys.unit or (found[2] if (found := _AMOUNT.fullmatch(text)) else None) or ""
    row: Row = _row(_Kind("", _PLAIN.span, unit)).func(value)
    return row


class OwnBathKeys(Section):
    """One bath of the user's."""

    like: Text | None = None
    title: Text | None = None
    metal: Text | None = None
    use: Text | None = None
    composition: Annotated[dict[str, Row], _rows_of(_constituent)] = {}  # noqa: RUF012  (the model is frozen)
    values: Annotated[ValuesKeys, table(ValuesKeys)] = ValuesKeys()
    notes: Annotated[dict[str, Row], _rows_of(_note)] = {}  # noqa: RUF012
