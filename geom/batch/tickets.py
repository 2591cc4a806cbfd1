"""The jobs of a batch: which files they are, what each of them reads, and a digest that tells one state from another."""

import hashlib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from geom import __version__
from geom.errors import JobError

LARGEST_LIST = 50_000_000  # bytes of a list of jobs
NEEDED = ("part", "bath")  # a TOML file without these is something else: readings, a table of baths


@dataclass(frozen=True, slots=True)
class Ticket:
    """One job of a batch."""

    name: str  # its path from the folder or list, with / between
    path: str  # from where this process stands
    digest: str  # of the job, of all it reads, of the asked accuracy and of this version


@dataclass(frozen=True, slots=True)
class Parcel:
    """All that a worker on another machine needs of one job."""

    job: str  # path of the job file in the parcel
    files: Mapping[str, bytes]  # by path in the parcel


def tickets_of(source: Path, asked: str, leave_out: Path | None = None) -> tuple[Ticket, ...]:
    """Return the jobs in a folder and the folders in it, by name, or those that a list names, a path in each line.

    ``asked`` is whatever else decides the result, such as the accuracy; ``leave_out`` is a folder that holds results.
    Links to folders are not followed.

    Raises
    ------
    JobError
        where there is no such folder or list, or no job in it.
    """
    if source.is_dir():
        names = [str(file.relative_to(source)) for file in _toml_files(source, leave_out) if _may_be_job(file)]
        base = source
    else:
        names, base = _listed(source), source.parent
    if not names:
        text = "there is no job in it: a .toml file with [part] and [bath]"
        raise JobError("batch-empty", text, where=str(source), hint="geom new writes one")
    paths = {name: base / name for name in dict.fromkeys(names)}
    return tuple(Ticket(Path(name).as_posix(), str(path), digest_of(path, asked)) for name, path in paths.items())


def _toml_files(folder: Path, leave_out: Path | None) -> list[Path]:
    found: list[Path] = []
    left_out = None if leave_out is None else leave_out.resolve()
    for base, folders, names in os.walk(folder, followlinks=False):
        folders[:] = sorted(name for name in folders if (Path(base) / name).resolve() != left_out)
        found += [Path(base) / name for name in names if name.lower().endswith(".toml")]
    return sorted(found)


def _may_be_job(file: Path) -> bool:
    """Is this a job, or so broken that its author should hear of it? Readings and tables of baths are neither."""
    data = _data(file)
    return data is None or any(key in data for key in NEEDED)


def _data(file: Path) -> dict[str, Any] | None:
    try:
        return tomllib.loads(file.read_text("utf-8-sig"))
    except (OSError, ValueError):
        return None


def _listed(source: Path) -> list[str]:
    """Return the paths that a list names; empty lines and those that begin with # are none."""
    try:
        if source.stat().st_size > LARGEST_LIST:
            raise JobError("batch-list-too-large", "the list is larger than 50 MB", where=str(source))
        text = source.read_text("utf-8-sig")
    except FileNotFoundError:
        text = "there is no such folder or list of jobs"
        raise JobError(
            "batch-missing", text, where=str(source), hint="name a folder, or a text file with a path in each line"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        raise JobError("batch-missing", f"the list cannot be read: {reason}", where=str(source)) from None
    if source.suffix.lower() == ".toml":
        hint = f"geom plan {source} plans one job"
        raise JobError("batch-missing", "this is a job itself, not a list of jobs", where=str(source), hint=hint)
    lines = (line.strip() for line in text.splitlines())
    return [line for line in lines if line and not line.startswith("#")]


def digest_of(path: Path, asked: str) -> str:
    """Return what changes when the job, a file that it reads, the request or this program changes (SHA-256)."""
    found = hashlib.sha256(f"{__version__}\0{asked}\0".encode())
    for file in (path, *read_beside(path)):
        try:
            content = file.read_bytes()
        except (OSError, ValueError):
            content = b"unreadable"
        found.update(f"{file.name}\0{len(content)}\0".encode("utf-8", "replace"))
        found.update(content)
    return found.hexdigest()


def read_beside(path: Path) -> list[Path]:
    """Return the files that a job reads: its mesh or drawing, its tables of baths."""
    data = _data(path) or {}
    part = data.get("part")
    named = [part.get(key) for key in ("mesh", "drawing")] if isinstance(part, dict) else []
    return [path.parent / name for name in (*named, data.get("tables")) if isinstance(name, str) and name.isprintable()]


def parcel_of(ticket: Ticket) -> Parcel:
    """Return a job with the files it reads, to be unpacked elsewhere; paths in it keep their places to each other."""
    job = Path(ticket.path).resolve()
    beside = [file.resolve() for file in read_beside(job)]
    files = [job, *(file for file in beside if file.is_file())]
    root = Path(os.path.commonpath([file.parent for file in files]))
    return Parcel(
        job.relative_to(root).as_posix(), {file.relative_to(root).as_posix(): file.read_bytes() for file in files}
    )
