"""Sockets, time-outs, and the server itself: nobody who is slow, or many, keeps others out."""

import asyncio
import contextlib
import errno
import socket
import sys
from collections.abc import Callable
from typing import Any

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from geom.errors import PageError
from geom.page.guard import LOOPBACK, App

PORT = 8424
MOST_CONNECTIONS = 128
HEAD_TIME = 10.0  # until a request's head is there [s]
BODY_GRACE, LEAST_RATE = 30.0, 20_000.0  # a body that is slower than this after so long is given up [s], [bytes/s]
WRITE_TIME = 30.0  # without any progress of an answer [s]
IDLE_TIME = 20  # of a connection between two requests [s]
LARGEST_HEAD = 16_384  # bytes
TICK = 1.0  # s
ENDING = 3  # for requests that still run when the server is told to end [s]


class Patient(H11Protocol):
    """A connection that may be slow, but not for ever, and that makes room for a new one while it is idle."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection; where there are too many, the one that has been silent the longest goes."""
        super().connection_made(transport)
        self.since = self.loop.time()
        self.received = 0
        self.unsent, self.sent_at = 0, self.since
        self.started: float | None = None  # when the head of the present request was there
        self.watch: asyncio.TimerHandle | None = self.loop.call_later(TICK, self._look)
        if len(self.connections) > MOST_CONNECTIONS:
            self._make_room()

    def _make_room(self) -> None:
        # one that was ended a moment ago is still among them
        open_ones = [one for one in self.connections if isinstance(one, Patient) and not one.transport.is_closing()]
        if len(open_ones) <= MOST_CONNECTIONS:
            return
        idle = [one for one in open_ones if one.is_waiting] or open_ones
        min(idle, key=lambda one: one.since).transport.abort()

    @property
    def is_waiting(self) -> bool:
        """Is no request being answered or sent on it?"""
        return self.cycle is None or self.cycle.response_complete

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        if self.watch is not None:
            self.watch.cancel()
            self.watch = None
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take bytes, and note when a head is complete and when a request is."""
        was_waiting = self.is_waiting
        self.received += len(data)
        super().data_received(data)
        if was_waiting and not self.is_waiting:
            self.started, self.received = self.loop.time(), 0

    def on_response_complete(self) -> None:
        """Begin to count anew for the next request."""
        self.since, self.started = self.loop.time(), None
        super().on_response_complete()

    def _look(self) -> None:
        """Give the connection up where its other end is too slow; look again later where not."""
        now = self.loop.time()
        if self._is_too_slow(now):
            self.transport.abort()
            return
        self.watch = self.loop.call_later(TICK, self._look)

    def _is_too_slow(self, now: float) -> bool:
        unsent = self.transport.get_write_buffer_size()
        if not unsent or unsent < self.unsent:
            self.sent_at = now
        self.unsent = unsent
        if unsent:  # an answer is on its way, however long: no idle time
            self.since = now
            return now - self.sent_at > WRITE_TIME
        if self.is_waiting:
            limit = HEAD_TIME if self.cycle is None or self.conn.trailing_data[0] else IDLE_TIME + HEAD_TIME
            return now - self.since > limit
        receives = self.conn.their_state is h11.SEND_BODY and not self.flow.read_paused
        age = now - (self.started or now)
        return receives and age > BODY_GRACE and self.received < LEAST_RATE * age


def sockets_for(address: str | None, port: int) -> list[socket.socket]:
    """Return listening sockets: of this machine alone unless ``address`` names another; port 0 takes a free one.

    Raises
    ------
    PageError
        ``page-port-taken``, or ``page-address`` where the machine has no such address.
    """
    if not 0 <= port <= 65535:
        raise PageError("page-address", f"a port is a number from 0 to 65535, not {port}", hint="0 takes a free one")
    if address is not None:
        return [_listening(address, port)]
    for _ in range(20):
        first = _listening(LOOPBACK[1], port)
        try:
            second = _listening(LOOPBACK[2], first.getsockname()[1])
        except PageError as error:
            if error.slug == "page-address":  # a machine without the newer addresses
                return [first]
            first.close()
            if port:
                raise
            continue
        return [first, second]
    raise PageError("page-port-taken", "no free port was found", hint="name one with --port")


def _listening(address: str, port: int) -> socket.socket:
    try:
        family, kind, number, _, place = socket.getaddrinfo(
            address, port, type=socket.SOCK_STREAM, flags=socket.AI_NUMERICHOST
        )[0]
        own = socket.socket(family, kind, number)
    except OSError as error:
        raise _no_address(address, error) from error
    try:
        if sys.platform == "win32":
            own.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            own.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            own.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        own.bind(place)
        own.listen(128)
        own.setblocking(False)
    except OSError as error:
        own.close()
        if error.errno in (errno.EADDRINUSE, errno.EACCES, errno.EPERM):
            why = "is taken by another program" if error.errno == errno.EADDRINUSE else "may not be used by you"
            hint = f"a page may be running already: look at http://localhost:{port}/; or give another with --port, 0 for any that is free"
            raise PageError("page-port-taken", f"port {port} {why}", where=address, hint=hint) from error
        raise _no_address(address, error) from error
    return own


def _no_address(address: str, error: OSError) -> PageError:
    text = f"the page cannot be served at {address}: {error.strerror or error}"
    return PageError("page-address", text, hint="give an address of this machine by number, or leave --address out")


def server_for(app: App) -> uvicorn.Server:
    """Return the server, without a log and without its name in the answers."""
    config = uvicorn.Config(
        app,
        http=Patient,
        ws="none",
        lifespan="off",
        log_config=None,
        log_level="critical",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        timeout_keep_alive=IDLE_TIME,
        timeout_graceful_shutdown=ENDING,
        h11_max_incomplete_event_size=LARGEST_HEAD,
    )
    return uvicorn.Server(config)


def serve(app: App, sockets: list[socket.socket], *, when_ready: Callable[[], Any] = lambda: None) -> None:
    """Serve until Ctrl-C or a request to end."""
    server = server_for(app)

    async def run() -> None:
        ready = asyncio.ensure_future(_told(server, when_ready))
        try:
            await server.serve(sockets=sockets)
        finally:
            ready.cancel()

    with contextlib.suppress(KeyboardInterrupt):  # uvicorn ends in good order, and then raises it again
        asyncio.run(run())


async def _told(server: uvicorn.Server, when_ready: Callable[[], Any]) -> None:
    while not server.started:
        await asyncio.sleep(0.01)
    when_ready()
