"""Answers as JSON, and errors in the words of the program."""

import json
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from geom.errors import GeomError, PageError
from geom.report.tree import printable

Headers = tuple[tuple[bytes, bytes], ...]

LONGEST = 2000  # letters of a message, which may quote what was sent


def error_body(error: GeomError, field: str | None = None) -> dict[str, Any]:
    """Return an error as a plain record: what is wrong, where in the form, what to do, and each single mistake."""
    mistakes = getattr(error, "mistakes", ())
    return {"error": {**_words(error, field), "mistakes": [_words(one, None) for one in mistakes]}}


def _words(error: GeomError, field: str | None) -> dict[str, Any]:
    return {
        "slug": error.slug,
        "message": printable(error.message)[:LONGEST],
        "hint": printable(error.hint)[:LONGEST],
        "field": field or printable(error.where) or None,
    }


def status_of(error: GeomError) -> int:
    """Return the status of the answer that tells an error: what was asked cannot be done, unless it says otherwise."""
    return error.status if isinstance(error, PageError) else 422


async def send_json(
    send: Callable[[MutableMapping[str, Any]], Awaitable[None]], status: int, tree: Any, more: Headers = ()
) -> None:
    """Send a whole answer without a framework: for what is refused before anything is routed."""
    body = dumped(tree)
    headers = [
        (b"content-type", b"application/json; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        *more,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def dumped(tree: Any) -> bytes:
    """Return JSON in as few bytes as it takes; broken letters become "?"."""
    text = json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.encode("utf-8", "replace")
