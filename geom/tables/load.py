"""The TOML files of this folder, and who stands behind each row.

A user's own tables lie over them while a job is read (`overlaid`): what they say is in the records by then, and
nothing else ever sees them.
"""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from geom.chemistry import Range
from geom.provenance import Source, Trust
from geom.units import parse

Row = Mapping[str, Any]
"""One table of a TOML file."""

BASES = ("measured", "seen", "memory", "derived", "user", "practice", "assumed")
"""How a value was got, the most direct first."""

_OVERLAY: ContextVar[Mapping[str, Row]] = ContextVar("overlay", default={})  # noqa: B039  (never changed in place)
"""Tables that stand in place of those of this folder, by name."""


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
    points: tuple[tuple[float, float], ...] = ()  # of a curve: where, in `unit`, and the pure number there


@cache
def shipped(name: str) -> Row:
    """Return the file ``name``.toml of this folder."""
    text = files("geom.tables").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def table(name: str) -> Row:
    """Return the table of that name: of this folder, or what lies over it."""
    return _OVERLAY.get().get(name) or shipped(name)


@contextmanager
def overlaid(tables: Mapping[str, Row]) -> Iterator[None]:
    """Let whole ``tables`` stand in place of those of their names until the block is left, in this context alone."""
    token = _OVERLAY.set({**_OVERLAY.get(), **tables})
    try:
        yield
    finally:
        _OVERLAY.reset(token)


def source_of(*rows: Row) -> Source:
    """Return who stands behind ``rows``; of several, the weakest trust and the least direct basis."""
    works = table("sources")
    texts = dict.fromkeys(works[key] for row in rows for key in row["source"])
    basis = max((row["basis"] for row in rows), key=BASES.index)
    trust = max((Trust(row["trust"]) for row in rows), key=list(Trust).index)
    return Source("; ".join(texts), basis, trust)


def range_of(row: Row, quantity: str) -> Range:
    """Return low, typical and high of a row in SI; a row without low or high has no range to that side."""
    low, typical, high = (_si(row.get(bound, row["typical"]), row, quantity) for bound in ("low", "typical", "high"))
    return Range(low, typical, high)


def curve_of(row: Row, quantity: str) -> tuple[tuple[float, float], ...]:
    """Return the points of a row: where, in SI, and the pure number there."""
    return tuple((_si(where, row, quantity), float(number)) for where, number in row["points"])


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
            "; ".join(
                text
                for text in (_points_words(row), f"at {row['at']}" if "at" in row else "", row.get("text", ""))
                if text
            ),
            source_of(row),
            tuple((float(where), float(number)) for where, number in row.get("points", ())),
        )
        for key, row in rows.items()
    ]


def _points_words(row: Row) -> str:
    """Return the points of a curve in words."""
    words = [f"{number:g} at {where:g} {row['unit']}" for where, number in row.get("points", ())]
    return f"{', '.join(words)}; straight between, flat beyond" if words else ""
