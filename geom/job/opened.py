"""A TOML file of the user's: its text, what it holds, and its mistakes, each with line and key."""

import re
import tomllib
from pathlib import Path
from typing import Any

from geom.errors import GeomError, JobError
from geom.job import locate
from geom.job.fields import Mistake
from geom.job.files import DRAWING_SUFFIXES, MESH_SUFFIXES, UNIT_INSIDE
from geom.job.locate import Source

LARGEST_FILE_BYTES = 1_000_000
MOST_MISTAKES = 60


def text_of(path: Path, what: str = "job") -> str:
    """Return the text of a file of the kind ``what``, or say why it cannot be had."""
    where = "".join(letter if letter.isprintable() else "?" for letter in str(path))
    try:
        if path.is_dir():
            raise _one("job-file-missing", f"this is a folder, not a {what} file", where, "name the .toml file in it")
        if not path.exists():
            near = _near_files(path)
            raise _one("job-file-missing", "there is no such file", where, near)
        if path.suffix.lower() in (*MESH_SUFFIXES, *DRAWING_SUFFIXES):
            text = (
                "this is the file of a part, a mesh or a drawing; what is planned is a job, a .toml file that names it"
            )
            raise _one("job-file-is-part", text, where, _part_lines(path))
        with path.open("rb") as file:
            content = file.read(LARGEST_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "not a path"
        raise _one("job-file-unreadable", f"the file cannot be read: {reason.lower()}", where) from error
    if len(content) > LARGEST_FILE_BYTES:
        text = f"the file is larger than 1 MB, which no {what} file is"
        raise _one("job-file-too-large", text, where, "a mesh goes into its own file, named by part.mesh")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        text = f"byte {error.start + 1} of the file, in line {line}, is not UTF-8 text"
        raise _one("job-file-encoding", text, where, 'save the file as "UTF-8"') from error


def _part_lines(path: Path) -> str:
    """Return a hint with the lines that name a part in a job."""
    name = "".join(letter if letter.isprintable() and letter not in '"\\' else "?" for letter in path.name)
    if path.suffix.lower() in DRAWING_SUFFIXES:
        lines = f'drawing = "{name}" and thickness = "2 mm"'
    elif path.suffix.lower() in UNIT_INSIDE:
        lines = f'mesh = "{name}"'
    else:
        lines = f'mesh = "{name}" and unit = "mm"'
    return f"in the job, under [part]: {lines}; docs/job-file.md has the rest. geom area takes the file by itself"


def _near_files(path: Path) -> str:
    """Return a hint naming the job files that are in the folder instead."""
    try:
        names = sorted(entry.name for entry in path.parent.glob("*.toml"))[:5]
    except OSError:
        names = []
    return f"there is: {', '.join(names)}" if names else ""


def _one(slug: str, text: str, where: str, hint: str = "") -> JobError:
    """Return the refusal of a whole file for one reason."""
    mistake = JobError(slug, text, where=where, hint=hint)
    return JobError(slug, text, where=where, hint=hint, mistakes=[mistake])


def toml_of(source: Source, what: str = "job", page: str = "docs/job-file.md") -> dict[str, Any]:
    """Return what the text holds, or point at where it stops being TOML."""
    if not source.text.strip():
        hint = f"{page} shows a complete one"
        raise _one("job-file-empty", f"the {what} file is empty", source.name, hint)
    try:
        return tomllib.loads(source.text)
    except RecursionError as error:
        raise _one("job-syntax", "lists or tables are nested too deeply", source.name) from error
    except ValueError as error:
        raise _syntax(str(error), source) from error


def _syntax(message: str, source: Source) -> JobError:
    """Return the syntax error of tomllib, with its line shown."""
    reason, _, place = message.partition(" (at ")
    found = re.match(r"line (\d+), column (\d+)", place)
    offset = max(len(source.text.rstrip()) - 1, 0)
    if found:
        line_start = sum(len(line) + 1 for line in source.text.split("\n")[: int(found[1]) - 1])
        offset = min(line_start + int(found[2]) - 1, len(source.text) - 1)
    twice = any(words in reason for words in ("twice", "Cannot overwrite", "Cannot mutate", "Cannot declare"))
    where = f"{source.name}, line {source.line_of(offset)}\n{source.excerpt(offset, offset + 1)}"
    if twice:
        text = f"a key or table is given twice ({_clean(reason)})"
        return _one("job-duplicate", text, where, "only tables in double brackets, such as [[anode]], may be repeated")
    hint = 'text stands in quotes, and so does every quantity: length = "100 mm"'
    return _one("job-syntax", f"this is not TOML: {_clean(reason)}", where, hint)


def _clean(reason: str) -> str:
    """Return a library's message on one line, its first letter small."""
    shown = "".join(letter if letter.isprintable() else "?" for letter in reason)[:120]
    return shown[:1].lower() + shown[1:]


def refusal(mistakes: list[Mistake], source: Source) -> JobError:
    """Return all mistakes as one error, in file order."""
    found = sorted(mistakes, key=lambda mistake: _offset(mistake, source))
    errors: list[GeomError] = [_placed(mistake, source) for mistake in found[:MOST_MISTAKES]]
    if len(found) > MOST_MISTAKES:
        text = f"{len(found) - MOST_MISTAKES} more mistakes are not shown"
        errors.append(JobError("job-more-mistakes", text, where=source.name))
    if len(found) == 1:
        return JobError(errors[0].slug, errors[0].message, where=errors[0].where, hint=errors[0].hint, mistakes=errors)
    return JobError("job-mistakes", f"{len(found)} mistakes", where=source.name, mistakes=errors)


def _offset(mistake: Mistake, source: Source) -> int:
    """Return where in the text a mistake stands; what is missing altogether comes last."""
    place = source.nearest(mistake.key)
    return place.start if place else len(source.text)


def _placed(mistake: Mistake, source: Source) -> JobError:
    """Return a mistake with its line, key and the line's text."""
    place, key = source.nearest(mistake.key), locate.dotted(mistake.key)
    if place is None:
        return JobError(mistake.slug, mistake.text, where=f"{source.name}, {key}", hint=mistake.hint)
    is_name = mistake.slug in ("job-key-unknown", "job-key-missing")
    start, end = (place.key_start, place.key_end) if is_name else (place.start, place.end)
    where = f"{source.name}, line {source.line_of(start)}, {key}\n{source.excerpt(start, end)}"
    return JobError(mistake.slug, mistake.text, where=where, hint=mistake.hint)
