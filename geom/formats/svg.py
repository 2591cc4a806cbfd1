"""`read_svg`: the closed outlines of an SVG file.

Every path, rect, circle, ellipse, polygon, polyline and line that is not hidden is taken by its centre line; what
it is filled or stroked with says nothing. A number that is none refuses the file. No document type, entity or
reference to anything outside the file is followed. The tests hold the reader against another one.
"""

import math
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from geom.arrays import Floats
from geom.errors import PartError
from geom.findings import Finding
from geom.formats import curves
from geom.formats.drawing import RawDrawing
from geom.formats.notes import counted, noted, warned
from geom.formats.raw import malformed, shown
from geom.formats.strokes import CIRCLE, Stroke, closed_rings
from geom.formats.svg_path import path_strokes, reals

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
DEEPEST = 100  # elements within elements, and uses of uses
MOST_ELEMENTS = 100_000  # after every use was followed
LENGTHS = {"mm": 1e-3, "cm": 1e-2, "in": 0.0254, "pt": 0.0254 / 72, "pc": 0.0254 / 6, "q": 0.25e-3}
"""Length of each unit that has one in itself [m] (CSS values and units, absolute lengths); px has none here."""

DRAWN_BY_USE = {"defs", "symbol", "clipPath", "mask", "marker", "pattern"}
WORDLESS = {"style", "title", "desc", "metadata", "linearGradient", "radialGradient", "filter", "view", "cursor"}
TEXT_LIKE = {"text", "image", "foreignObject", "audio", "video", "canvas", "iframe"}
CONTAINERS = {"g", "a", "svg"}
COMMENT = re.compile(r"/\*.*?(\*/|$)", re.DOTALL)
SIZES = {"x", "y", "cx", "cy", "r", "rx", "ry", "width", "height", "d"}
MOVES = {"translate", "rotate", "scale", "zoom", "transform", "transform-origin", "transform-box"}
MOVES |= {"offset", "offset-path", "offset-distance", "offset-position"}
MOVING = {"display", "visibility", "@import", *SIZES, *MOVES}
"""Properties of a style that hide, move or shape what is drawn (CSS transforms; SVG 2, geometry properties)."""


@dataclass(eq=False)
class Element:
    """One element: its name, its attributes, and what is in it."""

    name: str
    attributes: dict[str, str]
    line: int
    children: list["Element"] = field(default_factory=list)
    words: str = ""  # between its marks; kept of a style sheet alone

    @property
    def where(self) -> str:
        """The element as a message names it."""
        return f"the {shown(self.name)} in line {self.line} of the SVG file"

    def real(self, name: str, default: float | None = 0.0) -> float:
        """Return an attribute that is a plain number, of user units; with no default it must be there."""
        text = self.attributes.get(name)
        if text is None:
            if default is None:
                raise malformed(f'{self.where} has no "{name}"')
            return default
        values = reals(text.strip().removesuffix("px"), f'"{name}" of {self.where}')
        if len(values) != 1:
            raise malformed(f'"{name}" of {self.where} is "{shown(text)}", which is not a number')
        return values[0]

    @property
    def style(self) -> dict[str, str]:
        """What its own style says of each property; the last word counts."""
        text = COMMENT.sub(" ", self.attributes.get("style", "")).lower()
        parts = (part.partition(":") for part in text.split(";"))
        return {key.strip(): value.replace("!important", "").strip() for key, _, value in parts}

    def said(self, name: str) -> str:
        """Return what its style says of a property, or its attribute of that name."""
        return self.style.get(name, self.attributes.get(name, "").strip())

    @property
    def is_hidden(self) -> bool:
        """Does the element say that it is not drawn?"""
        return self.said("display") == "none" or self.said("visibility") in ("hidden", "collapse")

    @property
    def is_clipped(self) -> bool:
        """Does the element say that only a piece of it is drawn?"""
        return any(self.said(name) not in ("", "none") for name in ("clip-path", "mask", "clip"))


@dataclass(frozen=True, eq=False)
class Affine:
    """A transform: ``plane @ (x, y) + shift``."""

    plane: Floats
    shift: Floats

    def after(self, inner: "Affine") -> "Affine":
        """Return this transform of what ``inner`` transformed."""
        return Affine(self.plane @ inner.plane, self.plane @ inner.shift + self.shift)

    def of(self, points: Floats) -> Floats:
        """Return points (n, 2), transformed."""
        return np.asarray(points @ self.plane.T + self.shift)


NOWHERE = Affine(np.eye(2), np.zeros(2))


@dataclass(eq=False)
class _Drawn:
    """What was found so far."""

    by_id: dict[str, list[Element]]
    strokes: list[Stroke] = field(default_factory=list)
    circles: list[CIRCLE] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    unseen: int = 0
    clipped: int = 0


def read_svg(data: bytes) -> RawDrawing:
    """Read the closed outlines of an SVG file.

    Raises
    ------
    PartError
        where the file breaks the format or an outline is not closed.
    """
    root, by_id, styles = _tree(data)
    if root.name != "svg":
        raise malformed(f'the SVG file begins with the element "{shown(root.name)}", not "svg"')
    if "transform" in root.attributes or MOVES & set(root.style):
        raise malformed("the SVG file transforms its whole drawing, which is not read", "save it as plain SVG")
    drawn = _Drawn(by_id)
    count = _Counted(by_id).of(root, ())
    if count > MOST_ELEMENTS:
        raise PartError(
            "part-drawing-large",
            f"the SVG file draws {count} elements, counted as often as they are used; {MOST_ELEMENTS} is the most",
            hint="leave out what does not bound the part",
        )
    for child in root.children:
        _draw(drawn, child, NOWHERE)
    rings, circles, done = closed_rings(drawn.strokes, drawn.circles)
    said = (*_said(drawn), *_of_styles(styles))
    return RawDrawing(rings, circles, _unit(root), (*said, *done), is_downward=True)


def _tree(data: bytes) -> tuple[Element, dict[str, list[Element]], list[Element]]:
    """Parse XML into elements; return the outermost, those with an id, and the style sheets."""
    parser = expat.ParserCreate(namespace_separator=" ")
    top = Element("", {}, 0)
    stack, by_id, styles = [top], dict[str, list[Element]](), list[Element]()

    def refuse(*_: object) -> int:
        raise malformed("the SVG file has a document type or entities, which are not read", "save it as plain SVG")

    def start(name: str, attributes: dict[str, str]) -> None:
        if len(stack) > DEEPEST:
            raise malformed(f"elements of the SVG file lie more than {DEEPEST} deep in each other")
        own = {key.removeprefix(f"{XLINK} "): value for key, value in attributes.items()}
        space, _, local = name.rpartition(" ")
        element = Element(local if space in (SVG, "") else f"{local} of {space}", own, parser.CurrentLineNumber)
        stack[-1].children.append(element)
        stack.append(element)
        if local == "style":
            styles.append(element)
        if name := own.get("id", ""):
            by_id.setdefault(name, []).append(element)

    def end(_: str) -> None:
        stack.pop()

    def words(text: str) -> None:
        if stack[-1].name == "style":
            stack[-1].words += text

    def instruction(target: str, _: str) -> None:
        if target == "xml-stylesheet":
            styles.append(Element("style", {}, parser.CurrentLineNumber, words="@import"))

    parser.ProcessingInstructionHandler = instruction
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    parser.ExternalEntityRefHandler = refuse
    parser.CharacterDataHandler = words
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        reason = f"{expat.errors.messages.get(error.code, 'unknown')} in line {error.lineno}"
        raise malformed(f"the SVG file is no sound XML: {reason}") from None
    return top.children[0], by_id, styles


def _unit(root: Element) -> float | None:
    """Return the length of a user unit [m], where width or height state it."""
    box = root.attributes.get("viewBox")
    if box is None or {"width", "height"} & set(root.style):
        return None  # user units are pixels of a screen, or what a style makes of them
    values = reals(box, "the viewBox of the SVG file")
    if len(values) != 4 or not min(values[2:]) > 0:
        raise malformed(f'the viewBox of the SVG file is "{shown(box)}"; it needs four numbers, sizes above zero')
    sizes = [_length(root, name) for name in ("width", "height")]
    scales = [size / side for size, side in zip(sizes, values[2:], strict=True) if size is not None]
    if not scales:
        return None
    if not 0 < min(scales) <= max(scales) < math.inf:
        raise malformed(
            f"the units of the SVG file are {min(scales):.3g} to {max(scales):.3g} m long; no drawing has such"
        )
    fit = root.attributes.get("preserveAspectRatio", "")
    if "none" in fit and max(scales) - min(scales) > 1e-6 * max(scales):
        raise malformed("the SVG file is stretched: a unit has another length along x than along y")
    return max(scales) if "slice" in fit else min(scales)


def _length(root: Element, name: str) -> float | None:
    """Return the width or height of the whole drawing [m]; None where it is in pixels or none."""
    text = root.attributes.get(name, "").strip().lower()
    found = re.fullmatch(r"(.*?)([a-z%]*)", text)
    if not text or found is None or found[2] not in LENGTHS:
        return None
    values = reals(found[1], f"the {name} of the SVG file")
    if len(values) != 1 or not values[0] > 0:
        raise malformed(f'the {name} of the SVG file is "{shown(text)}"; it must be more than zero')
    return values[0] * LENGTHS[found[2]]


class _Counted:
    """How many elements each one draws with all that it uses, counted once before anything is drawn."""

    def __init__(self, by_id: dict[str, list[Element]]) -> None:
        self.by_id = by_id
        self.known: dict[int, int] = {}

    def of(self, element: Element, within: tuple[int, ...]) -> int:
        """Return the count; ``within``: the uses that lead here."""
        if id(element) not in self.known:
            inside = sum(self.of(child, within) for child in element.children)
            if element.name == "use":
                inside += self._of_use(element, within)
            self.known[id(element)] = 1 + inside
        return self.known[id(element)]

    def _of_use(self, element: Element, within: tuple[int, ...]) -> int:
        if id(element) in within:
            raise malformed(f"{element.where} refers to itself in a circle")
        if len(within) >= DEEPEST:
            raise malformed(f"uses of the SVG file lie more than {DEEPEST} deep in each other")
        return self.of(_meant(element, self.by_id), (*within, id(element)))


def _meant(element: Element, by_id: dict[str, list[Element]]) -> Element:
    """Return what a use refers to."""
    link = element.attributes.get("href", "")
    if not link.startswith("#"):
        raise malformed(f'{element.where} refers to "{shown(link)}", outside the file', "save it as plain SVG")
    found = by_id.get(link[1:], [])
    if len(found) != 1:
        raise malformed(f'{element.where} refers to "{shown(link)}", which the file has {len(found)} times')
    return found[0]


def _draw(drawn: _Drawn, element: Element, around: Affine) -> None:
    """Take what an element and those in it draw."""
    if element.name in DRAWN_BY_USE or element.name in WORDLESS or " of " in element.name:
        return
    if element.is_hidden:
        drawn.unseen += 1
        return
    drawn.clipped += element.is_clipped
    pose = around.after(_transform(element))
    if element.name in CONTAINERS:
        inner = pose.after(_viewport(element)) if element.name == "svg" else pose
        for child in element.children:
            _draw(drawn, child, inner)
    elif element.name == "use":
        _use(drawn, element, pose)
    elif element.name in DRAW:
        DRAW[element.name](drawn, element, pose)
    else:
        drawn.left_out[element.name] += 1


def _use(drawn: _Drawn, element: Element, pose: Affine) -> None:
    meant = _meant(element, drawn.by_id)
    moved = pose.after(Affine(np.eye(2), np.array([element.real("x"), element.real("y")])))
    if meant.name == "symbol":
        if "viewBox" in meant.attributes:
            raise malformed(f"{meant.where} has a viewBox of its own, which is not read", "save it as plain SVG")
        for child in meant.children:
            _draw(drawn, child, moved)
    else:
        _draw(drawn, meant, moved)


def _viewport(element: Element) -> Affine:
    """Return the transform of an svg within the svg."""
    shift = np.array([element.real("x"), element.real("y")])
    box = element.attributes.get("viewBox")
    if box is None:
        return Affine(np.eye(2), shift)
    values = reals(box, f"the viewBox of {element.where}")
    if len(values) != 4 or not min(values[2:]) > 0 or "preserveAspectRatio" in element.attributes:
        raise malformed(f"{element.where} has a viewBox that is not read", "save it as plain SVG")
    size = np.array([element.real("width", None), element.real("height", None)])
    low, sides = np.array(values[:2]), np.array(values[2:])
    scale = float((size / sides).min())
    return Affine(np.eye(2) * scale, shift - scale * low + (size - scale * sides) / 2)


def _transform(element: Element) -> Affine:
    """Return the transform that an element states."""
    text = element.attributes.get("transform", "").strip()
    whole = NOWHERE
    where = f'"transform" of {element.where}'
    _check_style(element)
    while text:
        found = re.match(r"([a-zA-Z]+)\s*\(([^()]*)\)[\s,]*", text)
        if found is None:
            raise malformed(f'{where} is "{shown(text)}", which is none')
        whole = whole.after(_one_transform(found[1], reals(found[2], where), where))
        text = text[found.end() :]
    return whole


def _check_style(element: Element) -> None:
    """Refuse an element that its own style moves or shapes: a browser heeds it, and the attributes say otherwise."""
    bad = MOVES if element.name in ("g", "a") or element.name in TEXT_LIKE else MOVES | SIZES
    if found := sorted(bad & set(element.style)):
        raise malformed(
            f"{element.where} is moved or shaped by its style ({', '.join(found)}), which is not read",
            "save it as plain SVG",
        )


def _one_transform(name: str, v: list[float], where: str) -> Affine:
    counts = {"matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewX": (1,), "skewY": (1,)}
    if len(v) not in counts.get(name, ()):
        raise malformed(f'{where} has "{shown(name)}" with {len(v)} numbers')
    if name == "matrix":
        return Affine(np.array([[v[0], v[2]], [v[1], v[3]]]), np.array(v[4:]))
    if name == "translate":
        return Affine(np.eye(2), np.array([v[0], v[1] if len(v) > 1 else 0.0]))
    if name == "scale":
        return Affine(np.diag([v[0], v[-1]]), np.zeros(2))
    angle = math.radians(v[0])
    if name == "rotate":
        turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        centre = np.array(v[1:] or [0.0, 0.0])
        return Affine(turn, centre - turn @ centre)
    slope = math.tan(angle)
    return Affine(np.array([[1.0, slope], [0.0, 1.0]] if name == "skewX" else [[1.0, 0.0], [slope, 1.0]]), np.zeros(2))


def _path(drawn: _Drawn, element: Element, pose: Affine) -> None:
    for stroke in path_strokes(element.attributes.get("d", ""), f"the path in line {element.line} of the SVG file"):
        drawn.strokes.append(Stroke(pose.of(stroke.points), stroke.is_closed))


def _polygon(drawn: _Drawn, element: Element, pose: Affine) -> None:
    values = reals(element.attributes.get("points", ""), f'"points" of {element.where}')
    if len(values) % 2:
        raise malformed(f'"points" of {element.where} is an odd number of numbers')
    if len(values) >= 4:
        points = np.array(values).reshape(-1, 2)
        drawn.strokes.append(Stroke(pose.of(points), element.name == "polygon"))


def _line(drawn: _Drawn, element: Element, pose: Affine) -> None:
    ends = [[element.real(f"x{k}"), element.real(f"y{k}")] for k in (1, 2)]
    drawn.strokes.append(Stroke(pose.of(np.array(ends))))


def _round(drawn: _Drawn, element: Element, pose: Affine) -> None:
    centre = np.array([element.real("cx"), element.real("cy")])
    if element.name == "circle":
        rx = ry = element.real("r")
    else:
        both = [element.real(name, -1.0) for name in ("rx", "ry")]
        rx, ry = (max(both) if value == -1.0 else value for value in both)
    if min(rx, ry) < 0:
        raise malformed(f"{element.where} has a radius below zero, or none")
    if min(rx, ry) == 0:
        return
    axes = pose.plane @ np.diag([rx, ry])
    sizes = np.hypot(*axes)
    middle = pose.of(centre[None])[0]
    if abs(sizes[0] - sizes[1]) <= 1e-9 * sizes.max() and abs(axes[:, 0] @ axes[:, 1]) <= 1e-9 * sizes.max() ** 2:
        drawn.circles.append((float(middle[0]), float(middle[1]), float(sizes.mean())))
        return
    points = curves.ellipse(middle, axes[:, 0], axes[:, 1], 0.0, 2 * math.pi)[:-1]
    drawn.strokes.append(Stroke(points, True))


def _rectangle(drawn: _Drawn, element: Element, pose: Affine) -> None:
    x, y, w, h = (element.real(name) for name in ("x", "y", "width", "height"))
    if min(w, h) < 0:
        raise malformed(f"{element.where} has a size below zero")
    given = [element.real(name, -1.0) for name in ("rx", "ry")]
    if any(name in element.attributes and value < 0 for name, value in zip(("rx", "ry"), given, strict=True)):
        raise malformed(f"{element.where} has a radius below zero")
    rx, ry = (max(*given, 0.0) if value == -1.0 else value for value in given)
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    if min(w, h) == 0:
        return
    if min(rx, ry) == 0:
        points = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    else:
        corners = ((x + w - rx, y + ry), (x + w - rx, y + h - ry), (x + rx, y + h - ry), (x + rx, y + ry))
        first, second = np.array([rx, 0.0]), np.array([0.0, ry])
        points = np.concatenate(
            [
                curves.ellipse(np.array(corner), first, second, (k - 1) * math.pi / 2, math.pi / 2)
                for k, corner in enumerate(corners)
            ]
        )
    drawn.strokes.append(Stroke(pose.of(points), True))


DRAW: dict[str, Callable[[_Drawn, Element, Affine], None]] = {
    "path": _path,
    "polygon": _polygon,
    "polyline": _polygon,
    "line": _line,
    "circle": _round,
    "ellipse": _round,
    "rect": _rectangle,
}


def _said(drawn: _Drawn) -> Iterator[Finding]:
    """Yield what the reader of the report must know about left-out things."""
    words = {kind: count for kind, count in drawn.left_out.items() if kind in TEXT_LIKE}
    if words:
        yield noted("drawing-words", f"what bounds no part was left out: {counted(words)}")
    if others := drawn.left_out.keys() - TEXT_LIKE:
        found = counted({kind: drawn.left_out[kind] for kind in others})
        yield warned("drawing-left-out", f"what is not read was left out: {found}")
    if drawn.clipped:
        text = f"{drawn.clipped} elements are cut to a shape or masked by the file; they were taken whole"
        yield warned("drawing-clipped", text)
    if drawn.unseen:
        yield warned("drawing-hidden", f"{drawn.unseen} hidden elements were left out")


def _of_styles(styles: list[Element]) -> Iterator[Finding]:
    """Warn of a style sheet that may hide or move what is drawn: style sheets are not read."""
    text = COMMENT.sub(" ", " ".join(style.words for style in styles)).lower()
    found = MOVING & set(re.findall(r"@import|[a-z-]+(?=\s*:)", text))
    if found:
        yield warned(
            "drawing-style",
            f"a style sheet speaks of {', '.join(sorted(found))}; style sheets are not read, "
            "so that what it hides or moves was taken as it stands",
        )
