"""Findings of the readers of drawings, and how they word numbers, places and counts."""

from collections.abc import Mapping

from geom.arrays import Floats
from geom.findings import Finding, Severity
from geom.formats.raw import shown


def noted(code: str, message: str) -> Finding:
    """Return a finding that is worth knowing."""
    return Finding(Severity.NOTE, code, message)


def warned(code: str, message: str) -> Finding:
    """Return a finding to be read before plating."""
    return Finding(Severity.WARNING, code, message)


def counted(kinds: Mapping[str, int]) -> str:
    """Return "2 HATCH, 1 TEXT"."""
    return ", ".join(f"{count} {shown(kind)}" for kind, count in sorted(kinds.items()))


def number(value: float) -> str:
    """Return a coordinate as a message shows it."""
    return f"{value + 0.0:.6g}"


def place(point: Floats) -> str:
    """Return a point as a message shows it."""
    return f"({number(float(point[0]))}, {number(float(point[1]))})"
