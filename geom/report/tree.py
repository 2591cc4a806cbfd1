"""The plain tree every renderer shows: a document of sections of sentences, rows and tables."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One line: a label, its value in words with unit, and where it came from ("" for a result)."""

    label: str
    value: str
    origin: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """A table of text cells; the first column is left-aligned, ``words`` names others that are, the rest right."""

    heads: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]
    words: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Section:
    """A titled piece of the report: sentences, rows and perhaps a table."""

    title: str
    sentences: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()
    table: Table | None = None


@dataclass(frozen=True, slots=True)
class Document:
    """The whole report; ``answer`` is what to do, in a few sentences."""

    title: str
    answer: tuple[str, ...]
    sections: tuple[Section, ...]


def printable(text: str) -> str:
    """Return the text without control characters and broken letters: names of files may hold any of these.

    Lines stay lines. A terminal takes some control characters for orders.
    """
    return "".join(letter if letter == "\n" or letter.isprintable() else "?" for letter in text)
