"""`Surface`: triangles in space that remember where they came from."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.arrays import Floats, Ints, frozen


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles in space, in metres, wound counter-clockwise as seen from outside the solid.

    ``tag`` is one integer for each face that travels with it through every edit: the index of a
    feature, of a body, or of a face of the file, as its maker says.
    """

    vertices: Floats  # (n, 3) corner positions [m]
    faces: Ints  # (m, 3) rows of vertices
    tag: Ints  # (m,)
    smooth: tuple[int, ...] = ()  # tags within which no edge is sharp, whatever the faces that stand for them say

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64).reshape(-1, 3))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64).reshape(-1, 3))
        object.__setattr__(self, "tag", frozen(self.tag, np.int64).reshape(-1))
        if len(self.tag) != len(self.faces):
            raise ValueError(f"{len(self.tag)} tags for {len(self.faces)} faces")

    @cached_property
    def corners(self) -> Floats:
        """(m, 3, 3) the three corners of each face [m]."""
        return frozen(self.vertices[self.faces], np.float64)

    @cached_property
    def area_vectors(self) -> Floats:
        """(m, 3) outward normal times area [m²]."""
        a, b, c = self.corners[:, 0], self.corners[:, 1], self.corners[:, 2]
        return frozen(0.5 * np.cross(b - a, c - a), np.float64)

    @cached_property
    def areas(self) -> Floats:
        """(m,) face areas [m²]."""
        return frozen(np.linalg.norm(self.area_vectors, axis=1), np.float64)

    @cached_property
    def normals(self) -> Floats:
        """(m, 3) unit outward normals; zero for a face without area."""
        areas = self.areas[:, None]
        return frozen(
            np.divide(self.area_vectors, areas, out=np.zeros_like(areas * np.ones(3)), where=areas > 0),
            np.float64,
        )

    @cached_property
    def centroids(self) -> Floats:
        """(m, 3) face centroids [m]."""
        return frozen(self.corners.mean(axis=1), np.float64)

    @property
    def area(self) -> float:
        """Total area [m²]."""
        return float(self.areas.sum())

    @property
    def volume(self) -> float:
        """Enclosed volume by the divergence theorem [m³]; meaningful for a closed surface."""
        return float((self.centroids * self.area_vectors).sum() / 3.0)

    @property
    def bounds(self) -> Floats:
        """(2, 3) lowest and highest corner of the bounding box [m]."""
        named = np.zeros(len(self.vertices), dtype=np.bool_)
        named[self.faces] = True
        used = self.vertices[named]
        return np.stack([used.min(axis=0), used.max(axis=0)])

    def moved(self, rotation: Floats, translation: Floats) -> "Surface":
        """Return the surface turned by ``rotation`` (3, 3), then shifted by ``translation`` (3,) [m]."""
        return Surface(self.vertices @ np.asarray(rotation).T + np.asarray(translation), self.faces, self.tag)

    def selected(self, mask: "np.ndarray[tuple[int], np.dtype[np.bool_]]") -> "Surface":
        """Return the faces where ``mask`` (m,) is true, on their own vertices."""
        used, faces = np.unique(self.faces[mask], return_inverse=True)
        return Surface(self.vertices[used], faces.reshape(-1, 3), self.tag[mask])
