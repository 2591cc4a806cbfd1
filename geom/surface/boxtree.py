"""`BoxTree`: the nearest segment or triangle to a place, and the first one along a ray."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.surface import boxtree_kernels as kernels


@dataclass(frozen=True, eq=False)
class BoxTree:
    """Segments or triangles sorted by place, with the boxes of a binary tree over them."""

    corners: Floats  # (n, 2 or 3, 3) ends or corners of the items, in the order of the tree [m]
    number: Ints  # (n,) row of each in the array that the tree was made from
    kind: Ints  # (n,) a label by which a search may be narrowed
    low: Floats  # (nodes, 3)
    high: Floats  # (nodes, 3)

    def nearest(
        self, places: Floats, reach: Floats | float = np.inf, kind: Ints | int = -1
    ) -> tuple[Ints, Floats, Floats]:
        """Return, for each place (n, 3), the row of the nearest item, its distance [m] and the point on it (n, 3).

        Only items within ``reach`` [m] and, where ``kind`` is not negative, of that kind; else the row is -1 and
        the distance infinite.
        """
        places = np.array(places, dtype=np.float64)
        row, foot = kernels.nearest_items(
            places,
            np.array(np.broadcast_to(np.asarray(reach, dtype=np.float64), len(places))),
            np.array(np.broadcast_to(np.asarray(kind, dtype=np.int64), len(places))),
            self.corners,
            self.kind,
            self.low,
            self.high,
        )
        distance = np.where(row >= 0, np.linalg.norm(places - foot, axis=1), np.inf)
        return np.where(row >= 0, self.number[row], -1), distance, foot

    def along_rays(self, places: Floats, ways: Floats, least: float, most: float) -> Floats:
        """Return how far along unit vectors ``ways`` (n, 3) the first triangle lies, inf beyond ``most`` [m]."""
        tree = (self.corners, self.low, self.high)
        found = kernels.first_crossings(np.array(places), np.array(ways), float(least), float(most), tree)
        return np.asarray(found, dtype=np.float64)


def box_tree(corners: Floats, kind: Ints | None = None) -> BoxTree:
    """Return the tree over segments (n, 2, 3) or triangles (n, 3, 3) [m]."""
    middle = np.asarray(corners, dtype=np.float64).mean(axis=1)
    low = middle.min(axis=0, initial=np.inf)
    step = max(float((middle.max(axis=0, initial=-np.inf) - low).max()), 1e-300) / 1024
    order = np.argsort(kernels.curve_codes(middle, low, step), kind="stable")
    leaves = 1
    while leaves * kernels.LEAF < len(order):
        leaves *= 2
    sorted_corners = np.ascontiguousarray(np.asarray(corners, dtype=np.float64)[order])
    kinds = np.zeros(len(order), dtype=np.int64) if kind is None else np.asarray(kind, dtype=np.int64)[order]
    return BoxTree(sorted_corners, order.astype(np.int64), kinds, *kernels.boxes(sorted_corners, leaves))
