"""A job that a command line amounts to: composed, named, and written beside the results."""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

import click

from geom.cli.answer_options import as_option
from geom.errors import GeomError, JobError, OutputError

if TYPE_CHECKING:  # at run time these are read only when the command runs
    from geom.job.compose import Composed

Answers = Mapping[str, str | list[str]]
PART_SUFFIXES = (".stl", ".obj", ".ply", ".off", ".3mf", ".step", ".stp", ".dxf", ".svg")
KEY_OF = {
    "bar": "[part]",
    "rod": "[part]",
    "hole": "[part] holes",
    "unit": "[part] unit",
    "thickness": "[part] thickness",
    "bath": "[bath] name",
    "temperature": "[bath] temperature",
    "stirred": "[bath] stirred",
    "tank": "[tank]",
    "anode": "[[anode]]",
    "anodes": "[[anode]]",
    "distance": "[[anode]] at and [pose] at",
    "pose": "[pose] turn",
    "volts": "[supply] max_voltage",
    "amps": "[supply] max_current",
    "target": "[target] thickness",
    "current": "[target] current",
    "title": "title",
}
"""Where a job file says what an option says."""


@dataclass(frozen=True, slots=True)
class ComposedJob:
    """A job file that need not be there yet."""

    path: Path
    composed: "Composed"
    part: str | None  # the file of the part as the command line names it

    def told(self, error: GeomError) -> GeomError:
        """Return an error of this job under the option that it is about."""
        answer = self.composed.answer_of(error.where)
        if answer is not None:
            error.where = as_option(answer, self.part)
        return error


def is_part_file(name: str | None) -> bool:
    """Is this the file of a part, by its suffix?"""
    return name is not None and Path(name).suffix.lower() in PART_SUFFIXES


def check_job_alone(job: str, answers: Answers) -> None:
    """Refuse answers beside a job file, which says all that itself."""
    if not answers:
        return
    if Path(job).suffix.lower() not in ("", ".toml"):
        text = f"this is no file of a part that is read: {', '.join(PART_SUFFIXES)}; and no job file, .toml"
        hint = "export the part as STL, or its outline as DXF"
        raise JobError("job-mesh-format", text, where=plain_path(Path(job)), hint=hint)
    names = " and ".join(as_option(name) for name in answers)
    keys = "; ".join(dict.fromkeys(KEY_OF[name] for name in answers))
    text = f"{names} beside a job file, which says that itself"
    hint = f"change it in the file: {keys}; or leave the job file out"
    raise JobError("option-with-job", text, where=plain_path(Path(job)), hint=hint)


def composed_job(
    job: str | None, answers: Answers, *, folder: Path, tables: str | None, name: str | None = None
) -> ComposedJob:
    """Return the job that options, or the file of a part and options, amount to.

    Parameters
    ----------
    folder : where the job file is to lie
    name : of the job file; None: after title or part

    Raises
    ------
    JobError
        with every mistake under its option.
    """
    from geom.job.compose import compose

    if job is None and not {"bar", "rod"} & answers.keys():
        text = "nothing says what part to plate"
        hint = 'name a job file, a mesh or a drawing, or say --bar "100 x 20 x 3 mm"; geom new asks for the rest'
        raise JobError("job-not-named", text, hint=hint)
    given = dict(answers)
    if job is not None:
        _check_there(Path(job))
        given["part"] = _relative(Path(job), folder)
    try:
        composed = compose(given, folder=folder, tables=None if tables is None else _relative(Path(tables), folder))
    except JobError as error:
        raise _as_options(error, job) from None
    stem = _stem(answers.get("title") or (Path(job).stem if job else composed.title))
    return ComposedJob(folder / (name or f"{stem}.toml"), composed, job)


def _check_there(path: Path) -> None:
    """Refuse the file of a part that is not there, with the nearest that is."""
    try:
        is_there = path.is_file()
    except (OSError, ValueError):
        is_there = False
    if is_there:
        return
    beside = sorted(one.name for one in path.parent.iterdir() if is_part_file(one.name)) if path.parent.is_dir() else []
    near = get_close_matches(path.name, beside, n=1, cutoff=0.5) or beside[:3]
    hint = f"there is: {', '.join(plain_path(path.with_name(name)) for name in near)}" if near else ""
    raise JobError("job-mesh-missing", "there is no such file", where=plain_path(path), hint=hint)


def _relative(path: Path, folder: Path) -> str:
    """Return the path from a folder, with slashes; whole where there is none, as between two drives."""
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def _as_options(error: JobError, part: str | None) -> JobError:
    """Return the mistakes of answers as mistakes of options."""
    for one in (error, *error.mistakes):
        one.where = as_option(one.where, part)
    return error


def _stem(title: object) -> str:
    """Return a name for a file after a title: letters, digits and hyphens."""
    tidy = re.sub(r"(?<=\d)\s*[x×]\s*(?=\d)", "x", str(title).casefold())
    name = re.sub(r"[^\w.]+", "-", tidy).strip("-._")[:60].strip("-._")
    is_reserved = re.fullmatch(r"con|prn|aux|nul|(?:com|lpt)\d|job", name.partition(".")[0])
    return f"{name}-part" if is_reserved else name or "part"


def plain_path(path: Path) -> str:
    """Return a path as a message shows it."""
    from geom.report.tree import printable

    return printable(str(path))


def check_free(path: Path, text: str, *, force: bool) -> None:
    """Refuse to write over a file that says something else, or over what is no file; before the work, not after it."""
    try:
        is_there, is_file = os.path.lexists(path), path.is_file()
        is_same = is_file and path.read_bytes() == text.encode()
    except OSError as error:
        raise _unwritten(path, error) from error
    if not is_there or is_same or (force and is_file):
        return
    if not is_file:
        text = "there is something of that name that is no file"
        raise OutputError("job-file-there", text, where=plain_path(path), hint="--title names it another way")
    text = "there is a job file of that name already, and it says something else"
    hint = f"geom plan {path.name} plans what it says; --force replaces it, --title names the new one another way"
    raise OutputError("job-file-there", text, where=plain_path(path), hint=hint)


def write_job(path: Path, text: str, *, force: bool) -> None:
    """Write a job file whole or not at all."""
    check_free(path, text, force=force)
    fresh = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        fresh.write_bytes(text.encode())
        os.replace(fresh, path)
    except OSError as error:
        raise _unwritten(path, error) from error
    finally:
        fresh.unlink(missing_ok=True)


def _unwritten(path: Path, error: OSError) -> OutputError:
    text = f"the job file cannot be written: {(error.strerror or str(error)).lower()}"
    return OutputError("job-file-unwritten", text, where=plain_path(path), hint="go to a folder that can be written to")


def say_assumed(composed: "Composed") -> None:
    """Print what was assumed on stderr."""
    if composed.assumed:
        click.echo("assumed, for nothing was said of it:", err=True)
        for sentence in composed.assumed:
            click.echo(f"  {sentence}", err=True)
