"""The files of the page itself: a fixed set, read from the installed packages, each found by its name alone."""

import hashlib
from dataclasses import dataclass
from functools import cached_property
from importlib.resources import files
from importlib.resources.abc import Traversable

TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
}
INDEX = "index.html"
TOKEN = b"{{token}}"


@dataclass(frozen=True)
class Static:
    """One file of the page; read when first asked for."""

    source: Traversable

    @property
    def media_type(self) -> str:
        return TYPES[self.source.name.rpartition(".")[2]]

    @cached_property
    def body(self) -> bytes:
        return self.source.read_bytes()

    @cached_property
    def tag(self) -> str:
        """What tells one content from another, for a browser that has one already."""
        return f'"{hashlib.sha256(self.body).hexdigest()[:32]}"'


def statics() -> dict[str, Static]:
    """Return the files of the page by name; the drawing library is that of the installed package."""
    own = files("geom.page") / "static"
    found = {entry.name: Static(entry) for entry in own.iterdir() if entry.name.rpartition(".")[2] in TYPES}
    library = files("plotly") / "package_data" / "plotly.min.js"
    return {**found, library.name: Static(library)}


def index(page: Static, token: str) -> bytes:
    """Return the page with the token of this run in it."""
    return page.body.replace(TOKEN, token.encode())
