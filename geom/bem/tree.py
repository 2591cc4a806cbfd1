"""A cluster tree over panels: halved along the longest side, each cluster within a sphere.

Spheres, not boxes: they stay what they are when the panels are turned as a rigid body, and with them the split
into near and far pairs.
"""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints

LEAF = 64
"""Most panels of a cluster that is not halved again."""


@dataclass(frozen=True, eq=False)
class Tree:
    """Clusters of places; cluster 0 holds all of them."""

    order: Ints  # (n,) which panel stands at each place, so that every cluster is a run of places
    start: Ints  # (clusters,) first place of each cluster
    stop: Ints  # (clusters,) one past its last
    child: Ints  # (clusters, 2) its halves, -1 where it is not halved
    centre: Floats  # (clusters, 3) [m]
    radius: Floats  # (clusters,) of a sphere round its panels [m]

    @property
    def leaves(self) -> Ints:
        """Clusters that are not halved, in the order of their places."""
        leaf = np.flatnonzero(self.child[:, 0] < 0)
        return leaf[np.argsort(self.start[leaf])]


def grown(centroids: Floats, reach: Floats, leaf: int = LEAF) -> Tree:
    """Return the tree of panels with ``centroids`` (n, 3) that reach so far (n,) from them [m]."""
    order = np.arange(len(centroids))
    start, stop, child = [0], [len(centroids)], [[-1, -1]]
    centre, radius = [], []
    at = 0
    while at < len(start):
        rows = order[start[at] : stop[at]]
        here = centroids[rows]
        low, high = here.min(axis=0), here.max(axis=0)
        middle = 0.5 * (low + high)
        centre.append(middle)
        radius.append(float((np.linalg.norm(here - middle, axis=1) + reach[rows]).max()))
        if len(rows) > leaf:
            half = len(rows) // 2
            order[start[at] : stop[at]] = rows[np.argpartition(here[:, int(np.argmax(high - low))], half)]
            child[at] = [len(start), len(start) + 1]
            start += [start[at], start[at] + half]
            stop += [start[at] + half, stop[at]]
            child += [[-1, -1], [-1, -1]]
        at += 1
    return Tree(order, np.array(start), np.array(stop), np.array(child), np.array(centre), np.array(radius))
