"""Pieces of text files: lines, words and numbers, strictly."""

import re
from collections.abc import Iterable, Sequence

import numpy as np

from geom.arrays import Floats, Ints
from geom.formats.raw import malformed, shown

UTF_16 = (b"\xff\xfe", b"\xfe\xff")
BREAK = re.compile(rb"\r\n|\n|\r")


def lines_of(data: bytes) -> list[bytes]:
    """Split a text file at its line ends, whichever it has, without its byte-order mark."""
    return BREAK.split(plain(data)) if b"\r" in data else plain(data).split(b"\n")


def plain(data: bytes) -> bytes:
    """Return the bytes of a text file without a byte-order mark; UTF-16 is refused by name."""
    if is_utf_16(data):
        raise malformed("the file is text in UTF-16", "save it as plain ASCII or UTF-8")
    return data.removeprefix(b"\xef\xbb\xbf")


def is_utf_16(data: bytes) -> bool:
    """Return whether the first bytes are text in UTF-16, with a mark of byte order or every second byte zero."""
    even, odd = data[0:8:2], data[1:8:2]
    return data.startswith(UTF_16) or (
        len(data) >= 8 and ((all(even) and not any(odd)) or (all(odd) and not any(even)))
    )


def text_of(piece: bytes) -> str:
    """Return the beginning of a piece of a file, fit to be printed."""
    return shown(piece[:200].decode("utf-8", errors="replace"))


def numbers(words: Sequence[str] | Sequence[bytes], where: str) -> Floats:
    """Turn words into floats; a word that is no plain number is named."""
    try:
        return floats(words, len(words))
    except ValueError:
        for word in words:
            try:
                _strict([word])
                float(word)
            except ValueError:
                text = word if isinstance(word, str) else text_of(word)
                raise malformed(f'"{shown(text)}" in {where} is not a number', "write 12.5, not 12,5") from None
        raise


def floats(words: Iterable[str | bytes], count: int) -> Floats:
    """Turn words into floats, or raise `ValueError`."""
    return np.fromiter(map(float, _strict(words)), dtype=np.float64, count=count)


def integers(words: Iterable[bytes]) -> Ints:
    """Turn words into whole numbers, or raise `ValueError`."""
    kept = _strict(words)
    try:
        return np.fromiter(map(int, kept), dtype=np.int64, count=len(kept))
    except OverflowError:
        raise ValueError("too large") from None


def _strict(words: Iterable[str | bytes]) -> list[bytes]:
    """Return words as bytes: Python's own 1_000 and other digits than 0-9 are no numbers."""
    kept = [word.encode() if isinstance(word, str) else word for word in words]
    if b"_" in b" ".join(kept):
        raise ValueError("_")
    return kept
