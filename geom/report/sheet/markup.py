"""HTML and SVG as text: whatever is not made here is escaped, so that no word of a job can become markup."""

from collections.abc import Iterable
from html import escape

from geom.report.tree import printable

VOID = ("br", "img", "meta", "input", "line", "rect", "circle", "path", "polygon")


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


Attribute = str | float | int | bool | None


def tag(name: str, /, *inner: str, **attributes: Attribute) -> Markup:
    """Return an element; plain text inside it and all attributes are escaped.

    Attributes that are None or False are left out, True stands alone; ``_`` at the end of a name is dropped and
    others become ``-``.
    """
    words = "".join(_attribute(key, value) for key, value in attributes.items())
    if name in VOID:
        return Markup(f"<{name}{words}>" if name in ("br", "img", "meta", "input") else f"<{name}{words}/>")
    return Markup(f"<{name}{words}>{joined(inner)}</{name}>")


def joined(pieces: Iterable[str]) -> Markup:
    """Return the pieces one after another, those that are plain text escaped."""
    return Markup("".join(piece if isinstance(piece, Markup) else text(piece) for piece in pieces))


def text(words: str) -> Markup:
    """Return plain text as markup."""
    return Markup(escape(printable(words), quote=True))


def number(value: float, digits: int = 4) -> str:
    """Return a number for an attribute, without noise and without a minus before zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}".rstrip("0").rstrip(".") or "0"


def percent(share: float) -> str:
    """Return a share of the width as an attribute."""
    return f"{number(100 * share, 3)}%"


def _attribute(key: str, value: Attribute) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    if value is True:
        return f" {name}"
    shown = number(value) if isinstance(value, float) else str(value)
    return f' {name}="{escape(printable(shown), quote=True)}"'
