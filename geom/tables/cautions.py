"""Anodes that are refused, and the cautions of a set-up: by bath, anode, metal plated on, and supply."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from geom.chemistry import Bath
from geom.constants import ZERO_CELSIUS
from geom.findings import Finding, Severity
from geom.provenance import Source
from geom.tables.load import Row, source_of, table
from geom.tables.read import bath_table
from geom.tables.substrates import substrate_family

NICKEL_VOLTAGE, NICKEL_DENSITY = 6.0, 100.0
"""Above so many volts at no more than so much current density something is wrong with a nickel cell [V, A/m²];
common practice, no source."""

SHOCK = 60.0
"""A supply that can give more is no extra-low voltage for wet hands [V]."""

HOT = ZERO_CELSIUS + 45.0
"""A bath this warm scalds in minutes and gives off mist [K]; common practice, no source."""

LAST = "local-law"
"""Key of the caution that defers to local codes and licensed practice: always the last."""

SHORT = {
    "US Occupational Safety and Health Administration": "US OSHA",
    "OSHA chromium(VI) standard (29 CFR 1910.1026)": "OSHA 29 CFR 1910.1026",
    "US National Institute for Occupational Safety and Health": "US NIOSH",
    "Directive 2004/37/EC": "EU 2004/37/EC",
    "Regulation (EC) No 1272/2008": "EU CLP",
    "Regulation (EC) No 1907/2006": "EU REACH",
    "US EPA": "US EPA",
    "US Consumer Product Safety Commission": "US CPSC",
    "Common shop or bench practice": "common practice, no source",
    "Worked out from the figures of this table": "worked out here",
}
"""How the works of sources.toml begin that cautions lean on most, and what is printed for them."""


@dataclass(frozen=True, slots=True)
class SetUp:
    """What cautions go by; None where it is not known or not stated."""

    bath: str  # the name that rules for it go by
    metal: str  # symbol
    temperature: float  # of the bath [K]
    anodes: tuple[str | None, ...] = ()  # materials in the words of the job; none: no anode is stated
    substrate: str | None = None  # a row of the table of substrates
    voltage: float | None = None  # expected between anode and part [V]
    current_density: float | None = None  # mean over the part [A/m²]
    supply_voltage: float | None = None  # the most that the supply can give [V]
    ventilated: bool = False


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution."""

    key: str
    text: str
    source: Source
    is_grave: bool = False


def anode_refusal(material: str, of: Bath | str, *, ventilated: bool = False) -> str | None:
    """Return why an anode of ``material`` (free text) must not hang in a bath, or None.

    ``ventilated``: the air over the bath is drawn off; then an anode that makes chlorine is taken, and
    `anode_findings` warns of it.
    """
    return _refusal(material, *_bath_of(of), ventilated=ventilated)


def _refusal(material: str, name: str, symbol: str, *, ventilated: bool) -> str | None:
    """Return why an anode must not hang in the bath of that name and metal, or None."""
    text = _plain(material)
    if not text:
        return None
    rule = _rule(text, name, symbol)
    if rule is not None:
        if ventilated and rule.get("ventilated", False):
            return None
        way = (
            "; with the air drawn off at the bath to the outside, state [bath] ventilated"
            if "ventilated" in rule
            else ""
        )
        return f"anode of {material.strip()}: {rule['reason']} ({source_of(rule).text}){way}"
    if _is_known(text, name, symbol) or is_inert(material):
        return None
    (unknown,) = (row for row in table("anodes")["refused"] if row["key"] == "unknown-alloy")
    return f"anode of {material.strip()}: {unknown['reason']} ({source_of(unknown).text})"


def is_inert(material: str) -> bool:
    """Does an anode of ``material`` (free text) not dissolve?"""
    text = _plain(material)
    dissolves = any(_holds(text, row["words"]) for row in table("anodes")["known"])  # "carbon-bearing nickel"
    return _holds(text, table("anodes")["inert"]["words"]) and not dissolves


def anode_findings(materials: tuple[str | None, ...], bath: Bath, *, ventilated: bool) -> tuple[Finding, ...]:
    """Return the warning that goes with each kind of anode that is taken only because the air is drawn off."""
    found = []
    for material in dict.fromkeys(materials):
        if (
            material
            and ventilated
            and anode_refusal(material, bath)
            and not anode_refusal(material, bath, ventilated=True)
        ):
            (row,) = (row for row in table("hazards")["set_up"] if row["when"] == "inert-anode")
            text = f"anode of {material}: {row['text'][:1].lower()}{row['text'][1:].rstrip('.')}"
            found.append(Finding(Severity.WARNING, "anode-makes-chlorine", text))
    return tuple(found)


def cautions_for(setup: SetUp) -> tuple[Caution, ...]:
    """Return the cautions of a set-up: the grave ones first, then those of the bath, last who decides in the end."""
    rows = [row for row in table("hazards")["set_up"] if _applies(row, setup)]
    rows.sort(key=lambda row: not row["grave"])
    bath = [row for row in table("hazards")["caution"] if _is_of_bath(row, setup)]
    ordered = [row for row in (*rows, *bath) if row["key"] != LAST]
    ordered += [row for row in table("hazards")["caution"] if row["key"] == LAST]
    return tuple(Caution(row["key"], row["text"], source_of(row), row.get("grave", False)) for row in ordered)


def short_source(source: Source) -> str:
    """Return who says so in a few words: agencies by their letters, other works up to the first comma."""
    names = []
    for work in source.text.split("; "):
        names.append(
            next((short for long, short in SHORT.items() if work.startswith(long)), re.split(r"[,:(]", work)[0].strip())
        )
    from_memory = ", from memory" if source.basis == "memory" else ""
    return f"{', '.join(dict.fromkeys(names))}{from_memory}"


def _applies(row: Row, setup: SetUp) -> bool:
    """Is what a row of the set-up speaks of so?"""
    if row["families"]:
        return setup.substrate is not None and substrate_family(setup.substrate) in row["families"]
    return row["when"] in set(_conditions(setup))


def _conditions(setup: SetUp) -> Iterator[str]:
    """Yield the words of hazards.toml that are so of a set-up."""
    stated = [material for material in setup.anodes if material]
    here = (setup.bath, setup.metal)
    in_chloride = [
        m for m in stated if _refusal(m, *here, ventilated=False) and not _refusal(m, *here, ventilated=True)
    ]
    if in_chloride:
        yield "inert-anode"
    if any(is_inert(material) and material not in in_chloride for material in stated):
        yield "inert-anode-elsewhere"
    if len(stated) < max(len(setup.anodes), 1):
        yield "anode-not-stated"
    if _strains(setup):
        yield "nickel-over-6-V"
    if setup.temperature >= HOT:
        yield "hot-bath"
    if setup.supply_voltage is not None and setup.supply_voltage > SHOCK:
        yield "over-60-V"
    if not setup.ventilated:
        yield "not-ventilated"


def _strains(setup: SetUp) -> bool:
    """Does a nickel cell take more voltage than its current density accounts for?"""
    if setup.metal != "Ni" or setup.voltage is None or setup.current_density is None:
        return False
    return setup.voltage > NICKEL_VOLTAGE and setup.current_density <= NICKEL_DENSITY


def _is_of_bath(row: Row, setup: SetUp) -> bool:
    """Is a caution one of this bath?"""
    return setup.metal in row["metals"] or any(word in setup.bath for word in row["baths"])


def _bath_of(of: Bath | str) -> tuple[str, str]:
    """Return the name that rules for a bath go by, and the symbol of its metal."""
    if isinstance(of, Bath):
        return of.kin, of.metal.symbol
    found = bath_table(of)
    return found.kin, found.metal


def _rule(text: str, bath: str, symbol: str) -> Row | None:
    """Return the first rule that refuses a material."""
    for rule in table("anodes")["refused"]:
        is_here = any(word in bath for word in rule["baths"]) if rule.get("baths") else symbol in rule["metals"]
        is_here = is_here and not any(word in bath for word in rule.get("but", ()))
        if is_here and (text in rule["names"] or _holds(text, rule["words"])):
            found: Row = rule
            return found
    return None


def _is_known(text: str, bath: str, symbol: str) -> bool:
    """Does a material speak of one that the bath's anodes are made of?"""
    rows = [row for row in table("anodes")["known"] if symbol in row["metals"]]
    return any(
        _holds(text, row["words"]) for row in rows if not row["baths"] or any(word in bath for word in row["baths"])
    )


def _plain(text: str) -> str:
    """Return a material in one spelling."""
    return " ".join(text.casefold().split())


def _holds(text: str, words: list[str]) -> bool:
    """Return whether the text holds one of the words, whole."""
    return any(re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text) for word in words)
