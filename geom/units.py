"""Unit text to SI floats and back: the only place that knows millimetres, mils or degrees Fahrenheit.

A quantity is asked for by name; a bare number, another quantity or an unknown unit is an error that says
what was expected. Spellings with ``²``, ``^2`` or ``2``, ``Ω`` or ``ohm``, ``µ`` or ``u`` are the same.
"""

import math
import re
from collections.abc import Mapping
from difflib import get_close_matches
from typing import NamedTuple

from geom.constants import ZERO_CELSIUS

LARGEST = 1e12
"""No number of this trade comes near it, in any unit: beyond it something was mistyped."""

_INCH, _FOOT, _POUND = 0.0254, 0.3048, 0.45359237  # exact, international yard and pound agreement of 1959
_FAHRENHEIT_ZERO = ZERO_CELSIUS - 32.0 / 1.8
_LN10 = math.log(10.0)


class UnitError(ValueError):
    """Text that is not the quantity wanted; ``kind`` is "missing", "mismatch", "unknown" or "number"."""

    def __init__(self, message: str, kind: str = "number") -> None:
        super().__init__(message)
        self.kind = kind


class _Unit(NamedTuple):
    """SI value = factor * number + offset."""

    factor: float
    offset: float = 0.0

    def to_si(self, number: float) -> float:
        """Return the SI value; divides by whole numbers, so that 95 % is 0.95 to the last bit."""
        if self.factor < 1.0 and abs(round(1.0 / self.factor) * self.factor - 1.0) < 1e-12:
            return number / round(1.0 / self.factor) + self.offset
        return number * self.factor + self.offset


def _family(text: str, factor: float, offset: float = 0.0) -> dict[str, _Unit]:
    """Return one unit under each of its spellings."""
    return {name.replace("_", " "): _Unit(factor, offset) for name in text.split()}


QUANTITIES: Mapping[str, Mapping[str, _Unit]] = {
    # The first spelling of the first three to eight units is what messages offer.
    "length": {
        **_family("mm millimetre millimetres millimeter millimeters", 1e-3),
        **_family("cm", 1e-2),
        **_family("m metre metres meter meters", 1.0),
        **_family("um micron microns micrometre micrometres micrometer micrometers", 1e-6),
        **_family('in inch inches "', _INCH),
        **_family("ft foot feet", _FOOT),
        **_family("mil mils thou", _INCH * 1e-3),
        **_family("dm", 1e-1),
        **_family("nm", 1e-9),
    },
    "angle": {
        **_family("deg degree degrees °", math.pi / 180.0),
        **_family("rad radian radians", 1.0),
    },
    "area": {
        **_family("mm2", 1e-6),
        **_family("cm2", 1e-4),
        **_family("dm2", 1e-2),
        **_family("m2", 1.0),
        **_family("in2", _INCH**2),
        **_family("ft2", _FOOT**2),
    },
    "current": {**_family("A amp amps ampere amperes", 1.0), **_family("mA", 1e-3)},
    "current density": {
        **_family("A/dm2 ASD", 1e2),
        **_family("A/m2", 1.0),
        **_family("mA/cm2", 10.0),
        **_family("ASF A/ft2 asf", 1.0 / _FOOT**2),
        **_family("A/cm2", 1e4),
        **_family("uA/cm2", 1e-2),
        **_family("A/in2", 1.0 / _INCH**2),
    },
    "voltage": {**_family("V volt volts", 1.0), **_family("mV", 1e-3)},
    "resistance": {**_family("ohm ohms Ohm", 1.0), **_family("mohm", 1e-3)},
    "area resistance": {
        **_family("ohm_m2", 1.0),
        **_family("ohm_cm2", 1e-4),
        **_family("mohm_m2", 1e-3),
        **_family("ohm_dm2", 1e-2),
        **_family("mohm_cm2", 1e-7),
    },
    "conductivity": {
        **_family("S/m", 1.0),
        **_family("mS/cm", 0.1),
        **_family("S/cm", 100.0),
        **_family("uS/cm", 1e-4),
        **_family("mS/m", 1e-3),
    },
    "temperature": {
        **_family("C °C degC deg_C", 1.0, ZERO_CELSIUS),
        **_family("F °F degF deg_F", 1.0 / 1.8, _FAHRENHEIT_ZERO),
        **_family("K", 1.0),
    },
    "time": {
        **_family("s sec second seconds", 1.0),
        **_family("min minute minutes", 60.0),
        **_family("h hr hour hours", 3600.0),
    },
    "mass": {
        **_family("g", 1e-3),
        **_family("kg", 1.0),
        **_family("mg", 1e-6),
        **_family("oz", _POUND / 16.0),
        **_family("lb", _POUND),
    },
    "volume": {
        **_family("L l litre litres liter liters dm3", 1e-3),
        **_family("mL ml cm3", 1e-6),
        **_family("m3", 1.0),
        **_family("mm3", 1e-9),
        **_family("in3", _INCH**3),
    },
    "slope": {
        **_family("mV/decade mV/dec", 1e-3 / _LN10),
        **_family("V/decade V/dec", 1.0 / _LN10),
        **_family("V V/e-fold", 1.0),  # per e-fold, as the theory writes it
        **_family("mV mV/e-fold", 1e-3),
    },
    "file size": {
        **_family("MB megabyte megabytes", 1.0),
        **_family("GB gigabyte gigabytes", 1e3),
        **_family("kB KB", 1e-3),
    },
    "charge": {**_family("Ah A_h", 3600.0), **_family("A_min", 60.0), **_family("As A_s coulomb", 1.0)},
    "power": {**_family("W", 1.0), **_family("kW", 1e3), **_family("mW", 1e-3)},
    "concentration": {**_family("g/L g/l kg/m3", 1.0), **_family("oz/gal", _POUND / 16.0 / 3.785411784e-3)},
    "heat loss": {**_family("W/K W/degC W/C", 1.0)},
    "temperature difference": _family("K", 1.0),
    "pressure": {
        **_family("Pa", 1.0),
        **_family("MPa N/mm2", 1e6),
        **_family("GPa", 1e9),
        **_family("ksi", 6.894757293168361e6),
    },
    "density": {**_family("g/cm3", 1e3), **_family("kg/m3", 1.0)},
    "molar mass": {**_family("g/mol", 1e-3), **_family("kg/mol", 1.0)},
    "fraction": {**_family("%", 1e-2)},
}

_SPELLING = str.maketrans(
    {
        "µ": "u",
        "μ": "u",
        "Ω": "ohm",
        "\u2126": "ohm",
        "²": "2",
        "³": "3",
        "º": "°",
        "″": '"',
        "“": '"',
        "”": '"',
    }
    | {"·": " ", "⋅": " ", "*": " ", "^": None, "−": "-"}
)
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_FRACTION = re.compile(r"([+-]?)(?:([0-9]{1,6})(?: +| *- *))?([0-9]{1,6}) */ *([0-9]{1,6})")
_FRACTION_UNITS = frozenset(unit for unit in QUANTITIES["length"].values() if unit.factor in (_INCH, _FOOT))


def parse(text: object, quantity: str) -> float:
    """Return ``text`` ("3/8 in", "2.5 A/dm2", "50 C") as an SI float of the quantity named.

    A number without unit is taken for a "fraction" alone.

    Raises
    ------
    UnitError
        Not text, no number, no unit, a unit of another quantity, or a number past all reason.

    Examples
    --------
    >>> parse("0.5 mil", "length")
    1.27e-05
    >>> parse("1-1/2 in", "length")
    0.038099999999999995
    """
    quantity = _known(quantity)
    if isinstance(text, int | float) and not isinstance(text, bool):
        return _bare(text, quantity)
    if not isinstance(text, str):
        raise UnitError(f"{_kind(text)} stands where {_wanted(quantity)}")
    if not text.strip():
        raise UnitError(f"the text is empty; {_wanted(quantity)}", "missing")
    number, rest, is_fraction = _split(text, quantity)
    if not rest and quantity == "fraction":
        return _finite(number, text)
    if not rest:
        raise UnitError(f'"{_clip(text)}" has no unit; {_wanted(quantity)}', "missing")
    unit = _unit(rest, text, quantity)
    if is_fraction and unit not in _FRACTION_UNITS:
        raise UnitError(f'"{_clip(text)}": a fraction is read for inches and feet alone; write a decimal number')
    return unit.to_si(_finite(number, text))


def unit_factor(unit: str, quantity: str) -> float:
    """Return the SI size of one unit: ``unit_factor("mm", "length")`` is 0.001."""
    if not isinstance(unit, str) or not unit.strip():
        raise UnitError(f"{_wanted(_known(quantity), 'a unit of ')}", "missing")
    return _unit(_tidy(unit), unit, _known(quantity)).factor


def show(value: float, unit: str, digits: int = 3) -> str:
    """Return an SI value in ``unit``, rounded to significant digits, the unit spelt as given.

    Examples
    --------
    >>> show(1.27e-05, "µm"), show(323.15, "°C"), show(250.0, "A/dm²"), show(0.95, "%")
    ('12.7 µm', '50 °C', '2.5 A/dm²', '95 %')
    """
    if not math.isfinite(value):
        return "n/a"
    tidy = _tidy(unit)
    if not tidy:
        return _rounded(value, digits)
    found = [units[tidy] for units in QUANTITIES.values() if tidy in units]
    if not found:
        raise UnitError(f'unit "{unit}" is not known', "unknown")
    number = _rounded((value - found[0].offset) / found[0].factor, digits)
    return f"{number}{unit}" if tidy in ("°", '"') else f"{number} {unit}"


def _rounded(value: float, digits: int) -> str:
    """Return the number with ``digits`` significant digits, without trailing zeros."""
    mantissa, _, exponent = f"{value:.{digits - 1}e}".partition("e")
    if float(mantissa) == 0.0:
        return "0"
    if -5 <= int(exponent) < 7:
        text = f"{float(mantissa + 'e' + exponent):.{max(digits - 1 - int(exponent), 0)}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{mantissa.rstrip('0').rstrip('.') if '.' in mantissa else mantissa}e{int(exponent)}"


def _known(quantity: str) -> str:
    """Return the quantity's name as the table has it; an unknown one is a mistake of the program."""
    name = quantity.replace("_", " ")
    if name not in QUANTITIES:
        raise KeyError(f"no quantity {quantity!r}")
    return name


def _split(text: str, quantity: str) -> tuple[float, str, bool]:
    """Return number, tidy unit text, and whether the number was a fraction."""
    tidy = _tidy(text)
    fraction = _FRACTION.match(tidy)
    if fraction:
        sign, whole, top, bottom = fraction.groups()
        if int(bottom) == 0:
            raise UnitError(f'"{_clip(text)}" divides by zero')
        value = int(whole or 0) + int(top) / int(bottom)
        return (-value if sign == "-" else value), tidy[fraction.end() :].strip(), True
    number = _NUMBER.match(tidy)
    if number is None:
        raise UnitError(f'"{_clip(text)}" does not start with a number; {_wanted(quantity)}')
    rest = tidy[number.end() :].strip()
    if re.match(r"[0-9,.'_]", rest):
        raise UnitError(f'"{_clip(text)}" is not one number; write it with a decimal point and no other mark')
    return float(number.group()), rest, False


def _tidy(text: str) -> str:
    """Return the text in the one spelling that the table uses."""
    text = " ".join(text.translate(_SPELLING).split())
    text = re.sub(r" ?(?:/| per ) ?", "/", text)
    return re.sub(r"(?<=ohm)-", " ", text)


def _unit(unit: str, text: str, quantity: str) -> _Unit:
    """Return the unit of the quantity wanted, or say what it is instead."""
    units = QUANTITIES[quantity]
    if unit in units:
        return units[unit]
    for other, others in QUANTITIES.items():
        if unit in others:
            raise UnitError(f'"{_clip(text)}" is {_article(other)}; {_wanted(quantity)}', "mismatch")
    near = [name for name in units if name.casefold() == unit.casefold()]
    near = near or get_close_matches(unit[:40], units, n=1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    raise UnitError(f'"{_clip(text)}": unit "{_clip(unit)}" is not known; {_wanted(quantity)}{hint}', "unknown")


def _bare(value: int | float, quantity: str) -> float:
    """Return a bare number where a fraction is wanted; anything else needs a unit."""
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if quantity != "fraction" or not abs(number) <= LARGEST:
        if quantity == "fraction":
            raise UnitError("the number is not finite or past all reason")
        shown = f"{value}" if abs(number) <= LARGEST else "the number"
        raise UnitError(f'{shown} has no unit; {_wanted(quantity)}, written as text: "1 {_first(quantity)}"', "missing")
    return number


def _finite(value: float, text: str) -> float:
    """Return the value, unless it is past all reason."""
    if not abs(value) <= LARGEST:
        raise UnitError(f'"{_clip(text)}" is past all reason')
    return value


def _first(quantity: str) -> str:
    """Return the first unit that messages offer."""
    return next(iter(QUANTITIES[quantity]))


def _wanted(quantity: str, prefix: str = "") -> str:
    """Return "a length is needed here (mm, cm, m, um, in, ft, mil)": one spelling for each unit."""
    spellings: dict[_Unit, str] = {}
    for name, unit in QUANTITIES[quantity].items():
        spellings.setdefault(unit, name)
    offered = ", ".join(list(spellings.values())[:7])
    if quantity == "fraction":
        return f'{prefix}a fraction is needed here (0.95 or "95 %")'
    return f"{prefix}{_article(quantity)} is needed here ({offered})"


def _article(quantity: str) -> str:
    """Return the quantity with its article."""
    return f"{'an' if quantity[0] in 'aeiou' else 'a'} {quantity}"


def _kind(value: object) -> str:
    """Return what a value of another type is, in plain words."""
    names: dict[type, str] = {bool: "true or false", list: "a list", dict: "a table"}
    return names.get(type(value), "a date or time")


def _clip(text: str) -> str:
    """Return the text short enough and printable enough for a message."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in text)
    return shown if len(shown) <= 60 else shown[:57] + "..."
