"""The layers of one group of panels at the centroids of another: near pairs of clusters in full, far ones compressed."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geom.arrays import Floats, Ints
from geom.bem.block_kernels import MOST_RANK, cross_pivots, far_values, fill_far, fill_near, gathered, pairs_apart
from geom.bem.tree import Tree, grown

NEARNESS = 1.5
"""Far apart: the narrower cluster is at most so many times as wide as the distance between the two."""
CROSS_ACCURACY = 1e-4
"""Of the compressed blocks, relative to each."""

Matrix = NDArray[Any]


@dataclass(frozen=True, eq=False)
class Group:
    """Panels of one kind in the order of their tree."""

    panels: Ints  # (n,) rows among all panels, in tree order
    tree: Tree
    centroids: Floats  # (n, 3) in tree order, as all below
    places: Floats  # (3, n) the same
    corners: Floats  # (n, 3, 3)
    normals: Floats  # (n, 3)
    areas: Floats  # (n,)
    radii: Floats  # (n,) of each panel round its centroid
    charged: bool  # do these panels carry current?


def group_of(
    panels: Ints,
    centroids: Floats,
    corners: Floats,
    normals: Floats,
    areas: Floats,
    radii: Floats,
    *,
    charged: bool,
    like: Tree | None = None,
) -> Group:
    """Return the group of ``panels``; all arrays are of the whole cell. ``like``: the tree of the same panels elsewhere."""
    tree = grown(centroids[panels], radii[panels]) if like is None else like
    own = panels[tree.order]
    return Group(
        own,
        tree,
        centroids[own],
        np.ascontiguousarray(centroids[own].T),
        corners[own],
        normals[own],
        areas[own],
        radii[own],
        charged,
    )


@dataclass(frozen=True, eq=False)
class _Full:
    """Blocks kept in full."""

    blocks: Ints  # (k, 4) first and past the last row place, first and past the last column place
    at: Ints  # (k,) where each begins in the flat arrays
    double: Matrix
    single: Matrix  # empty where the columns carry no current
    of: Ints  # (leaves + 1,) where each row leaf's share of `listed` begins
    listed: Ints  # blocks leaf by leaf


@dataclass(frozen=True, eq=False)
class _Thin:
    """Compressed blocks: ``u`` times the layers at the pivots."""

    blocks: Ints
    rank: Ints  # (k,)
    at_u: Ints
    at_w: Ints
    at_t: Ints  # where the pivots of each block begin
    pivots: int  # of all blocks
    u: Matrix
    double: Matrix
    single: Matrix
    of: Ints
    listed: Ints


@dataclass(frozen=True, eq=False)
class Layers:
    """Single and double layer of the panels ``columns`` at the centroids of the panels ``rows``."""

    leaf_start: Ints
    leaf_stop: Ints
    full: _Full
    thin: _Thin

    @property
    def entries(self) -> int:
        """Numbers stored."""
        parts = (self.full.double, self.full.single, self.thin.u, self.thin.double, self.thin.single)
        return sum(len(part) for part in parts)

    def add(self, phi: Matrix, flux: Matrix, out: Matrix) -> None:
        """Add double times ``phi`` plus single times ``flux`` (both (2, columns)) to ``out`` (2, rows), in tree order."""
        full, thin = self.full, self.thin
        values = np.zeros((2, max(thin.pivots, 1)), dtype=out.dtype)
        far_values(thin.blocks, thin.rank, thin.at_w, thin.at_t, thin.double, thin.single, phi, flux, values)
        gathered(
            self.leaf_start, self.leaf_stop,
            full.of, full.listed, full.blocks, full.at, full.double, full.single,
            thin.of, thin.listed, thin.blocks, thin.rank, thin.at_u, thin.at_t, thin.u,
            values, phi, flux, out,
        )  # fmt: skip


def layers(rows: Group, columns: Group, *, compress: bool, dtype: type, accuracy: float = CROSS_ACCURACY) -> Layers:
    """Return the layers of ``columns`` at the centroids of ``rows``."""
    leaves = rows.tree.leaves
    if compress:
        near, far = pairs_apart(
            rows.tree.child, rows.tree.centre, rows.tree.radius,
            columns.tree.child, columns.tree.centre, columns.tree.radius, NEARNESS,
        )  # fmt: skip
    else:
        near, far = np.stack([leaves, np.zeros_like(leaves)], axis=1), np.zeros((0, 2), dtype=np.int64)
    return Layers(
        rows.tree.start[leaves],
        rows.tree.stop[leaves],
        _full(rows, columns, near, dtype),
        _thin(rows, columns, far, dtype, accuracy),
    )


def _blocks(rows: Group, columns: Group, pairs: Ints) -> Ints:
    a, b = pairs[:, 0], pairs[:, 1]
    return np.stack(
        [rows.tree.start[a], rows.tree.stop[a], columns.tree.start[b], columns.tree.stop[b]], axis=1
    ).astype(np.int64)


def _offsets(sizes: Ints) -> Ints:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


def _by_leaf(tree: Tree, clusters: Ints) -> tuple[Ints, Ints]:
    """Return, leaf by leaf, which of the blocks with these row ``clusters`` hold it: offsets and list."""
    leaves = tree.leaves
    first = np.searchsorted(tree.start[leaves], tree.start[clusters])
    count = np.searchsorted(tree.start[leaves], tree.stop[clusters]) - first
    block = np.repeat(np.arange(len(clusters)), count)
    leaf = np.repeat(first, count) + np.arange(count.sum()) - np.repeat(_offsets(count)[:-1], count)
    order = np.argsort(leaf, kind="stable")
    return _offsets(np.bincount(leaf, minlength=len(leaves))), block[order]


def _full(rows: Group, columns: Group, pairs: Ints, dtype: type) -> _Full:
    blocks = _blocks(rows, columns, pairs)
    at = _offsets((blocks[:, 1] - blocks[:, 0]) * (blocks[:, 3] - blocks[:, 2]))
    double = np.zeros(at[-1], dtype=dtype)
    single = np.zeros(at[-1] if columns.charged else 0, dtype=dtype)
    fill_near(
        rows.centroids, columns.places, columns.centroids, columns.corners, columns.normals, columns.areas, columns.radii,
        blocks, at, rows is columns, double, single,
    )  # fmt: skip
    return _Full(blocks, at, double, single, *_by_leaf(rows.tree, pairs[:, 0]))


def _thin(rows: Group, columns: Group, pairs: Ints, dtype: type, accuracy: float) -> _Thin:
    blocks = _blocks(rows, columns, pairs)
    rank = np.zeros(len(blocks), dtype=np.int64)
    pivots = np.zeros((len(blocks), MOST_RANK), dtype=np.int32)
    cross_pivots(rows.centroids, columns.centroids, columns.normals, columns.charged, blocks, accuracy, rank, pivots)
    at_u = _offsets((blocks[:, 1] - blocks[:, 0]) * rank)
    at_w = _offsets((blocks[:, 3] - blocks[:, 2]) * rank)
    at_t = _offsets(rank)
    u = np.zeros(at_u[-1], dtype=dtype)
    double = np.zeros(at_w[-1], dtype=dtype)
    single = np.zeros(at_w[-1] if columns.charged else 0, dtype=dtype)
    fill_far(
        rows.centroids, columns.places, columns.centroids, columns.corners, columns.normals, columns.areas, columns.radii,
        blocks, accuracy, rank, pivots, at_u, at_w, u, double, single,
    )  # fmt: skip
    return _Thin(blocks, rank, at_u, at_w, at_t, int(at_t[-1]), u, double, single, *_by_leaf(rows.tree, pairs[:, 0]))
