"""`Piece`: one or more regions that make a feature; `Scene`: what all the finders look at."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from geom.arrays import Floats, Ints
from geom.feature import Kind
from geom.recognise.regions import SQUARE, Form, Region, Regions
from geom.surface.boxtree import BoxTree, box_tree
from geom.surface.segments import nearest_segment
from geom.surface.surface import Surface

SAMPLES = 8  # faces of a region from which the metal behind it is measured, the largest
PLACES = np.array([[4, 1, 1], [1, 4, 1], [1, 1, 4], [2, 2, 2], [1, 2.5, 2.5], [2.5, 1, 2.5], [2.5, 2.5, 1]]) / 6
"""Where on each of them."""
PARALLEL = float(np.sqrt(1 - 4 * SQUARE**2))
MOST_SAMPLED = 200_000  # faces of a part from which on fewer places are looked at
MOST_WALLS = 600  # faces of a hole up to which its clear width is looked for


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """A feature before it has its name."""

    kind: Kind
    word: str  # "bore", "slot", "inside bend": pieces with one word are numbered together
    size: str  # "8.0 mm", in brackets after the number; "" without one
    members: tuple[int, ...]  # regions
    width: float = 0.0  # [m]
    depth: float = 0.0  # [m]
    radius: float = 0.0  # [m]
    axis: Floats | None = None  # (3,) unit
    facing: Floats | None = None  # (3,) the way it looks


@dataclass(eq=False)
class Scene:
    """The regions of a part, and which of them have become pieces."""

    surface: Surface
    regions: Regions
    pieces: list[Piece] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    measured: dict[int, tuple[Floats, Floats]] = field(default_factory=dict)

    def add(self, piece: Piece) -> None:
        """Note a piece; its regions are used up."""
        self.pieces.append(piece)
        self.used.update(piece.members)

    def free(self) -> list[tuple[int, Region]]:
        """Return the regions that belong to no piece yet, with their numbers."""
        return [(k, r) for k, r in enumerate(self.regions.items) if k not in self.used]

    @cached_property
    def tree(self) -> BoxTree:
        """The faces by place."""
        return box_tree(self.surface.corners)

    @cached_property
    def size(self) -> float:
        """Diagonal of the bounding box [m]."""
        return float(np.linalg.norm(np.ptp(self.surface.vertices, axis=0)))

    @cached_property
    def mean(self) -> float:
        """Edge of the cube with the area of the part [m]."""
        return float(np.sqrt(self.surface.area / 6))

    def border_width(self, number: int) -> float:
        """Return the mean width of a strip: its area over half of its border; inf where nothing borders on it [m]."""
        border = sum(seam.length for seam in self.regions.seams[number])
        return 2 * self.regions.items[number].area / border if border > 0 else np.inf

    def extent(self, axis: Floats) -> float:
        """Return how far the part reaches along an axis [m]."""
        return float(np.ptp(self.surface.vertices @ axis))

    def behind(self, number: int) -> tuple[Floats, Floats]:
        """Return how much metal is behind places on a region, square to them, and the weight of each [m, m²]."""
        if number not in self.measured:
            surface, faces = self.surface, self.regions.items[number].faces
            if len(surface.faces) < MOST_SAMPLED:
                chosen = faces[np.argsort(-surface.areas[faces], kind="stable")[:SAMPLES]]
                shares = PLACES
            else:  # small faces: one place on each of some will do
                chosen, shares = faces[:: max(len(faces) // SAMPLES, 1)][:SAMPLES], PLACES[3:4]
            places = np.einsum("pk,nkc->npc", shares, surface.corners[chosen]).reshape(-1, 3)
            rows = np.repeat(chosen, len(shares))
            skip = 1e-6 * self.size
            far = self.tree.along_rays(places, -surface.normals[rows], skip, 2 * self.size)
            self.measured[number] = far, surface.areas[rows]
        return self.measured[number]

    def inscribed(self, faces: Ints, axis: Floats) -> float:
        """Return the diameter of the largest circle found between walls (k,) along an axis; inf if not looked for [m]."""
        if len(faces) > MOST_WALLS:
            return np.inf
        corners = self.surface.corners[faces]
        flat = corners - (corners @ axis)[:, :, None] * axis
        walls = np.concatenate([flat[:, [0, 1]], flat[:, [1, 2]], flat[:, [2, 0]]])
        skip, normals = 1e-6 * self.size, np.repeat(self.surface.normals[faces], len(PLACES), axis=0)
        places = np.einsum("pk,nkc->npc", PLACES, corners).reshape(-1, 3)
        far = self.tree.along_rays(places, normals, skip, 2 * self.size)
        met = np.isfinite(far)
        if not met.any():
            return np.inf
        centres = places[met] + 0.5 * far[met, None] * normals[met]
        middle = (flat.reshape(-1, 3).min(axis=0) + flat.reshape(-1, 3).max(axis=0)) / 2
        centres = np.vstack([centres - (centres @ axis)[:, None] * axis, middle - (middle @ axis) * axis])
        reach, nearest = nearest_segment(centres, walls[:, 0], walls[:, 1])
        inward = self.surface.normals[faces][nearest % len(faces)]
        outside = np.einsum("ij,ij->i", centres - walls[nearest, 0], inward) < 0
        return 2 * float(np.where(outside, 0.0, reach).max())

    def wall(self, number: int) -> float:
        """Return the median of the metal behind a region [m]."""
        far, weight = self.behind(number)
        order = np.argsort(far, kind="stable")
        share = np.cumsum(weight[order])
        return float(far[order][np.searchsorted(share, share[-1] / 2)]) if len(far) else np.inf


def parallel(one: Floats, two: Floats) -> bool:
    """Do two axes point along one line?"""
    return bool(abs(float(one @ two)) > PARALLEL)


def square(one: Floats, two: Floats) -> bool:
    """Are two axes at right angles?"""
    return abs(float(one @ two)) < 2 * SQUARE


def cross_axes(axis: Floats) -> tuple[Floats, Floats]:
    """Return two unit vectors at right angles to an axis and each other."""
    side = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
    side = side / np.linalg.norm(side)
    return side, np.asarray(np.cross(axis, side))


def clear_width(region: Region, other: Region) -> float:
    """Return how far two flats that face each other are apart; 0 where they do not [m]."""
    if region.form is not Form.FLAT or other.form is not Form.FLAT or float(region.axis @ other.axis) > -0.995:
        return 0.0
    return max(float((other.point - region.point) @ region.axis), 0.0)


def closed_round(normals: Floats, axis: Floats) -> bool:
    """Do normals (k, 3) look in from all sides round an axis?"""
    side, up = cross_axes(axis)
    angles = np.sort(np.arctan2(normals @ up, normals @ side))
    gaps = np.diff(np.append(angles, angles[0] + 2 * np.pi))
    return bool(gaps.max() < np.radians(175))


def mm1(length: float) -> str:
    """Write a length in millimetres, with as many digits as a caliper shows."""
    value = length * 1e3
    return f"{value:.1f}" if value >= 0.995 else f"{value:.2g}"
