"""The report as plain text, at most 100 columns, readable in a pipe."""

import textwrap
from collections.abc import Iterator

from geom.report.content import Document, Row, Section, Table

WIDTH = 98


def as_text(document: Document) -> str:
    """Return the document as plain text."""
    lines = [document.title, "=" * min(len(document.title), WIDTH)]
    if document.answer:
        lines.append("")
    for sentence in document.answer:
        lines += textwrap.wrap(sentence, WIDTH)
    for section in document.sections:
        lines += ["", section.title, "-" * len(section.title)]
        lines += _section(section)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _section(section: Section) -> Iterator[str]:
    if section.table is not None:
        yield from _table(section.table)
    if section.rows:
        yield from _rows(section.rows)
    bullet = "- " if len(section.sentences) > 1 else ""
    for sentence in section.sentences:
        yield from textwrap.wrap(sentence, WIDTH, initial_indent=bullet, subsequent_indent=" " * len(bullet))


def _rows(rows: tuple[Row, ...]) -> Iterator[str]:
    wide = min(max(len(row.label) for row in rows), 52) + 2
    for row in rows:
        label = f"{row.label}:"
        if len(label) >= wide:
            yield label
            label = ""
        yield from textwrap.wrap(
            row.value, WIDTH, initial_indent=label.ljust(wide), subsequent_indent=" " * wide
        ) or [label]
        if row.origin:
            yield from textwrap.wrap(
                row.origin, WIDTH, initial_indent=" " * wide + "from ", subsequent_indent=" " * (wide + 5)
            )


def _table(table: Table) -> Iterator[str]:
    lines = [table.heads, *table.lines]
    wide = [max(len(line[k]) for line in lines) for k in range(len(table.heads))]
    words = [k > 0 and not any(ch.isdigit() for ch in table.lines[0][k][:1]) for k in range(len(wide))] if table.lines else []
    for number, line in enumerate(lines):
        cells = [
            cell.ljust(wide[k]) if k == 0 or (words and words[k] and len(cell) > 14) else cell.rjust(wide[k])
            for k, cell in enumerate(line)
        ]
        text = "  ".join(cells)
        if len(text) <= WIDTH:
            yield text
        else:
            yield from textwrap.wrap(text, WIDTH, subsequent_indent=" " * 4)
        if number == 0:
            yield "  ".join("-" * w for w in wide)[:WIDTH]
