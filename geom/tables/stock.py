"""What hooks and leads carry, and how anodes are sold and loaded."""

import math
import re
from difflib import get_close_matches

from geom.bench.records import AnodeStock, WireRule
from geom.chemistry import Range
from geom.errors import TableError
from geom.provenance import Source, Trust
from geom.tables.load import Row, range_of, source_of, table, typical_of
from geom.units import unit_factor

COPPER_CAUTION, COPPER_WARNING = 3e6, 6e6
"""Current over cross-section of a copper wire above which it gets warm, and too hot [A/m²]; practice, no source."""

_PRACTICE = "Common shop or bench practice, no source"


def wire_names() -> tuple[str, ...]:
    """Return the metals of hooks and leads, in the order of the table."""
    return tuple(table("wires"))


def wire_name(metal: str) -> str:
    """Return the name that a metal of hook or lead has in the table.

    Raises
    ------
    TableError
        "wire-unknown", with the nearest names.
    """
    plain = re.sub(r"[\s_-]+", " ", metal.strip().casefold())
    names: dict[str, str] = {}
    for name, row in table("wires").items():
        names |= {re.sub(r"[\s_-]+", " ", word): name for word in (name, *row["words"])}
    if plain in names:
        return names[plain]
    near = list(dict.fromkeys(names[word] for word in get_close_matches(plain[:60], names, n=4, cutoff=0.55)))
    raise TableError(
        "wire-unknown",
        f'no metal of hooks or leads is called "{metal.strip()[:60]}"',
        hint=f"nearest: {', '.join(near)}" if near else f"known: {', '.join(wire_names())}",
    )


def wire_rule(metal: str) -> WireRule:
    """Return what a metal carries as hook, rack or lead.

    Caution and warning are those of copper, moved to the metal so that the heat per length of a wire of
    one diameter is the same: by the square root of conductivity.
    """
    name = wire_name(metal)
    row = table("wires")[name]
    conductivity = typical_of(row["conductivity"], "conductivity")
    share = math.sqrt(conductivity / typical_of(table("wires")["copper"]["conductivity"], "conductivity"))
    is_copper = name == "copper"
    moved = "" if is_copper else f" for copper; moved to {name} by the square root of its conductivity"
    return WireRule(
        metal=name,
        rack_rule=typical_of(row["rack_rule"], "current density"),
        caution=COPPER_CAUTION * share,
        warning=COPPER_WARNING * share,
        resistivity=1.0 / conductivity,
        density=typical_of(row["density"], "density"),
        source=source_of(row["rack_rule"]),
        caution_source=Source(f"{_PRACTICE}{moved}", "practice" if is_copper else "derived", Trust.ROUGH),
        metal_source=source_of(row["conductivity"], row["density"]),
    )


def anode_stock(symbol: str) -> AnodeStock:
    """Return how the metal of that symbol is sold for anodes.

    Raises
    ------
    TableError
        "stock-unknown" for a metal that no bath here plates.
    """
    known = table("stock")["stock"]
    if symbol not in known:
        raise TableError("stock-unknown", f'no anode stock of "{symbol[:20]}"', hint=f"known: {', '.join(known)}")
    row = known[symbol]
    unit = unit_factor(row["unit"], "length")
    return AnodeStock(
        metal=symbol,
        grade=row["grade"],
        sheets=tuple(unit * value for value in row["sheets"]),
        rods=tuple(unit * value for value in row["rods"]),
        density=typical_of(row["density"], "density"),
        source=source_of(row),
    )


def anode_limit(bath_name: str, metal_symbol: str, material: str | None) -> tuple[Range, Source]:
    """Return the most mean current density that an anode bears [A/m²], careful to bold, and who says so.

    ``material`` is in the words of the job; None stands for the usual anode of the metal.

    Raises
    ------
    TableError
        "stock-unknown" for a metal without limit.
    """
    text = " ".join((material or "").casefold().split())
    for row in table("stock")["limit"]:
        if _fits(row, bath_name, metal_symbol, text):
            return range_of(row, "current density"), source_of(row)
    known = ", ".join(table("stock")["stock"])
    raise TableError("stock-unknown", f'no limit for anodes of "{metal_symbol[:20]}"', hint=f"known: {known}")


def _fits(row: Row, bath_name: str, symbol: str, text: str) -> bool:
    """Return whether a limit is that of this bath, metal and material."""
    in_bath = not row["baths"] or any(word in bath_name for word in row["baths"])
    return symbol in row["metals"] and in_bath and (not row["words"] or any(word in text for word in row["words"]))
