"""What a reader hands on: plain arrays in the units of the file, before any check of the shape."""

from dataclasses import dataclass

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.findings import Finding


@dataclass(frozen=True, eq=False)
class RawMesh:
    """Triangles of a file."""

    vertices: Floats  # (n, 3) in file units
    faces: Ints  # (m, 3)
    file_face: Ints  # (m,) the face of the file that each one came from, from 0
    findings: tuple[Finding, ...] = ()
    unit: float | None = None  # length of one unit of the file [m], where the file itself states it


@dataclass(frozen=True, slots=True)
class Limits:
    """What reading one file may take."""

    size: int = 500_000_000  # of the file [bytes]
    memory: int = 4_000_000_000  # of the process that reads it [bytes]
    seconds: float = 60.0  # wall clock, and processor time


USUAL = Limits()


def malformed(message: str, hint: str = "") -> PartError:
    """Return the error for a file that breaks its own format."""
    return PartError("part-mesh-format", message, hint=hint or "export the part again and compare the size")


def shown(text: str) -> str:
    """Return the beginning of a piece of a file, fit to be printed: one line, no control characters."""
    line = (text.strip().splitlines() or [""])[0]
    return "".join(sign if sign.isprintable() else "?" for sign in line[:40])
