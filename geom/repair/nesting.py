"""Closed bodies among each other: which boxes meet, and which body lies inside which."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.repair import intersection_kernels as kernels
from geom.surface.solid import winding_number
from geom.surface.surface import Surface

MOST_PAIRS = 1_000_000
"""Pairs of crossing faces, or of bodies in each other's boxes, that are still sorted out: some ten seconds' work."""

PLACES = 4  # of each body, spread over its faces
WEIGHTS = np.array([0.4142, 0.3229, 0.2629])  # no place of symmetry: rays from it rarely graze an edge


@dataclass(frozen=True, eq=False)
class Bodies:
    """Faces sorted by the closed body they belong to."""

    vertices: Floats  # (n, 3) [m]
    faces: Ints  # (m, 3), those of body 0 first
    start: Ints  # (bodies + 1,) first row of each

    def __len__(self) -> int:
        return len(self.start) - 1

    @cached_property
    def corners(self) -> Floats:
        """(m, 3, 3) corners of the faces [m]."""
        return np.asarray(self.vertices[self.faces], dtype=np.float64)

    @cached_property
    def box(self) -> tuple[Floats, Floats]:
        """Lowest and highest corner (bodies, 3) of each body [m]."""
        low = np.minimum.reduceat(self.corners.min(axis=1), self.start[:-1], axis=0)
        return low, np.maximum.reduceat(self.corners.max(axis=1), self.start[:-1], axis=0)

    @cached_property
    def vectors(self) -> Floats:
        """(m, 3) area vectors of the faces [m²]."""
        a, b, c = (self.corners[:, k] for k in range(3))
        return np.asarray(0.5 * np.cross(b - a, c - a), dtype=np.float64)

    @cached_property
    def area(self) -> Floats:
        """(bodies,) surface of each [m²]."""
        areas = np.sqrt(np.einsum("ij,ij->i", self.vectors, self.vectors))
        return np.asarray(np.add.reduceat(areas, self.start[:-1]), dtype=np.float64)

    @cached_property
    def volume(self) -> Floats:
        """(bodies,) volume of each, negative where it is wound inside out [m³]."""
        first = np.repeat(self.corners[self.start[:-1], 0], np.diff(self.start), axis=0)
        parts = np.einsum("ij,ij->i", self.corners[:, 0] - first, self.vectors) / 3
        return np.asarray(np.add.reduceat(parts, self.start[:-1]), dtype=np.float64)

    def place(self, body: int) -> tuple[float, float, float]:
        """Return a corner of a body, as a place to show [m]."""
        x, y, z = self.corners[self.start[body], 0].tolist()
        return x, y, z

    def selected(self, body: int) -> Surface:
        """Return one body as a surface whose tags are rows of ``faces``."""
        rows = np.arange(self.start[body], self.start[body + 1])
        used, faces = np.unique(self.faces[rows], return_inverse=True)
        return Surface(self.vertices[used], faces.reshape(-1, 3), rows)


def sorted_bodies(vertices: Floats, faces: Ints, body: Ints) -> tuple[Bodies, Ints]:
    """Return the bodies numbered 0, 1, … in ``body`` (m,), and the row (m,) that each sorted face had."""
    order = np.argsort(body, kind="stable")
    count = int(body.max(initial=-1)) + 1
    start = np.searchsorted(body[order], np.arange(count + 1))
    return Bodies(np.asarray(vertices, dtype=np.float64), faces[order], start.astype(np.int64)), order


def meeting_boxes(bodies: Bodies, room: float, most: int) -> Ints:
    """Return the pairs (k, 2), first the lower number, of bodies whose boxes come within ``room`` [m].

    Stops when there are ``most`` of them or more.
    """
    if len(bodies) < 2:
        return np.zeros((0, 2), dtype=np.int64)
    low, high = bodies.box
    order = np.argsort(low[:, 0], kind="stable")
    low, high = low[order] - room, high[order]
    until = np.searchsorted(low[:, 0], high[:, 0], side="right")
    found, number = [np.zeros((0, 2), dtype=np.int64)], 0
    for i in np.flatnonzero(until > np.arange(len(order)) + 1):
        later = slice(i + 1, until[i])
        apart = (low[later] > high[i]).any(axis=1) | (high[later] < low[i]).any(axis=1)
        other = np.flatnonzero(~apart) + i + 1
        found.append(np.stack([np.full(len(other), i), other], axis=1))
        number += len(other)
        if number >= most:
            break
    return np.sort(order[np.concatenate(found)], axis=1)


def wraps(bodies: Bodies, inner: Ints, outer: Ints, places: int = PLACES) -> Ints:
    """Return how often ``outer[i]`` wraps each of some places of ``inner[i]``: (k, places), 0 outside."""
    if not len(inner):
        return np.zeros((0, places), dtype=np.int64)
    rows = bodies.start[inner][:, None] + (np.diff(bodies.start)[inner][:, None] * np.arange(places)) // places
    place = np.einsum("ijkl,k->ijl", bodies.corners[rows], WEIGHTS).reshape(-1, 3)
    wanted = np.repeat(outer, places)
    low, high = bodies.box
    near = np.flatnonzero(((place >= low[wanted]) & (place <= high[wanted])).all(axis=1))
    close = 1e-12 * float(np.square(high.max(axis=0) - low.min(axis=0)).sum())
    count, doubt = kernels.windings_above(place[near], wanted[near], bodies.vertices, bodies.faces, bodies.start, close)
    for k in np.flatnonzero(doubt):
        count[k] = round(winding_number(bodies.selected(int(wanted[near[k]])), place[near[k]]))
    out = np.zeros(len(place), dtype=np.int64)
    out[near] = count
    return out.reshape(-1, places)


def is_within(bodies: Bodies, inner: Ints, outer: Ints) -> Bools:
    """Which bodies ``inner`` have their box within that of ``outer``? Only they can lie inside it."""
    if not len(inner):
        return np.zeros(0, dtype=np.bool_)
    low, high = bodies.box
    return np.asarray(((low[inner] >= low[outer]) & (high[inner] <= high[outer])).all(axis=1), dtype=np.bool_)
