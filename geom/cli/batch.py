"""``geom batch``: many jobs side by side, one table, taken up again where it was stopped."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from geom.cli.progress import progress_shown

if TYPE_CHECKING:  # at run time it is read only when the command runs
    from geom.batch.work import Request

SOME_WITHOUT = 1  # exit code where a job has no plan, or one with a finding that should stop the user


def run(
    source: str,
    *,
    accuracy: str | None,
    tables: str | None,
    out: str | None,
    files: str,
    workers: int | None,
    cluster: str | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Plan the jobs of a folder or list, journal each as it is done, print the table; return the exit code."""
    from geom.batch.crews import cluster_crew, local_crew
    from geom.batch.run import run_batch
    from geom.batch.tickets import tickets_of
    from geom.batch.work import PLANNED

    path = Path(source)
    folder = Path(out) if out else Path(f"{path.resolve().stem or 'jobs'}-batch")
    request = _request(accuracy, tables, files)
    tickets = tickets_of(path, request.words, leave_out=folder)
    crew = local_crew(workers) if cluster is None else cluster_crew(cluster)
    with progress_shown(quiet) as say:
        done = run_batch(tickets, folder, request, crew, say, ship=cluster is not None)
    if as_json:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        tree = {"schema_version": SCHEMA_VERSION, "kept": done.kept, "jobs": list(done.rows)}
        click.echo(dumped(tree), nl=False)
    elif not quiet:
        from geom.batch.table import rows_as_text

        click.echo(rows_as_text(done.rows, str(folder)), nl=False)
    if not quiet:
        _say_where(folder, done.kept, done.damaged)
    return 0 if all(row["outcome"] == PLANNED for row in done.rows) else SOME_WITHOUT


def _request(accuracy: str | None, tables: str | None, files: str) -> "Request":
    """Return what is asked of every job, refused at once where it cannot be, not job after job."""
    from geom.batch.work import Request
    from geom.job.demand import check_accuracy
    from geom.job.own_tables import read_tables

    if accuracy is not None:
        check_accuracy(accuracy)
    if tables is None:
        return Request(accuracy, files=files)
    read_tables(tables)
    return Request(accuracy, str(Path(tables).resolve()), Path(tables).read_bytes(), files)


def _say_where(folder: Path, kept: int, damaged: int) -> None:
    from geom.report.tree import printable

    again = f"; {kept} were done before" if kept else ""
    broken = f"; {damaged} damaged lines of the journal were done again" if damaged else ""
    click.echo(f"results in {printable(str(folder))}/results.csv{again}{broken}", err=True)
