"""`read_guarded`: a file to plain arrays, read in a process of its own under limits.

Only regular files are opened. The parser sees the open file and nothing else of this process; whatever it does
(crash, hang, eat memory, print) ends as one `PartError`. What it answers is checked like the file itself.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import re
import signal
import stat
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, cast

import numpy as np

from geom.errors import PartError
from geom.findings import Finding
from geom.formats.framing import NO_MEMORY, BadFrame, unframed
from geom.formats.open import check_suffix
from geom.formats.raw import USUAL, Limits, RawMesh

if TYPE_CHECKING:
    from geom.formats.drawing import RawDrawing

# The child sees the paths of this process and not the folder it happens to be started in.
START = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); from geom.formats.child import main; main(sys.argv[2])"
)
WRITES = {
    ".step": 2_000_000_000,
    ".stp": 2_000_000_000,
}  # bytes; readers that pass their answer through a file
MOMENT = 2.0  # s
LONGEST = 2000  # letters of a message that are passed on
SLUG = re.compile(r"part-[a-z0-9-]+")


def read_guarded(path: Path, limits: Limits = USUAL) -> RawMesh | RawDrawing:
    """Read a mesh or a drawing in a child process.

    Parameters
    ----------
    path : the suffix names the format
    limits : bytes of the file, memory and time of the child

    Raises
    ------
    PartError
        ``part-mesh-file`` where there is no regular file to read or it changes meanwhile, ``part-mesh-limits``
        where reading took more than ``limits``, and what the reader raises.
    """
    suffix = path.suffix.lower()
    check_suffix(suffix)
    file = _opened(path, limits)
    try:
        before = os.fstat(file)
        answer = _from_child(file, suffix, limits)
        _check_unchanged(before, os.fstat(file))
    finally:
        os.close(file)
    return _taken(answer, limits)


def _opened(path: Path, limits: Limits) -> int:
    """Open a regular file without ever waiting for it; return its descriptor."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOCTTY", 0)
    try:
        file = os.open(path, flags)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PartError("part-mesh-file", f"the file cannot be read: {reason}") from error
    try:
        status = os.fstat(file)
        if not stat.S_ISREG(status.st_mode):
            raise PartError("part-mesh-file", "this is not a regular file, but a folder, a pipe or a device")
        if status.st_size > limits.size:
            raise _too_large(f"the file has {_megabytes(status.st_size)}", limits)
    except BaseException:
        os.close(file)
        raise
    return file


def _check_unchanged(before: os.stat_result, after: os.stat_result) -> None:
    """Refuse a file that was written to while it was read: what was read may be half of one part and half of another."""
    if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
        raise PartError(
            "part-mesh-file",
            "the file changed while it was read",
            hint="wait until the program that writes it is done, and try again",
        )


def _too_large(what: str, limits: Limits) -> PartError:
    return PartError(
        "part-mesh-file",
        f"{what}; {_megabytes(limits.size)} is the most that is read",
        hint="export the part with coarser faces, or raise the limit (--most-size; most_size under [part])",
    )


def _megabytes(size: int) -> str:
    return f"{size / 1e6:,.0f} MB" if size >= 1e6 else f"{size} bytes"


def _from_child(file: int, suffix: str, limits: Limits) -> dict[str, Any]:
    """Start the child, hold the clock, return what it answered."""
    with _folder(suffix) as folder:
        child = _started(file, suffix, limits, folder)
        late = threading.Event()

        def end() -> None:
            late.set()
            child.kill()

        clock = threading.Timer(limits.seconds, end)
        clock.daemon = True
        clock.start()
        try:
            assert child.stdout is not None
            return _answer(child.stdout, limits)
        except (BadFrame, MemoryError):
            raise _ended(_code(child), late.is_set(), limits) from None
        finally:
            clock.cancel()
            child.kill()
            child.wait()
            if child.stdout is not None:
                child.stdout.close()


def _folder(suffix: str) -> contextlib.AbstractContextManager[str]:
    """Return a folder for a reader that needs one, gone with its child however that ends."""
    if suffix not in WRITES:
        return contextlib.nullcontext(os.devnull)
    try:
        return tempfile.TemporaryDirectory(prefix="geom-", ignore_cleanup_errors=True)
    except OSError as error:
        raise PartError(
            "part-mesh-limits",
            f"no temporary folder could be made, which files that end in {suffix} need: {error.strerror}",
            hint="make room on the disk, or export the part as STL",
        ) from error


def _started(file: int, suffix: str, limits: Limits, folder: str) -> subprocess.Popen[bytes]:
    order = {"suffix": suffix, "size": limits.size, "memory": limits.memory, "seconds": limits.seconds}
    order["writes"] = WRITES.get(suffix, 0)
    paths = [os.path.abspath(entry) for entry in sys.path]
    around = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    # one thread of linear algebra: each takes address space, which is limited
    around |= {"TMPDIR": folder, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    try:
        return subprocess.Popen(
            [sys.executable, "-B", "-P", "-c", START, json.dumps(paths), json.dumps(order)],
            stdin=file,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=around,
        )
    except OSError as error:
        raise PartError(
            "part-mesh-limits",
            f"no process could be started to read the file in: {error.strerror}",
            hint="end other programs and try again",
        ) from error


def _code(child: subprocess.Popen[bytes]) -> int:
    """Return how the child ended; one that stopped to answer is given a moment, not its whole time."""
    try:
        return child.wait(MOMENT)
    except subprocess.TimeoutExpired:
        child.kill()
        return child.wait()


def _answer(pipe: IO[bytes], limits: Limits) -> dict[str, Any]:
    def read(count: int) -> bytearray:
        piece = bytearray(count)
        view, got = memoryview(piece), 0
        while got < count:
            more = pipe.readinto(view[got:])  # type: ignore[attr-defined]
            if not more:
                raise BadFrame("the answer ends early")
            got += more
        return piece

    answer = unframed(read, limits.memory)
    if not isinstance(answer, dict):
        raise BadFrame("no answer")
    return answer


def _ended(code: int, late: bool, limits: Limits) -> PartError:
    """Return the error for a child that ended without an answer."""
    if late or code == -getattr(signal, "SIGXCPU", 0) or code == -getattr(signal, "SIGALRM", 0):
        return _limit("time", limits)
    if code == NO_MEMORY:
        return _limit("memory", limits)
    if code < 0:
        how = signal.Signals(-code).name if -code in set(signal.Signals) else f"signal {-code}"
    else:
        how = f"exit code {code}"
    return PartError(
        "part-mesh-limits",
        f"the process that read the file ended without an answer ({how}): its reader crashed, it was ended from "
        f"outside, or memory ran out (the limit is {_megabytes(limits.memory)})",
        hint="export the part again, or raise the limit (--most-memory; most_memory under [part])",
    )


def _limit(name: str, limits: Limits) -> PartError:
    if name == "size":
        return _too_large("the file grew while it was read", limits)
    words, option = {
        "time": (f"{limits.seconds:g} s", "most-time"),
        "memory": (f"{_megabytes(limits.memory)} of memory", "most-memory"),
    }[name]
    return PartError(
        "part-mesh-limits",
        f"reading the file took more than the limit of {words}",
        hint=f"export the part with coarser faces, or raise the limit (--{option}; {option.replace('-', '_')} "
        "under [part])",
    )


def _taken(answer: dict[str, Any], limits: Limits) -> RawMesh | RawDrawing:
    """Return the record in an answer, or raise the error in it; nothing in it is trusted."""
    if answer.get("limit") in ("memory", "size"):
        raise _limit(answer["limit"], limits)
    if isinstance(answer.get("error"), dict):
        raise _error(answer)
    raw: Any = answer.get("raw")
    try:
        if _fits(raw):
            return cast("RawMesh | RawDrawing", raw)
    except (TypeError, ValueError):  # no arrays at all
        pass
    raise PartError("part-mesh-format", "the reader of this file gave an answer that does not fit together")


def _fits(raw: Any) -> bool:
    if isinstance(raw, RawMesh):
        return _is_mesh(raw)
    from geom.formats.drawing import RawDrawing

    return isinstance(raw, RawDrawing) and _is_drawing(raw)


def _error(answer: dict[str, Any]) -> PartError:
    words = {key: str(answer["error"].get(key) or "")[:LONGEST] for key in ("slug", "message", "where", "hint")}
    slug = words["slug"] if SLUG.fullmatch(words["slug"]) else "part-mesh-format"
    marks = [m for m in answer.get("marks") or () if isinstance(m, tuple) and len(m) == 3]
    places = [(float(x), float(y), float(z)) for x, y, z in marks if all(math.isfinite(v) for v in (x, y, z))]
    return PartError(slug, words["message"], where=words["where"], hint=words["hint"], marks=places)


def _is_mesh(raw: RawMesh) -> bool:
    """Return whether the arrays fit each other; their numbers are looked at where the part is made."""
    count = len(raw.faces)
    fits = (
        _is_array(raw.vertices, np.float64, (len(raw.vertices), 3))
        and _is_array(raw.faces, np.int64, (count, 3))
        and _is_array(raw.file_face, np.int64, (count,))
        and _are_findings(raw.findings)
        and _is_unit(raw.unit)
    )
    return fits and (not count or bool(raw.faces.min() >= 0 and raw.faces.max() < len(raw.vertices)))


def _is_drawing(raw: RawDrawing) -> bool:
    circles = isinstance(raw.circles, tuple) and all(isinstance(c, tuple) and len(c) == 3 for c in raw.circles)
    return (
        circles
        and all(isinstance(x, float | int) for circle in raw.circles for x in circle)
        and isinstance(raw.rings, tuple)
        and all(_is_array(ring, np.float64, (len(ring), 2)) for ring in raw.rings)
        and _are_findings(raw.findings)
        and _is_unit(raw.unit)
    )


def _is_array(array: Any, kind: type, shape: tuple[int, ...]) -> bool:
    return isinstance(array, np.ndarray) and array.dtype == kind and array.shape == shape


def _are_findings(findings: Any) -> bool:
    return isinstance(findings, tuple) and all(isinstance(finding, Finding) for finding in findings)


def _is_unit(unit: Any) -> bool:
    return unit is None or (isinstance(unit, float | int) and math.isfinite(unit) and unit > 0)
