"""The text of a job file that a person reads on and changes: lines of TOML with remarks, strings that cannot be left."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from geom.wording import mm

COLUMN = 25  # where remarks begin
INCH = 25.4e-3
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def toml_string(text: str) -> str:
    """Return a text as a basic string of TOML; what no UTF-8 can hold becomes U+FFFD.

    Examples
    --------
    >>> print(toml_string('bar 1/2"'))
    "bar 1/2\\""
    """
    return '"' + "".join(_letter(letter) for letter in text) + '"'


def _letter(letter: str) -> str:
    if letter in _ESCAPES:
        return _ESCAPES[letter]
    if 0xD800 <= ord(letter) <= 0xDFFF:
        return "\ufffd"
    return letter if letter.isprintable() else f"\\U{ord(letter):08X}"


def toml_list(texts: Sequence[str]) -> str:
    """Return texts as a list of strings on one line."""
    return f"[{', '.join(toml_string(text) for text in texts)}]"


@dataclass(frozen=True, slots=True)
class Ruler:
    """In what unit lengths are written that nobody wrote: millimetres, or inches for one who thinks in them."""

    is_inch: bool = False

    @property
    def step(self) -> float:
        """The sides of a tank are whole multiples of this [m]."""
        return INCH / 4 if self.is_inch else 5e-3

    @property
    def grain(self) -> float:
        """Chosen sheets and distances are whole multiples of this [m]."""
        return INCH / 20 if self.is_inch else 1e-3

    def text(self, length: float) -> str:
        """Return a length [m] as text with its unit."""
        return f"{round(length / INCH, 4) + 0.0:.10g} in" if self.is_inch else f"{mm(length)} mm"


@dataclass
class Lines:
    """Lines of a job file, growing."""

    lines: list[str] = field(default_factory=list)

    def add(self, line: str, remark: str = "") -> None:
        """Add a line, and a remark in the column of remarks."""
        self.lines.append(f"{line.ljust(COLUMN - 1)} # {remark}" if remark else line)

    def pair(self, key: str, text: str, remark: str = "") -> None:
        """Add a key with a text."""
        self.add(f"{key} = {toml_string(text)}", remark)

    def head(self, name: str, remark: str = "") -> None:
        """Add an empty line and the head of a table."""
        self.lines.append("")
        self.add(name, remark)

    @property
    def text(self) -> str:
        """The whole file."""
        return "\n".join(self.lines) + "\n"
