"""OFF files in file units: the counts, the vertices, the faces, and nothing after them."""

import re
from itertools import chain

import numpy as np

from geom.arrays import Floats, Ints
from geom.findings import Finding, Severity
from geom.formats.polygons import polygon_mesh
from geom.formats.raw import RawMesh, malformed
from geom.formats.words import BREAK, floats, integers, numbers, plain, text_of

# OFF with textures, colours, normals after the corner; homogeneous or of n dimensions (refused)
KEYWORD = re.compile(rb"(ST)?(C)?(N)?(4)?(n)?OFF")
COMMENT = re.compile(rb"#[^\r\n]*")


def read_off(data: bytes) -> RawMesh:
    """Read an OFF file; lines are what holds it together, as the format has it."""
    data = plain(data)
    if b"#" in data:
        data = COMMENT.sub(b"", data)
    lines = [line for line in BREAK.split(data) if line and not line.isspace()]
    vertices, faces, body = _counts(lines)
    if vertices + faces > len(body):
        raise malformed(
            f"the OFF file declares {vertices} vertices and {faces} faces, but has {len(body)} lines for them"
        )
    points = _points(body[:vertices])
    count, flat = _corners(body[vertices : vertices + faces])
    return polygon_mesh(points, count, flat, _rest(body[vertices + faces :], faces))


def _counts(lines: list[bytes]) -> tuple[int, int, list[bytes]]:
    """Return the numbers of vertices and faces, and the lines after them."""
    head = lines[0].split() if lines else []
    kind = KEYWORD.fullmatch(head[0]) or KEYWORD.fullmatch(head[0].upper()) if head else None
    if kind is None:
        raise malformed('an OFF file begins with the word "OFF"')
    if kind[4] or kind[5] or b"BINARY" in head[1:]:
        raise malformed(
            f'OFF files of the kind "{text_of(lines[0])}" (four or n dimensions, binary) are not supported',
            "save the file as plain OFF",
        )
    words, body = (head[1:], lines[1:]) if head[1:] else (lines[1].split() if len(lines) > 1 else [], lines[2:])
    try:
        counts = integers(words)
    except ValueError:
        counts = np.zeros(0, np.int64)
    if not 2 <= len(counts) <= 3:
        raise malformed("the OFF file does not give its numbers of vertices and faces")
    if counts[:2].min() < 0:
        raise malformed(f"the OFF file declares {counts[0]} vertices and {counts[1]} faces")
    return int(counts[0]), int(counts[1]), body


def _points(lines: list[bytes]) -> Floats:
    rows = [line.split() for line in lines]
    if any(len(row) < 3 for row in rows):
        raise malformed("a vertex of the OFF file has fewer than three numbers")
    where = "a vertex of the OFF file"
    numbers(list(chain.from_iterable(row[3:] for row in rows)), where)  # a colour or a normal: numbers too
    return numbers(list(chain.from_iterable(row[:3] for row in rows)), where).reshape(-1, 3)


def _corners(lines: list[bytes]) -> tuple[Ints, Ints]:
    """Return the number of corners of each face, and all corners in turn."""
    rows = [line.split() for line in lines]
    try:
        count = integers([row[0] for row in rows])
        flat = integers(list(chain.from_iterable(row[1 : n + 1] for row, n in zip(rows, count.tolist(), strict=True))))
    except ValueError:
        raise _not_a_face(lines) from None
    room = np.array([len(row) - 1 for row in rows], dtype=np.int64)
    if (count < 0).any() or (count > room).any() or (flat < 0).any():
        raise _not_a_face(lines)
    return count, flat


def _not_a_face(lines: list[bytes]) -> Exception:
    for number, line in enumerate(lines, 1):
        words = line.split()
        try:
            values = integers(words[: int(words[0]) + 1])
        except ValueError:
            values = np.zeros(0, np.int64)
        if not len(values) or len(values) != int(values[0]) + 1 or values.min() < 0:
            return malformed(
                f'face {number} of the OFF file, "{text_of(line)}", has too few or negative corners, or other words'
            )
    return malformed("a face of the OFF file is not a count and as many numbers of vertices")


def _rest(lines: list[bytes], faces: int) -> tuple[Finding, ...]:
    """Refuse faces beyond the declared ones; note anything else that follows."""
    if not lines:
        return ()
    try:
        floats(lines[0].split(), len(lines[0].split()))
    except ValueError:
        words = f"the OFF file goes on for {len(lines)} lines after its last face; they were not read"
        return (Finding(Severity.WARNING, "part-mesh-trailing", words),)
    raise malformed(f"the OFF file declares {faces} faces, but goes on for {len(lines)} lines of numbers after them")
