"""PLY files, text and binary of either byte order, in file units."""

import re
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.findings import Finding, Severity
from geom.formats.polygons import numbers, polygon_mesh
from geom.formats.raw import RawMesh, malformed, shown

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


@dataclass(frozen=True, slots=True)
class _Column:
    name: str
    kind: str  # numpy letters of its values
    count_kind: str = ""  # of its length, for a list


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    columns: list[_Column]


def read_ply(data: bytes) -> RawMesh:
    """Read the vertices and faces of a PLY file; every count of its header must be met."""
    order, elements, at = _header(data)
    least = sum(element.count for element in elements)
    if least > len(data):
        raise malformed(f"the PLY file declares {least} elements, more than its {len(data)} bytes can hold")
    body = _Text(data[at:]) if not order else _Binary(data, at, order)
    vertices: Floats = np.zeros((0, 3))
    polygons: list[list[int]] = []
    for element in elements:
        if element.name == "vertex":
            vertices = body.table(element, ("x", "y", "z"))
        elif element.name == "face":
            polygons = body.lists(element, ("vertex_indices", "vertex_index"))
        else:
            body.skip(element)
    mesh = polygon_mesh(vertices, polygons)
    return RawMesh(mesh.vertices, mesh.faces, mesh.file_face, _trailing(body.left()))


def _trailing(left: int) -> tuple[Finding, ...]:
    if not left:
        return ()
    words = f"the PLY file goes on for {left} bytes or words after its last element; they were not read"
    return (Finding(Severity.WARNING, "part-mesh-trailing", words),)


def _header(data: bytes) -> tuple[str, list[_Element], int]:
    """Return the byte order, the elements and where the body begins."""
    end = re.search(rb"end_header[ \t]*(\r\n|\n|\r)", data[:1_000_000])
    if not re.match(rb"ply\s", data) or end is None:
        raise malformed('a PLY file begins with the word "ply" and has a line "end_header"')
    elements: list[_Element] = []
    order = None
    for line in data[: end.start()].decode("latin-1").splitlines()[1:]:
        match line.split():
            case ["format", name, *_] if name in ORDERS:
                order = ORDERS[name]
            case ["element", name, count] if count.isdigit():
                elements.append(_Element(name, int(count), []))
            case ["property", "list", size, kind, name] if elements and {size, kind} <= TYPES.keys():
                elements[-1].columns.append(_Column(name, TYPES[kind], TYPES[size]))
            case ["property", kind, name] if elements and kind in TYPES:
                elements[-1].columns.append(_Column(name, TYPES[kind]))
            case [] | ["comment" | "obj_info", *_]:
                pass
            case _:
                raise malformed(f'the header of the PLY file has a line it should not: "{shown(line)}"')
    if order is None:
        raise malformed("the PLY file does not say its format (ascii, binary_little_endian, binary_big_endian)")
    return order, elements, end.end()


def _place(element: _Element, names: tuple[str, ...]) -> int:
    """Return the place of the first known column among ``names``."""
    for number, column in enumerate(element.columns):
        if column.name in names:
            return number
    raise malformed(f'the element "{element.name}" of the PLY file has no property {" or ".join(names)}')


class _Text:
    """The body of an ascii PLY file: words, taken in order."""

    def __init__(self, data: bytes) -> None:
        self._words = data.decode("latin-1").split()
        self._at = 0

    def left(self) -> int:
        return len(self._words) - self._at

    def table(self, element: _Element, names: tuple[str, ...]) -> Floats:
        places = [_place(element, (name,)) for name in names]
        rows = [self._row(element) for _ in range(element.count)]
        flat = [row[place][0] for row in rows for place in places]
        return numbers(flat, "the PLY file").reshape(-1, len(names))

    def lists(self, element: _Element, names: tuple[str, ...]) -> list[list[int]]:
        place = _place(element, names)
        try:
            return [[int(word) for word in self._row(element)[place]] for _ in range(element.count)]
        except ValueError as error:
            raise malformed(f"a face of the PLY file has a corner that is not a whole number: {error}") from None

    def skip(self, element: _Element) -> None:
        for _ in range(element.count):
            self._row(element)

    def _row(self, element: _Element) -> list[list[str]]:
        row = []
        for column in element.columns:
            count = 1
            if column.count_kind:
                word = self._take(1)[0]
                if not word.isdigit():
                    raise malformed(f'"{shown(word)}" in the PLY file is not the length of a list')
                count = int(word)
            row.append(self._take(count))
        return row

    def _take(self, count: int) -> list[str]:
        if count > self.left():
            raise malformed("the PLY file ends before its last element")
        self._at += count
        return self._words[self._at - count : self._at]


class _Binary:
    """The body of a binary PLY file: bytes, taken in order."""

    def __init__(self, data: bytes, at: int, order: str) -> None:
        self._data, self._at, self._order = data, at, order

    def left(self) -> int:
        return len(self._data) - self._at

    def table(self, element: _Element, names: tuple[str, ...]) -> Floats:
        if any(column.count_kind for column in element.columns):
            raise malformed("a list among the properties of a PLY vertex is not supported")
        places = [_place(element, (name,)) for name in names]
        layout = np.dtype([(str(n), self._order + column.kind) for n, column in enumerate(element.columns)])
        rows = np.frombuffer(self._take(layout.itemsize * element.count), dtype=layout)
        return np.stack([rows[str(place)].astype(np.float64) for place in places], axis=1)

    def lists(self, element: _Element, names: tuple[str, ...]) -> list[list[int]]:
        place = _place(element, names)
        if element.columns[place].kind[0] == "f" or not element.columns[place].count_kind:
            raise malformed("the corners of a face of the PLY file must be a list of whole numbers")
        return [[int(corner) for corner in self._row(element)[place]] for _ in range(element.count)]

    def skip(self, element: _Element) -> None:
        for _ in range(element.count):
            self._row(element)

    def _row(self, element: _Element) -> list[Floats]:
        row = []
        for column in element.columns:
            count = 1
            if column.count_kind:
                count = int(self._values(column.count_kind, 1)[0])
            row.append(self._values(column.kind, count))
        return row

    def _values(self, kind: str, count: int) -> Floats:
        layout = np.dtype(self._order + kind)
        if count < 0:
            raise malformed("a list of the PLY file has a negative length")
        return np.frombuffer(self._take(layout.itemsize * count), dtype=layout)

    def _take(self, size: int) -> bytes:
        if size > self.left():
            raise malformed("the PLY file ends before its last element")
        self._at += size
        return self._data[self._at - size : self._at]
