"""Baths, metals, anode materials and cautions by name.

Nothing is read before it is asked for, and a file is read once.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import Enum
from typing import Any, Final, Literal, NoReturn

import numpy as np

from geom.chemistry import Bath, Metal, Range
from geom.electrode.laws import ButlerVolmer, Law, Tafel
from geom.errors import TableError
from geom.findings import Finding, Severity
from geom.provenance import Source
from geom.tables.load import Row, TableEntry, curve_of, entries_of, range_of, source_of, table, typical_of
from geom.units import parse, show


class _Unset(Enum):
    """Stands for "not given" where None means something else."""

    TOKEN = "from the table"


FROM_TABLE: Final = _Unset.TOKEN
"""The bath's own law; None would be an electrode without polarization."""

SOURCED = (
    "conductivity",
    "temperature",
    "efficiency",
    "efficiency_curve",
    "current_density",
    "limiting_current_density",
    "anode_current_density",
    "anode_area_ratio",
)
"""Attributes of a bath that a row of the same name gives."""

Curve = tuple[tuple[float, float], ...]
"""Efficiency against current density: points (current density [A/m²], share), rising in the first."""

FREEZING, BOILING = 273.15, 373.15
"""Where water is liquid at one atmosphere [K]."""

UNWARMED = "how it changes with temperature is not known"

SAME_TEMPERATURE = 0.5
"""Apart by no more, two temperatures of a bath are one [K]."""


@dataclass(frozen=True, slots=True)
class BathTable:
    """All that the tables hold of one bath, as it is printed."""

    name: str
    title: str
    metal: str  # symbol
    use: str
    entries: tuple[TableEntry, ...]
    kin: str  # name that rules for kinds of bath go by


def bath(
    name: str,
    *,
    temperature: float | None = None,
    conductivity: float | None = None,
    efficiency: float | None = None,
    efficiency_curve: Curve = (),
    law: Law | Literal[_Unset.TOKEN] | None = FROM_TABLE,
    current_density: Range | None = None,
    stirred: bool | None = None,
) -> Bath:
    """Return the bath ``name``; what is given stands in place of the table's value, and has no source.

    A temperature [K] without a conductivity [S/m] scales the tabulated one and its range. A value that
    is given has no range: low, typical and high are the same. An efficiency that is given holds at every current density.

    Raises
    ------
    TableError
        "bath-unknown", "bath-refused", or "bath-value" for a value that cannot be.
    """
    key = bath_name(name)
    entry, rows = table("baths")[key], _rows(key)
    stated = {
        "temperature": temperature is not None,
        "conductivity": conductivity is not None,
        "efficiency": efficiency is not None or bool(efficiency_curve),
        "current_density": current_density is not None,
        "law": law is not FROM_TABLE,
    }
    at = typical_of(rows["temperature"], "temperature") if temperature is None else temperature
    _need_liquid(at, key)
    moved = "limiting_current_density_stirred"
    limiting = moved if stirred and moved in rows else "limiting_current_density"
    try:
        bright = current_density or range_of(rows["current_density"], "current density")
        carried = _conductivity(rows, at) if conductivity is None else _exactly(conductivity, "conductivity", key)
        share, curve = _efficiency(rows, efficiency, efficiency_curve, bright, key)
        laws = law_range(key) if law is FROM_TABLE else None
        return Bath(
            name=key,
            title=entry["title"],
            metal=metal(entry["metal"]),
            conductivity=carried.typical,
            temperature=at,
            efficiency=share.typical,
            current_density=bright,
            law=(laws[1] if laws else None) if law is FROM_TABLE else law,
            conductivity_range=carried,
            efficiency_range=share,
            limiting_current_density=_range_if(rows, limiting, "current density"),
            anode_current_density=_range_if(rows, "anode_current_density", "current density"),
            anode_materials=tuple(table("anodes")["materials"][entry["metal"]]),
            cautions=cautions(key),
            sources=_sources(rows, at, limiting, curve, [name for name, is_stated in stated.items() if is_stated]),
            temperature_range=range_of(rows["temperature"], "temperature"),
            anode_area_ratio=_range_if(rows, "anode_area_ratio", "fraction"),
            run_time=_range_if(rows, "time", "time"),
            efficiency_curve=curve,
            laws=laws,
            exchange_range=range_of(rows["exchange_current_density"], "current density") if laws else None,
            growth_per_kelvin=growth_per_kelvin(key, at),
            levels=_levels(rows, limiting),
            family=entry.get("family", ""),
        )
    except ValueError as mistake:
        raise TableError("bath-value", str(mistake), where=f"bath {key}") from mistake


def bath_findings(of: Bath, *, law_is_stated: bool) -> tuple[Finding, ...]:
    """Return what the tables do not know of a bath and a plan would need; ``law_is_stated``: the job states polarization."""
    found = []
    if of.law is None and not law_is_stated:
        text = (
            f"no Tafel slope of {of.title} is known: it is planned without polarization, which makes edges hotter and "
            "hollows colder than they are"
        )
        found.append(Finding(Severity.WARNING, "bath-no-slope", text))
    elif of.laws is not None and of.laws[0] == of.laws[2] and "law" in of.sources:
        text = f"the Tafel slope of {of.title} has no range ({of.sources['law'].text}): the bands do not count how sure it is"
        found.append(Finding(Severity.NOTE, "bath-slope-alone", text))
    carried = of.sources.get("conductivity")
    if carried is not None and UNWARMED in carried.text:
        text = f"the conductivity of {of.title} is not brought to {show(of.temperature, '°C')}: {UNWARMED}"
        found.append(Finding(Severity.NOTE, "bath-not-warmed", text))
    if of.limiting_current_density is None:
        text = f"no limiting current of {of.title} is known, so none is weighed: watch the hottest edge for burning"
        found.append(Finding(Severity.NOTE, "bath-no-limit", text))
    return tuple(found)


def bath_names() -> tuple[str, ...]:
    """Return the names of the baths that can be planned, in the order of the table."""
    return tuple(table("baths"))


def refused_baths() -> Mapping[str, str]:
    """Return the baths that are never planned, each with the reason."""
    return {name: row["reason"] for name, row in table("refused").items()}


def bath_name(name: str) -> str:
    """Return the name a bath has in the tables: case, order of words, spaces and underscores are free.

    Raises
    ------
    TableError
        "bath-refused" or "bath-unknown", the latter with the nearest names.
    """
    plain = re.sub(r"[\s_/-]+", "-", name.strip().casefold()).replace("sulph", "sulf")
    known = {frozenset(entry.split("-")): entry for entry in bath_names()}
    words = frozenset(plain.split("-"))
    if words in known:
        return known[words]
    _refuse(plain)
    near = get_close_matches(plain, bath_names(), n=3, cutoff=0.45)
    near += [entry for entry in bath_names() if words & _title_words(entry) and entry not in near]
    offered = ", ".join(near[:4]) if near else ", ".join(bath_names())
    raise TableError(
        "bath-unknown",
        f'no bath is called "{name[:60]}"',
        hint=f"{'nearest' if near else 'known'}: {offered}",
    )


def bath_table(name: str) -> BathTable:
    """Return every value of a bath with unit, source and trust."""
    key = bath_name(name)
    entry = table("baths")[key]
    entries = (
        *entries_of(entry["composition"], "composition."),
        *entries_of(entry["values"]),
        *entries_of(entry["notes"]),
    )
    return BathTable(key, entry["title"], entry["metal"], entry["use"], entries, _kin(key))


def metal(symbol: str) -> Metal:
    """Return the metal of that symbol ("Ni")."""
    try:
        row = table("metals")[symbol]
    except KeyError:
        known = ", ".join(table("metals"))
        raise TableError("metal-unknown", f'no metal "{symbol[:20]}"', hint=f"known: {known}") from None
    return Metal(
        symbol,
        row["name"],
        typical_of(row["molar_mass"], "molar mass"),
        typical_of(row["density"], "density"),
        int(row["electrons"]["typical"]),
    )


def growth_per_kelvin(name: str, temperature: float) -> float | None:
    """Return by which share the conductivity of a bath at ``temperature`` [K] grows for each kelvin; None if not tabulated.

    a / (1 + a (T - T0)): the coefficient a is published against the conductivity at T0, mostly 20 °C.
    """
    row = _rows(bath_name(name)).get("conductivity_per_kelvin")
    if row is None:
        return None
    per_kelvin = float(row["typical"]) / 100.0
    return per_kelvin / (1.0 + per_kelvin * (temperature - parse(row["at"], "temperature")))


def law_range(name: str) -> tuple[Law, Law, Law] | None:
    """Return the cathode's law with the low, typical and high Tafel slope: least to most polarized; None without a slope.

    The exchange current density stays typical: it moves the voltage and hardly the distribution. A slope too small for
    an anodic one to belong to it (1/b_c + 1/b_a = nF/RT) makes a law without one.
    """
    rows = _rows(bath_name(name))
    if "tafel_slope" not in rows:
        return None
    exchange = typical_of(rows["exchange_current_density"], "current density")
    cathodic = range_of(rows["tafel_slope"], "slope")
    if "anodic_slope" not in rows:
        return tuple(Tafel(exchange, slope) for slope in (cathodic.low, cathodic.typical, cathodic.high))  # type: ignore[return-value]
    anodic = range_of(rows["anodic_slope"], "slope")
    # the two slopes are tied: the steeper one is, the flatter is the other
    return (
        ButlerVolmer(exchange, cathodic.low, anodic.high),
        ButlerVolmer(exchange, cathodic.typical, anodic.typical),
        ButlerVolmer(exchange, cathodic.high, anodic.low),
    )


def cautions(of: Bath | str) -> tuple[str, ...]:
    """Return the cautions for a bath, the gravest first."""
    return tuple(row["text"] for row in _caution_rows(_key(of)))


def solution_conductivity(solute: str, mass_percent: float) -> float:
    """Return the conductivity [S/m] at 20 °C of a solution, straight between the points of the table."""
    key = re.sub(r"[\s_]+", "-", solute.strip().casefold())
    try:
        row = table("conductivity")[key]
    except KeyError:
        known = ", ".join(table("conductivity"))
        raise TableError("solute-unknown", f'no solute "{solute[:60]}"', hint=f"known: {known}") from None
    shares, values = row["mass_percent"], row["conductivity_mS_cm"]
    if not shares[0] <= mass_percent <= shares[-1]:
        raise TableError(
            "solution-range",
            f"{key} at {mass_percent:g} % lies outside its table ({shares[0]:g} to {shares[-1]:g} %)",
        )
    above = next(i for i in range(1, len(shares)) if mass_percent <= shares[i])
    part = (mass_percent - shares[above - 1]) / (shares[above] - shares[above - 1])
    millisiemens = values[above - 1] + part * (values[above] - values[above - 1])
    return parse(f"{millisiemens} mS/cm", "conductivity")


def _efficiency(
    rows: Mapping[str, Row], stated: float | None, stated_curve: Curve, bright: Range, key: str
) -> tuple[Range, Curve]:
    """Return the efficiency with its range, and its curve; of a curve it is that at the typical current density."""
    if stated is not None:
        return _exactly(stated, "efficiency", key), ()
    if stated_curve:
        return _exactly(_on_curve(stated_curve, bright.typical), "efficiency", key), stated_curve
    if "efficiency_curve" not in rows:
        return range_of(rows["efficiency"], "fraction"), ()
    curve = curve_of(rows["efficiency_curve"], "current density")
    typical = _on_curve(curve, bright.typical)
    if "efficiency" not in rows:
        return Range(typical, typical, typical), curve
    known = range_of(rows["efficiency"], "fraction")
    scaled = known.scaled(typical / known.typical)
    return Range(scaled.low, typical, max(typical, min(scaled.high, 1.0))), curve


def _on_curve(curve: Curve, current_density: float) -> float:
    """Return the efficiency at one current density [A/m²]."""
    where, shares = zip(*curve, strict=True)
    return float(np.interp(current_density, where, shares))


def _key(of: Bath | str) -> str:
    """Return the table's name of a bath given as record or name."""
    return of.name if isinstance(of, Bath) else bath_name(of)


def _title_words(key: str) -> set[str]:
    """Return the words of a bath's name and title."""
    return set(re.findall(r"\w+", f"{key} {table('baths')[key]['title']}".casefold()))


def _rows(key: str) -> Mapping[str, Row]:
    """Return the numeric rows of a bath."""
    values: Mapping[str, Row] = table("baths")[key]["values"]
    return values


def _caution_rows(key: str) -> list[dict[str, Any]]:
    """Return the rows of hazards.toml that apply to a bath."""
    symbol = table("baths")[key]["metal"]
    rows, kin = table("hazards")["caution"], _kin(key)
    return [row for row in rows if symbol in row["metals"] or any(word in kin for word in row["baths"])]


def _kin(key: str) -> str:
    """Return the name that rules for kinds of bath go by: that of the bath it is like, else its own."""
    return str(table("baths")[key].get("family") or key)


def check_not_refused(text: str) -> None:
    """Refuse a name, a title or a constituent that speaks of a bath that is never planned, in a user's own table.

    Raises
    ------
    TableError
        "bath-refused".
    """
    _refuse(re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-"))


def _refuse(plain: str) -> None:
    """Raise if the name is, or speaks of, a bath that is never planned."""
    told = plain.replace("non-cyanide", "").replace("cyanide-free", "")
    refused = table("refused")
    if plain in refused:
        _raise_refusal(plain, refused[plain])
    for entry, row in refused.items():
        if any(word in part for part in told.split("-") for word in row["words"]):
            _raise_refusal(entry, row)


def _raise_refusal(entry: str, row: Row) -> NoReturn:
    """Raise the refusal of one bath."""
    raise TableError(
        "bath-refused",
        f"{row['title']} ({entry}) is not planned: {row['reason']}",
        hint=row.get("hint", "send the part to a licensed plater, or plan one of:") + " " + ", ".join(bath_names()),
    )


def _need_liquid(temperature: float, key: str) -> None:
    """Raise unless water is liquid at ``temperature`` [K]."""
    if not FREEZING < temperature < BOILING:
        raise TableError(
            "bath-value",
            f"a bath of water cannot work at {show(temperature, '°C')}",
            where=f"bath {key}",
            hint="state a temperature between 0 and 100 °C",
        )


def _warming(rows: Mapping[str, Row], temperature: float) -> float:
    """Return conductivity at ``temperature`` [K] over the tabulated one; 1 where no coefficient is known.

    kappa(T) = kappa(T1) (1 + a (T - T0)) / (1 + a (T1 - T0)): straight in T. The coefficient a is
    published against the conductivity at T0, mostly 20 °C, while the bath's own figure stands at T1.
    """
    row = rows.get("conductivity_per_kelvin")
    if row is None:
        return 1.0
    per_kelvin = row["typical"] / 100.0
    base, at = parse(row["at"], "temperature"), parse(rows["conductivity"]["at"], "temperature")
    warmer = 1.0 + per_kelvin * (temperature - base)
    if warmer <= 0.0:
        raise ValueError(f"a coefficient of {row['typical']:g} %/K leaves no conductivity at {show(temperature, '°C')}")
    return float(warmer / (1.0 + per_kelvin * (at - base)))


def _conductivity(rows: Mapping[str, Row], temperature: float) -> Range:
    """Return the tabulated conductivity [S/m] brought to ``temperature`` [K]."""
    return range_of(rows["conductivity"], "conductivity").scaled(_warming(rows, temperature))


def _sources(
    rows: Mapping[str, Row], temperature: float, limiting: str, curve: Curve, stated: list[str]
) -> dict[str, Source]:
    """Return who stands behind each attribute of a bath, but for those that were stated."""
    sources = {key: source_of(rows[key]) for key in SOURCED if key in rows}
    if limiting in rows:
        sources["limiting_current_density"] = source_of(rows[limiting])
    if "time" in rows:
        sources["run_time"] = source_of(rows["time"])
    if "efficiency" not in rows and curve:
        sources["efficiency"] = sources["efficiency_curve"]
    who = sources["conductivity"]
    at = parse(rows["conductivity"]["at"], "temperature")
    if _warming(rows, temperature) != 1.0:
        moved = f"brought from {rows['conductivity']['at']} to {show(temperature, 'C')}"
        moved += f" by {rows['conductivity_per_kelvin']['typical']} %/K"
        sources["conductivity"] = Source(f"{who.text}; {moved}", "derived", who.trust)
    elif "conductivity_per_kelvin" not in rows and abs(temperature - at) > SAME_TEMPERATURE:
        text = f"{who.text}; that at {rows['conductivity']['at']}: {UNWARMED}"
        sources["conductivity"] = Source(text, who.basis, who.trust)
    if "tafel_slope" in rows:
        sources["law"] = source_of(rows["tafel_slope"], rows["exchange_current_density"])
    sources["temperature_range"] = sources["temperature"]
    for key in ("conductivity", "efficiency"):
        sources[f"{key}_range"] = sources[key]
    absent = {*stated, *(f"{key}_range" for key in stated if key != "temperature")}
    if "efficiency" in stated:
        absent.add("efficiency_curve")
    return {key: who for key, who in sources.items() if key not in absent}


def _levels(rows: Mapping[str, Row], limiting: str) -> dict[str, float]:
    """Return the share of the cases that a range is stated to hold, by attribute of a bath, where it is stated."""
    named = {"law": "tafel_slope", "limiting_current_density": limiting}
    names = ("conductivity", "efficiency", "law", "exchange_current_density", "limiting_current_density")
    known = {name: rows.get(named.get(name, name), {}).get("level") for name in names}
    return {name: float(level) for name, level in known.items() if level is not None}


def _range_if(rows: Mapping[str, Row], key: str, quantity: str) -> Range | None:
    """Return the range of a row, or None if the table has none."""
    return range_of(rows[key], quantity) if key in rows else None


def _exactly(value: float, name: str, key: str) -> Range:
    """Return the range of a value that is stated, not tabulated."""
    if not math.isfinite(value):
        raise TableError("bath-value", f"{name} must be a number, got {value}", where=f"bath {key}")
    return Range(value, value, value)
