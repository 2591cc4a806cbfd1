"""``geom plan``: a job file, or a part and a few options, to a plan on the screen and a folder of results."""

from pathlib import Path

import click

from geom.cli.composed import (
    Answers,
    ComposedJob,
    check_free,
    check_job_alone,
    composed_job,
    is_part_file,
    plain_path,
    say_assumed,
    write_job,
)
from geom.cli.progress import OF_A_PLAN, Say, progress_shown
from geom.errors import GeomError
from geom.findings import Severity

BLOCKED = 1  # exit code of a plan with a finding that should stop the user


def run(
    job: str | None,
    *,
    answers: Answers,
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
    asked = _asked(job, answers, out, tables)
    path = Path(job or "job") if asked is None else asked.path
    folder = None if no_files else Path(out) if out else Path(results_name(path))
    if asked is not None and folder is not None:
        check_free(asked.path, asked.composed.text, force=force)
    with progress_shown(quiet, OF_A_PLAN) as say:
        try:
            text, document, is_blocked = _made(asked or path, accuracy, folder, force, options, say, tables)
        except GeomError as error:
            raise error if asked is None else asked.told(error) from None
    if asked is not None and folder is not None:
        write_job(asked.path, asked.composed.text, force=force)
    if as_json:
        click.echo(document, nl=False)
    elif not quiet:
        click.echo(text, nl=False)
    if not quiet:
        _say_where(asked, folder)
    return BLOCKED if is_blocked else 0


def _asked(job: str | None, answers: Answers, out: str | None, tables: str | None) -> ComposedJob | None:
    """Return the job that the options amount to; None where a job file is named."""
    if job is not None and not is_part_file(job):
        check_job_alone(job, answers)
        return None
    return composed_job(job, answers, folder=Path(out).parent if out else Path(), tables=tables)


def _say_where(asked: ComposedJob | None, folder: Path | None) -> None:
    """Say on stderr what was assumed and where everything lies."""
    if asked is not None:
        say_assumed(asked.composed)
    if folder is not None:
        from geom.report.folder import CARD, REPORT

        name = plain_path(folder)
        click.echo(f"results in {name}/: report {REPORT} (opens in a browser), card for the bench {CARD}", err=True)
    if asked is not None:
        name = plain_path(asked.path)
        text = "no job file was written" if folder is None else f"job file {name}: change it, then  geom plan {name}"
        click.echo(text, err=True)


def _made(
    source: Path | ComposedJob,
    accuracy: str | None,
    folder: Path | None,
    force: bool,
    options: bool,
    say: Say,
    tables: str | None,
) -> tuple[str, str, bool]:
    """Return the plan as text and as JSON, and whether it must not be used; write the folder if one is named."""
    say("reading the job", 0.0)
    from geom.job.read import read_job

    job = read_job(source, tables=tables) if isinstance(source, Path) else source.composed.job(source.path)
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
