"""One job of a batch, in whatever process or machine it lands: everything that goes wrong is told in its row."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

from geom.batch.tickets import Parcel, Ticket
from geom.errors import GeomError, SolveError
from geom.findings import Severity

if TYPE_CHECKING:  # at run time it is read only with the first job
    from geom.plan import Plan

Row = dict[str, Any]

COLUMNS = (
    "job",
    "outcome",
    "title",
    "current_A",
    "voltage_V",
    "time_min",
    "turns",
    "thinnest_um",
    "mean_um",
    "thickest_um",
    "wetted_area_mm2",
    "bare_share",
    "over_range_share",
    "binding_limit",
    "findings",
    "error",
    "message",
    "seconds",
)
"""Of the table of results. Units are in the names; `seconds` is what the job took and differs from run to run."""

PLANNED, BLOCKED, REFUSED, UNSOLVED, DIED = "planned", "do not plate", "refused", "no solution", "died"
OUTCOMES = (PLANNED, BLOCKED, REFUSED, UNSOLVED, DIED)
"""Do not plate: planned, with a finding that should stop you. Died: the process that planned it, more than once."""

BRIEF = ("plan.json", "plan.txt")
"""Files of results that are kept of each job, unless all are asked for."""

UNHURRIED = 1e9
"""Time for finer panels where the job states none: a busy machine must not change a result [s]."""


@dataclass(frozen=True, slots=True)
class Request:
    """What is asked of every job alike."""

    accuracy: str | None = None
    tables: str | None = None  # file of own baths
    tables_content: bytes = b""  # what is in it
    files: str = "brief"  # "none", "brief" or "all"

    @property
    def words(self) -> str:
        """What of it decides a row and its files, as text."""
        return f"{self.accuracy}|{self.files}|{self.tables_content.hex()}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """The row of one job, and the files of its results by name."""

    row: Row
    files: dict[str, bytes] = field(default_factory=dict)


def planned_outcome(ticket: Ticket, request: Request, parcel: Parcel | None = None) -> Outcome:
    """Plan one job; ``parcel`` holds its files where this machine may not have them. Raises nothing of the job's."""
    begun = monotonic()
    try:
        with _place(ticket, request, parcel) as (path, tables):
            plan = _plan(path, request.accuracy, tables)
            files = _files(plan, request.files)
        row = _row_of(ticket.name, plan)
    except GeomError as error:
        outcome = UNSOLVED if isinstance(error, SolveError) else REFUSED
        row, files = failed(ticket.name, outcome, error.slug, _whole(error)), {}
    except Exception as error:  # a fault of the program in one job must not lose the others
        row, files = failed(ticket.name, REFUSED, "defect", f"{type(error).__name__}: {error}"), {}
    return Outcome({**row, "seconds": round(monotonic() - begun, 2)}, files)


def failed(name: str, outcome: str, slug: str, message: str) -> Row:
    """Return the row of a job without a plan."""
    return dict.fromkeys(COLUMNS) | {"job": name, "outcome": outcome, "error": slug, "message": message}


@contextmanager
def _place(ticket: Ticket, request: Request, parcel: Parcel | None) -> Iterator[tuple[Path, str | None]]:
    """Give the job file and the user's tables: where they are, or unpacked into a folder of their own."""
    if parcel is None:
        yield Path(ticket.path), request.tables
        return
    with tempfile.TemporaryDirectory(prefix="geom-") as folder:
        for name, content in parcel.files.items():
            target = Path(folder) / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        tables = Path(folder) / "tables-of-all.toml"
        tables.write_bytes(request.tables_content)
        yield Path(folder) / parcel.job, str(tables) if request.tables else None


def _plan(path: Path, accuracy: str | None, tables: str | None) -> "Plan":
    from geom.job.demand import with_accuracy
    from geom.job.job import Demand
    from geom.job.read import read_job
    from geom.plan import make_plan

    job = read_job(path, tables=tables)
    if accuracy is not None:
        job = with_accuracy(job, accuracy)
    if job.demand.seconds == Demand().seconds:
        job = replace(job, demand=replace(job.demand, seconds=UNHURRIED))
    return make_plan(job)


def _files(plan: "Plan", which: str) -> dict[str, bytes]:
    if which == "none":
        return {}
    from geom.report.content import document
    from geom.report.jsonfile import as_json
    from geom.report.text import as_text

    text = as_text(document(plan))
    if which == "brief":
        return dict(zip(BRIEF, (as_json(plan, faces=False).encode(), text.encode()), strict=True))
    from geom.report.files import result_files

    return result_files(plan, text)


def _row_of(name: str, plan: "Plan") -> Row:
    is_blocked = any(finding.severity == Severity.STOP for finding in plan.findings)
    within = plan.coverage
    binding = [limit.name for limit in plan.limits if limit.binds]
    return dict.fromkeys(COLUMNS) | {
        "job": name,
        "outcome": BLOCKED if is_blocked else PLANNED,
        "title": plan.job.title,
        "current_A": plan.current,
        "voltage_V": plan.voltage,
        "time_min": plan.time / 60,
        "turns": max(0, len(plan.deposit.stages) - 1),
        "thinnest_um": 1e6 * plan.minimum_local_thickness,
        "mean_um": 1e6 * plan.thickness["mean"],
        "thickest_um": 1e6 * plan.thickness["max"],
        "wetted_area_mm2": 1e6 * plan.wetted_area,
        "bare_share": None if within is None else within.wetted.bare,
        "over_range_share": None if within is None else within.wetted.over,
        "binding_limit": "; ".join(binding) or None,
        "findings": " ".join(sorted({f.code for f in plan.findings if f.severity != Severity.NOTE})) or None,
    }


def _whole(error: GeomError) -> str:
    """Return an error with all its mistakes on one line."""
    mistakes = getattr(error, "mistakes", ()) or (error,)
    return "; ".join(f"{one.message} ({one.where.splitlines()[0]})" if one.where else one.message for one in mistakes)
