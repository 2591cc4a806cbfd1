"""`Work`: the faces under repair and what was done to them so far; and the words for places and counts."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.findings import Severity
from geom.repair.change import Change
from geom.surface.soundness import EdgeReport, EdgeRuns, edge_runs, report_of
from geom.wording import mm, mm2

MOST_MARKS = 200


@dataclass(frozen=True, eq=False)
class Work:
    """Faces on their way to a solid. Every step returns a new one, or the same where it had nothing to do."""

    vertices: Floats  # (n, 3) [m]
    faces: Ints  # (m, 3)
    source: Ints  # (m,) face of the file; -1: put in
    diagonal: float  # of the bounding box of the file [m]
    changes: tuple[Change, ...] = ()

    @cached_property
    def edges(self) -> EdgeReport:
        """The edges, sorted by what is wrong with them."""
        return report_of(self.runs)

    @cached_property
    def runs(self) -> EdgeRuns:
        """The half-edges, edge by edge."""
        return edge_runs(self.faces)

    @cached_property
    def open_corners(self) -> Ints:
        """(k,) vertices of open edges."""
        is_open = np.zeros(len(self.vertices), dtype=np.bool_)
        is_open[self.edges.open] = True
        return np.flatnonzero(is_open)

    @cached_property
    def area_vectors(self) -> Floats:
        """(m, 3) normal times area [m²]."""
        from geom.surface.soundness_kernels import area_vectors

        vectors = np.zeros((len(self.faces), 3))
        area_vectors(np.ascontiguousarray(self.vertices), np.ascontiguousarray(self.faces), vectors)
        return vectors

    @cached_property
    def areas(self) -> Floats:
        """(m,) [m²]."""
        return np.asarray(np.sqrt(np.einsum("ij,ij->i", self.area_vectors, self.area_vectors)))

    @property
    def area(self) -> float:
        """Total [m²]."""
        return float(self.areas.sum())

    @cached_property
    def volumes(self) -> Floats:
        """(m,) volume between each face and the middle of the vertices, with sign [m³]; their sum is that enclosed."""
        reach = self.vertices[self.faces[:, 0]] - self.vertices.mean(axis=0)
        return np.asarray(np.einsum("ij,ij->i", reach, self.area_vectors) / 3, dtype=np.float64)

    def middles(self, faces: Ints | Bools) -> Floats:
        """(k, 3) centroids of some faces [m]."""
        return np.asarray(self.vertices[self.faces[faces]].mean(axis=1), dtype=np.float64)

    def place(self, face: int) -> Floats:
        """(3,) centroid of one face [m]."""
        return np.asarray(self.vertices[self.faces[face]].mean(axis=0), dtype=np.float64)

    def with_changes(self, *changes: Change) -> Self:
        """Return the same faces, with more said about them."""
        return replace(self, changes=(*self.changes, *changes))

    def without(self, dropped: Bools, *changes: Change) -> Self:
        """Return what is left when some faces (m,) go."""
        keep = ~dropped
        return replace(self, faces=self.faces[keep], source=self.source[keep], changes=(*self.changes, *changes))

    def with_faces(self, vertices: Floats, faces: Ints, source: Ints, *changes: Change) -> Self:
        """Return the work with other faces."""
        return replace(self, vertices=vertices, faces=faces, source=source, changes=(*self.changes, *changes))

    def compacted(self) -> Self:
        """Return the same faces on the vertices they use."""
        used = np.zeros(len(self.vertices), dtype=np.bool_)
        used[self.faces] = True
        if used.all():
            return self
        number = np.cumsum(used) - 1
        return replace(self, vertices=self.vertices[used], faces=number[self.faces])

    def share(self, area: float) -> str:
        """Say an area, and what share of the whole it is."""
        whole = self.area
        share = f", {abs(area) / whole * 100:.3g} % of the area" if whole > 0 else ""
        return f"{mm2(abs(area))}{share}"


def warned(code: str, message: str, faces: int, area: float, place: Floats) -> Change:
    """Return a change to be read before plating."""
    x, y, z = (float(coordinate) for coordinate in place)
    return Change(Severity.WARNING, code, message, int(faces), float(area), (x, y, z))


def noted(code: str, message: str, faces: int, place: Floats) -> Change:
    """Return a change of no consequence."""
    x, y, z = (float(coordinate) for coordinate in place)
    return Change(Severity.NOTE, code, message, int(faces), 0.0, (x, y, z))


def count(number: int, noun: str) -> str:
    """Say how many: "1 edge", "2 edges"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def at(point: Floats) -> str:
    """Say where."""
    return "(" + ", ".join(mm(float(coordinate)) for coordinate in point) + ") mm"


def marks(points: Floats) -> tuple[tuple[float, float, float], ...]:
    """Return places (k, 3) [m] for a picture, thinned out evenly where there are very many."""
    step = -(-len(points) // MOST_MARKS) or 1
    return tuple((float(x), float(y), float(z)) for x, y, z in points[::step])
