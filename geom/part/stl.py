"""STL files, binary and ASCII, in file units. Nothing is skipped: a facet is whole or the file is refused."""

import re
import struct

import numpy as np

from geom.arrays import Floats
from geom.findings import Finding, Severity
from geom.part.polygons import RawMesh, malformed, numbers

FACET = struct.calcsize("<12fH")  # bytes of one binary facet
HEADER = 84  # bytes before the first


def read_stl(data: bytes) -> RawMesh:
    """Read an STL file, binary or ASCII; which one is told by its length and its words."""
    if len(data) >= HEADER:
        declared = int.from_bytes(data[80:84], "little")
        if len(data) == HEADER + FACET * declared:
            return _binary_stl(data, declared)
    if re.match(rb"(\xef\xbb\xbf)?\s*solid\b", data, re.IGNORECASE) and re.search(
        rb"facet", data, re.IGNORECASE
    ):
        binary_bytes = data.count(b"\0")
        if binary_bytes == 0:
            return _ascii_stl(data)
    if len(data) < HEADER:
        raise malformed(f"an STL file has at least {HEADER} bytes, this one has {len(data)}")
    whole = (len(data) - HEADER) / FACET
    extra = len(data) - HEADER - FACET * declared
    if declared > 0 and extra > 0 and extra % FACET and _plausible(data, declared):
        note = Finding(
            Severity.WARNING,
            "part-mesh-trailing",
            f"the STL file holds {extra} bytes after its {declared} declared faces; they were not read",
        )
        return _binary_stl(data, declared, (note,))
    raise malformed(
        f"as binary STL the file declares {declared} faces, which takes {HEADER + FACET * declared} bytes; "
        f"it has {len(data)}, room for {whole:.1f} faces",
    )


def _plausible(data: bytes, declared: int) -> bool:
    """Return whether the declared faces look like numbers a part could have."""
    corners = _facets(data, declared)
    return bool(np.isfinite(corners).all() and np.abs(corners).max() < 1e7)


def _facets(data: bytes, count: int) -> Floats:
    layout = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    facets = np.frombuffer(data, dtype=layout, count=count, offset=HEADER)
    return np.asarray(facets["corners"], dtype=np.float64)


def _binary_stl(data: bytes, count: int, findings: tuple[Finding, ...] = ()) -> RawMesh:
    return _soup(_facets(data, count), findings)


def _soup(corners: Floats, findings: tuple[Finding, ...] = ()) -> RawMesh:
    count = len(corners)
    return RawMesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3), np.arange(count), findings)


CYCLE = ("facet normal", "outer loop", "vertex", "vertex", "vertex", "endloop", "endfacet")


def _ascii_stl(data: bytes) -> RawMesh:
    """Read ASCII STL line by line: every facet is the same seven lines, anything else is an error."""
    text = data.decode("utf-8-sig", errors="replace")
    corners: list[str] = []
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
            raise malformed(
                f'line {number} of the ASCII STL file must begin "{CYCLE[step]}", not "{line.strip()[:40]}"'
            )
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
