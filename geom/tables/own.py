"""Baths of the user's own, laid over those of the tables: what they take over, and what follows from what they state."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from geom.bench.gas import GAS_CONSTANT
from geom.constants import FARADAY, ZERO_CELSIUS
from geom.tables.load import Row, range_of, table
from geom.units import show

BOUNDS = ("low", "typical", "high")

SLOPES_AT = ZERO_CELSIUS + 25.0
"""Temperature that the two slopes of the tables belong together at [K]."""

NEEDED = ("temperature", "current_density", "conductivity")
"""Rows without which there is no bath; and an efficiency or a curve of it."""

WORKING = {"temperature": "temperature", "current_density": "current density"}
"""Ranges that say where a bath is worked, not how well a figure is known: one figure alone does not narrow them."""

SUPERSEDED = {
    "current_density": ("current_density_asf", "current_density_cold"),
    "conductivity": ("conductivity_20C",),
    "efficiency": ("efficiency_curve",),
    "efficiency_curve": ("efficiency",),
    "tafel_slope": ("anodic_slope",),
    "limiting_current_density": ("limiting_current_density_stirred",),
}
"""Rows that are not taken over from another bath once a row is stated: they no longer belong to it."""


@dataclass(frozen=True)
class OwnBath:
    """What a user's table states of one bath; rows as in baths.toml."""

    name: str
    like: str | None = None
    title: str | None = None
    metal: str | None = None
    use: str | None = None
    composition: Mapping[str, Row] = field(default_factory=dict)
    values: Mapping[str, Row] = field(default_factory=dict)
    notes: Mapping[str, Row] = field(default_factory=dict)


def entry_of(own: OwnBath, base: Row | None, kin: str, electrons: int) -> Row:
    """Return the entry of the table of baths that ``own`` makes over the entry ``base``.

    ``kin`` is the name that rules for kinds of bath go by, "" for its own; ``electrons`` to an atom deposited.
    """
    old: Row = base or {"composition": {}, "values": {}, "notes": {}}
    dropped = {key for stated in own.values for key in SUPERSEDED.get(stated, ())}
    values = {key: row for key, row in old["values"].items() if key not in dropped} | dict(own.values)
    values |= {
        key: _widened(values[key], old["values"].get(key), quantity)
        for key, quantity in WORKING.items()
        if key in own.values
    }
    values |= {key: row for key, row in _following(values, own.values, electrons) if key not in own.values}
    notes = {key: row for key, row in old["notes"].items() if key != "polarization" or "tafel_slope" not in values}
    title = own.title or (base["title"] if base and own.like is None else own.name)
    return {
        "title": title,
        "metal": own.metal or old.get("metal", ""),
        "use": own.use or old.get("use", "what its owner made it for"),
        "family": "" if kin == own.name else kin,
        "composition": {**old["composition"], **own.composition},
        "values": values,
        "notes": {**notes, **own.notes},
    }


def _widened(row: Row, old: Row | None, quantity: str) -> Row:
    """Return a row with the bounds that it does not state taken from the old one, as far as its own figure lies within."""
    if old is None or {"low", "high"} <= row.keys():
        return row
    ours, theirs = range_of(row, quantity), range_of(old, quantity)
    low = row.get("low", _number(min(theirs.low, ours.typical), row["unit"]))
    high = row.get("high", _number(max(theirs.high, ours.typical), row["unit"]))
    return {**row, "low": min(low, row["typical"]), "high": max(high, row["typical"])}


def lacking(entry: Row) -> Iterator[str]:
    """Yield the rows that an entry needs and has not."""
    values = entry["values"]
    yield from (key for key in NEEDED if key not in values)
    if not {"efficiency", "efficiency_curve"} & set(values):
        yield "efficiency"
    if not {"low", "high"} <= values.get("current_density", {"low": 0, "high": 0}).keys():
        yield "current_density.low" if "low" not in values["current_density"] else "current_density.high"
    if "tafel_slope" in values and "exchange_current_density" not in values:
        yield "exchange_current_density"


def overlay(entries: Mapping[str, Row], texts: Mapping[str, str]) -> Mapping[str, Row]:
    """Return the tables to lay over: the baths that hold now and ``entries``, the sources and ``texts``."""
    return {"baths": {**table("baths"), **entries}, "sources": {**table("sources"), **texts}}


def anodic_slope(cathodic: float, electrons: int, temperature: float) -> float:
    """Return the anodic slope per e-fold [V] that belongs to a cathodic one: 1/b_c + 1/b_a = nF/RT; inf if none does."""
    whole = electrons * FARADAY / (GAS_CONSTANT * temperature)
    return 1.0 / (whole - 1.0 / cathodic) if whole * cathodic > 1.0 else math.inf


def _following(values: Mapping[str, Row], stated: Mapping[str, Row], electrons: int) -> Iterator[tuple[str, Row]]:
    """Yield the rows that follow from those that are stated."""
    if "current_density" in stated:
        bright = range_of(values["current_density"], "current density")
        numbers = {name: _number(getattr(bright, name), "A/ft2") for name in BOUNDS}
        yield "current_density_asf", {**numbers, "unit": "A/ft2", **_derived(values["current_density"])}
    if "tafel_slope" in stated:
        cathodic = range_of(values["tafel_slope"], "slope")
        ends = [anodic_slope(slope, electrons, SLOPES_AT) for slope in (cathodic.high, cathodic.typical, cathodic.low)]
        if all(math.isfinite(end) for end in ends):
            numbers = {name: _number(end, "V/decade") for name, end in zip(BOUNDS, ends, strict=True)}
            yield "anodic_slope", {**numbers, "unit": "V/decade", **_derived(values["tafel_slope"], "thermodynamics")}


def _derived(row: Row, key: str = "derived") -> Row:
    """Return who stands behind a row that follows from ``row``."""
    return {"source": [*row["source"], key], "basis": "derived", "trust": row["trust"]}


def _number(value: float, unit: str) -> float:
    """Return an SI value as a number in a unit."""
    return float(show(value, unit, 12).partition(" ")[0])
