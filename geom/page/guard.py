"""`Guard`: what every request passes before anything else sees it. Whose host, whose page, which token.

A page of another site that is open in the same browser can make requests to this one. It cannot choose the Host
of an address that is ours, cannot read our token, and its browser tells where a request came from.
"""

import hmac
import re
import secrets
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from ipaddress import IPv6Address, ip_address
from typing import Any
from urllib.parse import parse_qs

from geom.errors import PageError
from geom.page.answers import Headers, error_body, send_json

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK = ("localhost", str(ip_address(0x7F000001)), str(IPv6Address(1)))
"""The names of this machine that a browser of this machine may use."""

POLICY = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
"""Nothing inline and nothing from elsewhere, no exception: `static/sheets.js` says how the drawing library lives with it."""

PROTECTION: Headers = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), usb=(), serial=()"),
)
HOST = re.compile(
    r"(?:\[([0-9A-Fa-f:.]{2,45})\]|([A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?)(\.?))(?::([0-9]{1,5}))?"
)
OWN_ADDRESS = "open the address that geom page printed"
METHODS = {"GET", "HEAD", "POST"}
OWN_SITES = {"same-origin", "none"}  # "none": typed, bookmarked, or opened by another program


@dataclass(frozen=True)
class Door:
    """Who may come in: the names and the port that are ours, and the secrets of this run.

    ``key`` is asked for where the page is open to other machines: it stands in the address that is printed.
    """

    port: int
    names: frozenset[str] = frozenset(LOOPBACK)
    is_open: bool = False
    any_address: bool = False  # bound to every address of the machine: then any number is taken for a name of it
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def cookie(self) -> str:
        """Its name has the port in it: cookies of one host are shared by all of its ports."""
        return f"geom-{self.port}"

    def own_host(self, text: str) -> str | None:
        """Return the host of a Host header in one spelling; None where it is not ours."""
        match = HOST.fullmatch(text)
        if match is None or int(match[4] or 80) != self.port:
            return None
        name = match[1] or match[2].lower()
        try:
            number = ip_address(name)
        except ValueError:
            return name if match[1] is None and name in self.names else None
        if match[3] or (number.version == 6) != (match[1] is not None):
            return None
        return str(number) if str(number) in self.names or self.any_address else None

    def own_origin(self, text: str, host: str) -> bool:
        """Is an Origin header that of the page at ``host``?"""
        scheme, mark, rest = text.partition("://")
        return scheme == "http" and bool(mark) and self.own_host(rest) == host


class Guard:
    """Passes requests of our own page on to ``app``, with protecting headers on every answer; refuses all others."""

    def __init__(self, app: App, door: Door) -> None:
        self.app, self.door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # a web socket: there are none
            await send({"type": "websocket.close", "code": 1008})
            return
        guarded = _protected(send)
        try:
            fresh = self._check(scope)
        except PageError as error:
            await send_json(guarded, error.status, error_body(error), ((b"connection", b"close"),))
            return
        await self.app(scope, receive, _protected(send, self._set_cookie()) if fresh else guarded)

    def _check(self, scope: Scope) -> bool:
        """Raise unless the request may pass; return whether its answer is to bring the cookie."""
        headers = _Once(scope["headers"])
        host = self.door.own_host(headers.get(b"host") or "")
        if host is None:
            raise PageError("page-host", "this address is not one of this page", hint=OWN_ADDRESS, status=403)
        if scope["method"] not in METHODS:
            raise PageError("page-method", "the page takes GET and POST alone", status=405)
        is_page = scope["path"] == "/" and scope["method"] != "POST"
        self._check_site(headers, is_page)
        has_cookie = self._has_cookie(headers)
        has_key = is_page and self._has_key(scope)
        if self.door.is_open and not (has_cookie or has_key):
            text = "this page is open to other machines, so its address has a key in it"
            raise PageError("page-key", text, hint="open the whole address that geom page printed", status=403)
        if scope["method"] == "POST":
            self._check_post(headers, host)
        elif scope["path"].startswith("/api/") and not (has_cookie or headers.get(b"sec-fetch-site")):
            raise PageError(
                "page-foreign", "this request does not come from the page", hint="load the page first", status=403
            )
        return is_page and not has_cookie

    def _check_site(self, headers: "_Once", is_page: bool) -> None:
        """Refuse what the browser says another site asked for; only the page itself may be the aim of its links."""
        site = headers.get(b"sec-fetch-site")
        linked = headers.get(b"sec-fetch-mode") == "navigate" and headers.get(b"sec-fetch-dest") == "document"
        if site is not None and site not in OWN_SITES and not (is_page and linked):
            raise PageError("page-foreign", "another site asked for this", hint=OWN_ADDRESS, status=403)

    def _check_post(self, headers: "_Once", host: str) -> None:
        if not self.door.own_origin(headers.get(b"origin") or "", host):
            raise PageError("page-foreign", "this was not sent by the page itself", hint=OWN_ADDRESS, status=403)
        if not _same(headers.get(b"x-token") or "", self.door.token):
            text = "this page was loaded before geom page was started anew"
            raise PageError("page-token", text, hint="load the page again; plans and files are kept", status=403)

    def _has_key(self, scope: Scope) -> bool:
        given = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])
        return _same(given[0], self.door.key)

    def _has_cookie(self, headers: "_Once") -> bool:
        pairs = (pair.strip().partition("=") for pair in (headers.get(b"cookie") or "").split(";"))
        return any(name == self.door.cookie and _same(value, self.door.key) for name, _, value in pairs)

    def _set_cookie(self) -> Headers:
        text = f"{self.door.cookie}={self.door.key}; Path=/; HttpOnly; SameSite=Strict"
        return ((b"set-cookie", text.encode()),)


class _Once:
    """Headers of a request; one that stands there twice counts as a wrong one."""

    def __init__(self, pairs: Iterable[tuple[bytes, bytes]]) -> None:
        self.found: dict[bytes, str] = {}
        for name, value in pairs:
            key = name.lower()
            self.found[key] = "\0" if key in self.found else value.decode("latin-1")

    def get(self, name: bytes) -> str | None:
        return self.found.get(name)


def _same(given: str, own: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), own.encode())


def _protected(send: Send, more: Headers = ()) -> Send:
    """Return ``send`` with the protecting headers on the answer, and the cookie where one is due."""

    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in PROTECTION}
            kept = [pair for pair in message.get("headers", ()) if pair[0].lower() not in own]
            message = {**message, "headers": [*kept, *PROTECTION, *more]}
        await send(message)

    return sent
