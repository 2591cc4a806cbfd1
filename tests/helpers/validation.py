"""Rows of docs/validation.md: recorded beside the assertion they stand for, written by the tests, compared by them.

A test calls `record` (or `hold`, which also asserts). In a plain run the row must stand in the document with the
same figure; ``pytest --write-validation`` writes it there instead. Introductions are written by hand, tables
between ``<!-- table: NAME -->`` and ``<!-- end of table -->`` are not.
"""

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

DOCUMENT = Path(__file__).parents[2] / "docs" / "validation.md"
OPENING, CLOSING = "<!-- table: {} -->", "<!-- end of table -->"
HEADING = ("Case", "Quantity", "Panels", "Computed", "Known", "Difference", "Order", "Whose")
AGREEMENT = 1 / 4  # of the asserted bound: less is no news, and may come of another processor
ORDERS_AGREE = 0.15
MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table. ``known`` may be words, as ``at least 1.7``."""

    case: str
    quantity: str
    computed: float
    known: float | str
    panels: int | None = None
    source: str = ""
    bound: float | None = None
    order: float | None = None

    @property
    def key(self) -> tuple[str, str]:
        """What tells it from the other rows of its table."""
        return self.case, self.quantity

    @property
    def cells(self) -> tuple[str, ...]:
        """Its texts, in the order of the heading."""
        known = self.known if isinstance(self.known, str) else _figure(self.known)
        panels = "" if self.panels is None else f"{self.panels:,}"
        order = "" if self.order is None else f"{self.order:.2f}".replace("-", MINUS)
        return (
            *self.key,
            panels,
            _figure(self.computed, 3 if isinstance(self.known, str) else 5),
            known,
            self._difference,
            order,
            self.source,
        )

    @property
    def _difference(self) -> str:
        if isinstance(self.known, str) or self.known == 0.0:
            return ""
        return f"{100 * (self.computed / self.known - 1):+.2g} %".replace("-", MINUS)

    @property
    def slack(self) -> float:
        """By how much the computed figure may stand beside the document's: three digits, or a quarter of the bound."""
        digits = 5e-4 * 10.0 ** math.ceil(math.log10(abs(self.computed))) if self.computed else 0.0
        if self.bound is None:
            return digits
        scale = 1.0 if isinstance(self.known, str) or self.known == 0.0 else abs(self.known)
        return max(digits, AGREEMENT * self.bound * scale)


_kept: dict[str, list[Row]] | None = None  # rows of a writing run; None: compare
_seen: set[tuple[str, str, str]] = set()  # table, case, quantity of every row recorded


def record(
    table: str,
    case: str,
    quantity: str,
    computed: float,
    exact: float | str,
    *,
    panels: int | None = None,
    source: str = "",
    bound: float | None = None,
    order: float | None = None,
) -> None:
    """Compare a row with the document, or keep it for writing.

    ``bound`` is what the test asserts: relative where ``exact`` is a number other than zero, else in the unit of
    ``computed``. ``exact`` may be words ("at least 1.7"). ``source`` says whose figure it is. ``order`` is the
    observed order of convergence, which the test asserts too.
    """
    if "|" in f"{case}{quantity}{exact}{source}":
        raise ValueError(f"a bar would split a cell of the table in two: {case}, {quantity}")
    row = Row(case, quantity, float(computed), exact, panels, source, bound, order)
    _seen.add((table, *row.key))
    if _kept is not None:
        rows = _kept.setdefault(table, [])
        _put(rows, row)
        return
    _compare(table, row)


def hold(
    table: str,
    case: str,
    quantity: str,
    computed: float,
    exact: float,
    *,
    rtol: float,
    panels: int | None = None,
    source: str = "",
    order: float | None = None,
) -> None:
    """Assert that ``computed`` is ``exact`` within ``rtol``, and record it."""
    computed = float(computed)
    assert abs(computed - exact) <= rtol * abs(exact), f"{case}, {quantity}: {computed!r}, known {exact!r}, {rtol=}"
    record(table, case, quantity, computed, exact, panels=panels, source=source, bound=rtol, order=order)


def seen() -> list[list[str]]:
    """Return table, case and quantity of every row recorded so far."""
    return [list(row) for row in sorted(_seen)]


def also_seen(rows: Iterable[Sequence[str]]) -> None:
    """Count rows that another process recorded."""
    _seen.update((table, case, quantity) for table, case, quantity in rows)


def begin_writing() -> None:
    """Keep rows from here on instead of comparing them."""
    global _kept
    _kept = {}


def write(*, whole: bool) -> None:
    """Write the kept rows into the document; where the ``whole`` suite ran, rows that no test recorded go."""
    text = DOCUMENT.read_text(encoding="utf-8")
    for table, rows in (_kept or {}).items():
        before, lines, after = _cut(text, table)
        old = {(cells[0], cells[1]): cells for cells in lines}
        new = {row.key: _unless_noise(row, old.get(row.key)) for row in rows}
        merged = new if whole else {**old, **new}
        text = before + _table(list(merged.values())) + after
    part = DOCUMENT.with_suffix(".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, DOCUMENT)


def stale() -> list[str]:
    """Return the rows of the document that no test has recorded in this run."""
    text = DOCUMENT.read_text(encoding="utf-8")
    opening = OPENING.split("{}")[0]
    names = [part.split(" -->")[0] for part in text.split(opening)[1:]]
    return [
        f"{name}: {cells[0]}, {cells[1]}"
        for name in names
        for cells in _cut(text, name)[1]
        if (name, cells[0], cells[1]) not in _seen
    ]


def _unless_noise(row: Row, old: Sequence[str] | None) -> Sequence[str]:
    """Return the old cells where only a residual moved, within its slack: no change that nobody needs to read."""
    new = row.cells
    if (
        old is None
        or not isinstance(row.known, str)
        or old[:3] != [*new[:3]]
        or old[4] != new[4]
        or old[6:] != [*new[6:]]
    ):
        return new
    return old if abs(float(old[3].replace(MINUS, "-").replace(",", "")) - row.computed) <= row.slack else new


def _compare(table: str, row: Row) -> None:
    mend = "run `pytest --write-validation` on this test and read what changed"
    lines = _cut(DOCUMENT.read_text(encoding="utf-8"), table)[1]
    found = [cells for cells in lines if (cells[0], cells[1]) == row.key]
    if len(found) != 1:
        raise AssertionError(f"docs/validation.md, table {table}: {len(found)} rows for {row.key}; {mend}")
    written = float(found[0][3].replace(MINUS, "-").replace(",", ""))
    if not abs(written - row.computed) <= row.slack:
        raise AssertionError(
            f"docs/validation.md, table {table}, {row.key}: it says {written}, the test found {row.computed!r}; {mend}"
        )
    if row.order is not None and not abs(float(found[0][6].replace(MINUS, "-")) - row.order) <= ORDERS_AGREE:
        raise AssertionError(
            f"docs/validation.md, {row.key}: order {found[0][6]}, the test found {row.order:.2f}; {mend}"
        )
    if isinstance(row.known, str) and found[0][4] != row.known:
        raise AssertionError(f"docs/validation.md, table {table}, {row.key}: it says {found[0][4]!r}; {mend}")


def _put(rows: list[Row], row: Row) -> None:
    """Add a row beside the others of its case, or in place of itself."""
    places = [k for k, other in enumerate(rows) if other.key == row.key]
    if places:
        rows[places[0]] = row
        return
    same = [k for k, other in enumerate(rows) if other.case == row.case]
    rows.insert(same[-1] + 1 if same else len(rows), row)


def _cut(text: str, table: str) -> tuple[str, list[list[str]], str]:
    """Return the text before the rows of a table, their cells, and the text after."""
    opening = OPENING.format(table)
    before, found, rest = text.partition(opening)
    if not found or CLOSING not in rest:
        raise AssertionError(f"docs/validation.md has no {opening} followed by {CLOSING}: write its introduction first")
    inside, closing, after = rest.partition(CLOSING)
    lines = [line for line in inside.splitlines() if line.startswith("| ")][1:]
    cells = [[cell.strip() for cell in line[1:-1].split("|")] for line in lines]
    cells = [[*c[:6], "", *c[6:]] if len(c) == 7 else c for c in cells]
    return before + opening, cells, closing + after


def _table(rows: Sequence[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(HEADING) + " |", "|" + "---|" * len(HEADING)]
    lines += ["| " + " | ".join(cells) + " |" for cells in rows]
    return "\n\n" + "\n".join(lines) + "\n\n"


def _figure(value: float, digits: int = 5) -> str:
    """So many figures; thousands marked in large ones."""
    text = f"{value:,.0f}" if abs(value) >= 1e5 else f"{value:.{digits}g}"
    return text.replace("-", MINUS)
