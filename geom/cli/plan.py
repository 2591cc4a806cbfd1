"""``geom plan``: a job file to a plan on the screen and a folder of results."""

import sys
from collections.abc import Callable
from pathlib import Path

import click

from geom.findings import Severity

BLOCKED = 1  # exit code of a plan with a finding that should stop the user


def run(job: str, *, as_json: bool, out: str | None, force: bool, no_files: bool, quiet: bool) -> int:
    """Plan one job; return the exit code."""
    say = progress_line(quiet)
    say("reading the job", 0.0)
    from geom.job.read import read_job

    path = Path(job)
    asked = read_job(path)
    folder = Path(out) if out else Path(results_name(path))
    if not no_files:
        from geom.report.folder import RESULTS, check_folder

        check_folder(folder, RESULTS, force=force)

    from geom.plan import make_plan

    plan = make_plan(asked, progress=say)
    from geom.report.content import document
    from geom.report.jsonfile import as_json as json_text
    from geom.report.text import as_text

    text = as_text(document(plan))
    if not no_files:
        from geom.report.files import result_files
        from geom.report.folder import write_results

        say("drawing", 1.0)
        write_results(result_files(plan, text), folder, force=force)
    say("", 1.0)
    if not quiet:
        click.echo(json_text(plan) if as_json else text, nl=False)
        if not no_files:
            click.echo(f"results in {folder}/", err=True)
    return BLOCKED if any(f.severity == Severity.STOP for f in plan.findings) else 0


def results_name(job: Path) -> str:
    """Return the default name of the folder of results: after the job, or after its folder for job.toml."""
    stem = job.resolve().parent.name if job.stem == "job" else job.stem
    return f"{stem or 'job'}-plan"


def progress_line(quiet: bool) -> Callable[[str, float], None]:
    """Return what shows progress: one line on stderr, rewritten, when that is a terminal; else nothing."""
    if quiet or not sys.stderr.isatty():
        return lambda stage, share: None

    def say(stage: str, share: float) -> None:
        bar = "#" * round(20 * share)
        line = f"[{bar:<20}] {stage}" if stage else ""
        click.echo(f"\r\x1b[K{line}", err=True, nl=False)

    return say
