"""From one value a face to its means over the quarters of each face: what lies between the centroids, recovered."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse import csr_array

from geom.arrays import Bools, Floats, Ints
from geom.surface.recovery_kernels import quarter_weights
from geom.surface.surface import Surface

WIDEST = 0.6
"""Share of a face's value by which its quarters may differ from it where it borders on an edge."""


@dataclass(frozen=True, eq=False)
class Recovery:
    """The quarters of the faces of one surface; a patch (faces of one tag) is smooth, beyond it the values jump.

    A quadratic is fitted to the values round each face, as in the patch recovery of Zienkiewicz & Zhu, Int. J.
    Numer. Methods Eng. 33 (1992) 1331 (from memory). Within a patch no quarter goes beyond the values of the
    neighbours; at its border it may, for there the values run away.
    """

    surface: Surface
    edge: Bools | None = None  # (n,) faces that touch a line, no border between tags, along which values run away

    def quarters(self, values: Floats) -> Floats:
        """Return (n, 4) means over the middle quarter and the three corner quarters; their sum over areas is kept."""
        found = np.asarray(self._weights @ values).reshape(-1, 4)
        starts, near = self._neighbours
        ring = values[near]
        low, high = np.minimum.reduceat(ring, starts[:-1]), np.maximum.reduceat(ring, starts[:-1])
        reach = WIDEST * np.abs(values)
        low = np.where(self._at_border, values - reach, low)
        high = np.where(self._at_border, values + reach, high)
        found = np.clip(found, low[:, None], high[:, None])
        areas = self.surface.areas
        whole, new = float(areas @ values), float(areas @ found.mean(axis=1))
        return np.asarray(found * (whole / new)) if new * whole > 0 else found

    def raw_means(self, values: Floats) -> Floats:
        """Return (n,) means over the faces by the quadratics alone: how far they lie off the values tells the error."""
        return np.asarray(np.asarray(self._weights @ values).reshape(-1, 4).mean(axis=1), dtype=np.float64)

    @cached_property
    def _touching(self) -> Any:
        """Which faces share a corner with which (n, n)."""
        faces = self.surface.faces
        ones = np.ones(faces.size)
        corner = csr_array(
            (ones, (np.repeat(np.arange(len(faces)), 3), faces.reshape(-1))),
            shape=(len(faces), len(self.surface.vertices)),
        )
        return csr_array(corner @ corner.T)

    @cached_property
    def _weights(self) -> Any:
        surface = self.surface
        near = csr_array(self._touching @ self._touching)
        most = 4 * (near.nnz + len(surface.faces))
        rows, columns = np.zeros(most, dtype=np.int32), np.zeros(most, dtype=np.int32)
        weights = np.zeros(most)
        count = quarter_weights(
            near.indptr,
            near.indices,
            np.array(surface.centroids),
            np.array(surface.normals),
            np.array(surface.tag),
            np.array(surface.corners),
            rows,
            columns,
            weights,
        )
        shape = (4 * len(surface.faces), len(surface.faces))
        return csr_array((weights[:count], (rows[:count], columns[:count])), shape=shape)

    @cached_property
    def _neighbours(self) -> tuple[Ints, Ints]:
        """Offsets, and the faces of the same patch that share a corner with each face, itself among them."""
        touching = self._touching.tocoo()
        tag = self.surface.tag
        same = tag[touching.row] == tag[touching.col]
        order = np.argsort(touching.row[same], kind="stable")
        count = np.bincount(touching.row[same], minlength=len(tag))
        return np.concatenate([[0], np.cumsum(count)]), touching.col[same][order]

    @cached_property
    def _at_border(self) -> Bools:
        """(n,) does the face touch the border of its patch?"""
        faces, tag = self.surface.faces, np.repeat(self.surface.tag, 3)
        low = np.full(len(self.surface.vertices), np.iinfo(np.int64).max)
        high = np.full(len(self.surface.vertices), -1)
        np.minimum.at(low, faces.reshape(-1), tag)
        np.maximum.at(high, faces.reshape(-1), tag)
        border = low != high
        found = np.asarray(border[faces].any(axis=1))
        return found if self.edge is None else found | self.edge
