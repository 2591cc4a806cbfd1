"""Files spoiled at random, seeded, and what a reader may do with them: refuse, or hand on arrays that fit."""

import io
import re
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

from geom.errors import PartError
from geom.formats import guard
from geom.formats import open as opening
from geom.formats.raw import RawMesh
from geom.part import files
from helpers.seeds import MODEL, SEEDS, zipped

Rng = np.random.Generator
NUMBER = re.compile(rb"[-+]?[0-9]+(?:\.[0-9]*)?(?:[eE][-+]?[0-9]+)?")
WORD = re.compile(rb"[A-Za-z_]+")
NUMBERS = [
    *(b"0", b"-1", b"1", b"2", b"3", b"7", b"8", b"255", b"65535", b"2147483647", b"2147483648", b"4294967295"),
    *(b"9223372036854775807", b"9223372036854775808", b"99999999999999999999999", b"-2147483649", b"1e400", b"-1e400"),
    *(b"1e308", b"1e-320", b"1e38", b"nan", b"inf", b"-inf", b"1_0", b"1,5", b"0x10", b"1e", b".", b"-", b"+1", b"--1"),
    *(b"1.0000001", b"0.1", b"1d3", "١٢".encode(), b"", b"1 1", b"00000000000000000000001", b"1/0", b"3.0"),
]
BYTES = [
    b"\0",
    b"\xff",
    b"\r",
    b"\n",
    b"\r\n",
    b" ",
    b"\t",
    b"\\",
    b"#",
    b"/",
    b"<",
    b">",
    b"&",
    b'"',
    b"\xef\xbb\xbf",
    b";",
]
LONGEST_MESSAGE = 1500


def flipped(data: bytearray, rng: Rng) -> None:
    data[rng.integers(len(data))] ^= 1 << int(rng.integers(8))


def replaced(data: bytearray, rng: Rng) -> None:
    data[rng.integers(len(data))] = int(rng.integers(256))


def inserted(data: bytearray, rng: Rng) -> None:
    at = int(rng.integers(len(data) + 1))
    data[at:at] = BYTES[rng.integers(len(BYTES))] * int(rng.choice([1, 1, 1, 2, 50]))


def deleted(data: bytearray, rng: Rng) -> None:
    at = int(rng.integers(len(data)))
    del data[at : at + int(rng.choice([1, 1, 2, 4, 50, 500]))]


def truncated(data: bytearray, rng: Rng) -> None:
    del data[int(rng.integers(len(data))) :]


def spliced(data: bytearray, rng: Rng) -> None:
    start, at = (int(k) for k in rng.integers(len(data), size=2))
    data[at:at] = data[start : start + int(rng.choice([1, 4, 50, 500]))]


def swapped(data: bytearray, rng: Rng) -> None:
    """Swap two lines."""
    lines = bytes(data).split(b"\n")
    a, b = rng.integers(len(lines), size=2)
    lines[a], lines[b] = lines[b], lines[a]
    data[:] = b"\n".join(lines)


def renumbered(data: bytearray, rng: Rng) -> None:
    found = list(NUMBER.finditer(data))
    if found:
        start, end = found[rng.integers(len(found))].span()
        data[start:end] = NUMBERS[rng.integers(len(NUMBERS))]


def reworded(data: bytearray, rng: Rng) -> None:
    """Put one word of the file in the place of another."""
    found = list(WORD.finditer(data))
    if found:
        start, end = found[rng.integers(len(found))].span()
        data[start:end] = found[rng.integers(len(found))][0]


def whole_number(data: bytearray, rng: Rng) -> None:
    """Write four bytes of a number that is odd for a count, a place or a float."""
    at = int(rng.integers(max(1, len(data) - 4)))
    odd = [0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0x7FC00000, 0x7F800000, 0x00000001, 0x7F7FFFFF]
    data[at : at + 4] = int(rng.choice(odd)).to_bytes(4, "little")


OF_ALL: list[Callable[[bytearray, Rng], None]] = [flipped, replaced, inserted, deleted, truncated, spliced]
OF_TEXT = [*OF_ALL, swapped, renumbered, renumbered, renumbered, reworded]
OF_BYTES = [*OF_ALL, whole_number, whole_number]


def spoiled(name: str, rng: Rng) -> bytes:
    """Return one file of a format with one to three faults."""
    seeds = SEEDS[name][1]
    seed = seeds[rng.integers(len(seeds))]
    if name == "3mf" and rng.random() < 0.8:  # most faults of the bytes of a zip file end at its check sums
        with zipfile.ZipFile(io.BytesIO(seed)) as package:
            return zipped(_spoiled(package.read(MODEL), OF_TEXT, rng))
    return _spoiled(seed, OF_BYTES if name in ("stl-b", "ply-b", "3mf") else OF_TEXT, rng)


def _spoiled(seed: bytes, ways: list[Callable[[bytearray, Rng], None]], rng: Rng) -> bytes:
    data = bytearray(seed)
    for _ in range(int(rng.choice([1, 1, 1, 2, 3]))):
        if data:
            ways[rng.integers(len(ways))](data, rng)
    return bytes(data)


def reading(suffix: str) -> Callable[[bytes], Any]:
    """Return the reader of a suffix itself, without the net that turns its mistakes into words.

    STEP is read behind the guard: its library is not ours, and does crash.
    """
    return _guarded_step if suffix == ".step" else opening._reader(suffix)


def _guarded_step(data: bytes) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.step"
        path.write_bytes(data)
        return guard.read_guarded(path)


def check(reader: Callable[[bytes], Any], data: bytes) -> str:
    """Read, and assert that what comes of it is a refusal in words or arrays that fit; say which."""
    try:
        raw = opening.called(reader, data)
    except PartError as error:
        return _words_of(error)
    assert guard._fits(raw)
    assert all(finding.message.isprintable() for finding in raw.findings)
    return "mesh" if isinstance(raw, RawMesh) else "drawing"


def check_part(data: bytes, suffix: str) -> str:
    """Make a part of a mesh file, in this process; assert that a refusal is in words and no area is silently wrong.

    Silently: with nothing told, the area must be the plain sum over the faces of the file.
    """
    raw: list[RawMesh] = []

    def read(path: Path, limits: object = None) -> RawMesh:
        raw.append(opening.called(opening._reader(suffix), data))
        return raw[0]

    with mock.patch.object(files, "read_guarded", read):
        try:
            part = files.read_mesh(Path(f"spoiled{suffix}"), 1e-3)
        except PartError as error:
            return _words_of(error)
    told = {finding.code for finding in part.findings}
    a, b, c = (raw[0].vertices[raw[0].faces[:, k]] for k in range(3))
    plain = 0.5e-6 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    assert part.area > 0
    assert part.volume > 0
    assert told - {"part-mesh-loose"} or abs(part.area - plain) <= 1e-6 * plain, (part.area, plain)
    return "told" if told else "silent"


def _words_of(error: PartError) -> str:
    words = error.message + error.hint
    assert guard.SLUG.fullmatch(error.slug), error.slug
    assert error.message
    assert len(words) < LONGEST_MESSAGE, words
    assert words.isprintable(), words
    return error.slug
