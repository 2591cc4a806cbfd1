"""The log on disk: plain CSV beside the job, one line for each run, only ever added to."""

import csv
import io
import math
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from geom.errors import OutputError, RunLogError
from geom.runlog.run import Run

MOST_BYTES = 10_000_000


@dataclass(frozen=True, slots=True)
class _Column:
    """One column: the attribute of `Run` it holds, and its unit over SI; no unit for text."""

    name: str
    attribute: str
    factor: float | None = None


COLUMNS = (
    _Column("date", "date"),
    _Column("bath", "bath"),
    _Column("current_A", "current", 1.0),
    _Column("voltage_V", "voltage", 1.0),
    _Column("time_min", "time", 60.0),
    _Column("mass_before_g", "mass_before", 1e-3),
    _Column("mass_after_g", "mass_after", 1e-3),
    _Column("balance_step_g", "balance", 1e-3),
    _Column("part_share", "share", 1.0),
    _Column("metal_mg_per_C", "equivalent", 1e-6),
    _Column("look", "look"),
)
HEADS = tuple(column.name for column in COLUMNS)


def log_path(job: Path) -> Path:
    """Return where the log of a job lies: beside it, named after it."""
    return job.with_name(f"{job.stem}-log.csv")


def read_log(path: Path) -> tuple[Run, ...]:
    """Return the runs of a log, the oldest first; none where there is no such file.

    Raises
    ------
    RunLogError
        where the file is no log, naming line and column.
    """
    try:
        if not path.is_file():
            return ()
        if path.stat().st_size > MOST_BYTES:
            raise RunLogError("log-unreadable", f"the file is larger than {MOST_BYTES // 10**6} MB", where=str(path))
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise RunLogError("log-unreadable", "the file is not UTF-8 text", where=str(path)) from error
    except OSError as error:
        raise RunLogError("log-unreadable", f"the file cannot be read: {error.strerror}", where=str(path)) from error
    return _runs(text, path)


def _runs(text: str, path: Path) -> tuple[Run, ...]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        heads = next(reader, None)
        if heads is None:
            return ()
        if tuple(heads) != HEADS:
            hint = f"its first line must be: {','.join(HEADS)}"
            raise RunLogError("log-heads", "this is no log of runs", where=f"{path.name}, line 1", hint=hint)
        return tuple(_run(line, f"{path.name}, line {reader.line_num}") for line in reader if line)
    except csv.Error as error:
        where = f"{path.name}, line {reader.line_num}"
        raise RunLogError("log-line", f"this line is no CSV: {error}", where=where) from error


def _run(line: list[str], where: str) -> Run:
    if len(line) != len(COLUMNS):
        text = f"{len(line)} cells stand where {len(COLUMNS)} are expected"
        raise RunLogError("log-line", text, where=where, hint="a spreadsheet may have split or joined cells")
    values: dict[str, str | float | None] = {}
    for column, cell in zip(COLUMNS, line, strict=True):
        values[column.attribute] = cell if column.factor is None else _number(cell, column, where)
    if values["share"] is None:
        values["share"] = 1.0
    run = Run(**values)  # type: ignore[arg-type]  # each column holds what its attribute takes
    with suppress(ValueError):
        datetime.fromisoformat(run.date)
        return run
    raise RunLogError("log-line", f'"{run.date[:40]}" is no date such as 2026-05-09', where=f"{where}, date")


def _number(cell: str, column: _Column, where: str) -> float | None:
    if not cell.strip():
        return None
    try:
        number = float(cell)
    except ValueError:
        number = math.nan
    if not 0.0 <= number < 1e9:
        text = f'"{cell[:40]}" stands where a number is expected'
        raise RunLogError("log-line", text, where=f"{where}, {column.name}", hint="write a point for decimals")
    return number * (column.factor or 1.0)


def add_run(path: Path, run: Run) -> None:
    """Write a run at the end of the log, in one piece and safely on disk; make the log where there is none.

    Raises
    ------
    OutputError
        where it cannot be written.
    """
    try:
        with path.open("a+", encoding="utf-8", newline="") as file, _held(file.fileno()):
            file.seek(0, os.SEEK_END)
            is_new = file.tell() == 0
            text = "" if is_new or _ends_line(path) else "\n"
            lines = [*([HEADS] if is_new else []), _cells(run)]
            file.write(text + "".join(_line(cells) for cells in lines))
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError("log-not-written", f"the log cannot be written: {error.strerror}", where=str(path)) from error


class _held:
    """Holds the file while it is written, where the system knows how."""

    def __init__(self, number: int) -> None:
        self.number = number

    def __enter__(self) -> None:
        self._lock("LOCK_EX")

    def __exit__(self, *raised: object) -> None:
        self._lock("LOCK_UN")

    def _lock(self, what: str) -> None:
        with suppress(ImportError, OSError):
            import fcntl

            fcntl.flock(self.number, getattr(fcntl, what))


def _ends_line(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


def _cells(run: Run) -> tuple[str, ...]:
    def cell(column: _Column) -> str:
        value = getattr(run, column.attribute)
        if value is None:
            return ""
        return str(value) if column.factor is None else f"{value / column.factor:.10g}"

    return tuple(cell(column) for column in COLUMNS)


def _line(cells: tuple[str, ...]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def as_rows(runs: tuple[Run, ...]) -> list[Mapping[str, str]]:
    """Return the runs as the log writes them, column by column."""
    return [dict(zip(HEADS, _cells(run), strict=True)) for run in runs]
