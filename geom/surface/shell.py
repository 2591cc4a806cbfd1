"""`Shell`: sews rings, bands and flat polygons into one closed surface, sharing vertices by index.

Nothing is welded afterwards: two pieces meet exactly because they name the same vertices.
"""

from collections.abc import Sequence

import numpy as np

from geom.arrays import Floats, Ints
from geom.surface.surface import Surface


class Shell:
    """A surface under construction: add points, then the bands and flats that hang on them."""

    def __init__(self) -> None:
        self._points: list[Floats] = []
        self._faces: list[Ints] = []
        self._tags: list[Ints] = []
        self._count = 0

    def add(self, points: Floats) -> Ints:
        """Add vertices (n, 3) [m]; return their indices (n,)."""
        self._points.append(np.asarray(points, dtype=np.float64).reshape(-1, 3))
        first, self._count = self._count, self._count + len(self._points[-1])
        return np.arange(first, self._count, dtype=np.int64)

    def band(self, low: Ints, high: Ints, tag: int | Ints, *, only: Ints | None = None) -> None:
        """Join two closed rings of equally many vertices by quads, each cut into two faces.

        Outward is to the right of the ring's direction when ``high`` is up. Quad ``i`` starts at vertex
        ``i``; ``tag`` is one number or one for each quad; ``only`` names the quads to make (default: all).
        A quad whose upper or lower side has no length becomes one face.
        """
        at = np.arange(len(low)) if only is None else only
        tags = np.broadcast_to(np.asarray(tag, dtype=np.int64), (len(low),))[at]
        a, b, c, d = low[at], np.roll(low, -1)[at], np.roll(high, -1)[at], high[at]
        for faces in (np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)):
            real = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
            self._faces.append(faces[real])
            self._tags.append(tags[real])

    def flat(self, outer: Ints, holes: Sequence[Ints], tag: int) -> None:
        """Fill a plane polygon; ``outer`` counter-clockwise seen from outside, ``holes`` clockwise."""
        points = np.concatenate(self._points)
        faces = triangulate(points, [outer, *holes])
        self._faces.append(faces)
        self._tags.append(np.full(len(faces), tag, dtype=np.int64))

    def surface(self) -> Surface:
        """Return what was built."""
        return Surface(np.concatenate(self._points), np.concatenate(self._faces), np.concatenate(self._tags))


def area_vector(ring: Floats) -> Floats:
    """Area vector (3,) of a closed ring of points (n, 3), by Newell's sum [m²]."""
    spokes = ring - ring[0]
    return np.asarray(0.5 * np.cross(spokes, np.roll(spokes, -1, axis=0)).sum(axis=0), dtype=np.float64)


def triangulate(points: Floats, rings: Sequence[Ints]) -> Ints:
    """Triangles (k, 3) filling a plane polygon with holes.

    Every vertex of ``rings`` is used, also one in the middle of a straight side, so that a neighbour
    across that side finds it.

    Parameters
    ----------
    points : (n, 3) [m]
    rings : indices into ``points``, the outer ring first and counter-clockwise, holes clockwise
    """
    import manifold3d

    normal = area_vector(points[rings[0]])
    normal /= np.linalg.norm(normal)
    along = np.eye(3)[np.argmin(np.abs(normal))]
    first = np.cross(along, normal)
    first /= np.linalg.norm(first)
    basis = np.stack([first, np.cross(normal, first)], axis=1)
    origin = points[rings[0][0]]
    flat = [np.ascontiguousarray((points[ring] - origin) @ basis) for ring in rings]
    index = np.concatenate(rings)
    return np.asarray(index[np.asarray(manifold3d.triangulate(flat), dtype=np.int64)], dtype=np.int64)
