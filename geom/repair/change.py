"""`Change` and `Mended`: what was done to the faces of a file, and what came of it."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints, frozen
from geom.findings import Finding, Severity


@dataclass(frozen=True, slots=True)
class Change:
    """One kind of repair, with its size. ``code`` is a slug of docs/findings.md."""

    severity: Severity
    code: str  # "repair-welded", "repair-hole-filled", ...
    message: str  # with counts and area change, for the reader
    faces: int  # faces concerned
    area: float  # change of the total area by it [m²], with sign
    place: tuple[float, float, float] | None = None  # where, first of them, in the frame of the file [m]


@dataclass(frozen=True, eq=False)
class Mended:
    """Faces that bound sound solids, outside out, in the frame of the file."""

    vertices: Floats  # (n, 3) [m]
    faces: Ints  # (m, 3)
    source: Ints  # (m,) the face of the file each one lies on; -1 for one that was put in
    bodies: int  # separate solids
    changes: tuple[Change, ...] = ()
    findings: tuple[Finding, ...] = ()  # what is worth telling of a skin that needed no change for it

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64).reshape(-1, 3))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64).reshape(-1, 3))
        object.__setattr__(self, "source", frozen(self.source, np.int64).reshape(-1))
