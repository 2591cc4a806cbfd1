"""``geom plan``: a job file to a plan on the screen and a folder of results."""

from pathlib import Path

import click

from geom.cli.progress import Say, progress_shown
from geom.findings import Severity

BLOCKED = 1  # exit code of a plan with a finding that should stop the user


def run(
    job: str,
    *,
    accuracy: str | None,
    as_json: bool,
    out: str | None,
    force: bool,
    no_files: bool,
    quiet: bool,
    options: bool,
    tables: str | None = None,
) -> int:
    """Plan one job, write and print it; return the exit code."""
    path = Path(job)
    folder = None if no_files else Path(out) if out else Path(results_name(path))
    with progress_shown(quiet) as say:
        text, document, is_blocked = _made(path, accuracy, folder, force, options, say, tables)
    if as_json:
        click.echo(document, nl=False)
    elif not quiet:
        click.echo(text, nl=False)
    if folder is not None and not quiet:
        from geom.report.tree import printable

        click.echo(f"results in {printable(str(folder))}/", err=True)
    return BLOCKED if is_blocked else 0


def _made(
    path: Path, accuracy: str | None, folder: Path | None, force: bool, options: bool, say: Say, tables: str | None
) -> tuple[str, str, bool]:
    """Return the plan as text and as JSON, and whether it must not be used; write the folder if one is named."""
    say("reading the job", 0.0)
    from geom.job.read import read_job

    job = read_job(path, tables=tables)
    if accuracy is not None:
        from geom.job.demand import with_accuracy

        job = with_accuracy(job, accuracy)
    if folder is not None:
        from geom.report.folder import RESULTS, check_folder

        check_folder(folder, RESULTS, force=force)
    from geom.plan import make_plan

    plan = make_plan(job, progress=say, options=options)
    from geom.report.content import document
    from geom.report.jsonfile import as_json
    from geom.report.text import as_text

    text = as_text(document(plan))
    if folder is not None:
        from geom.report.files import result_files
        from geom.report.folder import write_results

        say("drawing", 1.0)
        write_results(result_files(plan, text), folder, force=force)
    return text, as_json(plan), any(f.severity == Severity.STOP for f in plan.findings)


def results_name(job: Path) -> str:
    """Return the default name of the folder of results: after the job, or after its folder for job.toml."""
    stem = job.resolve().parent.name if job.stem == "job" else job.stem
    return f"{stem or 'job'}-plan"
