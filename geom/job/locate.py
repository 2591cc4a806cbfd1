"""Where each key of a TOML text stands: tomllib reads values, but tells no lines.

The text is known to be valid TOML when this runs, so the scanner only has to find its way, not to judge.
Should it lose its way nevertheless, what it found until then stands and later keys fall back on their
section's line.
"""

import contextlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field

Path = tuple[str | int, ...]
"""("anode", 0, "at", 2): keys of tables and positions in lists."""


@dataclass(frozen=True, slots=True)
class Place:
    """Offsets into the text of a key (or header, or list entry) and of the value it has."""

    key_start: int
    key_end: int
    start: int
    end: int


_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|[A-Za-z0-9_-]+')
_STRING = re.compile(
    r'"""(?:[^\\]|\\[\s\S])*?"{3,5}|\'\'\'[\s\S]*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'',
)
_SCALAR = re.compile(r"[^\s,\]}#]+(?: [0-9][^\s,\]}#]*)?")  # a date may have one space in it


class _Lost(Exception):
    """The scanner does not understand the text."""


@dataclass
class _Scanner:
    """Walks over the text once; ``places`` fills as it goes."""

    text: str
    position: int = 0
    places: dict[Path, Place] = field(default_factory=dict)
    counts: dict[Path, int] = field(default_factory=dict)

    def skip(self, pattern: re.Pattern[str]) -> None:
        """Move past what may be there."""
        found = pattern.match(self.text, self.position)
        self.position = found.end() if found else self.position

    def take(self, pattern: re.Pattern[str]) -> str:
        """Move past what must be there, and return it."""
        found = pattern.match(self.text, self.position)
        if found is None or found.end() == self.position:
            raise _Lost
        self.position = found.end()
        return found.group()

    def at(self, mark: str) -> bool:
        """Move past ``mark`` if it is next."""
        if not self.text.startswith(mark, self.position):
            return False
        self.position += len(mark)
        return True

    def document(self) -> None:
        """Read headers and pairs until the end."""
        table: Path = ()
        self.skip(_BLANK)
        while self.position < len(self.text):
            if self.text[self.position] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.skip(_BLANK)

    def header(self) -> Path:
        """Read ``[a.b]`` or ``[[a.b]]`` and return the path that the pairs below it stand under."""
        start = self.position
        is_list = self.at("[[")
        if not is_list:
            self.at("[")
        keys = self.keys()
        if not self.at("]]" if is_list else "]"):
            raise _Lost
        place = Place(start, self.position, start, self.position)
        path: Path = ()
        for index, key in enumerate(keys):
            path = (*path, key)
            self.places.setdefault(path, place)
            if index < len(keys) - 1 and path in self.counts:
                path = (*path, self.counts[path] - 1)
        if is_list:
            self.counts[path] = self.counts.get(path, 0) + 1
            path = (*path, self.counts[path] - 1)
            self.places[path] = place
        elif path in self.counts:
            path = (*path, self.counts[path] - 1)
        return path

    def keys(self) -> list[str]:
        """Read a dotted key."""
        found = []
        while True:
            self.skip(_SPACE)
            word = self.take(_KEY)
            found.append(str(tomllib.loads(f"k = {word}")["k"]) if word[0] in "\"'" else word)
            self.skip(_SPACE)
            if not self.at("."):
                return found

    def pair(self, table: Path) -> None:
        """Read ``key = value``."""
        start = self.position
        keys = self.keys()
        end = len(self.text[start : self.position].rstrip()) + start
        if not self.at("="):
            raise _Lost
        self.skip(_SPACE)
        path = (*table, *keys)
        value_start = self.position
        self.value(path)
        place = Place(start, end, value_start, self.position)
        self.places[path] = place
        for length in range(len(table) + 1, len(path)):
            self.places.setdefault(path[:length], place)

    def value(self, path: Path) -> None:
        """Read any value; entries of lists and inline tables get places of their own."""
        if self.at("["):
            self.entries(path)
        elif self.at("{"):
            self.skip(_BLANK)
            while not self.at("}"):
                self.pair(path)
                self.skip(_BLANK)
                self.at(",")
                self.skip(_BLANK)
        elif self.text[self.position : self.position + 1] in ('"', "'"):
            self.take(_STRING)
        else:
            self.take(_SCALAR)

    def entries(self, path: Path) -> None:
        """Read the entries of a list."""
        index = 0
        self.skip(_BLANK)
        while not self.at("]"):
            start = self.position
            self.value((*path, index))
            self.places[(*path, index)] = Place(start, self.position, start, self.position)
            index += 1
            self.skip(_BLANK)
            self.at(",")
            self.skip(_BLANK)


@dataclass(frozen=True, slots=True)
class Source:
    """A job file's text with the place of each key; ``name`` is what messages call the file."""

    text: str
    name: str
    places: Mapping[Path, Place]

    def line_of(self, offset: int) -> int:
        """Return the line number, from 1, of an offset into the text."""
        return self.text.count("\n", 0, offset) + 1

    def nearest(self, path: Path) -> Place | None:
        """Return the place of ``path``, or of the closest thing around it that has one."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.places:
                return self.places[path[:length]]
        return None

    def excerpt(self, start: int, end: int) -> str:
        """Return the line of ``start`` with carets below, cut to a width that fits a terminal."""
        head = self.text.rfind("\n", 0, start) + 1
        tail = self.text.find("\n", start)
        line = self.text[head : tail if tail >= 0 else len(self.text)].rstrip("\r")
        line = "".join(letter if letter.isprintable() else " " for letter in line)
        first, last = start - head, max(min(end - head, len(line)), start - head + 1)
        cut = max(0, first - 60)
        shown = line[cut : cut + 100]
        number = f"{self.line_of(start):5d}"
        carets = " " * (first - cut) + "^" * min(last - first, max(len(shown) - (first - cut), 1))
        return f"{number} | {shown}\n{' ' * len(number)} | {carets}"


def locate(text: str, name: str) -> Source:
    """Return the text with the place of every key and list entry in it."""
    scanner = _Scanner(text)
    with contextlib.suppress(_Lost, RecursionError, ValueError):
        scanner.document()
    return Source(text, name, scanner.places)


def dotted(path: Path) -> str:
    """Return a path as messages and origins write it: ``anode[0].at[2]``."""
    shown = ""
    for step in path:
        shown += f"[{step}]" if isinstance(step, int) else f".{step}" if shown else step
    return shown
