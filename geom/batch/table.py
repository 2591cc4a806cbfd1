"""The table of a batch: for a spreadsheet, for a script, for a terminal."""

import csv
import io
from collections import Counter
from collections.abc import Sequence

from geom.batch.work import COLUMNS, OUTCOMES, Row
from geom.report.csvfile import safe_text
from geom.report.text import as_text
from geom.report.tree import Document, Section, Table, printable
from geom.report.tree import Row as Line

LONGEST = 40  # letters of a name in the terminal's table
MOST_SHOWN = 60  # jobs in it; the file has all


def rows_as_csv(rows: Sequence[Row]) -> str:
    """Return the table for a spreadsheet; lines end in CR LF, as RFC 4180 has it."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerows([[_cell(row.get(column)) for column in COLUMNS] for row in rows])
    return out.getvalue()


def _cell(value: object) -> str:
    if value is None:
        return ""
    return safe_text(value) if isinstance(value, str) else f"{value:.10g}"


def rows_as_text(rows: Sequence[Row], folder: str) -> str:
    """Return the table for a terminal: a count of outcomes, a line for each job, the reason of each without a plan."""
    counts = [(outcome, sum(row["outcome"] == outcome for row in rows)) for outcome in OUTCOMES]
    words = ", ".join(f"{count} {outcome}" for outcome, count in counts if count)
    planned = [row for row in rows if row["current_A"] is not None]
    others = [row for row in rows if row["current_A"] is None]
    heads = ("job", "outcome", "current", "volts", "time", "thinnest", "thickest", "warnings")
    sections = []
    if planned:
        table = Table(heads, tuple(map(_line, planned[:MOST_SHOWN])), (1,))
        sections.append(Section("Plans", _cut(len(planned), folder), (), table))
    if others:
        reasons = tuple(Line(_short(row["job"]), f"{row['outcome']}: {row['message']}") for row in others[:MOST_SHOWN])
        sections.append(Section("Without a plan", _cut(len(others), folder), reasons))
    warned = Counter(code for row in planned for code in (row["findings"] or "").split())
    if warned:
        lines = tuple(Line(code, f"{count} {'job' if count == 1 else 'jobs'}") for code, count in warned.most_common())
        sections.append(Section("Warnings", ("docs/findings.md says what each means and what to do.",), lines))
    noun = "job" if len(rows) == 1 else "jobs"
    return as_text(Document(f"{len(rows)} {noun}", (f"{words or 'nothing done'}.",), tuple(sections)))


def _cut(count: int, folder: str) -> tuple[str, ...]:
    if count <= MOST_SHOWN:
        return ()
    return (f"The first {MOST_SHOWN} of {count}; results.csv in {folder} has all.",)


def _short(name: str) -> str:
    name = printable(name)
    return name if len(name) <= LONGEST else "…" + name[1 - LONGEST :]


def _line(row: Row) -> tuple[str, ...]:
    return (
        _short(row["job"]),
        row["outcome"],
        f"{row['current_A']:.3g} A",
        f"{row['voltage_V']:.2g} V",
        f"{row['time_min']:.3g} min",
        f"{row['thinnest_um']:.3g} µm",
        f"{row['thickest_um']:.3g} µm",
        str(len((row["findings"] or "").split()) or "-"),
    )
