"""A batch from its tickets to its table: what is in the journal is not done again."""

import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path, PurePosixPath

from geom.batch.journal import JOURNAL, Journal
from geom.batch.sweep import Crew, Work, swept
from geom.batch.table import rows_as_csv
from geom.batch.tickets import Parcel, Ticket, parcel_of
from geom.batch.work import DIED, Outcome, Request, Row, failed, planned_outcome
from geom.errors import OutputError
from geom.report.folder import RESULTS, write_results

Say = Callable[[str, float], None]

TABLE = "results.csv"
PLANS = "plans"


@dataclass(frozen=True, slots=True)
class Done:
    """What came of a batch."""

    rows: tuple[Row, ...]  # in the order of the tickets
    kept: int  # taken from the journal
    damaged: int  # lines of the journal that could not be read


def run_batch(
    tickets: Sequence[Ticket], folder: Path, request: Request, crew: Crew, say: Say, *, ship: bool = False
) -> Done:
    """Plan what the journal in ``folder`` does not have yet, and write the table of all.

    ``ship``: send each job's files along, for workers that do not see this machine's disk.

    Raises
    ------
    OutputError
        where the folder holds something else, another run has it, or it cannot be written.
    """
    _made(folder)
    with Journal(folder) as journal:
        todo = [ticket for ticket in tickets if ticket.digest not in journal.rows]
        todo = list({ticket.digest: ticket for ticket in todo}.values())
        kept = len(tickets) - len(todo)
        say(f"{kept} of {len(tickets)} jobs", kept / len(tickets))
        work = Work(partial(_planned, request), _lost, _shipped if ship else _as_is)
        try:
            for count, (ticket, outcome) in enumerate(swept(work, todo, crew), kept + 1):
                if outcome.files:
                    _keep(outcome.files, folder / PLANS / plan_folder(ticket.name, ticket.digest))
                journal.add(ticket.digest, outcome.row)
                say(f"{count} of {len(tickets)} jobs", count / len(tickets))
        finally:
            rows = _rows(tickets, journal)
            _write_table(rows, folder)
        return Done(rows, kept, journal.damaged)


def _planned(request: Request, packed: tuple[Ticket, Parcel | None]) -> Outcome:
    return planned_outcome(packed[0], request, packed[1])


def _as_is(ticket: Ticket) -> tuple[Ticket, None]:
    return ticket, None


def _shipped(ticket: Ticket) -> tuple[Ticket, Parcel | None]:
    """Return the job with its files; one whose files cannot be read goes as it is, and is refused where it lands."""
    try:
        return ticket, parcel_of(ticket)
    except (OSError, ValueError):
        return ticket, None


def _lost(ticket: Ticket) -> Outcome:
    text = "the process that planned it died, alone as well; it may need more memory than there is"
    return Outcome(failed(ticket.name, DIED, "worker-died", text))


def _rows(tickets: Sequence[Ticket], journal: Journal) -> tuple[Row, ...]:
    """Return the rows in the order of the tickets; a job whose twin was planned has the twin's row under its own name."""
    found = ((ticket, journal.rows.get(ticket.digest)) for ticket in tickets)
    return tuple({**row, "job": ticket.name} for ticket, row in found if row is not None)


def _made(folder: Path) -> None:
    """Make the folder of the batch; one that holds something else is left alone."""
    known = {JOURNAL, TABLE, PLANS}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        foreign = sorted(entry.name for entry in folder.iterdir() if entry.name not in known)
    except OSError as error:
        text = f"the results cannot be written: {error.strerror or error}"
        raise OutputError("output-unwritable", text, where=str(folder)) from error
    if foreign and not (folder / JOURNAL).exists():
        text = f"the folder is no batch of this program: it holds {', '.join(foreign[:5])}"
        raise OutputError("output-foreign", text, where=str(folder), hint="name another folder with --out")


def plan_folder(name: str, digest: str) -> Path:
    """Return where the files of a job go below the folder of all: after its path, as far as that stays below it."""
    path = PurePosixPath(name)
    parts = [part for part in path.parts[:-1] if part not in ("/", "..")]
    strays = path.is_absolute() or ".." in path.parts
    leaf = f"{path.stem}-{digest[:8]}-plan" if strays else f"{path.stem}-plan"
    return Path(*parts, leaf)


def _keep(files: Mapping[str, bytes], folder: Path) -> None:
    """Write the files of a job's results, in place of those of a run that was killed before its line was on the disk."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            "output-unwritable", f"the results cannot be written: {error.strerror or error}", where=str(folder)
        ) from error
    write_results(files, folder, force=True, replaceable=RESULTS)


def _write_table(rows: Sequence[Row], folder: Path) -> None:
    """Put the table on the disk whole, in place of an older one."""
    fresh = folder / f".geom-{secrets.token_hex(6)}.csv"
    try:
        with fresh.open("xb") as file:
            file.write(rows_as_csv(rows).encode())
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(folder / TABLE)
    except OSError as error:
        raise OutputError(
            "output-unwritable", f"the table cannot be written: {error.strerror or error}", where=str(folder / TABLE)
        ) from error
    finally:
        fresh.unlink(missing_ok=True)
