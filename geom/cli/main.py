"""Entry point: parses the command line, prints errors, sets the exit code. Imports nothing heavy."""

import os
import sys
from collections.abc import Callable
from typing import Any

import click

from geom import __version__
from geom.cli.answer_options import CommandWithAnswers, answer_options, complete_bath, taken
from geom.cli.groups import Groups
from geom.errors import GeomError

DEFECT = 70  # exit code of an error that is the program's own fault (EX_SOFTWARE)
INTERRUPTED = 130  # as shells have it: 128 and the number of SIGINT
PIPE_CLOSED = 141  # 128 and the number of SIGPIPE


@click.group(cls=Groups, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="geom")
def commands() -> None:
    """Current, time and placing for electroplating a part, from its geometry.

    \b
    Begin with one of these:
      geom page                              in the browser: type sizes, see it
      geom plan --bar "100 x 20 x 3 mm"      a bar, all else assumed and listed
      geom plan part.stl --unit mm           the same for a mesh or a drawing
      geom new                               a job file, from a few questions
      geom plan job.toml                     the job file, planned

    geom COMMAND -h says more of each.

    Exit codes: 0 done, 1 done with a finding that should stop you, 2 bad input, 3 no trustworthy solution.
    """


json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
tables_option = click.option("--tables", type=click.Path(), metavar="FILE", help="Baths of your own, over the tables.")
debug_option = click.option("--debug", is_flag=True, help="Show the traceback of an error too.")


@commands.command(cls=CommandWithAnswers)
@click.argument("job", type=click.Path(), required=False, metavar="[JOB|PART]")
@click.option("--accuracy", metavar="quick|usual|fine|PERCENT", help="How sure the figures have to be, such as 3%.")
@json_option
@click.option("--out", type=click.Path(), metavar="DIR", help="Folder for the results; else named after the job.")
@click.option("--force", is_flag=True, help="Replace results, and a job file made of options, if they are there.")
@click.option("--options", is_flag=True, help="Solve other ways too: less current, wire inside, thieves, second anode.")
@click.option("--no-files", is_flag=True, help="Write no folder of results.")
@tables_option
@click.option("--quiet", "-q", is_flag=True, help="No text and no progress; errors and --json are still printed.")
@debug_option
@answer_options
def plan(debug: bool, **options: Any) -> None:
    """Plan the plating of the JOB file: current, voltage, time, turning, thickness.

    Without a job file: name the mesh or drawing of a PART, or say --bar or --rod. What is not said is assumed, and the
    job file that it amounts to is written, to be changed and planned again.

    \b
    geom plan clamp.stl --unit mm
    geom plan --bar "100 x 20 x 3 mm" --hole "8 mm at -30,0"
    """

    def run() -> int:
        from geom.cli.plan import run

        answers = taken(options)
        return run(**options, answers=answers)

    _guarded(run, options["as_json"], debug)


@commands.command(cls=CommandWithAnswers)
@click.argument("file", type=click.Path(), required=False, metavar="[FILE]")
@click.option("--part", type=click.Path(), metavar="FILE", help="Mesh or drawing of the part.")
@click.option("--force", is_flag=True, help="Replace the job file if it is there.")
@tables_option
@click.option("--quiet", "-q", is_flag=True, help="No text; errors and --json are still printed.")
@json_option
@debug_option
@answer_options
def new(debug: bool, **options: Any) -> None:
    """Write a job file with remarks: from a few questions, or from options without any.

    FILE is the job file to write; else it is named after title or part.
    """

    def run() -> int:
        from geom.cli.new import run

        answers = taken(options)
        return run(**options, answers=answers)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("shell", type=click.Choice(("bash", "zsh", "fish")))
def completion(shell: str) -> None:
    """Print the script that completes commands, options, baths and files in a SHELL.

    \b
    bash:  echo 'eval "$(geom completion bash)"' >> ~/.bashrc
    zsh:   echo 'eval "$(geom completion zsh)"' >> ~/.zshrc
    fish:  geom completion fish > ~/.config/fish/completions/geom.fish
    """

    def run() -> int:
        from click.shell_completion import get_completion_class

        kind = get_completion_class(shell)
        assert kind is not None
        click.echo(kind(commands, {}, "geom", "_GEOM_COMPLETE").source())
        return 0

    _guarded(run, False, False)


@commands.command()
@click.argument("file", type=click.Path())
@click.option("--unit", help="Length of one unit of the file: mm, cm, m, in, ft. Never guessed.")
@click.option("--strict", is_flag=True, help="Refuse a mesh that would have to be repaired.")
@click.option("--thickness", metavar="LENGTH", help="Of the metal, for a drawing or a sheet drawn without any.")
@click.option("--immersed", metavar="LENGTH", help="How deep the lowest point hangs in the liquid; z is up.")
@click.option("--picture", type=click.Path(), metavar="PNG", help="Where the picture goes; else named after the file.")
@click.option("--no-picture", is_flag=True, help="Draw no picture.")
@click.option("--csv", "as_csv", is_flag=True, help="Of a folder: print the table as CSV.")
@click.option("--jobs", "workers", type=click.IntRange(1, 256), help="Of a folder: files read at once.")
@click.option("--most-size", metavar="SIZE", help="Largest file that is read; 500 MB.")
@click.option("--most-memory", metavar="SIZE", help="Memory that reading a file may take; 4 GB.")
@click.option("--most-time", metavar="TIME", help="Time that reading a file may take; 60 s.")
@click.option("--quiet", "-q", is_flag=True, help="No text and no progress; errors and --json are still printed.")
@json_option
@debug_option
def area(debug: bool, **options: Any) -> None:
    """Area by feature, size, repairs, trapped air of a mesh, drawing or job FILE, or of all parts in a folder."""

    def run() -> int:
        from geom.cli.area import run
        from geom.cli.part_options import ASKED, Asked

        asked = Asked(**{name: options.pop(name) for name in ASKED})
        return run(**options, asked=asked)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("job", type=click.Path())
@click.option("--accuracy", metavar="quick|usual|fine|PERCENT", help="How sure the figures have to be; quick.")
@click.option("--asked-only", is_flag=True, help="Weigh the poses of [[schedule.pose]] alone, not a set of our making.")
@click.option("--picture", type=click.Path(), metavar="PNG", help="Where the picture goes; else named after the job.")
@click.option("--no-picture", is_flag=True, help="Draw no picture.")
@tables_option
@click.option("--quiet", "-q", is_flag=True, help="No text and no progress; errors and --json are still printed.")
@json_option
@debug_option
def poses(debug: bool, **options: Any) -> None:
    """How should it hang? Weigh ways to hang the part of a JOB: time, evenness, air, clearance."""

    def run() -> int:
        from geom.cli.poses import run

        return run(**options)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("source", type=click.Path(), metavar="FOLDER|LIST")
@click.option("--accuracy", metavar="quick|usual|fine|PERCENT", help="How sure the figures have to be, of every job.")
@click.option("--out", type=click.Path(), metavar="DIR", help="Folder of the batch; else named after FOLDER.")
@click.option("--files", type=click.Choice(("none", "brief", "all")), default="brief", help="Results kept of each job.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes on this machine; as many as it has cores.")
@click.option("--cluster", metavar="ADDRESS", help="Dask scheduler whose workers do it: tcp://HOST:PORT.")
@tables_option
@click.option("--quiet", "-q", is_flag=True, help="No text and no progress; errors and --json are still printed.")
@json_option
@debug_option
def batch(debug: bool, **options: Any) -> None:
    """Plan every job in a FOLDER or LIST, side by side; begun again, it goes on where it was stopped."""

    def run() -> int:
        from geom.cli.batch import run

        return run(**options)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("name", required=False, shell_complete=complete_bath)
@tables_option
@json_option
@debug_option
def baths(debug: bool, **options: Any) -> None:
    """List the baths of the tables, or every value of the bath NAME with its source and trust."""

    def run() -> int:
        from geom.cli.baths import run

        return run(**options)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("name", required=False)
@click.option("--metal", metavar="METAL", help="Those of one metal alone: Ni, Sn, Zn.")
@json_option
@debug_option
def specs(debug: bool, **options: Any) -> None:
    """List thickness specifications with source and trust, or those of the standard NAME such as B689."""

    def run() -> int:
        from geom.cli.specs import run

        return run(**options)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("readings", type=click.Path())
@click.option("--out", type=click.Path(), metavar="FILE", help="Table to write; else named after the bath.")
@click.option("--force", is_flag=True, help="Replace the table if it is there.")
@click.option("--no-files", is_flag=True, help="Write no table.")
@click.option("--quiet", "-q", is_flag=True, help="No text and no progress; errors and --json are still printed.")
@json_option
@debug_option
def calibrate(debug: bool, **options: Any) -> None:
    """Fit a bath to READINGS taken at the bench, with its uncertainty, and write it as a table that jobs can name."""

    def run() -> int:
        from geom.cli.calibrate import run

        return run(**options)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.argument("job", type=click.Path())
@click.option("--current", metavar="AMOUNT", help='Mean current of the run, such as "1.3 A".')
@click.option("--volts", metavar="AMOUNT", help='Voltage between anode and part, such as "1.6 V".')
@click.option("--time", "minutes", metavar="AMOUNT", help='Time with the current on, such as "35 min".')
@click.option("--before", metavar="MASS", help='Dry part before plating, such as "48.12 g".')
@click.option("--after", metavar="MASS", help="Dry part after plating.")
@click.option("--balance", metavar="MASS", help="Smallest step of the balance; 0.01 g.")
@click.option("--look", metavar="TEXT", help='What it looks like, such as "bright, lower edge burnt".')
@click.option("--date", metavar="DATE", help="When, such as 2026-05-09; now.")
@tables_option
@click.option("--quiet", "-q", is_flag=True, help="No text and no progress; errors and --json are still printed.")
@json_option
@debug_option
def log(debug: bool, **options: Any) -> None:
    """Add what was really done with JOB to its log, and compare the log with the plan; show it without options."""

    def run() -> int:
        from geom.cli.log import DONE, Done, run

        done = Done(**{name: options.pop(name) for name in DONE})
        return run(**options, done=done)

    _guarded(run, options["as_json"], debug)


@commands.command()
@click.option("--port", type=click.IntRange(0, 65535), help="Where it is served; 8424, or a free one if that is taken.")
@click.option(
    "--address", metavar="NUMBER", help="Open it to other machines at this address; its link has a key in it."
)
@click.option("--folder", type=click.Path(), metavar="DIR", help="Where plans and files are kept; else by the user.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@click.option("--quiet", "-q", is_flag=True, help="Print the address alone.")
@debug_option
def page(debug: bool, no_browser: bool, **options: Any) -> None:
    """Plan in a browser: a page on this machine alone, until Ctrl-C. Plans are kept."""

    def run() -> int:
        from geom.cli.page import run

        return run(**options, browser=not no_browser)

    _guarded(run, False, debug)


def _guarded(run: Callable[[], int], as_json: bool, debug: bool) -> None:
    """Run a command and leave with its exit code; an error is told once, on stderr."""
    try:
        code = run()
    except GeomError as error:
        _trace(debug)
        _tell(f"error: {error}", error_tree(error) if as_json else None)
        code = error.exit_code
    except KeyboardInterrupt:
        click.echo("stopped", err=True)
        code = INTERRUPTED
    except BrokenPipeError:
        # the reader of our output went away: point stdout at nothing so that no second error is printed
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = PIPE_CLOSED
    except Exception as error:
        _trace(debug)
        what = GeomError(
            "defect",
            f"this is a defect in geom, not in your input: {type(error).__name__}: {error}".rstrip(": "),
            hint="run again with --debug and report what it prints",
        )
        _tell(f"error: {what}", error_tree(what) if as_json else None)
        code = DEFECT
    sys.exit(code)


def _trace(debug: bool) -> None:
    if debug:
        import traceback

        click.echo(traceback.format_exc(), err=True, nl=False)


def _tell(text: str, tree: dict[str, Any] | None) -> None:
    """Print an error on stderr, and as a JSON document on stdout where one was asked for."""
    if tree is not None:
        from geom.report.plainjson import SCHEMA_VERSION, dumped

        click.echo(dumped({"schema_version": SCHEMA_VERSION, "error": tree}), nl=False)
    click.echo(plain(text), err=True)


def plain(text: str) -> str:
    """Return the text without control characters: a name of a file may hold orders to the terminal."""
    return "".join(letter if letter == "\n" or letter.isprintable() else "?" for letter in text)


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
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without µ and ² gets "?" instead of an error
    commands(prog_name="geom")
