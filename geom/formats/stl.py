"""STL files, binary and ASCII, in file units. Nothing is skipped: a facet is whole or the file is refused."""

import struct

import numpy as np

from geom.arrays import Floats
from geom.findings import Finding, Severity
from geom.formats.polygons import numbers
from geom.formats.raw import RawMesh, malformed, shown

FACET = struct.calcsize("<12fH")  # bytes of one binary facet
HEADER = 84  # bytes before the first


def read_stl(data: bytes) -> RawMesh:
    """Read an STL file, binary or ASCII; which one is told by its length and its bytes."""
    declared = int.from_bytes(data[80:HEADER], "little") if len(data) >= HEADER else 0
    if len(data) >= HEADER and len(data) == HEADER + FACET * declared:
        return _soup(_facets(data, declared))
    if b"\0" not in data:
        return _ascii_stl(data)
    if len(data) < HEADER:
        raise malformed(f"a binary STL file has at least {HEADER} bytes, this one has {len(data)}")
    extra = len(data) - HEADER - FACET * declared
    if declared and extra > 0 and not _goes_on(data, declared):
        words = f"the STL file holds {extra} bytes after its {declared} declared faces; they were not read"
        return _soup(_facets(data, declared), (Finding(Severity.WARNING, "part-mesh-trailing", words),))
    raise malformed(
        f"as binary STL the file declares {declared} faces, which takes {HEADER + FACET * declared} bytes; "
        f"it has {len(data)}, room for {(len(data) - HEADER) / FACET:.1f} faces",
    )


def _goes_on(data: bytes, declared: int) -> bool:
    """Return whether the bytes after the declared faces may be faces too, or the declared ones are none."""
    corners = _facets(data, declared)
    if not np.isfinite(corners).all() or np.abs(corners).max() > 1e7:
        return True
    more = (len(data) - HEADER) // FACET
    if more == declared:
        return False
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    margin = 10 * float((high - low).max())
    beyond = _facets(data, more)[declared:]
    return bool(((beyond >= low - margin) & (beyond <= high + margin)).all(axis=(1, 2)).any())


def _facets(data: bytes, count: int) -> Floats:
    layout = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    facets = np.frombuffer(data, dtype=layout, count=count, offset=HEADER)
    return np.asarray(facets["corners"], dtype=np.float64)


def _soup(corners: Floats, findings: tuple[Finding, ...] = ()) -> RawMesh:
    count = len(corners)
    return RawMesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3), np.arange(count), findings)


CYCLE = ("facet normal", "outer loop", "vertex", "vertex", "vertex", "endloop", "endfacet")


def _ascii_stl(data: bytes) -> RawMesh:
    """Read ASCII STL line by line: every facet is the same seven lines, anything else is an error."""
    text = data.decode("utf-8-sig", errors="replace")
    corners: list[str] = []
    if not text.lstrip().lower().startswith("solid"):
        raise malformed(f'the file is text, but no ASCII STL: it begins "{shown(text)}", not "solid"')
    solids = ended = step = 0
    for number, line in enumerate(text.splitlines(), 1):
        words = line.split()
        if not words:
            continue
        head = words[0].lower()
        if step == 0 and head in ("solid", "endsolid"):
            solids, ended = solids + (head == "solid"), ended + (head == "endsolid")
            continue
        wanted = CYCLE[step].split()
        if [word.lower() for word in words[: len(wanted)]] != wanted:
            raise malformed(f'line {number} of the ASCII STL file must begin "{CYCLE[step]}", not "{shown(line)}"')
        if CYCLE[step] == "vertex":
            if len(words) != 4:
                raise malformed(f"line {number} of the ASCII STL file: a vertex has three numbers")
            corners.extend(words[1:])
        step = (step + 1) % len(CYCLE)
    if step:
        raise malformed(f"the ASCII STL file ends inside a facet, after {len(corners) // 9} whole ones")
    points = numbers(corners, "the ASCII STL file").reshape(-1, 3, 3)
    note = Finding(
        Severity.WARNING,
        "part-mesh-no-endsolid",
        f"the ASCII STL file has no closing endsolid; its {len(points)} facets are whole",
    )
    return _soup(points, () if ended >= solids else (note,))
