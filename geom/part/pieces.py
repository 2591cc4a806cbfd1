"""A flat blank cut along the borders of its bends: pieces that share corners and sides exactly."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.part.zones import Zone
from geom.surface.prism import Loop
from geom.wording import mm

GRID = 1e-8  # corners of pieces lie on a grid of this [m]


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece of the blank, in one flat or in one step of one bend."""

    rings: tuple[Ints, ...]  # corners, the outer ring counter-clockwise, those of openings clockwise
    area: float  # [m²]
    zone: int  # index of its bend; -1 in a flat
    step: int  # flat of the bend that it lies on


@dataclass(frozen=True, eq=False)
class Blank:
    """All pieces of a blank, and its border."""

    points: Floats  # (n, 2) corners [m]
    pieces: tuple[Piece, ...]
    border: Ints  # (k, 2) directed sides with metal on their left only
    border_piece: Ints  # (k,)
    border_tag: Ints  # (k,) of the drawn side that it lies on
    inner: Ints  # (j, 2) pairs of pieces that share a side
    inner_side: Ints  # (j, 2) that side


def metal_of(loops: Sequence[Loop]) -> Any:
    """Return the metal within loops as a shapely polygon."""
    import shapely

    metal = shapely.Polygon(loops[0].points, [loop.points for loop in loops[1:]])
    shapely.prepare(metal)
    return metal


def cut_blank(loops: Sequence[Loop], metal: Any, zones: Sequence[Zone]) -> Blank:
    """Cut the ``metal`` within ``loops`` along the borders of ``zones``.

    Raises
    ------
    PartError
        where two bends overlap.
    """
    import shapely

    sides = np.concatenate([np.stack([loop.points, np.roll(loop.points, -1, axis=0)], axis=1) for loop in loops])
    tags = np.concatenate([loop.tags for loop in loops])
    lines = shapely.linestrings(np.concatenate([sides, *(np.array(zone.cuts()) for zone in zones)]))
    found = shapely.polygonize([shapely.union_all(lines, grid_size=GRID)])
    corners: dict[tuple[int, int], int] = {}
    pieces = []
    for polygon in found.geoms:
        inside = polygon.representative_point()
        if metal.contains(inside):
            zone, step = _zone_at(np.array(inside.coords[0]), zones)
            pieces.append(Piece(_rings(polygon, corners), float(polygon.area), zone, step))
    points = np.array(list(corners), dtype=np.float64) * GRID
    return _blank(points, tuple(pieces), shapely.STRtree(shapely.linestrings(sides)), tags)


def _zone_at(point: Floats, zones: Sequence[Zone]) -> tuple[int, int]:
    """Return the bend and the flat of it in which a point lies; (-1, 0) in none."""
    at = (-1, 0)
    for k, zone in enumerate(zones):
        across, along = (float(value[0]) for value in zone.placed(point[None]))
        if not (0 < across < zone.width and 0 < along < zone.length):
            continue
        if at[0] >= 0:
            raise PartError(
                "part-bend-overlap",
                f"bends {zones[at[0]].number} and {zone.number} overlap at ({mm(point[0])}, {mm(point[1])}) mm: "
                f"they take strips {mm(zones[at[0]].width)} and {mm(zone.width)} mm wide along their lines",
                hint="move the lines apart, bend about a smaller radius, or cut a relief into the corner",
            )
        at = k, min(int(across / zone.width * zone.steps), zone.steps - 1)
    return at


def _rings(polygon: Any, corners: dict[tuple[int, int], int]) -> tuple[Ints, ...]:
    """Return the rings of a polygon as numbers of corners, new ones being added."""
    rings = []
    for number, ring in enumerate((polygon.exterior, *polygon.interiors)):
        keys = np.round(np.asarray(ring.coords)[:-1] / GRID).astype(np.int64)
        numbers = [corners.setdefault((int(x), int(y)), len(corners)) for x, y in keys]
        forward = ring.is_ccw == (number == 0)
        rings.append(np.array(numbers if forward else numbers[::-1], dtype=np.int64))
    return tuple(rings)


def _blank(points: Floats, pieces: tuple[Piece, ...], drawn: Any, tags: Ints) -> Blank:
    """Sort the sides of the pieces into border and inside."""
    import shapely

    piece_of: dict[tuple[int, int], int] = {}
    for k, piece in enumerate(pieces):
        for ring in piece.rings:
            for a, b in zip(ring.tolist(), np.roll(ring, -1).tolist(), strict=True):
                piece_of[a, b] = k
    outer = [side for side in piece_of if side[::-1] not in piece_of]
    shared = [side for side in piece_of if side[0] < side[1] and side[::-1] in piece_of]
    border = np.array(outer, dtype=np.int64).reshape(-1, 2)
    middles = shapely.points(points[border].mean(axis=1))
    return Blank(
        points,
        pieces,
        border,
        np.array([piece_of[side] for side in outer], dtype=np.int64),
        tags[drawn.nearest(middles)],
        np.array([(piece_of[side], piece_of[side[::-1]]) for side in shared], dtype=np.int64).reshape(-1, 2),
        np.array(shared, dtype=np.int64).reshape(-1, 2),
    )
