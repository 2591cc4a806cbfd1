"""The TOML files of this folder, and who stands behind each row."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from geom.chemistry import Range
from geom.provenance import Source, Trust
from geom.units import parse

Row = Mapping[str, Any]
"""One table of a TOML file."""

BASES = ("seen", "memory", "derived", "practice")
"""How a value was got, the most direct first."""


@dataclass(frozen=True, slots=True)
class TableEntry:
    """One row of a table as it is printed: numbers in ``unit``, or words alone."""

    key: str  # "composition.boric_acid", "conductivity", "anode"
    low: float | None
    typical: float | None
    high: float | None
    unit: str  # "" for a pure number
    text: str  # a remark, or the whole entry where there is no number
    source: Source


@cache
def table(name: str) -> Row:
    """Return the file ``name``.toml of this folder."""
    text = files("geom.tables").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def source_of(*rows: Row) -> Source:
    """Return who stands behind ``rows``; of several, the weakest trust and the least direct basis."""
    works = table("sources")
    texts = dict.fromkeys(works[key] for row in rows for key in row["source"])
    basis = max((row["basis"] for row in rows), key=BASES.index)
    trust = max((Trust(row["trust"]) for row in rows), key=list(Trust).index)
    return Source("; ".join(texts), basis, trust)


def range_of(row: Row, quantity: str) -> Range:
    """Return low, typical and high of a row in SI."""
    low, typical, high = (_si(row[bound], row, quantity) for bound in ("low", "typical", "high"))
    return Range(low, typical, high)


def typical_of(row: Row, quantity: str) -> float:
    """Return the typical value of a row in SI."""
    return _si(row["typical"], row, quantity)


def _si(number: float, row: Row, quantity: str) -> float:
    """Return ``number`` of a row in SI."""
    return parse(f"{number} {row['unit']}" if "unit" in row else float(number), quantity)


def entries_of(rows: Mapping[str, Row], prefix: str = "") -> Sequence[TableEntry]:
    """Return the rows as they are printed."""
    return [
        TableEntry(
            prefix + key,
            row.get("low"),
            row.get("typical"),
            row.get("high"),
            row.get("unit", ""),
            "; ".join(text for text in (f"at {row['at']}" if "at" in row else "", row.get("text", "")) if text),
            source_of(row),
        )
        for key, row in rows.items()
    ]
