"""The metal that is plated on: its preparation, the strike it must have, the bake that high-strength steel must have."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches

from geom.bench.records import Substrate
from geom.chemistry import Bath, Range
from geom.errors import TableError
from geom.findings import Finding, Severity
from geom.provenance import Source
from geom.tables.load import Row, range_of, source_of, table, typical_of
from geom.units import parse, show


@dataclass(frozen=True, slots=True)
class Preparation:
    """What to do to a metal before plating."""

    name: str
    title: str
    note: str
    steps: tuple[str, ...]  # in order
    source: Source


@dataclass(frozen=True, slots=True)
class Bake:
    """How long steel is baked after plating."""

    hours: float  # at least, in hours
    temperature: Range  # of the oven [K]
    start_hours: float  # begin within so long of the end of plating, in hours
    is_beyond: bool  # the steel is stronger than any of the table: the hours are those of the strongest
    source: Source


def substrate_names() -> tuple[str, ...]:
    """Return the substrates of the table, in its order."""
    return tuple(_rows())


def substrate_name(metal: str) -> str:
    """Return the name that a substrate has in the table.

    Raises
    ------
    TableError
        "substrate-unknown", with the nearest names.
    """
    plain = _plain(metal)
    names: dict[str, str] = {}
    for name, row in _rows().items():
        names |= {_plain(word): name for word in (name, *row["words"])}
    if plain in names:
        return names[plain]
    near = list(dict.fromkeys(names[word] for word in get_close_matches(plain[:60], names, n=4, cutoff=0.6)))
    near += [name for word, name in names.items() if set(plain.split()) & set(word.split()) and name not in near]
    raise TableError(
        "substrate-unknown",
        f'no substrate is called "{metal.strip()[:60]}"',
        hint=f"nearest: {', '.join(dict.fromkeys(near))}" if near else f"known: {', '.join(substrate_names())}",
    )


def substrate_family(metal: str) -> str:
    """Return the family of a substrate, as specifications divide them: "steel", "copper", "stainless"..."""
    return str(_rows()[substrate_name(metal)]["family"])


def preparation(metal: str) -> Preparation:
    """Return what to do to a substrate before plating."""
    name = substrate_name(metal)
    row = _rows()[name]
    return Preparation(name, row["title"], row["note"], tuple(row["steps"]), source_of(row))


def strike_name(text: str) -> str:
    """Return the strike that a text speaks of, as the table has it.

    Raises
    ------
    TableError
        "strike-unknown", with all that are known.
    """
    words = set(_plain(text).split())
    for row in table("substrates")["strike"]:
        if words & set(row["words"]) or _plain(row["key"]) == _plain(text):
            return str(row["key"])
    known = ", ".join(row["key"] for row in table("substrates")["strike"])
    raise TableError("strike-unknown", f'no strike is called "{text.strip()[:60]}"', hint=f"known: {known}")


def bake(substrate: Substrate) -> Bake | None:
    """Return the bake of a steel by its strength (ASTM B850); None where none is asked for or strength is not stated.

    A strength between two rows takes the longer hours.
    """
    rows = table("substrates")["bake"]
    if substrate.strength is None or not _rows()[substrate_name(substrate.metal)]["bakes"]:
        return None
    if substrate.strength < typical_of(rows["strength"], "pressure"):
        return None
    bounds = [parse(f"{bound} MPa", "pressure") for bound in rows["up_to_MPa"]]
    fits = [hours for bound, hours in zip(bounds, rows["hours"], strict=True) if substrate.strength <= bound]
    return Bake(
        hours=float(fits[0] if fits else rows["hours"][-1]),
        temperature=range_of(rows["temperature"], "temperature"),
        start_hours=float(rows["start"]["typical"]),
        is_beyond=not fits,
        source=source_of(rows["strength"]),
    )


def substrate_findings(substrate: Substrate | None, bath: Bath) -> tuple[Finding, ...]:
    """Return what stops or warns of plating a substrate in a bath: a strike that is missing, a bake."""
    if substrate is None:
        return ()
    found = (_strike_finding(substrate, bath), _bake_finding(substrate))
    return tuple(finding for finding in found if finding is not None)


def _strike_finding(substrate: Substrate, bath: Bath) -> Finding | None:
    """Return what to say of the strike that a substrate needs in this bath; None where it needs none."""
    name = substrate_name(substrate.metal)
    for rule in table("substrates")["rule"]:
        if name not in rule["substrates"] or bath.metal.symbol not in rule["metals"] or bath.kin in rule["free"]:
            continue
        title = _rows()[name]["title"]
        if substrate.strike is None:
            text = f"{title} in {bath.title}: {rule['reason']} ({source_of(rule).text}); where it has had one, state it: [substrate] strike"
            return Finding(Severity.STOP, "substrate-needs-strike", text)
        strike = strike_name(substrate.strike)
        if not _strike_fits(strike, name):
            text = f"a strike of {strike} does not hold on {title}: {rule['reason']} ({source_of(rule).text})"
            return Finding(Severity.STOP, "substrate-needs-strike", text)
        text = f"the job states a strike of {strike} on the {title}: go from it into this bath wet and with the current on, within seconds"
        return Finding(Severity.NOTE, "substrate-strike-stated", text)
    return None


def _strike_fits(strike: str, substrate: str) -> bool:
    """Does a strike hold on a substrate?"""
    return any(row["key"] == strike and substrate in row["fits"] for row in table("substrates")["strike"])


def _bake_finding(substrate: Substrate) -> Finding | None:
    """Return the warning that a steel has to be baked, or that its strength is not stated."""
    name = substrate_name(substrate.metal)
    hot = bake(substrate)
    if hot is not None:
        low, high = (show(kelvin, "C").removesuffix(" C") for kelvin in (hot.temperature.low, hot.temperature.high))
        longer = ", and longer: it is stronger than any steel of the table" if hot.is_beyond else ""
        text = (
            f"steel of {show(substrate.strength or 0.0, 'MPa', 4)} turns brittle with hydrogen, most of it from pickling and cleaning: bake it "
            f"at {low} to {high} °C for at least {hot.hours:.0f} h{longer}, begun within about {hot.start_hours:.0f} h of plating "
            f"({hot.source.text}), and do not load it before"
        )
        return Finding(Severity.WARNING, "substrate-bake", text)
    if substrate.strength is None and name == "high-strength-steel":
        rows = table("substrates")["bake"]
        text = (
            f"the strength of the steel is not stated: of 1000 MPa and more it has to be baked, {rows['hours'][0]} to {rows['hours'][-1]} h "
            f"by its strength ({source_of(rows['strength']).text}); state [substrate] strength"
        )
        return Finding(Severity.WARNING, "substrate-bake", text)
    return None


def _rows() -> Mapping[str, Row]:
    """Return the substrates of the table."""
    rows: Mapping[str, Row] = table("substrates")["substrate"]
    return rows


def _plain(text: str) -> str:
    """Return a name in one spelling."""
    return re.sub(r"[\s_-]+", " ", text.strip().casefold())
