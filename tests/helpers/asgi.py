"""A client that hands an application requests byte by byte, past everything that would mend them on the way."""

import asyncio
import json
import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import unquote

Pairs = Sequence[tuple[bytes, bytes]]


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    body: bytes
    raw: list[dict[str, Any]] = field(repr=False, default_factory=list)

    @property
    def tree(self) -> Any:
        return json.loads(self.body)

    @property
    def slug(self) -> str:
        return str(self.tree["error"]["slug"])


class Client:
    """Runs an application on an event loop of its own thread."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever, daemon=True)
        self.thread.start()

    def close(self) -> None:
        """End the loop."""
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join(timeout=5)
        self.loop.close()

    def ask(
        self,
        method: str,
        path: str,
        headers: Pairs = (),
        body: bytes | Iterable[bytes] = b"",
        *,
        kind: str = "http",
        cut_off: bool = False,
        timeout: float = 30.0,
    ) -> Answer:
        """Send one request; ``cut_off``: its other end is gone before the body is whole."""
        work = self._asked(method, path, headers, body, kind, cut_off)
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(timeout)

    async def _asked(self, method: str, path: str, headers: Pairs, body: Any, kind: str, cut_off: bool) -> Answer:
        pieces = iter([body] if isinstance(body, bytes) else body)
        sent: list[dict[str, Any]] = []
        is_over = False

        async def receive() -> dict[str, Any]:
            nonlocal is_over
            if is_over:
                await asyncio.sleep(3600)
            try:
                return {"type": "http.request", "body": next(pieces), "more_body": True}
            except StopIteration:
                is_over = True
            return {"type": "http.disconnect"} if cut_off else {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: dict[str, Any]) -> None:
            sent.append(message)

        plain, _, query = path.partition("?")
        scope = {
            "type": kind,
            "method": method,
            "path": unquote(plain, errors="surrogateescape") if "%" in plain else plain,
            "raw_path": plain.encode("latin-1"),
            "query_string": query.encode("latin-1"),
            "headers": [(name.lower(), value) for name, value in headers],
            "client": ("127.0.0.1", 1),
            "server": ("127.0.0.1", 8424),
            "scheme": "http",
            "root_path": "",
            "http_version": "1.1",
        }
        try:
            await self.app(scope, receive, send)
        except Exception:
            if not sent:  # the application answers, and raises for the server's log all the same
                raise
        if kind != "http":
            return Answer(0, {}, b"", sent)
        own = {name.decode().lower(): value.decode("latin-1") for name, value in sent[0]["headers"]}
        return Answer(sent[0]["status"], own, b"".join(one.get("body", b"") for one in sent[1:]), sent)
