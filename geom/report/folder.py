"""The folder of results: written whole or not at all, whatever happens on the way."""

import ctypes
import errno
import os
import secrets
import shutil
import sys
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from geom.errors import OutputError

AT_FDCWD = -100  # Linux: paths are relative to the working folder
RENAME_EXCHANGE = 2  # Linux: swap two names in one step

REPORT, CARD = "plan.html", "card.pdf"
RESULTS = (
    REPORT,
    CARD,
    "plan.json",
    "plan.txt",
    "part.png",
    "features.png",
    "tank.png",
    "thickness.csv",
    "part.vtu",
)
"""The files of a folder of results."""


def write_results(
    files: Mapping[str, bytes], folder: Path, *, force: bool = False, replaceable: Collection[str] = ()
) -> None:
    """Write the files into a new folder, or with ``force`` in place of an older folder of results.

    The files go into a hidden folder beside it, which takes the name once all of them are on the disk; so
    neither an error nor a power cut leaves part of the results. An older folder is removed only after the
    new one has its name.

    Parameters
    ----------
    files : content by plain file name
    folder : where to; the folder that it lies in must be there
    force : replace an older folder, provided it holds only names of ``files`` and ``replaceable``

    Raises
    ------
    OutputError
        where the folder is there already, is something else, holds other things, or cannot be written.
    """
    for name in files:
        if name != os.path.basename(name) or name in ("", ".", ".."):
            raise ValueError(f"not a plain file name: {name!r}")
    target = Path(os.path.abspath(folder))
    with _told(target):
        replaces = _may_replace(target, {*files, *replaceable}, force=force)
        fresh = target.parent / f".geom-{secrets.token_hex(6)}"
        try:
            _fill(fresh, files)
            _publish(fresh, target, replaces=replaces)
        except BaseException:
            shutil.rmtree(fresh, ignore_errors=True)
            raise
    if replaces:
        _drop(fresh, target)


def check_folder(folder: Path, names: Collection[str], *, force: bool = False) -> None:
    """Raise what `write_results` would raise for this folder as it stands now: before the work, not after it."""
    target = Path(os.path.abspath(folder))
    with _told(target):
        _may_replace(target, set(names), force=force)


@contextmanager
def _told(target: Path) -> Iterator[None]:
    """Put what the system says into words."""
    try:
        yield
    except OSError as error:
        raise OutputError(
            "output-unwritable",
            f"the results cannot be written: {error.strerror or error}",
            where=str(target),
            hint=_hint(error, target),
        ) from error


def _hint(error: OSError, target: Path) -> str:
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return "free some room on the disk, or name a folder on another one"
    if not target.parent.is_dir():
        return f"there is no folder {target.parent}; make it first"
    return "name a folder that you may write to"


def _may_replace(target: Path, known: set[str], *, force: bool) -> bool:
    """Say whether an older folder is to be replaced; refuse what must not be."""
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise OutputError(
            "output-not-a-folder",
            "the name for the results is taken by a file or a link",
            where=str(target),
            hint="name another folder",
        )
    if not target.exists():
        return False
    if not force:
        raise _exists(target)
    with os.scandir(target) as entries:
        foreign = sorted(e.name for e in entries if e.name not in known or not e.is_file(follow_symlinks=False))
    if foreign:
        raise OutputError(
            "output-foreign",
            f"the folder holds what is no result of this program and would be lost: {', '.join(foreign[:5])}",
            where=str(target),
            hint="move these away, or name another folder",
        )
    if not os.access(target, os.W_OK | os.X_OK):
        raise PermissionError(errno.EACCES, "the older folder of results is protected against writing")
    return True


def _exists(target: Path) -> OutputError:
    return OutputError(
        "output-exists",
        "there is a folder of that name already",
        where=str(target),
        hint="name another folder, or allow that it is replaced with --force",
    )


def _fill(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make the folder with its files, all of it on the disk when this returns."""
    os.mkdir(folder)
    for name, content in files.items():
        with open(folder / name, "xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk, where the system knows how to."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some network disks cannot
            raise
    finally:
        os.close(handle)


def _publish(fresh: Path, target: Path, *, replaces: bool) -> None:
    """Give the new folder its name; the older one, if any, then has the hidden name."""
    if replaces:
        _swap(fresh, target)
    else:
        _rename_new(fresh, target)
    try:
        _sync_folder(target.parent)
    except BaseException:
        if replaces:
            _swap(fresh, target)
        else:
            os.rename(target, fresh)
        raise


def _rename_new(fresh: Path, target: Path) -> None:
    try:
        os.rename(fresh, target)
    except OSError as error:
        if error.errno in (errno.ENOTEMPTY, errno.EEXIST):  # another run was faster
            raise _exists(target) from None
        raise


def _swap(fresh: Path, target: Path) -> None:
    """Swap the names of two folders: in one step on Linux, else in three that are undone on failure."""
    if _exchanged(fresh, target):
        return
    aside = fresh.with_name(fresh.name + "-old")
    steps = ((target, aside), (fresh, target), (aside, fresh))
    done: list[tuple[Path, Path]] = []
    try:
        for before, after in steps:
            os.rename(before, after)
            done.append((before, after))
    except BaseException:
        for before, after in reversed(done):
            os.rename(after, before)
        raise


def _exchanged(a: Path, b: Path) -> bool:
    """Swap two names in one step; False where system or disk do not offer that."""
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None) if sys.platform == "linux" else None
    if rename is None:
        return False
    if rename(AT_FDCWD, os.fsencode(a), AT_FDCWD, os.fsencode(b), RENAME_EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP):
        return False
    raise OSError(code, os.strerror(code), str(b))


def _drop(old: Path, target: Path) -> None:
    """Remove the older results; the new ones are in place."""
    try:
        shutil.rmtree(old)
    except OSError as error:
        raise OutputError(
            "output-left-over",
            f"the new results are written, but the older ones could not be removed: {error.strerror or error}",
            where=str(target),
            hint=f"remove {old} by hand",
        ) from error
