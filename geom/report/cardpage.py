"""A page of one size in mm, measured from its upper left corner, with text that is fitted before it is drawn."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.ft2font import FT2Font, LoadFlags
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

INCH = 25.4  # mm
POINT = INCH / 72  # mm
SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of the papers, in mm."""

LEADING = 1.24
"""From line to line, in sizes of the type."""

BLACK, GREY, PALE, WHITE = "#000000", "#5a5a5a", "#ececec", "#ffffff"
STRANGE = "□"
"""Stands for a letter that the type does not have."""


def _file(*, bold: bool) -> Path:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


@cache
def _font(*, bold: bool) -> FT2Font:
    font = FT2Font(_file(bold=bold))  # our own: that of the renderer changes its size
    font.set_size(100, 72)
    return font


@cache
def face(*, bold: bool) -> FontProperties:
    """Return the type of the card: one and the same for all its text, as each costs time to pack."""
    return FontProperties(fname=_file(bold=bold))


@cache
def _advance(letter: str, *, bold: bool) -> float:
    """Return the width of a letter of size 1."""
    return float(_font(bold=bold).load_char(ord(letter), LoadFlags.NO_HINTING).linearHoriAdvance) / 65536 / 100


@cache
def _has(letter: str) -> bool:
    return all(_font(bold=bold).get_char_index(ord(letter)) != 0 for bold in (False, True))


def drawable(text: str) -> str:
    """Return text with every letter that the type does not have replaced by a box."""
    return "".join(letter if letter == " " or _has(letter) else STRANGE for letter in text)


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide text of a size in points is, in mm."""
    return _width(text, bold=bold) * size * POINT


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """Return text in lines that are no wider than ``room`` mm; words that are wider are cut."""
    return list(_wrapped(text, room / size / POINT, bold=bold))


@lru_cache(maxsize=4096)
def _wrapped(text: str, room: float, *, bold: bool) -> tuple[str, ...]:
    """Return text in lines that are no wider than ``room`` at a size of 1."""
    lines: list[str] = []
    line, used = "", 0.0
    space = _advance(" ", bold=bold)
    for word in drawable(text).split():
        wide = _width(word, bold=bold)
        if line and used + space + wide <= room:
            line, used = f"{line} {word}", used + space + wide
            continue
        if line:
            lines.append(line)
        while wide > room and len(word) > 1:
            count = next(k for k in range(len(word) - 1, 0, -1) if k == 1 or _width(word[:k], bold=bold) <= room)
            lines.append(word[:count])
            word = word[count:]
            wide = _width(word, bold=bold)
        line, used = word, wide
    return (*lines, line) if line else tuple(lines)


@lru_cache(maxsize=4096)
def _width(word: str, *, bold: bool) -> float:
    """Return how wide a word is at a size of 1."""
    return sum(_advance(letter, bold=bold) for letter in word)


def cut(lines: Sequence[str], most: int) -> list[str]:
    """Return the first lines, with dots where some are left out."""
    if len(lines) <= most:
        return list(lines)
    return [*lines[: most - 1], f"{lines[most - 1][:-2].rstrip()} …"]


def fitted(text: str, room: float, largest: float, *, bold: bool = False) -> float:
    """Return the largest size in points, no more than ``largest``, at which text is no wider than ``room`` mm."""
    return min(largest, room / max(width(drawable(text), 1.0, bold=bold), 1e-9))


@dataclass(frozen=True, eq=False)
class Page:
    """An empty page; all places are in mm from its upper left corner, all sizes of type in points."""

    figure: Figure
    axes: Axes
    wide: float
    high: float

    def text(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False, ink: str = BLACK, align: str = "left"
    ) -> None:
        """Write one line, its top at ``y``."""
        baseline = y + 0.93 * size * POINT
        # text of the user's: no sign in it may be read as a formula
        written = self.axes.text(
            x,
            baseline,
            drawable(words),
            fontproperties=face(bold=bold),
            fontsize=size,
            color=ink,
            ha=align,
            va="baseline",
            parse_math=False,
        )
        if hasattr(written, "set_fontfeatures"):  # joined letters come from a second subset, which costs as much again
            written.set_fontfeatures(("-liga",))

    def lines(
        self, x: float, y: float, lines: Sequence[str], size: float, *, bold: bool = False, ink: str = BLACK
    ) -> float:
        """Write lines below one another; return where the next would begin."""
        for line in lines:
            self.text(x, y, line, size, bold=bold, ink=ink)
            y += LEADING * size * POINT
        return y

    def box(
        self,
        place: tuple[float, float, float, float],
        *,
        fill: str = "none",
        line: float = 0.8,
        ink: str = BLACK,
        dashes: str = "-",
    ) -> None:
        """Draw a rectangle: left, top, width, height."""
        x, y, wide, high = place
        edge = "none" if line == 0 else ink
        self.axes.add_patch(
            Rectangle((x, y), wide, high, facecolor=fill, edgecolor=edge, lw=line, ls=dashes, zorder=0.5)
        )

    def dot(self, x: float, y: float, side: float) -> None:
        """Draw a small square about a place."""
        self.box((x - side / 2, y - side / 2, side, side), fill=BLACK, line=0)

    def rule(
        self, start: tuple[float, float], end: tuple[float, float], *, line: float = 0.8, ink: str = BLACK
    ) -> None:
        """Draw a straight line."""
        self.axes.add_line(Line2D([start[0], end[0]], [start[1], end[1]], color=ink, lw=line, zorder=0.6))

    def window(self, place: tuple[float, float, float, float]) -> Axes:
        """Return axes for a drawing on a part of the page: left, top, width, height."""
        x, y, wide, high = place
        axes = self.figure.add_axes((x / self.wide, 1 - (y + high) / self.high, wide / self.wide, high / self.high))
        axes.set_axis_off()
        return axes


def blank_page(paper: str) -> Page:
    """Return an empty page of a paper of `SIZES`."""
    if paper not in SIZES:
        raise ValueError(f"paper must be one of {', '.join(SIZES)}, got {paper!r}")
    wide, high = SIZES[paper]
    figure = Figure(figsize=(wide / INCH, high / INCH), facecolor="white")
    FigureCanvasPdf(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, wide)
    axes.set_ylim(high, 0)
    axes.set_axis_off()
    return Page(figure, axes, wide, high)


def pdf(page: Page, title: str) -> bytes:
    """Return the page as a PDF file with its type in it; the same page gives the same bytes."""
    out = io.BytesIO()
    told = {"Title": title, "Creator": "geom", "Producer": None, "CreationDate": None}
    with matplotlib.rc_context({"pdf.fonttype": 42, "pdf.compression": 6}):
        page.figure.savefig(out, format="pdf", metadata=told)
    return out.getvalue()
