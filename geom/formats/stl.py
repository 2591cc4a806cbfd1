"""STL files, binary and ASCII, in file units. Nothing is skipped: a facet is whole or the file is refused."""

import struct
from collections.abc import Iterator

import numpy as np

from geom.arrays import Floats
from geom.findings import Finding, Severity
from geom.formats.raw import RawMesh, malformed
from geom.formats.words import BREAK, floats, lines_of, numbers, plain, text_of

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


CYCLE = (b"facet normal", b"outer loop", b"vertex", b"vertex", b"vertex", b"endloop", b"endfacet")
# the words of one facet, None for a number
WORDS = (*b"facet normal".split(), *[None] * 3, *b"outer loop".split(), *(b"vertex", None, None, None) * 3)
WORDS = (*WORDS, b"endloop", b"endfacet")
NUMBERS = [place for place, word in enumerate(WORDS) if word is None][3:]
CHUNK = 4_000_000  # bytes whose words are looked at together


def _ascii_stl(data: bytes) -> RawMesh:
    """Read ASCII STL: every facet is the same seven lines, anything else is an error."""
    data = plain(data)
    if not data.lstrip().lower().startswith(b"solid"):
        raise malformed(f'the file is text, but no ASCII STL: it begins "{text_of(data)}", not "solid"')
    try:
        points, solids, ended = _by_words(data.lower())
    except ValueError:  # the slower way names the line
        points, solids, ended = _by_lines(data)
    return _soup(points, () if ended >= solids else _without_end(points))


def _without_end(points: Floats) -> tuple[Finding, ...]:
    """Accept a file without its last line where its facets close; facets that do not were cut off."""
    if not len(points):
        raise malformed("the ASCII STL file has neither a facet nor a closing endsolid: it was cut off")
    corners = np.unique(points.reshape(-1, 3), axis=0, return_inverse=True)[1].reshape(-1, 3)
    sides = np.sort(np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]]), axis=1)
    if (np.unique(sides, axis=0, return_counts=True)[1] % 2).any():
        raise malformed(
            f"the ASCII STL file has no closing endsolid, and its {len(points)} facets do not close: it was cut off"
        )
    words = f"the ASCII STL file has no closing endsolid; its {len(points)} facets are whole and close"
    return (Finding(Severity.WARNING, "part-mesh-no-endsolid", words),)


def _by_words(data: bytes) -> tuple[Floats, int, int]:
    """Read the corners (n, 3, 3) by counting words; count the solids and their ends. `ValueError`: not so simple."""
    pieces: list[Floats] = []
    begin = solids = ended = 0
    for start, end, is_end in _solid_lines(data):
        pieces += _facet_words(data, begin, start)
        solids, ended, begin = solids + (not is_end), ended + is_end, end
    pieces += _facet_words(data, begin, len(data))
    return np.concatenate([np.zeros((0, 3, 3)), *pieces]), solids, ended


def _solid_lines(data: bytes) -> Iterator[tuple[int, int, bool]]:
    """Yield the lines that begin with solid or endsolid: where they begin and end, and which it is."""
    at = data.find(b"solid")
    while at >= 0:
        start = max(data.rfind(b"\n", 0, at), data.rfind(b"\r", 0, at)) + 1
        head = data[start:at].strip()
        found = BREAK.search(data, at)
        end = found.start() if found else len(data)
        if head not in (b"", b"end") or data[at + 5 : at + 6].strip():
            raise ValueError("a line that is none of ours")
        yield start, end, head == b"end"
        at = data.find(b"solid", end)


def _facet_words(data: bytes, begin: int, end: int) -> Iterator[Floats]:
    """Yield the corners of the facets between two places, some megabytes at a time."""
    while begin < end:
        cut = data.find(b"endfacet", begin + CHUNK, end)
        cut = end if cut < 0 else cut + len(b"endfacet")
        words = data[begin:cut].split()
        begin = cut
        facets, rest = divmod(len(words), len(WORDS))
        if rest or any(words[k :: len(WORDS)].count(word) != facets for k, word in enumerate(WORDS) if word):
            raise ValueError("not whole facets")
        columns = [floats(words[k :: len(WORDS)], facets) for k in NUMBERS]
        yield np.stack(columns, axis=1).reshape(-1, 3, 3)


def _by_lines(data: bytes) -> tuple[Floats, int, int]:
    """Read the corners (n, 3, 3) line by line, and name the line that is wrong."""
    corners: list[bytes] = []
    solids = ended = step = 0
    for number, line in enumerate(lines_of(data), 1):
        words = line.split()
        if not words:
            continue
        head = words[0].lower()
        if step == 0 and head in (b"solid", b"endsolid"):
            solids, ended = solids + (head == b"solid"), ended + (head == b"endsolid")
            continue
        wanted = CYCLE[step].split()
        if [word.lower() for word in words[: len(wanted)]] != wanted:
            raise malformed(
                f'line {number} of the ASCII STL file must begin "{CYCLE[step].decode()}", not "{text_of(line)}"'
            )
        if CYCLE[step] == b"vertex":
            if len(words) != 4:
                raise malformed(f"line {number} of the ASCII STL file: a vertex has three numbers")
            corners.extend(words[1:])
        step = (step + 1) % len(CYCLE)
    if step:
        raise malformed(f"the ASCII STL file ends inside a facet, after {len(corners) // 9} whole ones")
    return numbers(corners, "the ASCII STL file").reshape(-1, 3, 3), solids, ended
