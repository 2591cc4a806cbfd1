"""An uploaded file: written as it comes in, counted as it is written, whatever the request says of its length."""

import os
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

from anyio import move_on_after
from anyio.to_thread import run_sync
from starlette.requests import ClientDisconnect

from geom.errors import PageError
from geom.page.store import PartFile, Store, told_of

MOST_BYTES = 200_000_000
PIECE = 1_000_000  # bytes that are written at a time
LINGER = 3.0  # s


async def taken(pieces: AsyncIterator[bytes], told_name: str, told_length: str | None, store: Store) -> PartFile:
    """Write an upload to a file of ours; nothing is left of one that is cut off or too large.

    Parameters
    ----------
    told_name : the user's, percent-encoded; only its ending counts, the rest is for show
    told_length : what the request says; one that is too large is not even begun

    Raises
    ------
    PageError
        ``page-file-kind``, ``page-too-large``, ``page-file-empty``, ``page-unwritable``.
    """
    part = store.new_part(unquote(told_name, errors="replace"))
    if told_length is not None and told_length.isdecimal() and int(told_length[:20]) > MOST_BYTES:
        await drained(pieces)
        raise _too_large()
    fresh = part.path.with_name(f"{part.path.name}.part")
    try:
        size = await _written(pieces, fresh, store)
        if not size:
            text = "the file is empty"
            raise PageError("page-file-empty", text, where="part", hint="choose another, or save it again")
        with told_of(store.folder):
            os.replace(fresh, part.path)
        part = replace(part, size=size)
        try:
            await run_sync(store.add_part, part)
        except BaseException:
            part.path.unlink(missing_ok=True)
            raise
        return part
    except ClientDisconnect:
        raise PageError("page-cut-off", "the file did not come in whole", where="part", hint="send it again") from None
    finally:
        fresh.unlink(missing_ok=True)


async def _written(pieces: AsyncIterator[bytes], path: Path, store: Store) -> int:
    size, held = 0, bytearray()
    with told_of(store.folder), open(path, "xb") as file:
        async for piece in pieces:
            size += len(piece)
            if size > MOST_BYTES:
                await drained(pieces)
                raise _too_large()
            held += piece
            if len(held) >= PIECE:
                await run_sync(file.write, bytes(held))
                held.clear()
        file.write(held)
    return size


async def drained(pieces: AsyncIterator[bytes]) -> None:
    """Read on for a moment: a browser that still sends when its connection ends does not read why."""
    with move_on_after(LINGER):
        async for _ in pieces:
            pass


def _too_large() -> PageError:
    text = f"the file is larger than {MOST_BYTES // 1_000_000} MB"
    return PageError(
        "page-too-large",
        text,
        where="part",
        hint="save it with fewer triangles, or plan it from the command line",
        status=413,
    )
