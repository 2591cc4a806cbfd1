"""The body of a request as JSON: bounded while it comes in, and a clear error for whatever is wrong with it."""

import json
from typing import Any

from starlette.requests import ClientDisconnect, Request

from geom.errors import PageError
from geom.page.uploads import drained

MOST_BYTES = 1_000_000


async def json_of(request: Request) -> dict[str, Any]:
    """Return the record that a request brings.

    Raises
    ------
    PageError
        ``page-json`` where it is no such thing, ``page-too-large`` where it is longer than any form.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise PageError("page-json", "JSON is expected here", hint="send it as application/json", status=415)
    pieces, held = request.stream(), bytearray()
    try:
        async for piece in pieces:
            held += piece
            if len(held) > MOST_BYTES:
                await drained(pieces)
                text = f"the request is larger than {MOST_BYTES // 1_000_000} MB"
                raise PageError("page-too-large", text, hint="send files by themselves", status=413)
    except ClientDisconnect:
        raise PageError("page-cut-off", "the request did not come in whole", hint="send it again") from None
    return _record(bytes(held))


def _record(body: bytes) -> dict[str, Any]:
    try:
        tree = json.loads(body.decode("utf-8"), parse_constant=_no_number, object_pairs_hook=_without_twins)
    except RecursionError:
        raise _odd("it is nested too deeply") from None
    except json.JSONDecodeError as error:
        raise _odd(f"{error.msg} in line {error.lineno}, column {error.colno}") from None
    except UnicodeDecodeError as error:
        raise _odd(f"byte {error.start + 1} is not UTF-8") from None
    except ValueError as error:
        raise _odd(str(error)) from None
    if not isinstance(tree, dict):
        raise _odd("it is not a record")
    return tree


def _no_number(text: str) -> Any:
    raise ValueError(f"{text} is no number")


def _without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name is given twice")
    return found


def _odd(why: str) -> PageError:
    return PageError("page-json", f"the request cannot be read: {why}", hint="load the page again")
