"""How large a part in a file is, before a job names it: bounding box and area, through the readers of `geom.formats`."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from geom.arrays import Floats
from geom.part.drawing import build_drawing
from geom.part.files import agreed_unit, raw_mesh
from geom.part.shapes import Drawing

REMEMBERED = 8  # files


@dataclass(frozen=True, slots=True, eq=False)
class PartSize:
    """In the frame of the file."""

    extent: Floats  # (3,) sides of the bounding box [m]
    area: float  # of all faces [m²]


def mesh_size(path: Path, unit: float | None) -> PartSize:
    """Return the size of what a mesh file holds.

    Raises
    ------
    PartError
        where it cannot be read, or nobody states the unit of its numbers.
    """
    return _mesh_size(path, unit, _stamp(path))


def drawing_size(path: Path, unit: float | None, thickness: float) -> PartSize:
    """Return the size of the flat part that a drawing makes; errors as of a mesh."""
    return _drawing_size(path, unit, thickness, _stamp(path))


def _stamp(path: Path) -> tuple[int, int]:
    """Return what tells one state of a file from another."""
    about = path.stat()
    return about.st_mtime_ns, about.st_size


@lru_cache(REMEMBERED)
def _mesh_size(path: Path, unit: float | None, stamp: tuple[int, int]) -> PartSize:
    raw = raw_mesh(path)
    size = agreed_unit(raw, unit)
    corners = raw.vertices * size
    used = corners[raw.faces.reshape(-1)]
    a, b, c = np.moveaxis(corners[raw.faces], 1, 0)
    area = 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    return PartSize(np.ptp(used, axis=0), area)


@lru_cache(REMEMBERED)
def _drawing_size(path: Path, unit: float | None, thickness: float, stamp: tuple[int, int]) -> PartSize:
    part = build_drawing(Drawing(path, unit, thickness))
    low, high = part.surface.bounds
    return PartSize(np.asarray(high - low), part.area)
