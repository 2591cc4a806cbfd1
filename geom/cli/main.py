"""Entry point: parses the command line, prints errors, sets the exit code. Imports nothing heavy."""

import json
import os
import sys
from collections.abc import Callable
from typing import Any

import click

from geom import __version__
from geom.errors import GeomError

DEFECT = 70  # exit code of an error that is the program's own fault (EX_SOFTWARE)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="geom")
def commands() -> None:
    """Current, time and placing for electroplating a part, from its geometry.

    Exit codes: 0 done, 1 done with a finding that should stop you, 2 bad input, 3 no trustworthy solution.
    """


@commands.command()
@click.argument("job", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
@click.option("--out", type=click.Path(), help="Folder for the results; else named after the job.")
@click.option("--force", is_flag=True, help="Replace the folder of results if it is there.")
@click.option("--no-files", is_flag=True, help="Write no folder of results.")
@click.option("--quiet", "-q", is_flag=True, help="Print nothing but errors.")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
def plan(job: str, **options: Any) -> None:
    """Plan the plating of the JOB file: current, voltage, time, turning, thickness."""
    from geom.cli.plan import run

    _guarded(lambda: run(job, **_without_debug(options)), options["as_json"], options["debug"])


@commands.command()
@click.argument("file", type=click.Path())
@click.option("--unit", help="Length of one unit of a mesh file: mm, cm, m, in, ft. Never guessed.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
def area(file: str, **options: Any) -> None:
    """Area by feature, volume and size of a mesh FILE or of the part in a job file."""
    from geom.cli.area import run

    _guarded(lambda: run(file, **_without_debug(options)), options["as_json"], options["debug"])


@commands.command()
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
def baths(name: str | None, **options: Any) -> None:
    """List the baths of the tables, or every value of the bath NAME with its source and trust."""
    from geom.cli.baths import run

    _guarded(lambda: run(name, **_without_debug(options)), options["as_json"], options["debug"])


def _without_debug(options: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in options.items() if key != "debug"}


def _guarded(run: Callable[[], int], as_json: bool, debug: bool) -> None:
    """Run a command; turn errors into one message and an exit code."""
    try:
        code = run()
    except GeomError as error:
        if debug:
            raise
        if as_json:
            click.echo(json.dumps({"schema_version": "1", "error": error_tree(error)}, indent=1, ensure_ascii=False))
        click.echo(f"error: {error}", err=True)
        code = error.exit_code
    except KeyboardInterrupt:
        click.echo("stopped", err=True)
        code = 130
    except BrokenPipeError:
        # the reader of our output went away: point stdout at nothing so that no second error is printed
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 141
    except Exception as error:
        if debug:
            raise
        click.echo(
            f"error: this is a defect in geom, not in your job: {type(error).__name__}: {error}\n"
            "  hint: run again with --debug and report what it prints",
            err=True,
        )
        code = DEFECT
    sys.exit(code)


def error_tree(error: GeomError) -> dict[str, Any]:
    """Return an error as a plain record."""
    mistakes = getattr(error, "mistakes", ())
    return {
        "slug": error.slug,
        "message": error.message,
        "where": error.where,
        "hint": error.hint,
        "mistakes": [error_tree(mistake) for mistake in mistakes],
    }


def main() -> None:
    """Run the command line."""
    commands()
