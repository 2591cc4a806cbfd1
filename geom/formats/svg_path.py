"""The path data and number lists of an SVG file to lines and curves."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from geom.arrays import Floats
from geom.formats import curves
from geom.formats.raw import malformed, shown
from geom.formats.strokes import Stroke

LARGEST = 1e12  # of any number
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
GAP = re.compile(r"[ \t\r\n\f]*,?[ \t\r\n\f]*")
FLAG = re.compile(r"[01]")
COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
"""Numbers that each command takes at a time."""


def reals(text: str, where: str) -> list[float]:
    """Return the numbers of a list parted by spaces or commas."""
    values, at = [], len(text) - len(text.lstrip())
    while at < len(text):
        value, at = _real(text, at, where)
        values.append(value)
        at = _gap(text, at)
    return values


def _real(text: str, at: int, where: str) -> tuple[float, int]:
    found = NUMBER.match(text, at)
    if found is None:
        raise malformed(f'{where} has "{shown(text[at : at + 20])}" where a number belongs', "export the drawing again")
    value = float(found[0])
    if not abs(value) <= LARGEST:
        raise malformed(f"{where} has {shown(found[0])}, a number no drawing has")
    return value, found.end()


def _gap(text: str, at: int) -> int:
    found = GAP.match(text, at)
    return found.end() if found else at


def _commands(text: str, where: str) -> Iterator[tuple[str, list[float]]]:
    """Yield each command with the numbers of one turn of it."""
    at = _gap(text, 0)
    if text.lstrip()[:1] not in ("", "M", "m"):
        raise malformed(f'{where} begins with "{shown(text[:20])}" and not with M')
    while at < len(text):
        letter = text[at]
        if letter.upper() not in COUNTS:
            raise malformed(f'{where} has "{shown(text[at : at + 20])}" where a command belongs')
        at = _space(text, at + 1)
        if letter in "Zz":
            yield letter, []
            continue
        while True:
            values = []
            for k in range(COUNTS[letter.upper()]):
                if letter in "Aa" and k in (3, 4):
                    flag = FLAG.match(text, at)
                    if flag is None:
                        raise malformed(f'{where} has "{shown(text[at : at + 20])}" where a flag of an arc belongs')
                    value, at = float(flag[0]), flag.end()
                else:
                    value, at = _real(text, at, where)
                values.append(value)
                last, at = at, _gap(text, at)
            yield letter, values
            letter = {"M": "L", "m": "l"}.get(letter, letter)
            if at >= len(text) or text[at].isalpha():
                if "," in text[last:at]:
                    raise malformed(f"{where} has a comma with no number after it")
                break


def _space(text: str, at: int) -> int:
    while at < len(text) and text[at] in " \t\r\n\f":
        at += 1
    return at


@dataclass(eq=False)
class _Pen:
    """Where the pen is, and what it drew since it was last put down."""

    at: Floats = field(default_factory=lambda: np.zeros(2))
    begin: Floats = field(default_factory=lambda: np.zeros(2))
    handle: Floats | None = None  # last control point of the curve just drawn
    last: str = ""
    pieces: list[Floats] = field(default_factory=list)

    def lifted(self, *, is_closed: bool) -> Iterator[Stroke]:
        """Yield what was drawn, and begin anew."""
        if self.pieces:
            points = np.concatenate([self.pieces[0][:1], *(piece[1:] for piece in self.pieces)])
            is_double = is_closed and len(points) > 1 and bool(np.all(points[0] == points[-1]))
            yield Stroke(points[:-1] if is_double else points, is_closed)
        self.pieces = []


def path_strokes(text: str, where: str) -> Iterator[Stroke]:
    """Yield each piece of a path that is drawn without lifting the pen.

    Raises
    ------
    PartError
        where the data breaks the grammar of the SVG specification; a browser would draw the part before it.
    """
    pen = _Pen()
    for letter, values in _commands(text, where):
        name = letter.upper()
        if name == "M":
            yield from pen.lifted(is_closed=False)
            pen.at = pen.begin = _target(pen, letter, values)
        elif name == "Z":
            yield from pen.lifted(is_closed=True)
            pen.at = pen.begin
        else:
            piece, handle = _piece(pen, letter, values)
            pen.pieces.append(piece)
            pen.at, pen.handle = piece[-1], handle
        pen.last = name
    yield from pen.lifted(is_closed=False)


def _target(pen: _Pen, letter: str, values: list[float]) -> Floats:
    return np.array(values) + (pen.at if letter.islower() else 0.0)


def _piece(pen: _Pen, letter: str, v: list[float]) -> tuple[Floats, Floats | None]:
    """Return the points of one line or curve, and its last control point."""
    name, here = letter.upper(), pen.at if letter.islower() else np.zeros(2)
    if name in "HV":
        end = pen.at.copy()
        end[0 if name == "H" else 1] = v[0] + here[0 if name == "H" else 1]
        return np.stack([pen.at, end]), None
    if name == "A":
        turned = math.radians(v[2])
        return curves.svg_arc(pen.at, np.array(v[5:]) + here, (v[0], v[1]), turned, bool(v[3]), bool(v[4])), None
    corners = np.array(v).reshape(-1, 2) + here
    if name == "L":
        return np.stack([pen.at, corners[0]]), None
    if name in "ST":
        like = ("C", "S") if name == "S" else ("Q", "T")
        follows = pen.handle if pen.last in like else None
        corners = np.stack([pen.at if follows is None else 2 * pen.at - follows, *corners])
    control = np.concatenate([pen.at[None], corners])
    return curves.bezier(control), control[-2]
