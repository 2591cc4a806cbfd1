"""`RawDrawing`: what a reader of flat drawings hands on, before any check of the shape."""

from dataclasses import dataclass

from geom.arrays import Floats
from geom.findings import Finding


@dataclass(frozen=True, eq=False)
class RawDrawing:
    """Closed outlines of a flat drawing, in the coordinates and units of the file; which is in which is not said."""

    rings: tuple[Floats, ...]  # (n, 2) each, last point not repeated; curves are cut into short straight pieces
    circles: tuple[tuple[float, float, float], ...] = ()  # x, y and radius of full circles
    unit: float | None = None  # length of one unit of the file [m], where the file itself states it
    findings: tuple[Finding, ...] = ()
    is_downward: bool = False  # y grows downward on the screen, as in SVG
