"""PLY files, text and binary of either byte order, in file units."""

import re
from dataclasses import dataclass, field
from itertools import chain
from typing import Protocol

import numpy as np

from geom.arrays import Floats, Ints
from geom.findings import Finding, Severity
from geom.formats.polygons import polygon_mesh
from geom.formats.raw import RawMesh, malformed, shown
from geom.formats.words import integers, numbers, text_of

TYPES = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
ORDERS = {"binary_little_endian": "<", "binary_big_endian": ">", "ascii": ""}
CORNERS = ("vertex_indices", "vertex_index")
WHOLE = {kind for kind in TYPES.values() if kind[0] != "f"}
LONGEST_HEADER = 1_000_000  # bytes


@dataclass(frozen=True, slots=True)
class _Column:
    name: str
    kind: str  # numpy letters of its values
    count_kind: str = ""  # of its length, for a list


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    columns: list[_Column] = field(default_factory=list)

    def place(self, names: tuple[str, ...], *, is_list: bool) -> int:
        """Return the place of the first known column among ``names``."""
        for number, column in enumerate(self.columns):
            if column.name in names:
                if bool(column.count_kind) != is_list or (is_list and column.kind not in WHOLE):
                    kind = "a list of whole numbers" if is_list else "one number"
                    raise malformed(f'"{shown(column.name)}" of the PLY file must be {kind}')
                return number
        raise malformed(f'the element "{shown(self.name)}" of the PLY file has no property {" or ".join(names)}')


class _Body(Protocol):
    """What follows the header, taken in order."""

    def table(self, element: _Element) -> Floats:
        """Return x, y, z (n, 3) of an element."""

    def lists(self, element: _Element) -> tuple[Ints, Ints]:
        """Return the number of corners of each face, and all corners in turn."""

    def skip(self, element: _Element) -> None:
        """Pass over an element."""

    def rest(self, last: _Element | None) -> tuple[int, bool]:
        """Return how many bytes or words are left, and whether they may be more of the last element."""


def read_ply(data: bytes) -> RawMesh:
    """Read the vertices and faces of a PLY file; every count of its header must be met."""
    order, elements, at = _header(data)
    least = sum(element.count for element in elements)
    if least > len(data):
        raise malformed(f"the PLY file declares {least} elements, more than its {len(data)} bytes can hold")
    body: _Body = _Binary(data, at, order) if order else _Text(data[at:])
    vertices: Floats = np.zeros((0, 3))
    count, flat = np.zeros(0, np.int64), np.zeros(0, np.int64)
    for element in elements:
        if element.name == "vertex":
            vertices = body.table(element)
        elif element.name == "face":
            count, flat = body.lists(element)
        else:
            body.skip(element)
    return polygon_mesh(vertices, count, flat, _trailing(body, elements))


def _trailing(body: _Body, elements: list[_Element]) -> tuple[Finding, ...]:
    left, is_more = body.rest(elements[-1] if elements else None)
    if not left:
        return ()
    if is_more:
        last = elements[-1]
        raise malformed(f'the PLY file declares {last.count} elements "{shown(last.name)}", but holds more of them')
    words = f"the PLY file goes on for {left} bytes or words after its last element; they were not read"
    return (Finding(Severity.WARNING, "part-mesh-trailing", words),)


def _header(data: bytes) -> tuple[str, list[_Element], int]:
    """Return the byte order, the elements and where the body begins."""
    begin = re.match(rb"ply[ \t]*(\r\n|\n|\r)", data)
    stop = re.compile(rb"[\r\n]end_header[ \t]*" + re.escape(begin[1] if begin else b"\n"))
    end = stop.search(data[:LONGEST_HEADER])
    if begin is None or end is None:
        raise malformed('a PLY file begins with the word "ply" and has a line "end_header"')
    elements: list[_Element] = []
    order = None
    for line in re.split(r"\r\n|\n|\r", data[begin.end() : end.start()].decode("latin-1")):
        match line.split():
            case ["format", name, *_] if name in ORDERS and order is None:
                order = ORDERS[name]
            case ["element", name, count] if re.fullmatch("[0-9]{1,12}", count):
                elements.append(_Element(name, int(count)))
            case ["property", "list", size, kind, name] if elements and size in TYPES and kind in TYPES:
                if TYPES[size] not in WHOLE:
                    raise malformed(f'the length of the list "{shown(name)}" of the PLY file is no whole number')
                elements[-1].columns.append(_Column(name, TYPES[kind], TYPES[size]))
            case ["property", kind, name] if elements and kind in TYPES:
                elements[-1].columns.append(_Column(name, TYPES[kind]))
            case [] | ["comment" | "obj_info", *_]:
                pass
            case _:
                raise malformed(f'the header of the PLY file has a line it should not: "{shown(line)}"')
    if order is None:
        raise malformed("the PLY file does not say its format (ascii, binary_little_endian, binary_big_endian)")
    _check_elements(elements)
    return order, elements, end.end()


def _check_elements(elements: list[_Element]) -> None:
    names = [element.name for element in elements]
    twice = [name for name in set(names) if names.count(name) > 1]
    if twice:
        raise malformed(f'the PLY file declares the element "{shown(sorted(twice)[0])}" more than once')
    for element in elements:
        columns = [column.name for column in element.columns]
        if len(set(columns)) != len(columns):
            raise malformed(f'the element "{shown(element.name)}" of the PLY file has a property twice')
    strips = [name for name in names if name.startswith("tristrip")]
    if strips and "face" not in names:
        raise malformed(
            f'the PLY file holds triangle strips ("{shown(strips[0])}"), which are not supported',
            "export the part with plain faces",
        )


class _Text:
    """The body of an ascii PLY file: words, taken in order."""

    def __init__(self, data: bytes) -> None:
        self._words = data.split()
        self._at = 0

    def rest(self, last: _Element | None) -> tuple[int, bool]:
        words = self._words[self._at : self._at + 3]
        try:
            return len(self._words) - self._at, bool(len(integers(words[:1])) and last and last.columns)
        except ValueError:
            return len(self._words) - self._at, False

    def table(self, element: _Element) -> Floats:
        places = [element.place((name,), is_list=False) for name in "xyz"]
        wide = len(element.columns)
        if any(column.count_kind for column in element.columns):
            rows = [self._row(element) for _ in range(element.count)]
            return numbers([row[k][0] for row in rows for k in places], "the PLY file").reshape(-1, 3)
        words = self._take(wide * element.count)
        for k in range(wide):
            if k not in places:
                numbers(words[k::wide], "the PLY file")  # a colour or a normal, but a number
        columns = [numbers(words[k::wide], "the PLY file") for k in places]
        return np.ascontiguousarray(np.stack(columns, axis=1))

    def lists(self, element: _Element) -> tuple[Ints, Ints]:
        place = element.place(CORNERS, is_list=True)
        count, flat = self._even(element) or self._uneven(element, place)
        try:
            return count, integers(flat)
        except ValueError:
            wrong = next((word for word in flat if not re.fullmatch(rb"[-+]?[0-9]{1,18}", word)), b"")
            raise malformed(
                f'a face of the PLY file has a corner that is not a whole number: "{text_of(wrong)}"'
            ) from None

    def _even(self, element: _Element) -> tuple[Ints, list[bytes]] | None:
        """Take faces that are nothing but lists of one and the same length; None where they are not."""
        if len(element.columns) != 1 or not element.count or self._at >= len(self._words):
            return None
        size = self._words[self._at]
        if not re.fullmatch(rb"[0-9]{1,6}", size):
            return None
        wide = int(size) + 1
        words = self._words[self._at : self._at + wide * element.count]
        if len(words) != wide * element.count or words[::wide].count(size) != element.count:
            return None
        self._at += len(words)
        del words[::wide]
        return np.full(element.count, wide - 1, dtype=np.int64), words

    def _uneven(self, element: _Element, place: int) -> tuple[Ints, list[bytes]]:
        rows = [self._row(element)[place] for _ in range(element.count)]
        return np.array([len(row) for row in rows], dtype=np.int64), list(chain.from_iterable(rows))

    def skip(self, element: _Element) -> None:
        if any(column.count_kind for column in element.columns):
            for _ in range(element.count):
                self._row(element)
        else:
            self._take(len(element.columns) * element.count)

    def _row(self, element: _Element) -> list[list[bytes]]:
        row = []
        for column in element.columns:
            count = 1
            if column.count_kind:
                word = self._take(1)[0]
                if not re.fullmatch(rb"[0-9]{1,12}", word):
                    raise malformed(f'"{text_of(word)}" in the PLY file is not the length of a list')
                count = int(word)
            row.append(self._take(count))
        return row

    def _take(self, count: int) -> list[bytes]:
        if count > len(self._words) - self._at:
            raise malformed("the PLY file ends before its last element")
        self._at += count
        return self._words[self._at - count : self._at]


class _Binary:
    """The body of a binary PLY file: bytes, taken in order."""

    def __init__(self, data: bytes, at: int, order: str) -> None:
        self._data, self._at, self._order = data, at, order
        self._row_size = 0  # bytes of a row of the last element, where all are alike

    def rest(self, last: _Element | None) -> tuple[int, bool]:
        left = len(self._data) - self._at
        size = self._row_size
        return left, bool(left and size and left % size == 0 and self._data[self._at - size] == self._data[self._at])

    def table(self, element: _Element) -> Floats:
        if any(column.count_kind for column in element.columns):
            raise malformed("a list among the properties of a PLY vertex is not supported")
        places = [element.place((name,), is_list=False) for name in "xyz"]
        layout = np.dtype([(str(n), self._order + column.kind) for n, column in enumerate(element.columns)])
        rows = np.frombuffer(self._take(layout.itemsize * element.count), dtype=layout)
        return np.stack([rows[str(place)].astype(np.float64) for place in places], axis=1)

    def lists(self, element: _Element) -> tuple[Ints, Ints]:
        place = element.place(CORNERS, is_list=True)
        starts, count = self._rows(element, place)
        kind = np.dtype(self._order + element.columns[place].kind)
        within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        at = np.repeat(starts, count) + within * kind.itemsize
        raw = np.frombuffer(self._data, np.uint8)[at[:, None] + np.arange(kind.itemsize)]
        return count, np.ascontiguousarray(raw).view(kind).reshape(-1).astype(np.int64)

    def skip(self, element: _Element) -> None:
        self._rows(element, 0)

    def _rows(self, element: _Element, place: int) -> tuple[Ints, Ints]:
        """Pass over the rows of an element; return where column ``place`` begins in each, and its lengths."""
        parts = [
            (np.dtype(self._order + (c.count_kind or "u1")).itemsize if c.count_kind else 0, c) for c in element.columns
        ]
        steps = [(size, column.count_kind, np.dtype(column.kind).itemsize) for size, column in parts]
        if not any(size for size, _, _ in steps):
            self._take(sum(item for _, _, item in steps) * element.count)
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        sign = {True: "little", False: "big"}[self._order == "<"]
        data, at, end = self._data, self._at, len(self._data)
        starts, counts = [], []
        sizes = set()
        for _ in range(element.count):
            row = at
            for number, (size, kind, item) in enumerate(steps):
                count = int.from_bytes(data[at : at + size], sign, signed=kind[0] == "i") if size else 1  # type: ignore[arg-type]
                at += size
                if count < 0:
                    raise malformed("a list of the PLY file has a negative length")
                if number == place:
                    starts.append(at)
                    counts.append(count)
                at += count * item
            if at > end:
                raise malformed("the PLY file ends before its last element")
            sizes.add(at - row)
        self._at = at
        self._row_size = sizes.pop() if len(sizes) == 1 else 0
        return np.array(starts, dtype=np.int64), np.array(counts, dtype=np.int64)

    def _take(self, size: int) -> bytes:
        if size > len(self._data) - self._at:
            raise malformed("the PLY file ends before its last element")
        self._at += size
        self._row_size = 0
        return self._data[self._at - size : self._at]
