"""OBJ files in file units: vertices and faces; what bounds no solid is named and left out."""

from dataclasses import dataclass, field

import numpy as np

from geom.arrays import Floats, Ints
from geom.findings import Finding, Severity
from geom.formats.polygons import polygon_mesh
from geom.formats.raw import RawMesh, malformed
from geom.formats.words import floats, integers, lines_of, numbers, text_of

# what carries no shape: textures, normals, names, materials, display
IGNORED = frozenset(
    b"vt vn vp g o s mg usemtl mtllib usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj".split()
)
LOOSE = frozenset((b"l", b"p"))
CURVED = frozenset(b"cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con ctech stech".split())
OF_INDEX = b"0123456789/+- \t\x0b\x0cf"  # all that lines of faces are made of
SIZES = (4, 7, 5, 8)  # words of a vertex: v x y z, then a colour of three or four numbers, or a weight
WEIGHTED = 5


@dataclass(slots=True)
class _Lines:
    """The lines of an OBJ file that make its shape, with their numbers."""

    vertices: list[bytes] = field(default_factory=list)
    vertex_at: list[int] = field(default_factory=list)
    faces: list[bytes] = field(default_factory=list)
    face_at: list[int] = field(default_factory=list)
    seen: list[int] = field(default_factory=list)  # vertices before each face
    loose: int = 0


def read_obj(data: bytes) -> RawMesh:
    """Read the vertices and faces of an OBJ file; materials and names are left alone, no other file is opened."""
    lines = _sorted_lines(lines_of(data))
    vertices = _vertices(lines)
    count, flat = _faces(lines)
    findings: tuple[Finding, ...] = ()
    if lines.loose:
        words = f"{lines.loose} lines and points of the OBJ file bound no solid and were left out"
        findings = (Finding(Severity.NOTE, "part-mesh-loose", words),)
    return polygon_mesh(vertices, count, flat, findings)


def _sorted_lines(lines: list[bytes]) -> _Lines:
    found = _Lines()
    held = b""
    for number, line in enumerate(lines, 1):
        if held:
            line, held = held + line, b""
        if line.endswith(b"\\"):
            held = line[:-1] + b" "
            continue
        head = line[:2]
        if head == b"v ":
            found.vertices.append(line)
            found.vertex_at.append(number)
        elif head == b"f ":
            found.faces.append(line)
            found.face_at.append(number)
            found.seen.append(len(found.vertices))
        elif line[:3] not in (b"vn ", b"vt "):
            _other(found, line, number)
    if held.strip():
        raise malformed("the OBJ file ends in the middle of a line that is to be continued")
    return found


def _other(found: _Lines, line: bytes, number: int) -> None:
    """Take a line that begins oddly, or is no vertex and no face."""
    words = line.split(None, 1)
    if not words or words[0].startswith(b"#") or words[0] in IGNORED:
        return
    key = words[0]
    if key == b"v":
        found.vertices.append(line)
        found.vertex_at.append(number)
    elif key == b"f":
        found.faces.append(line)
        found.face_at.append(number)
        found.seen.append(len(found.vertices))
    elif key in LOOSE:
        found.loose += 1
    elif key in CURVED:
        raise malformed(
            f'line {number} of the OBJ file: curves and curved surfaces ("{text_of(key)}") are not supported',
            "export the part as triangles",
        )
    else:
        raise malformed(f'line {number} of the OBJ file begins with "{text_of(key)}", which is no word of OBJ')


def _vertices(lines: _Lines) -> Floats:
    count = len(lines.vertices)
    words = b" ".join(lines.vertices).split()
    for size in SIZES:
        if len(words) == size * count and words[::size].count(b"v") == count:
            try:
                table = np.stack([floats(words[k::size], count) for k in range(1, size)], axis=1)
            except ValueError:
                break
            if size == WEIGHTED and not (table[:, 3] == 1).all():
                break
            return np.ascontiguousarray(table[:, :3])
    return _vertices_by_line(lines)


def _vertices_by_line(lines: _Lines) -> Floats:
    table = np.zeros((len(lines.vertices), 3))
    for row, (line, number) in enumerate(zip(lines.vertices, lines.vertex_at, strict=True)):
        words = line.split(b"#", 1)[0].split()
        if len(words) not in SIZES:
            raise malformed(
                f"line {number} of the OBJ file: a vertex has three numbers, and at most a weight or a colour"
            )
        values = numbers(words[1:], f"line {number} of the OBJ file")
        if len(words) == WEIGHTED and values[3] != 1:
            raise malformed(f"line {number} of the OBJ file: a vertex with a weight that is not 1 is not supported")
        table[row] = values[:3]
    return table


def _faces(lines: _Lines) -> tuple[Ints, Ints]:
    """Return the number of corners of each face, and all corners in turn, from 0."""
    rows = lines.faces
    whole = b" ".join(rows)
    if b"#" in whole:
        rows = [row.split(b"#", 1)[0] for row in rows]
        whole = b" ".join(rows)
    words = whole.split()
    if len(words) == 4 * len(rows) and words[::4].count(b"f") == len(rows):
        count = np.full(len(rows), 3, dtype=np.int64)
        del words[::4]
    else:
        count = np.array([len(row.split()) - 1 for row in rows], dtype=np.int64)
        words = [word for word in words if word != b"f"]
    if b"/" in whole:
        words = [word.partition(b"/")[0] for word in words]
    try:
        if whole.translate(None, OF_INDEX) or len(words) != count.sum():
            raise ValueError
        index = integers(words)
    except ValueError:
        raise _not_a_face(rows, lines.face_at) from None
    seen = np.repeat(np.array(lines.seen, dtype=np.int64), count)
    wrong = (index == 0) | (index < -seen)
    if wrong.any():
        first = int(np.argmax(wrong))
        line = lines.face_at[int(np.searchsorted(np.cumsum(count), first, side="right"))]
        raise malformed(f"line {line} of the OBJ file names vertex {index[first]}; vertices count from 1")
    return count, np.where(index > 0, index - 1, seen + index)


def _not_a_face(rows: list[bytes], at: list[int]) -> Exception:
    """Return the error that names the first word that is no number of a vertex."""
    for row, number in zip(rows, at, strict=True):
        for word in row.split()[1:]:
            try:
                if word.translate(None, OF_INDEX) or b"f" in word:
                    raise ValueError
                integers((word.partition(b"/")[0],))
            except ValueError:
                return malformed(f'line {number} of the OBJ file: "{text_of(word)}" is not the number of a vertex')
    return malformed("a face of the OBJ file is not made of numbers of vertices")
