"""The journal of a batch: one line for each finished job, on the disk before the next is waited for.

A line is a JSON record with its own checksum. A run that was killed leaves at most one broken line at the end, which is
cut off; a line that was damaged later is left out, and its job is done again.
"""

import errno
import json
import os
import zlib
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from geom.batch.work import Row
from geom.errors import OutputError

JOURNAL = "journal.jsonl"
VERSION = 1


class Journal:
    """The finished jobs of a batch by digest; only one run writes it at a time.

    Parameters
    ----------
    folder : of the batch; it must be there

    Raises
    ------
    OutputError
        where another run holds it, or it cannot be written.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / JOURNAL
        try:
            self._file: BinaryIO = open(self.path, "a+b")  # noqa: SIM115 (closed by `close`)
            _lock(self._file)
        except BlockingIOError:
            self._file.close()
            text = "another run is at work on this batch"
            raise OutputError(
                "batch-busy", text, where=str(folder), hint="wait for it, or name another folder with --out"
            ) from None
        except OSError as error:
            text = f"the journal of the batch cannot be written: {error.strerror or error}"
            raise OutputError("output-unwritable", text, where=str(self.path)) from error
        self.damaged = 0
        self.rows = self._read()

    def _read(self) -> dict[str, Row]:
        """Return the rows by digest, and cut off a line that was not finished."""
        self._file.seek(0)
        content = self._file.read()
        whole = content[: content.rfind(b"\n") + 1]
        if len(whole) < len(content):
            self._file.truncate(len(whole))
        rows = {}
        for line in whole.splitlines():
            record = _record(line)
            if record is None:
                self.damaged += 1
            else:
                rows[record["digest"]] = record["row"]
        return rows

    def add(self, digest: str, row: Row) -> None:
        """Put a finished job on the disk."""
        record = {"version": VERSION, "digest": digest, "row": row}
        try:
            self._file.write(_line(record))
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            text = f"the journal of the batch cannot be written: {error.strerror or error}"
            raise OutputError(
                "output-unwritable",
                text,
                where=str(self.path),
                hint="free some room and start again: what is done is kept",
            ) from error
        self.rows[digest] = row

    def close(self) -> None:
        """Let another run have it."""
        self._file.close()

    def __enter__(self) -> "Journal":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _line(record: dict[str, Any]) -> bytes:
    text = json.dumps(record, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return f"{zlib.crc32(text.encode()):08x} {text}\n".encode()


def _record(line: bytes) -> dict[str, Any] | None:
    """Return what a line holds; None where it is damaged or of another version."""
    checksum, _, text = line.partition(b" ")
    try:
        if int(checksum, 16) != zlib.crc32(text):
            return None
        record = json.loads(text)
    except ValueError:
        return None
    return record if isinstance(record, dict) and record.get("version") == VERSION else None


def _lock(file: BinaryIO) -> None:
    """Raise BlockingIOError where another process holds the file; the system lets go of it when a process ends."""
    try:
        import fcntl
    except ImportError:  # not on Windows: two runs at once are the user's own care there
        return
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EWOULDBLOCK, errno.EACCES):
            raise BlockingIOError(error.errno, "held") from error
        if error.errno not in (errno.ENOLCK, errno.ENOTSUP, errno.EINVAL):  # some network disks have no locks
            raise
