"""Poses worth weighing: every side of the part up and to the anode, those left out that its symmetry makes equal."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from trimesh.remesh import subdivide_to_size

from geom.arrays import Bools, Floats, Ints
from geom.cell.cell import Cell, Pose, WireAnode
from geom.panels import Panels
from geom.surface.turning import rotation

QUARTER = np.pi / 2
HALF = np.diag([-1.0, -1.0, 1.0])  # a turn half round about the vertical
OWN = "as in the job"
AXES = ("+x", "-x", "+y", "-y", "+z", "-z")

WAVES = 8
"""Wave vectors that shapes are compared at."""

SHORTEST = 3.0
"""Of the waves, over the size of the part: longer ones see the whole, shorter ones would see the panels."""

FINENESS = 4
"""Pieces of a triangle, at least, along the shortest wave."""

ALIKE = 2e-3
"""Share of its area by which two shapes may differ and be one: a part of that is moved by what a hole of 4 % of its length does."""

Turn = tuple[float, float, float]
Complexes = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One pose to weigh."""

    name: str  # "end +x up, +z to the anode", or the user's own
    pose: Pose


def candidates(cell: Cell, panels: Panels, significant: Bools) -> tuple[Candidate, ...]:
    """Return the pose of a cell, and every other that sides along the axes of the part allow, each kind once.

    Two poses are of one kind where half a turn about the vertical, which a plan weighs by itself, a turn of the part on
    itself, or a turn or mirror of tank and anodes on themselves leads from one to the other; ``significant``
    (part_count,) places must do so too.
    """
    seen: list[Complexes] = []
    found = []
    own = cell.pose
    place = _Signatures(cell, panels, significant)
    for name, turn in ((own_name(cell), own.turn), *_turns(cell)):
        signatures = place.of(rotation(turn))
        if any(_are_alike(one, signatures[0]) for one in seen):
            continue
        seen += [*signatures, *place.of(HALF @ rotation(turn))]
        found.append(Candidate(name, Pose(turn, own.at)))
    return tuple(found)


def _turns(cell: Cell) -> list[tuple[str, Turn]]:
    """Return the name and turn of each of the 24 ways to lay the axes of the part along those of the tank."""
    return [(_name(matrix, cell), turn) for turn, matrix in quarter_turns().items()]


def own_name(cell: Cell) -> str:
    """Return what the pose of a cell is called: by the axes of the part, where they lie along those of the tank."""
    own = cell.pose.rotation
    if np.abs(own - np.round(own)).max() > 1e-6:
        return OWN
    return f"{_name(own, cell)} ({OWN})"


def _name(matrix: Floats, cell: Cell) -> str:
    up, front = _axis_along(matrix, np.array([0.0, 0.0, 1.0])), _axis_along(matrix, toward_anode(cell))
    return f"{up} up, {front} to the anode"


@cache
def quarter_turns() -> dict[Turn, Floats]:
    """Return the 24 turns by quarters, the simplest angles of each, with their matrices."""
    found: dict[bytes, tuple[Turn, Floats]] = {}
    for steps in sorted(product(range(4), repeat=3), key=lambda s: (sum(k > 0 for k in s), s[::-1])):
        turn = (steps[0] * QUARTER, steps[1] * QUARTER, steps[2] * QUARTER)
        matrix = rotation(turn)
        found.setdefault(np.round(matrix).astype(np.int8).tobytes(), (turn, matrix))
    return {turn: matrix for turn, matrix in found.values()}


def toward_anode(cell: Cell) -> Floats:
    """Return (3,) the level axis of the tank along which the first anode lies from the part."""
    away = np.asarray(_middle(cell))[:2] - np.asarray(cell.pose.at)[:2]
    axis = int(np.argmax(np.abs(away)))
    out = np.zeros(3)
    out[axis] = 1.0 if away[axis] >= 0 else -1.0
    return out


def _middle(cell: Cell) -> Sequence[float]:
    first = cell.anodes[0]
    if isinstance(first, WireAnode):
        return tuple((np.asarray(first.start) + np.asarray(first.end)) / 2)
    return first.at


def _axis_along(matrix: Floats, direction: Floats) -> str:
    """Return the name of the axis of the part that points along a direction in the tank."""
    along = np.round(matrix.T @ direction)
    axis = int(np.argmax(np.abs(along)))
    return AXES[2 * axis + (along[axis] < 0)]


class _Signatures:
    """Fourier transforms of what the field hangs on, about the centre of the part, at fixed random waves.

    The transform of a turned shape is that of the shape at waves turned back, so that turned shapes are compared
    without being laid over each other.
    """

    def __init__(self, cell: Cell, panels: Panels, significant: Bools) -> None:
        part = cell.part.surface
        low, high = part.bounds
        size = float(np.linalg.norm(high - low))
        rng = np.random.default_rng(24)
        ways = rng.normal(size=(WAVES, 3))
        lengths = 2 * np.pi / size * rng.uniform(0.5, SHORTEST, size=(WAVES, 1))
        self.waves = ways / np.linalg.norm(ways, axis=1, keepdims=True) * lengths
        corners, owner = _small(part.vertices[part.faces] - (low + high) / 2, size / SHORTEST / FINENESS)
        halfway = (corners + np.roll(corners, 1, axis=1)) / 2  # exact for polynomials of degree 2
        self.points = halfway.reshape(-1, 3)
        areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        counts = _significant_features(cell, panels, significant)[part.tag[owner]]
        areas = areas / areas.sum()
        self.weights = np.stack([np.repeat(areas / 3, 3), np.repeat(areas * counts / 3, 3)])
        self.known: dict[bytes, Complexes] = {}
        self.mirrors = [np.diag(signs) for signs in _cell_symmetries(cell)]

    def of(self, turn: Floats) -> list[Complexes]:
        """Return (2, waves) of a turn, and of all that the tank and anodes make equal to it."""
        return [self._transform(mirror @ turn) for mirror in self.mirrors]

    def _transform(self, matrix: Floats) -> Complexes:
        key = (np.round(matrix, 9) + 0.0).tobytes()  # 48 at most, where all turns are by quarters
        if key not in self.known:
            phases = self.points @ (self.waves @ matrix).T
            self.known[key] = np.asarray(self.weights @ np.exp(1j * phases))
        return self.known[key]


def _small(corners: Floats, longest: float) -> tuple[Floats, Ints]:
    """Return triangles (m, 3, 3) cut in four until no edge is over ``longest`` [m], and whose piece each is."""
    vertices, faces, owner = subdivide_to_size(  # type: ignore[no-untyped-call]
        corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3), longest, max_iter=30, return_index=True
    )
    return np.asarray(vertices[faces]), np.asarray(owner)


def _significant_features(cell: Cell, panels: Panels, significant: Bools) -> Floats:
    """Return (features,) 1 where most of a plated feature is significant, else 0."""
    count = len(cell.part.features)
    areas = panels.part.areas
    whole = np.bincount(panels.feature, areas, count)
    chosen = np.bincount(panels.feature, areas * significant, count)
    return np.asarray(chosen > 0.5 * np.maximum(whole, 1e-30), dtype=np.float64)


def _cell_symmetries(cell: Cell) -> list[tuple[float, float, float]]:
    """Return the signs of x and y, about the part, that change nothing in tank, anodes, shields and thieves.

    Nothing is said of what is no box, sheet or rod: it is taken to have none.
    """
    found = [(1.0, 1.0, 1.0)]
    for signs in ((1.0, -1.0, 1.0), (-1.0, 1.0, 1.0), (-1.0, -1.0, 1.0)):
        if _is_kept(cell, np.array(signs)):
            found.append(signs)
    return found


def _is_kept(cell: Cell, signs: Floats) -> bool:
    """Do mirrors about the upright planes through the part map the tank and all that stands in it on themselves?"""
    at = np.asarray(cell.pose.at)
    if any(sign < 0 and abs(at[axis]) > 1e-6 for axis, sign in enumerate(signs)):
        return False  # the part does not hang in the middle of the tank
    if cell.shields or cell.thieves or any(isinstance(anode, WireAnode) for anode in cell.anodes):
        return False
    anodes = [anode for anode in cell.anodes if not isinstance(anode, WireAnode)]
    stands = [(*np.round(np.asarray(anode.at), 7), *_size(anode)) for anode in anodes]
    mirrored = [(*np.round(np.asarray(anode.at) * signs, 7), *_size(anode)) for anode in anodes]
    return sorted(stands) == sorted(mirrored)


def _size(anode: object) -> tuple[float, ...]:
    return tuple(float(getattr(anode, name, 0.0)) for name in ("length", "width", "diameter", "height"))


def _are_alike(one: Complexes, other: Complexes) -> bool:
    return bool(np.abs(one - other).max() < ALIKE)
