"""``geom baths``: what the tables hold, with source and trust."""

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:  # at run time the tables are read only when the command runs
    from geom.tables.load import TableEntry
    from geom.tables.read import BathTable


def run(name: str | None, *, as_json: bool, tables: str | None = None) -> int:
    """Print the list of baths, or one bath whole, with those of a file of one's own; return the exit code."""
    if tables is None:
        return _shown(name, as_json)
    from geom.job.own_tables import read_tables
    from geom.tables.load import overlaid

    with overlaid(read_tables(tables)):
        return _shown(name, as_json)


def _shown(name: str | None, as_json: bool) -> int:
    from geom.tables.read import bath_table

    if name is None:
        return _list(as_json)
    table = bath_table(name)
    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        click.echo(
            dumped(
                {
                    "schema_version": SCHEMA_VERSION,
                    "name": table.name,
                    "title": table.title,
                    "metal": table.metal,
                    "use": table.use,
                    "entries": [_entry(e) for e in table.entries],
                }
            ),
            nl=False,
        )
        return 0
    from geom.report.text import as_text
    from geom.report.tree import Document, Row, Section

    rows = tuple(Row(e.key.replace("_", " ").replace(".", ": "), _value(e), _source(e)) for e in table.entries)
    click.echo(as_text(Document(table.title, (f"For {table.use}.",), (Section(table.name, (), rows),))), nl=False)
    return 0


def _list(as_json: bool) -> int:
    from geom.tables.read import bath_names, bath_table, refused_baths

    tables = [bath_table(name) for name in bath_names()]
    refused = refused_baths()
    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        click.echo(
            dumped(
                {
                    "schema_version": SCHEMA_VERSION,
                    "baths": [{"name": t.name, "title": t.title, "metal": t.metal, "use": t.use} for t in tables],
                    "refused": dict(refused),
                }
            ),
            nl=False,
        )
        return 0
    from geom.report.text import as_text
    from geom.report.tree import Document, Row, Section

    sections = (
        Section("Baths", (), tuple(Row(t.name, _line(t)) for t in tables)),
        Section("Refused", (), tuple(Row(name, reason) for name, reason in refused.items())),
    )
    click.echo(as_text(Document("Baths of the tables", ("geom baths NAME shows one whole.",), sections)), nl=False)
    return 0


def _line(table: "BathTable") -> str:
    """Return what a bath is for, its metal, and where it works."""
    of = {entry.key: entry for entry in table.entries}
    warm, bright = (_numbers(of[key]) for key in ("temperature", "current_density"))
    return (
        f"{table.title}; for {table.use}; {table.metal}, {warm}, {bright} [trust {of['current_density'].source.trust}]"
    )


def _entry(entry: "TableEntry") -> dict[str, Any]:
    return {
        "key": entry.key,
        "low": entry.low,
        "typical": entry.typical,
        "high": entry.high,
        "unit": entry.unit,
        "points": [list(point) for point in entry.points],
        "text": entry.text,
        "source": entry.source.text,
        "basis": entry.source.basis,
        "trust": str(entry.source.trust),
    }


def _value(entry: "TableEntry") -> str:
    if entry.typical is None:
        return str(entry.text)
    remark = f"; {entry.text}" if entry.text else ""
    return _numbers(entry) + remark


def _numbers(entry: "TableEntry") -> str:
    low, high = (entry.typical if end is None else end for end in (entry.low, entry.high))
    span = "" if low == high else f" ({low:g} to {high:g})"
    return f"{entry.typical:g}{span} {entry.unit}".rstrip()


def _source(entry: "TableEntry") -> str:
    return f"from {entry.source.text} [{entry.source.basis}, trust {entry.source.trust}]"
