"""`Store`: plans and uploaded parts on disk, so that they outlive a reload of the page and a restart of the program.

A file is written whole under another name and takes its own at the end, so that a power cut leaves the old one or
the new one. Every file begins with its version and a checksum; one that does not hold, or is of a later version,
is shown as such and never guessed at. All names are made here: nothing that a browser sent becomes part of a path.
"""

import contextlib
import hashlib
import json
import os
import re
import secrets
import shutil
import stat
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from geom.errors import PageError

VERSION = 1
MAGIC = "geom-page"
KEPT_PLANS, KEPT_PARTS = 50, 20
MOST_PART_BYTES = 2_000_000_000  # of all uploads, but those that plans are of stay
ID = re.compile(r"[0-9a-f]{16}")
RECORD, VIEW, FILES = "record", "view", "files"
MOST_BYTES = 1_000_000_000  # of one kept file: a longer one is no file of ours
SUFFIXES = (".stl", ".obj", ".ply", ".off", ".3mf", ".glb", ".step", ".stp", ".dxf", ".svg")
LONGEST_NAME = 200  # letters of a user's name for a file


@dataclass(frozen=True)
class Kept:
    """One plan as it lies on the disk; ``wrong`` says why it cannot be read, and all else is empty then."""

    id: str
    title: str = ""
    state: str = ""
    created: float = 0.0  # seconds since 1970
    seconds: float | None = None
    answers: Mapping[str, Any] | None = None
    text: str = ""
    part: str = ""  # id of the uploaded file it is of
    error: Mapping[str, Any] | None = None
    assumed: tuple[str, ...] = ()
    wrong: str = ""


@dataclass(frozen=True)
class PartFile:
    """An uploaded file: ``path`` is ours, ``name`` the user's and only ever shown."""

    id: str
    name: str
    size: int
    path: Path


class Store:
    """The folder of the page; one program at a time may have it open."""

    def __init__(self, folder: Path, *, keep: int = KEPT_PLANS) -> None:
        self.folder, self.keep = folder, keep
        self.removed = 0
        self._guard = threading.RLock()
        self._plans: dict[str, Kept] = {}
        self._parts: dict[str, PartFile] = {}
        with told_of(folder):
            for name in ("", "plans", "parts"):
                os.makedirs(folder / name, mode=0o700, exist_ok=True)
            self._lock = _locked(folder / "lock")
        self._load()

    def close(self) -> None:
        """Let another program have the folder."""
        with contextlib.suppress(OSError):
            os.close(self._lock)

    # plans

    def plans(self) -> list[Kept]:
        """Return every plan, the newest first."""
        with self._guard:
            return sorted(self._plans.values(), key=lambda kept: (kept.created, kept.id), reverse=True)

    def plan(self, name: str) -> Kept:
        """Return one plan by its id; raises ``page-no-plan``."""
        with self._guard:
            kept = self._plans.get(name)
        if kept is None:
            raise PageError(
                "page-no-plan", "there is no such plan", hint="it may have been removed as the oldest", status=404
            )
        return kept

    def add(self, kept: Kept) -> Kept:
        """Keep a new plan under a new id; the oldest ones beyond the number kept are removed."""
        with self._guard:
            kept = replace(kept, id=secrets.token_hex(8), created=time.time())
            with told_of(self.folder):
                os.mkdir(self._of(kept.id), 0o700)
            try:
                self.change(kept)
            except PageError:
                del self._plans[kept.id]
                _removed(self._of(kept.id))
                raise
            self._drop_oldest()
        return kept

    def change(self, kept: Kept) -> None:
        """Write what is known of a plan anew."""
        body = {name: getattr(kept, name) for name in Kept.__dataclass_fields__ if name != "wrong"}
        with self._guard:
            path = self._of(kept.id) / RECORD
            self._plans[kept.id] = kept  # first: a full disk must not leave a plan waited for without end
            self._write(path, json.dumps(body).encode())

    def _drop_oldest(self) -> None:
        done = [kept for kept in self.plans() if kept.state not in ("queued", "solving")]
        for old in done[max(0, self.keep - (len(self._plans) - len(done))) :]:
            del self._plans[old.id]
            self.removed += 1
            _removed(self._of(old.id))

    # what belongs to a plan

    def put_view(self, name: str, body: bytes) -> None:
        """Keep what the page shows of a plan."""
        with told_of(self.folder):
            self._write(self._of(name) / VIEW, body)

    def view(self, name: str) -> bytes:
        """Return what the page shows of a plan."""
        return self._asked(self._of(self.plan(name).id) / VIEW)

    def put_files(self, name: str, files: Mapping[str, bytes]) -> None:
        """Keep the result files of a plan."""
        with told_of(self.folder):
            os.makedirs(self._of(name) / FILES, mode=0o700, exist_ok=True)
            for file, body in files.items():
                if re.fullmatch(r"[a-z]+\.[a-z]+", file) is None:
                    raise ValueError(f"not a plain file name: {file!r}")
                self._write(self._of(name) / FILES / file, body)

    def has_file(self, name: str, file: str) -> bool:
        """Is this result file of a plan kept?"""
        return (self._of(self.plan(name).id) / FILES / file).is_file()

    def file(self, name: str, file: str) -> bytes:
        """Return a result file; ``file`` is one of the names that `put_files` was given."""
        return self._asked(self._of(self.plan(name).id) / FILES / file)

    def _asked(self, path: Path) -> bytes:
        try:
            return read_kept(path)
        except FileNotFoundError:
            text = "this was not kept: the program was ended before it was written"
            raise PageError("page-damaged", text, hint="plan it again", status=404) from None
        except (OSError, ValueError) as error:
            text = f"what is kept of this plan cannot be read: {_why(error)}"
            raise PageError("page-damaged", text, hint="plan it again", status=410) from error

    # parts

    @property
    def parts_folder(self) -> Path:
        """Where uploaded files lie; job texts name them from there."""
        return self.folder / "parts"

    def new_part(self, name: str) -> PartFile:
        """Return a place for an upload; raises ``page-file-kind`` where the name ends in nothing that is read."""
        shown = shown_name(name)
        suffix = os.path.splitext(shown)[1].lower()
        if suffix not in SUFFIXES:
            text = f"{shown!r} is not a kind of file that is read here"
            raise PageError(
                "page-file-kind", text, where="part", hint=f"give one that ends in {', '.join(SUFFIXES)}", status=415
            )
        fresh = secrets.token_hex(8)
        return PartFile(fresh, shown, 0, self.parts_folder / f"{fresh}{suffix}")

    def add_part(self, part: PartFile) -> None:
        """Remember an upload whose file is written; older ones that no plan is of are removed."""
        body = {"name": part.name, "size": part.size, "file": part.path.name, "at": time.time()}
        with self._guard:
            self._write(self.parts_folder / part.id, json.dumps(body).encode())
            self._parts[part.id] = part
            used = {kept.part for kept in self._plans.values()}
            spare = [one for one in self._parts if one not in used and one != part.id]
            while spare and (len(spare) >= KEPT_PARTS or self._part_bytes() > MOST_PART_BYTES):
                old = spare.pop(0)
                path = self._parts.pop(old).path
                for gone in (path, self.parts_folder / old):
                    gone.unlink(missing_ok=True)

    def _part_bytes(self) -> int:
        return sum(one.size for one in self._parts.values())

    def part(self, name: str) -> PartFile:
        """Return an upload by its id; raises ``page-no-file``."""
        with self._guard:
            found = self._parts.get(name)
        if found is None:
            text = "the file of the part is not here any more"
            raise PageError("page-no-file", text, where="part", hint="choose the file again", status=404)
        return found

    # disk

    def _of(self, name: str) -> Path:
        if ID.fullmatch(name) is None:
            raise ValueError(f"not an id: {name!r}")
        return self.folder / "plans" / name

    def _load(self) -> None:
        for name in _names(self.folder / "plans"):
            if ID.fullmatch(name):
                self._plans[name] = self._loaded(name)
            elif name.startswith(".gone-"):
                _removed(self.folder / "plans" / name)
        for path in self.parts_folder.glob("*.part"):
            path.unlink(missing_ok=True)  # an upload that was cut off
        found = []
        for name in filter(ID.fullmatch, _names(self.parts_folder)):
            with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
                body = json.loads(read_kept(self.parts_folder / name))
                path = self.parts_folder / body["file"]
                if (
                    path.parent == self.parts_folder
                    and path.name in {f"{name}{end}" for end in SUFFIXES}
                    and _is_file(path)
                ):
                    found.append((body["at"], PartFile(name, shown_name(body["name"]), int(body["size"]), path)))
        self._parts = {part.id: part for _, part in sorted(found, key=lambda pair: pair[0])}

    def _loaded(self, name: str) -> Kept:
        place = self._of(name)
        created = place.lstat().st_mtime
        try:
            if not stat.S_ISDIR(place.lstat().st_mode):
                raise ValueError("it is not a folder of ours")
            body = json.loads(read_kept(place / RECORD))
            kept = Kept(**{**body, "id": name, "assumed": tuple(body.get("assumed", ()))})
        except FileNotFoundError:
            return Kept(name, created=created, state="damaged", wrong="its record is missing")
        except (OSError, ValueError, TypeError) as error:
            state = "newer" if isinstance(error, NewerError) else "damaged"
            return Kept(name, created=created, state=state, wrong=_why(error))
        if kept.state in ("queued", "solving"):
            stopped = PageError(
                "page-stopped", "the program was ended while this plan was waited for", hint="plan it again"
            )
            kept = replace(
                kept, state="failed", error={"slug": stopped.slug, "message": stopped.message, "hint": stopped.hint}
            )
        return kept

    def _write(self, path: Path, body: bytes) -> None:
        with told_of(self.folder):
            write_kept(path, body)


class NewerError(ValueError):
    """A kept file of a later version of the program."""


def write_kept(path: Path, body: bytes) -> None:
    """Write a file with its version and checksum, so that the old one or the new one is there whatever happens."""
    head = json.dumps({MAGIC: VERSION, "sha256": hashlib.sha256(body).hexdigest(), "bytes": len(body)})
    fresh = path.with_name(f".{path.name}-{secrets.token_hex(4)}.part")
    try:
        with open(fresh, "xb") as file:
            file.write(head.encode() + b"\n")
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, path)
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise
    _sync(path.parent)


def read_kept(path: Path) -> bytes:
    """Return what `write_kept` wrote.

    Raises
    ------
    ValueError
        where the file is not of ours, is damaged, or (`NewerError`) is of a later version.
    """
    handle = os.open(
        path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    )
    with open(handle, "rb") as file:
        about = os.fstat(file.fileno())
        if not stat.S_ISREG(about.st_mode) or about.st_size > MOST_BYTES:
            raise ValueError("it is not a file of ours")
        head, _, body = file.read().partition(b"\n")
    try:
        told = json.loads(head)
        version, digest, count = int(told[MAGIC]), told["sha256"], told["bytes"]
    except (ValueError, KeyError, TypeError):
        raise ValueError("it is damaged: its first line is not one of ours") from None
    if version > VERSION:
        raise NewerError("it was written by a later version of this program")
    if len(body) != count or hashlib.sha256(body).hexdigest() != digest:
        raise ValueError("it is damaged: its checksum does not hold")
    return body


def shown_name(name: str) -> str:
    """Return a user's name for a file as it may be shown: its last part, printable, not too long."""
    last = re.split(r"[/\\\u2044\u2215\u29f8\uff0f\uff3c]", name)[-1]
    clean = "".join(letter if letter.isprintable() else "?" for letter in last).strip()
    stem, suffix = os.path.splitext(clean)
    return (stem[: LONGEST_NAME - len(suffix[:10])] + suffix[:10]) or "part"


def state_folder() -> Path:
    """Return where the page keeps its things for this user, as the system has it."""
    home = Path.home()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local") / "geom" / "page"
    if sys.platform == "darwin":
        return home / "Library" / "Application Support" / "geom" / "page"
    given = os.environ.get("XDG_DATA_HOME", "")
    return (Path(given) if os.path.isabs(given) else home / ".local" / "share") / "geom" / "page"


def _locked(path: Path) -> int:
    """Take the folder's lock; raises ``page-folder-taken`` where another program has it."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(handle)
        raise PageError(
            "page-folder-taken",
            "another geom page is running with the same folder of plans",
            where=str(path.parent),
            hint="use the page that is open already, or end it first, or give this one a folder of its own with --folder",
        ) from error
    return handle


@contextlib.contextmanager
def told_of(folder: Path) -> Iterator[None]:
    """Put what the system says into words."""
    try:
        yield
    except OSError as error:
        text = f"the folder of the page cannot be written: {_why(error)}"
        hint = "free some room on the disk, or name another folder with --folder"
        raise PageError("page-unwritable", text, where=str(folder), hint=hint, status=507) from error


def _why(error: Exception) -> str:
    return error.strerror if isinstance(error, OSError) and error.strerror else str(error)


def _names(folder: Path) -> list[str]:
    with os.scandir(folder) as entries:
        return sorted(entry.name for entry in entries)


def _is_file(path: Path) -> bool:
    return stat.S_ISREG(path.lstat().st_mode)


def _removed(place: Path) -> None:
    """Remove a plan: first its name, so that nothing half removed is ever read."""
    gone = place if place.name.startswith(".gone-") else place.with_name(f".gone-{place.name}-{secrets.token_hex(4)}")
    with contextlib.suppress(OSError):
        if gone != place:
            os.rename(place, gone)
        if stat.S_ISDIR(gone.lstat().st_mode):
            shutil.rmtree(gone, ignore_errors=True)
        else:
            gone.unlink()


def _sync(folder: Path) -> None:
    """Have the names in a folder on the disk, where the system knows how to."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
    finally:
        os.close(handle)
