"""Parts given by their dimensions, of every shape, and the way from one to a mesh file and back."""

import math
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from geom.arrays import Floats
from geom.part.shapes import Angle, Bar, Channel, Hole, Offset, Outline, Rod, Shape, Tube, Washer
from geom.surface.soundness import welded
from geom.surface.surface import Surface

MM = 1e-3


def drilled(*holes: tuple[float, ...]) -> tuple[Hole, ...]:
    """Holes from (diameter, x, y) or (width, x, y, length, angle in degrees), in mm."""
    found = []
    for diameter, x, y, *slot in holes:
        length, angle = (slot[0] * MM, math.radians(slot[1])) if slot else (0.0, 0.0)
        found.append(Hole(diameter * MM, (x * MM, y * MM), length, angle))
    return tuple(found)


def outline(points: list[tuple[float, float]], thickness: float, cutouts: list[list[tuple[float, float]]], *holes):
    """An outline from points in mm."""
    scaled = tuple((x * MM, y * MM) for x, y in points)
    cut = tuple(tuple((x * MM, y * MM) for x, y in ring) for ring in cutouts)
    return Outline(scaled, thickness * MM, cut, drilled(*holes))


def bar(length: float, width: float, thickness: float, *holes, edge: float = 0.0) -> Bar:
    return Bar(length * MM, width * MM, thickness * MM, edge * MM, drilled(*holes))


def angle(length: float, height: float, width: float, thickness: float, inside: float, bend: float, *holes) -> Angle:
    sizes = (v * MM for v in (length, height, width, thickness, inside))
    return Angle(*sizes, math.radians(bend), drilled(*holes))


def offset(length: float, width: float, thickness: float, rise: float, inside: float, bend: float, *holes) -> Offset:
    sizes = (v * MM for v in (length, width, thickness, rise, inside))
    return Offset(*sizes, math.radians(bend), drilled(*holes))


def channel(length: float, width: float, height: float, thickness: float, inside: float, *holes) -> Channel:
    return Channel(*(v * MM for v in (length, width, height, thickness, inside)), drilled(*holes))


def tube(length: float, diameter: float, wall: float, flattened: float = 0.0, *holes) -> Tube:
    return Tube(length * MM, diameter * MM, wall * MM, flattened * MM, drilled(*holes))


HOUSE = [(0, 0), (60, 0), (60, 30), (30, 48), (0, 30)]
ELL = [(0, 0), (70, 0), (70, 18), (18, 18), (18, 50), (0, 50)]

TYPED: dict[str, Shape] = {
    "bar": bar(100, 20, 3),
    "bar with a bore": bar(80, 15, 4, (8, 20, 0)),
    "link with two bores": bar(120, 25, 5, (10.5, -45, 0), (8.4, 45, 0)),
    "bar with a bore and a slot": bar(100, 20, 3, (8, -35, 0), (6, 30, 0, 20, 0)),
    "bar with a slot aslant": bar(90, 30, 3, (5, 10, 0, 24, 35)),
    "bar with six small bores": bar(150, 30, 6, *((2.5, x, y) for x in (-60, 0, 60) for y in (-9, 9))),
    "bar with a slot across": bar(60, 30, 2, (4, 0, 0, 18, 90)),
    "thick bar": bar(60, 30, 20, (12, 0, 0)),
    "bar with rounded edges": bar(100, 20, 6, edge=1),
    "bar with barely rounded edges": bar(100, 20, 6, (8, -35, 0), edge=0.2),
    "bar with well rounded edges and a slot": bar(80, 24, 8, (6, 10, 0, 16, 0), edge=2.5),
    "short rod": Rod(30 * MM, 12 * MM),
    "long rod": Rod(200 * MM, 6 * MM),
    "tube": tube(100, 20, 2),
    "tube with a thick wall": tube(60, 20, 7),
    "thin tube": tube(150, 12, 0.5),
    "flattened tube": tube(120, 20, 1.5, 8),
    "flattened tube with bores": tube(120, 20, 1.5, 8, (6, -40, 0), (6, 40, 0)),
    "flattened tube with a slot": tube(120, 25, 1, 9, (5, 20, 0, 15, 0)),
    "washer": Washer(30 * MM, 10 * MM, 3 * MM),
    "large washer": Washer(80 * MM, 50 * MM, 5 * MM),
    "angle": angle(50, 40, 30, 3, 3, 90),
    "angle with bores": angle(60, 40, 25, 4, 2, 90, (6, 0, 0), (6, 18, 0)),
    "angle bent little": angle(50, 40, 30, 3, 3, 10),
    "angle bent by half": angle(50, 40, 20, 2, 5, 45, (5, 10, 0)),
    "angle bent far": angle(60, 60, 20, 2, 3, 135),
    "angle with a sharp inside": angle(50, 40, 30, 3, 0, 90),
    "angle with a slot": angle(70, 30, 30, 3, 1, 90, (5, 5, 0, 15, 0)),
    "channel": channel(100, 30, 20, 2, 2),
    "channel with bores": channel(120, 40, 15, 1.5, 1, (6, -30, 0), (6, 30, 0)),
    "channel with sharp insides": channel(80, 30, 20, 2, 0),
    "offset bar": offset(100, 20, 3, 15, 3, 90),
    "offset bar bent by half with bores": offset(120, 20, 3, 12, 3, 45, (8, -45, 0), (8, 45, 0)),
    "offset bar of two bends in one": offset(100, 20, 2, 8, 3, 90),
    "outline": outline(HOUSE, 3, [], (5, 50, 15)),
    "outline with a cutout": outline(HOUSE, 3, [[(10, 8), (30, 8), (30, 18), (10, 18)]], (5, 50, 15)),
    "outline with an inside corner": outline(ELL, 4, [], (6, 9, 40), (6, 60, 9)),
    "outline with a hexagon cut out": outline(
        HOUSE, 4, [[(30 + 9 * math.cos(a), 20 + 9 * math.sin(a)) for a in np.radians(np.arange(0, 360, 60)).tolist()]]
    ),
}
"""At least one of every shape, by name."""


def turn(seed: int) -> Floats:
    """A random rotation (3, 3)."""
    return np.asarray(Rotation.random(random_state=seed).as_matrix())


def stl_of(surface: Surface, rotation: Floats) -> bytes:
    """A binary STL in millimetres of the surface, turned and shifted."""
    corners = (surface.corners @ rotation.T / MM + np.array([3.7, -1.9, 12.1])).astype("<f4")
    record = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    record["corners"] = corners
    return b"links of the club".ljust(80) + np.uint32(len(corners)).tobytes() + record.tobytes()


def written(surface: Surface, rotation: Floats, folder: Path) -> Path:
    """The path of such a file."""
    path = folder / "part.stl"
    path.write_bytes(stl_of(surface, rotation))
    return path


def as_read(vertices: Floats, faces: Floats, rotation: Floats | None = None) -> Surface:
    """A mesh [mm] as a reader would give it: single precision, welded, centred, in metres."""
    turned = np.asarray(vertices) if rotation is None else np.asarray(vertices) @ rotation.T
    points = turned.astype(np.float32).astype(np.float64) * MM
    points, joined, real = welded(points, np.asarray(faces, dtype=np.int64), 0.0)
    used, joined = np.unique(joined[real], return_inverse=True)
    points = points[used]
    centre = (points.min(axis=0) + points.max(axis=0)) / 2
    joined = joined.reshape(-1, 3)
    return Surface(points - centre, joined, np.zeros(len(joined), dtype=np.int64))
