"""What a surface can be cut with: a half-space or a ball. Each says where an edge meets it and how it divides a face."""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from geom.arrays import Floats, Ints

ARC_STEPS = 192  # straight pieces to a full circle cut by a ball
SAME_AREA = math.sqrt(2 * math.pi / (ARC_STEPS * math.sin(2 * math.pi / ARC_STEPS)))
"""A circle of ARC_STEPS flats whose corners lie on this many radii has the area of the round one."""

CLOSE = 1e-9  # share of the size of the surface within which a corner lies on a plane
TOUCH = 1e-7  # share of the radius within which a corner or an edge nearly touches a ball

Loop = list[tuple[int, int]]
"""Corners of a face and the cuts on its edges, in order: vertex number; -1 inside, 0 on the border, 1 outside."""

Polygons = list[list[int | Floats]]
"""Each of vertex numbers, and new points (3,) between them."""

Pieces = tuple[Polygons, Polygons]
"""What lies inside and what lies outside the cutter."""


class Cutter(Protocol):
    """Cuts a surface into what lies inside and what lies outside."""

    def sides(self, points: Floats) -> Ints:
        """Return (n,) -1 inside, 0 on the border, 1 outside."""

    def crossings(self, start: Floats, end: Floats) -> list[list[float]]:
        """Return for each edge where the border crosses it, as shares of the way, in order."""

    def pieces(self, loop: Loop, corners: Floats, places: Floats) -> Pieces:
        """Return how a face with these ``corners`` (3, 3) is divided; ``places`` (k, 3) of the ``loop``."""

    def islands(self, corners: Floats) -> Ints:
        """Return the numbers of the faces (n, 3, 3) that the border may lie wholly within."""


@dataclass(frozen=True, slots=True)
class HalfSpace:
    """All places where ``normal`` · place is at most ``offset``."""

    normal: tuple[float, float, float]  # unit
    offset: float  # [m]
    slack: float  # [m]

    def sides(self, points: Floats) -> Ints:
        """Return (n,) -1 inside, 0 on the border, 1 outside."""
        beyond = points @ np.asarray(self.normal) - self.offset
        return np.where(np.abs(beyond) <= self.slack, 0, np.sign(beyond)).astype(np.int64)

    def crossings(self, start: Floats, end: Floats) -> list[list[float]]:
        """Return for each edge where the border crosses it, as shares of the way."""
        a, b = (points @ np.asarray(self.normal) - self.offset for points in (start, end))
        crossed = self.sides(start) * self.sides(end) < 0
        share = np.divide(a, a - b, out=np.zeros(len(a)), where=crossed)
        return [[s] if c else [] for s, c in zip(share.tolist(), crossed.tolist(), strict=True)]

    def pieces(self, loop: Loop, corners: Floats, places: Floats) -> Pieces:
        """Return how a face is divided: both pieces are convex."""
        inside: list[int | Floats] = [vertex for vertex, side in loop if side <= 0]
        outside: list[int | Floats] = [vertex for vertex, side in loop if side >= 0]
        return [inside], [outside]

    def islands(self, corners: Floats) -> Ints:
        """Return no faces: a plane ends nowhere."""
        return np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Ball:
    """All places nearer to ``centre`` than ``radius``."""

    centre: tuple[float, float, float]
    radius: float  # [m]

    def sides(self, points: Floats) -> Ints:
        """Return (n,) -1 inside, 1 outside."""
        return np.where(np.linalg.norm(points - self.centre, axis=1) < self.radius, -1, 1).astype(np.int64)

    def is_clear(self, start: Floats, end: Floats) -> bool:
        """Does no edge end on the border, or nearly touch it?"""
        along = end - start
        length = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
        share = np.clip(np.einsum("ij,ij->i", self.centre - start, along) / length, 0.0, 1.0)
        nearest = np.linalg.norm(start + share[:, None] * along - self.centre, axis=1)
        reach = [nearest, *(np.linalg.norm(points - self.centre, axis=1) for points in (start, end))]
        return bool(np.abs(np.concatenate(reach) - self.radius).min(initial=np.inf) > TOUCH * self.radius)

    def crossings(self, start: Floats, end: Floats) -> list[list[float]]:
        """Return for each edge where the border crosses it, as shares of the way, in order."""
        along, off = end - start, start - self.centre
        a = np.einsum("ij,ij->i", along, along)
        b = np.einsum("ij,ij->i", along, off)
        c = np.einsum("ij,ij->i", off, off) - self.radius**2
        root = np.sqrt(np.maximum(b * b - a * c, 0.0))
        both = np.stack([-b - root, -b + root], axis=1) / np.maximum(a, 1e-300)[:, None]
        real = (both > 0) & (both < 1) & ((b * b - a * c) > 0)[:, None]
        return [row[keep].tolist() for row, keep in zip(both, real, strict=True)]

    def pieces(self, loop: Loop, corners: Floats, places: Floats) -> Pieces:
        """Return how a face is divided: the inside is one convex piece, the outside one or more."""
        if all(side > 0 for _, side in loop):
            return self._island(loop, corners)
        first = next(k for k, (_, side) in enumerate(loop) if side > 0)
        turned = [*range(first, len(loop)), *range(first)]
        cuts = [k for k in turned if loop[k][1] == 0]  # by turns into the ball and out of it
        inside: list[int | Floats] = []
        outside: Polygons = []
        for enter, leave, again in zip(cuts[::2], cuts[1::2], [*cuts[2::2], cuts[0]], strict=True):
            arc = self._arc(corners, places[leave], places[again])
            inside += [*_between(loop, enter, leave), *arc]
            outside.append([*_between(loop, leave, again), *arc[::-1]])
        return [inside], outside

    def _island(self, loop: Loop, corners: Floats) -> Pieces:
        """Return a face that the whole circle lies within as two pieces, by a cut from the circle to each corner."""
        ring = self._circle(corners)
        order = [int(np.argmin([np.linalg.norm(point - corner) for point in ring])) for corner in corners]
        sectors: Polygons = []
        for k in range(3):
            begin, end = order[k], order[(k + 1) % 3]
            part = [ring[i % len(ring)] for i in range(begin, begin + (end - begin) % len(ring) + 1)]
            sectors.append([loop[k][0], loop[(k + 1) % 3][0], *part[::-1]])
        return [list(ring)], sectors

    def _circle(self, corners: Floats) -> list[Floats]:
        """Return the circle in the plane of a face, counter-clockwise."""
        middle, first, second, radius = self._section(corners)
        angles = 2 * np.pi * np.arange(ARC_STEPS) / ARC_STEPS
        return list(middle + radius * (np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second))

    def _arc(self, corners: Floats, start: Floats, end: Floats) -> list[Floats]:
        """Return the points of the circle between two of it, counter-clockwise, without the two."""
        middle, first, second, radius = self._section(corners)
        from_, to = (math.atan2((p - middle) @ second, (p - middle) @ first) for p in (start, end))
        turn = (to - from_) % (2 * math.pi)
        steps = math.ceil(turn / (2 * math.pi) * ARC_STEPS)
        angles = from_ + turn * np.arange(1, steps) / max(steps, 1)
        return list(middle + radius * (np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second))

    def _section(self, corners: Floats) -> tuple[Floats, Floats, Floats, float]:
        """Return centre, two axes and radius of the circle that the plane of a face cuts from the ball."""
        first = corners[1] - corners[0]
        first = first / np.linalg.norm(first)
        normal = np.cross(first, corners[2] - corners[0])
        normal /= np.linalg.norm(normal)
        away = float((corners[0] - self.centre) @ normal)
        radius = math.sqrt(max(self.radius**2 - away**2, 0.0))
        return np.asarray(self.centre) + away * normal, first, np.cross(normal, first), radius

    def islands(self, corners: Floats) -> Ints:
        """Return which faces (n, 3, 3) the whole circle lies within, none of their edges being met by the ball."""
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(normals, axis=1)
        away = np.einsum("ij,ij->i", corners[:, 0] - self.centre, normals) / np.maximum(length, 1e-300)
        within = (np.abs(away) < self.radius * (1 - TOUCH)) & (length > 0)
        for k in range(3):
            a, b = corners[:, k], corners[:, (k + 1) % 3]
            within &= np.einsum("ij,ij->i", np.cross(b - a, self.centre - a), normals) > 0
        return np.flatnonzero(within)


def _between(loop: Loop, first: int, last: int) -> list[int | Floats]:
    """Return the vertices from one place of a loop to another, round its end if need be."""
    count = (last - first) % len(loop)
    return [loop[(first + k) % len(loop)][0] for k in range(count + 1)]
