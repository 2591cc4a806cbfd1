"""``geom specs``: thickness specifications, with source and trust."""

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:  # at run time the tables are read only when the command runs
    from geom.provenance import Source
    from geom.report.tree import Section
    from geom.tables.specs import Specification, Standard


def run(name: str | None, metal: str | None, *, as_json: bool) -> int:
    """Print all specifications, those of one metal, or one standard; return the exit code."""
    from geom.tables.specs import standard_named, standards

    symbol = None if metal is None else _symbol(metal)
    found = standards(symbol) if name is None else (standard_named(name),)
    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        tree = {"schema_version": SCHEMA_VERSION, "standards": [_tree(standard) for standard in found]}
        click.echo(dumped(tree), nl=False)
        return 0
    from geom.report.text import as_text
    from geom.report.tree import Document

    answer = (
        "The least local thickness that each class asks for on the significant surface; in a job: [target] specification.",
        "Check against the standard itself before you certify to it: memory means recalled, not re-read.",
    )
    click.echo(as_text(Document("Thickness specifications", answer, tuple(_section(s) for s in found))), nl=False)
    return 0


def _symbol(metal: str) -> str:
    """Return the symbol of a metal given by symbol or name."""
    from geom.errors import TableError
    from geom.tables.specs import standards

    names = {"nickel": "Ni", "tin": "Sn", "zinc": "Zn", "copper": "Cu"}
    known = dict.fromkeys(standard.metal for standard in standards())
    symbol = names.get(metal.strip().casefold(), metal.strip().capitalize())
    if symbol not in known:
        raise TableError("spec-unknown", f'no specification of "{metal[:20]}"', hint=f"known: {', '.join(known)}")
    return symbol


def _section(standard: "Standard") -> "Section":
    from geom.report.tree import Row, Section

    rows = tuple(
        Row(
            one.words.removeprefix(f"{one.standard} "),
            _figure(one),
            _source(one.source) if one.source != standard.source else "",
        )
        for one in standard.classes
    )
    text = f" {standard.text[:1].upper()}{standard.text[1:]}." if standard.text else ""
    note = f"{standard.title[:1].upper()}{standard.title[1:]}.{text} {_source(standard.source)}."
    return Section(f"{standard.standard} ({standard.metal})", (note,), rows)


def _figure(one: "Specification") -> str:
    """Return the thickness of a class in words."""
    from geom.report.amounts import amount, thickness

    span = one.thickness_range
    wide = f" ({amount(span.low, 'µm')} to {amount(span.high, 'µm')})" if span.low < span.high else ""
    only = (
        ""
        if one.family is None or " on " in one.words
        else f"; on {'other metals than steel' if one.family == 'other' else one.family}"
    )
    text = f"; {one.text}" if one.text else ""
    return f"{thickness(one.thickness)}{wide}{only}{text}"


def _source(source: "Source") -> str:
    return f"From {source.text} [{source.basis}, trust {source.trust}]"


def _tree(standard: "Standard") -> dict[str, Any]:
    """Return a standard as plain data."""
    return {
        "standard": standard.standard,
        "title": standard.title,
        "metal": standard.metal,
        "text": standard.text,
        "source": standard.source.text,
        "basis": standard.source.basis,
        "trust": str(standard.source.trust),
        "classes": [
            {
                "specification": one.words,
                "thickness_um": round(1e6 * one.thickness, 6),
                "low_um": round(1e6 * one.thickness_range.low, 6),
                "high_um": round(1e6 * one.thickness_range.high, 6),
                "substrate": one.family,
                "text": one.text,
                "source": one.source.text,
                "basis": one.source.basis,
                "trust": str(one.source.trust),
            }
            for one in standard.classes
        ],
    }
