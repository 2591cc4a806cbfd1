"""The page on real sockets, with hard-and-fast limits short enough for a test, and raw connections to it."""

import asyncio
import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from geom.page import server
from geom.page.guard import Door
from helpers.page_work import Page

ROOM = 5.0  # s


@dataclass
class Served:
    """A page that listens."""

    page: Page
    port: int

    def connect(self, address: str = "127.0.0.1") -> socket.socket:
        """Return a raw connection."""
        return socket.create_connection((address, self.port), timeout=ROOM)

    def head(self, method: str, path: str, *more: str) -> bytes:
        """Return the head of a request as the page's own script sends it."""
        own = [f"Host: localhost:{self.port}", f"Origin: http://localhost:{self.port}"]
        token = [f"X-Token: {self.page.door.token}", "Sec-Fetch-Site: same-origin"]
        return "\r\n".join([f"{method} {path} HTTP/1.1", *own, *token, *more, "", ""]).encode()

    def ask(self, data: bytes) -> bytes:
        """Send bytes; return everything that comes back until the other end closes, or the first answer."""
        with self.connect() as connection:
            connection.sendall(data)
            return answer_on(connection)

    def is_up(self) -> bool:
        """Does it answer a plain request?"""
        return self.ask(self.head("GET", "/api/plans")).startswith(b"HTTP/1.1 200")


def answer_on(connection: socket.socket, before: bytes = b"") -> bytes:
    """Return one answer, head and body; b"" where the connection is closed without any.

    ``before`` was read of it already, and is not returned again.
    """
    return _whole(connection, before)[len(before) :]


def _whole(connection: socket.socket, got: bytes) -> bytes:
    with contextlib.suppress(ConnectionError):
        while b"\r\n\r\n" not in got:
            piece = connection.recv(65536)
            if not piece:
                return got
            got += piece
        head, _, body = got.partition(b"\r\n\r\n")
        length = next((int(x[16:]) for x in head.lower().split(b"\r\n") if x.startswith(b"content-length: ")), 0)
        while len(body) < length:
            piece = connection.recv(65536)
            if not piece:
                break
            body += piece
            got += piece
    return got


def is_closed(connection: socket.socket, within: float) -> bool:
    """Does the other end close the connection within so many seconds, whatever it sends before?"""
    until = time.monotonic() + within
    with contextlib.suppress(ConnectionError):
        while time.monotonic() < until:
            connection.settimeout(max(until - time.monotonic(), 0.001))
            try:
                if not connection.recv(65536):
                    return True
            except TimeoutError:
                return False
        return False
    return True


@contextlib.contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Give a page that is served from a thread until the end."""
    sockets = server.sockets_for(None, 0)
    for one in sockets:  # so that an answer waits here, where the page sees it, and not in the system
        one.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 131_072)
    page = Page(folder, Door(sockets[0].getsockname()[1]))
    running = server.server_for(page.app)

    async def run() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            await running._serve(sockets)

    thread = threading.Thread(target=lambda: asyncio.run(run()), daemon=True)
    thread.start()
    try:
        until = time.monotonic() + ROOM
        while not running.started and time.monotonic() < until:
            time.sleep(0.01)
        assert running.started
        yield Served(page, page.door.port)
    finally:
        running.should_exit = running.force_exit = True
        thread.join(timeout=ROOM)
        page.close()
