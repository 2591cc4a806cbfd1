"""The bent blank as one closed surface, and whether it runs into itself."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.errors import PartError
from geom.part.fold import Fold
from geom.part.pieces import Blank, Piece
from geom.part.zones import Zone
from geom.surface.shell import triangulate
from geom.surface.solid import to_manifold
from geom.surface.surface import Surface
from geom.wording import mm

LEAST_SHARED = 1e-6  # of the volume of the smaller: solids that share less do not run into each other
TOUCHING = 1e-6  # solids nearer to each other than this touch [m]


@dataclass(frozen=True, eq=False)
class Solid:
    """The bent blank as faces, with the piece each one belongs to; -1 for a wall."""

    vertices: Floats
    faces: Ints
    piece: Ints
    is_top: Bools
    wall: Ints  # (m,) side of the border, -1 on a piece


def bent_solid(blank: Blank, fold: Fold, zones: Sequence[Zone], thickness: float) -> Solid:
    """Bend the blank: every corner at its two heights, every piece twice, every side of the border once."""
    count = len(blank.points)
    vertices = np.zeros((2 * count, 3))
    flat = np.column_stack([blank.points, np.zeros(count)])
    faces, owner, is_top, wall = [], [], [], []
    for k, piece in enumerate(blank.pieces):
        corners = np.unique(np.concatenate(piece.rings))
        for level, height in enumerate((-thickness / 2, thickness / 2)):
            vertices[corners + level * count] = _moved(blank.points[corners], height, piece, k, fold, zones)
        cut = triangulate(flat, piece.rings)
        faces += [cut + count, cut[:, ::-1]]
        owner.append(np.full(2 * len(cut), k))
        is_top.append(np.repeat([True, False], len(cut)))
        wall.append(np.full(2 * len(cut), -1))
    a, b = blank.border.T
    faces += [np.stack([a, b, b + count], axis=1), np.stack([a, b + count, a + count], axis=1)]
    owner.append(np.tile(blank.border_piece, 2))
    is_top.append(np.zeros(2 * len(a), dtype=np.bool_))
    wall.append(np.tile(np.arange(len(a)), 2))
    return Solid(vertices, *(np.concatenate(part) for part in (faces, owner, is_top, wall)))


def _moved(points: Floats, height: float, piece: Piece, number: int, fold: Fold, zones: Sequence[Zone]) -> Floats:
    """Return where points (n, 2) of a piece go, (n, 3)."""
    if piece.zone < 0:
        motion, there = fold.motions[fold.flat[number]], np.column_stack([points, np.full(len(points), height)])
    else:
        motion = fold.motions[fold.base[number]]
        there = zones[piece.zone].bent(points, height, np.full(len(points), piece.step))
    return np.asarray(motion.of(there))


def check_apart(solid: Solid, blank: Blank, fold: Fold) -> None:
    """Refuse a part whose flats or bends run into each other, or touch where they are not joined."""
    bodies = [_body(solid, blank, fold.stretch == k) for k in range(int(fold.stretch.max()) + 1)]
    solids = [to_manifold(body) for body in bodies]
    joined = np.eye(len(bodies), dtype=np.bool_)
    for a, b in fold.stretch[blank.inner]:
        joined[a, b] = joined[b, a] = True
    near = joined.astype(np.int64) @ joined.astype(np.int64) > 0
    for first in range(len(bodies)):
        for second in range(first):
            if joined[first, second]:
                continue
            shared = float((solids[first] ^ solids[second]).volume())
            least = LEAST_SHARED * min(solids[first].volume(), solids[second].volume())
            runs_in = shared > least
            if not runs_in and (near[first, second] or solids[first].min_gap(solids[second], 1e-4) >= TOUCHING):
                continue
            x, y = _drawn_middle(blank, fold.stretch == first), _drawn_middle(blank, fold.stretch == second)
            raise PartError(
                "part-bend-collides",
                f"bent, the metal around {x} mm {'runs into' if runs_in else 'touches'} that around {y} mm of the drawing",
                hint="lessen an angle, move a bend line, or shorten a flange",
            )


def _drawn_middle(blank: Blank, chosen: Bools) -> str:
    corners = np.concatenate([blank.pieces[k].rings[0] for k in np.flatnonzero(chosen)])
    low, high = blank.points[corners].min(axis=0), blank.points[corners].max(axis=0)
    return f"({mm(float(low[0] + high[0]) / 2)}, {mm(float(low[1] + high[1]) / 2)})"


def _body(solid: Solid, blank: Blank, chosen: Bools) -> Surface:
    """Return some pieces as a closed solid of their own."""
    caps = solid.faces[(solid.wall < 0) & chosen[solid.piece]]
    sides = [
        np.stack([ring, np.roll(ring, -1)], axis=1) for k in np.flatnonzero(chosen) for ring in blank.pieces[k].rings
    ]
    rows = np.concatenate(sides)
    known = set(map(tuple, rows.tolist()))
    a, b = np.array([row for row in rows.tolist() if (row[1], row[0]) not in known]).T
    high = len(blank.points)
    walls = [np.stack([a, b, b + high], axis=1), np.stack([a, b + high, a + high], axis=1)]
    faces = np.concatenate([caps, *walls])
    used, numbered = np.unique(faces, return_inverse=True)
    return Surface(solid.vertices[used], numbered.reshape(-1, 3), np.zeros(len(faces), dtype=np.int64))
