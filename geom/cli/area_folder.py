"""``geom area`` for a folder: one line for each file, read side by side; a bad file never stops the rest."""

import csv
import io
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geom.cli.part_options import Asked, part_of_file
from geom.cli.progress import Say
from geom.errors import GeomError
from geom.findings import Finding, Severity

if TYPE_CHECKING:  # at run time it is read only with the first file
    from geom.part.part import Part

COLUMNS = (
    "file",
    "outcome",
    "area_mm2",
    "volume_mm3",
    "length_x_mm",
    "length_y_mm",
    "length_z_mm",
    "bodies",
    "faces",
    "features",
    "findings",
    "error",
    "message",
)
"""Of the table."""

OUTCOMES = ("accepted", "repaired", "refused", "died")
"""Repaired: see findings. Died: the process that read the file, in spite of its limits."""

MOST_HELD = 300_000
"""Faces of a part, from which on nobody waits for what air it traps."""

LONGEST = 40  # letters of a name in the table


def part_files(folder: Path) -> list[Path]:
    """Return the files in a folder and the folders in it that may be parts, by name; links are not followed."""
    from geom.formats.open import READERS

    found = []
    for base, _, names in os.walk(folder, followlinks=False):
        found += [Path(base) / name for name in names if Path(name).suffix.lower() in READERS]
    return sorted(found)


def folder_rows(folder: Path, asked: Asked, workers: int, say: Say) -> list[dict[str, Any]]:
    """Return one row for each file, in the order of their names.

    A file that kills the process that reads it, in spite of the limits, is told so; those that were under way
    beside it are done again, each in a process of its own.
    """
    files = part_files(folder)
    rows: dict[Path, dict[str, Any]] = {}
    left = files
    alone = False
    while left:
        for file, row in _pass(left, folder, asked, 1 if alone else workers):
            rows[file] = row
            say(f"{len(rows)} of {len(files)} files", len(rows) / len(files))
        broken = [file for file in left if file not in rows]
        if alone and broken:  # the first of them is what killed its process
            rows[broken[0]] = _row(str(broken[0].relative_to(folder)), "died", message="the process that read it died")
        left, alone = [file for file in left if file not in rows], True
    return [rows[file] for file in files]


def _pass(files: Sequence[Path], folder: Path, asked: Asked, workers: int) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Yield file and row as they are done, until all are or the processes break."""
    from multiprocessing import get_context

    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        futures = {pool.submit(file_row, str(file), str(folder), asked): file for file in files}
        for future in as_completed(futures):
            try:
                row = future.result()
            except BrokenProcessPool:
                continue
            yield futures[future], row


def file_row(file: str, folder: str, asked: Asked) -> dict[str, Any]:
    """Return the row of one file; whatever is wrong with it is in the row."""
    name = str(Path(file).relative_to(folder))
    try:
        part = part_of_file(Path(file), asked)
        held = _held(part)
    except GeomError as error:
        return _row(name, "refused", error=error.slug, message=error.message)
    except Exception as error:  # a fault of the program in one file must not lose the others
        return _row(name, "refused", error="defect", message=f"{type(error).__name__}: {error}")
    low, high = part.surface.bounds
    x, y, z = (1e3 * float(v) for v in high - low)
    repaired = any(change.severity != Severity.NOTE for change in part.changes)
    return _row(
        name,
        "repaired" if repaired else "accepted",
        area_mm2=1e6 * part.area,
        volume_mm3=1e9 * part.volume,
        length_x_mm=x,
        length_y_mm=y,
        length_z_mm=z,
        bodies=part.bodies,
        faces=len(part.surface.faces),
        features=len(part.features),
        findings=" ".join(sorted({finding.code for finding in (*part.findings, *held)})),
    )


def _held(part: "Part") -> list[Finding]:
    """Return what a part holds back with z of its file up; of a very large mesh it is left to `geom area` of the file."""
    if len(part.surface.faces) >= MOST_HELD:
        return []
    from geom.hanging.hanging import hung
    from geom.hanging.words import hanging_findings

    return hanging_findings(hung(part.surface, part.features, None, tilts=False), part.area)


def _row(name: str, outcome: str, **values: Any) -> dict[str, Any]:
    return {column: None for column in COLUMNS} | {"file": name, "outcome": outcome} | values


def rows_as_csv(rows: Sequence[dict[str, Any]]) -> str:
    """Return the table for a spreadsheet; lines end in CR LF, as RFC 4180 has it."""
    from geom.report.csvfile import safe_text

    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow(
            [
                "" if row[c] is None else _cell(row[c]) if not isinstance(row[c], str) else safe_text(row[c])
                for c in COLUMNS
            ]
        )
    return out.getvalue()


def _cell(value: float) -> str:
    return f"{value:.10g}"


def rows_as_text(rows: Sequence[dict[str, Any]]) -> str:
    """Return the table for a terminal, a count of outcomes, and the reason of each refusal."""
    from geom.report.text import as_text
    from geom.report.tree import Document, Row, Section, Table

    taken = [row for row in rows if row["area_mm2"] is not None]
    counts = [(outcome, sum(row["outcome"] == outcome for row in rows)) for outcome in OUTCOMES]
    words = ", ".join(f"{count} {outcome}" for outcome, count in counts if count) or "no file that may be a part"
    heads = ("file", "outcome", "area mm²", "size mm", "bodies", "findings")
    sections = [
        Section("Parts", (), (), Table(heads, tuple(map(_line, taken)), (1, 5))) if taken else None,
        Section("Not taken", (), tuple(Row(r["file"], _reason(r)) for r in rows if r not in taken))
        if len(taken) < len(rows)
        else None,
    ]
    noun = "file" if len(rows) == 1 else "files"
    return as_text(Document(f"{len(rows)} {noun}", (f"{words}.",), tuple(s for s in sections if s is not None)))


def _reason(row: dict[str, Any]) -> str:
    return f"{row['error']}: {row['message']}" if row["error"] else str(row["message"])


def _line(row: dict[str, Any]) -> tuple[str, ...]:
    name = row["file"] if len(row["file"]) <= LONGEST else "…" + row["file"][1 - LONGEST :]
    size = " x ".join(f"{row[f'length_{axis}_mm']:.4g}" for axis in "xyz")
    return (name, row["outcome"], f"{row['area_mm2']:.5g}", size, str(row["bodies"]), row["findings"] or "")
