"""The report as plain text, at most 100 columns, readable in a pipe."""

import re
import textwrap
from collections.abc import Iterator

from geom.report.tree import Document, Row, Section, Table, printable

WIDTH = 98
VALUE = 22  # columns of a short value, so that short origins stand under each other
GLUE = "\N{NO-BREAK SPACE}"
UNIT_AFTER = re.compile(
    r"(?<=\d) (?=[A-Za-zµ]{1,3}\b|[°%])| (?=±)|(?<=±) (?=\d)"
)  # number, unit and error stay together
NARROWEST = 24  # columns for a last column of words: below that the line above is not kept


def as_text(document: Document) -> str:
    """Return the document as plain text."""
    title = _wrapped(document.title)
    lines = [*title, "=" * max(len(line) for line in title)]
    if document.answer:
        lines.append("")
    for sentence in document.answer:
        lines += _wrapped(sentence)
    for section in document.sections:
        lines += ["", section.title, "-" * len(section.title), *_section(section)]
    return printable("\n".join(line.rstrip() for line in lines)) + "\n"


def _section(section: Section) -> Iterator[str]:
    if section.table is not None:
        yield from _table(section.table)
    if section.table is not None and section.rows:
        yield ""
    yield from _rows(section.rows)
    if section.sentences and (section.rows or section.table):
        yield ""
    bullet = "- " if len(section.sentences) > 1 else ""
    for sentence in section.sentences:
        yield from _wrapped(sentence, bullet)


def _wrapped(text: str, first: str = "", wide: int = 0) -> list[str]:
    """Return the text as lines: ``first`` begins the first one, and the others hang under what follows it."""
    wide = max(wide, len(first))
    glued = UNIT_AFTER.sub(GLUE, text)
    lines = textwrap.wrap(
        glued, WIDTH, initial_indent=first.ljust(wide), subsequent_indent=" " * wide, break_on_hyphens=False
    )
    return [line.replace(GLUE, " ") for line in lines] or [first]


def _rows(rows: tuple[Row, ...]) -> Iterator[str]:
    wide = max((len(row.label) + 2 for row in rows if len(row.label) <= 52), default=4)
    for row in rows:
        label = f"{row.label}:"
        if len(label) >= wide:
            yield from _wrapped(label)
            label = ""
        short = f"{row.value.ljust(VALUE)}  {row.origin}"
        if row.origin and wide + len(short) <= WIDTH:
            yield label.ljust(wide) + short
            continue
        yield from _wrapped(row.value, label, wide)
        if row.origin:
            yield from _wrapped(row.origin, " " * (wide + 2))


def _table(table: Table) -> Iterator[str]:
    lines = [table.heads, *table.lines]
    wide = [max(len(line[k]) for line in lines) for k in range(len(table.heads))]
    gaps = 2 * (len(wide) - 1)
    last = len(wide) - 1
    if last in table.words:
        wide[last] = min(wide[last], max(WIDTH - sum(wide[:-1]) - gaps, NARROWEST))
    wide[0] = min(wide[0], max(WIDTH - sum(wide[1:]) - gaps, NARROWEST))
    for number, line in enumerate(lines):
        yield from _cells(line, wide, table.words)
        if number == 0:
            yield "  ".join("-" * w for w in wide)[:WIDTH]


def _cells(line: tuple[str, ...], wide: list[int], words: tuple[int, ...]) -> Iterator[str]:
    """Yield one line of a table; a first cell and a last one of words that are too long go on below themselves."""
    last = len(wide) - 1
    folded = [
        textwrap.wrap(cell, w) or [""] if k == 0 or (k == last and k in words) else [cell]
        for k, (cell, w) in enumerate(zip(line, wide, strict=True))
    ]
    for row in range(max(map(len, folded))):
        cells = [column[row] if row < len(column) else "" for column in folded]
        text = "  ".join(
            cell.ljust(w) if k == 0 or k in words else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(cells, wide, strict=True))
        )
        yield from [text] if len(text.rstrip()) <= WIDTH else textwrap.wrap(text, WIDTH, subsequent_indent="    ")
