"""The operators of one geometry: kept, they serve any number of solves."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from geom.arrays import Floats, Ints
from geom.bem.blocks import Blocks, blocks_of
from geom.bem.compressed import Group, Layers, group_of, layers
from geom.bem.kernels import layer_blocks

COMPRESS_FROM = 400_000
"""Pairs of panel groups with fewer entries than this are kept in full."""
SAME = 1e-9  # share of the body's width by which two copies of it may differ and still be one shape


class Triangles(Protocol):
    """What the assembly needs to know of the panels."""

    @property
    def corners(self) -> Floats:
        """(n, 3, 3) [m]"""

    @property
    def centroids(self) -> Floats:
        """(n, 3) [m]"""

    @property
    def normals(self) -> Floats:
        """(n, 3), out of the electrolyte"""

    @property
    def areas(self) -> Floats:
        """(n,) [m²]"""


@dataclass(frozen=True, eq=False)
class Operators:
    """``free * phi + double @ phi = single @ dphi/dn`` at the centroids of all panels.

    ``free`` is set from the row sums of ``double``, so that a constant potential is an exact solution. The layers
    are held group by group, each pair of groups on its own, so that a pair may outlive a move of the others.
    """

    groups: tuple[Group, ...]
    pairs: tuple[tuple[Layers, ...], ...]  # [rows][columns]
    free: Floats  # (n,) near 1/2
    electrodes: Ints  # (electrode panels,) the panels that carry current
    areas: Floats  # (n,) [m²]
    enclosed: bool
    blocks: Blocks  # near neighbours, for the preconditioner
    near_double: Floats  # (blocks, size, size)
    near_single: Floats  # (blocks, size, size) [m]
    dtype: type

    @property
    def gauss_error(self) -> float:
        """Largest departure of a row sum from what Gauss's theorem says for smooth closed panels."""
        return float(np.abs(self.free - 0.5).max())

    @property
    def entries(self) -> int:
        """Numbers stored for all pairs; full matrices would hold n * (n + electrode panels)."""
        return sum(pair.entries for row in self.pairs for pair in row)

    @cached_property
    def column(self) -> Ints:
        """(n,) place of each panel among the electrode panels, -1 on insulators."""
        column = np.full(len(self.areas), -1, dtype=np.int64)
        column[self.electrodes] = np.arange(len(self.electrodes))
        return column

    def product(self, potential: Floats, flux: Floats) -> Floats:
        """Return ``free * potential + double @ potential + single @ flux`` for (n, 2) potentials and (k, 2) fluxes."""
        return self.free[:, None] * potential + _layers_times(self, potential, flux, self.dtype)

    def double_layer(self, potential: Floats) -> Floats:
        """Return ``free * potential + double @ potential`` for (n, 2) potentials."""
        return self.product(potential, np.zeros((len(self.electrodes), 2)))

    def matrices(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return double (n, n) and single (n, k) written out, two columns at a time: for tests on small cells."""
        n, k = len(self.areas), len(self.electrodes)
        double, single = np.zeros((n, n)), np.zeros((n, k))
        for j in range(n):
            unit = np.zeros((n, 2))
            unit[j, 0] = 1.0
            flux = np.zeros((k, 2))
            if self.column[j] >= 0:
                flux[self.column[j], 1] = 1.0
            both = _layers_times(self, unit, flux, np.float64)
            double[:, j] = both[:, 0]
            if self.column[j] >= 0:
                single[:, self.column[j]] = both[:, 1]
        return double, single


def _layers_times(operators: "Operators", potential: Floats, flux: Floats, dtype: type) -> Floats:
    """Return the layers alone times potential and flux, summed in ``dtype``."""
    return _times(operators.groups, operators.pairs, operators.column, potential, flux, dtype)


def _times(
    groups: Sequence[Group],
    pairs: Sequence[Sequence[Layers]],
    column: Ints,
    potential: Floats,
    flux: Floats,
    dtype: type,
) -> Floats:
    nothing: NDArray[Any] = np.zeros((2, 1), dtype=dtype)
    phis: list[NDArray[Any]] = [np.ascontiguousarray(potential[group.panels].T, dtype=dtype) for group in groups]
    fluxes = [
        np.ascontiguousarray(flux[column[group.panels]].T, dtype=dtype) if group.charged else nothing
        for group in groups
    ]
    result = np.zeros((len(potential), 2))
    for rows, row_pairs in zip(groups, pairs, strict=True):
        out: NDArray[Any] = np.zeros((2, len(rows.panels)), dtype=dtype)
        for pair, phi, own_flux in zip(row_pairs, phis, fluxes, strict=True):
            pair.add(phi, own_flux, out)
        result[rows.panels] = out.T
    return result


def assemble(
    panels: Triangles,
    electrode_panels: Ints,
    *,
    enclosed: bool = True,
    dtype: type = np.float32,
    body: Ints | None = None,
    mates: Ints | None = None,
    kept: Operators | None = None,
    compress_from: int = COMPRESS_FROM,
) -> Operators:
    """Return the operators of a closed set of panels.

    Parameters
    ----------
    panels : a closed set, normals out of the electrolyte
    electrode_panels : (k,) panels that carry current
    enclosed : the panels bound the electrolyte; False: the electrolyte goes on for ever round them, with
        potential zero far away
    dtype : storage of the matrices; integrals are worked out in double precision either way
    body : (m,) panels held as a group of their own, because they move as one rigid body; all electrodes or none
    mates : (l,) panels that move with the body, a second group for what of it carries no current
    kept : operators of the same panels in another place: what stayed alike is taken over
    compress_from : entries from which a pair of groups is compressed
    """
    corners, centroids = np.array(panels.corners), np.array(panels.centroids)
    radii = np.linalg.norm(corners - centroids[:, None], axis=2).max(axis=1)
    geometry = (centroids, corners, np.array(panels.normals), np.array(panels.areas), radii)
    members = _members(len(radii), electrode_panels, [body, mates])
    groups = [
        group_of(rows, *geometry, charged=charged, like=_old_tree(kept, k, rows))
        for k, (rows, charged) in enumerate(members)
    ]
    alike = [kept is not None and k < len(kept.groups) and _same_shape(kept.groups[k], g) for k, g in enumerate(groups)]
    fixed = [kept is not None and alike[k] and _same_place(kept.groups[k], g) for k, g in enumerate(groups)]
    pairs: list[tuple[Layers, ...]] = []
    for i, rows in enumerate(groups):
        row = []
        for j, columns in enumerate(groups):
            if kept is not None and ((i == j and alike[i]) or (fixed[i] and fixed[j])):
                row.append(kept.pairs[i][j])
            else:
                large = len(rows.panels) * len(columns.panels) >= compress_from
                row.append(layers(rows, columns, compress=large, dtype=dtype))
        pairs.append(tuple(row))
    column = np.full(len(radii), -1, dtype=np.int64)
    column[electrode_panels] = np.arange(len(electrode_panels))
    ones, none = np.ones((len(radii), 2)), np.zeros((len(electrode_panels), 2))
    sums = _times(groups, pairs, column, ones, none, np.float64)[:, 0]
    blocks = blocks_of(centroids)
    size = (*blocks.rows.shape, blocks.rows.shape[1])
    near_double, near_single = np.zeros(size), np.zeros(size)
    layer_blocks(*geometry, blocks.rows, near_double, near_single)
    return Operators(
        groups=tuple(groups),
        pairs=tuple(pairs),
        free=-sums if enclosed else 1.0 - sums,
        electrodes=np.asarray(electrode_panels),
        areas=geometry[3],
        enclosed=enclosed,
        blocks=blocks,
        near_double=near_double,
        near_single=near_single,
        dtype=dtype,
    )


def _members(count: int, electrode_panels: Ints, rigid: Sequence[Ints | None]) -> list[tuple[Ints, bool]]:
    """Return the panels of each group, and whether they carry current: ``rigid`` ones, then electrodes, insulators."""
    kind = np.zeros(count, dtype=np.int64)
    kind[electrode_panels] = 1
    members = []
    for body in rigid:
        if body is None or not len(body):
            continue
        charged = kind[body]
        if charged.min() != charged.max():
            raise ValueError("a rigid body must be an electrode as a whole, or an insulator")
        members.append((np.asarray(body), bool(charged[0])))
        kind[body] = 2
    for value, charged_too in ((1, True), (0, False)):
        rows = np.flatnonzero(kind == value)
        if len(rows):
            members.append((rows, charged_too))
    return members


def _old_tree(kept: Operators | None, k: int, rows: Ints) -> Any:
    """Return the tree of the same group in ``kept``, if it holds as many panels."""
    if kept is None or k >= len(kept.groups) or len(kept.groups[k].panels) != len(rows):
        return None
    return kept.groups[k].tree


def _same_shape(old: Group, new: Group) -> bool:
    """Are the panels of two groups the same rigid body? By distances to a few of its own points."""
    if len(old.panels) != len(new.panels) or old.charged != new.charged or old.tree is not new.tree:
        return False
    marks = np.linspace(0, len(old.panels) - 1, 4).astype(np.int64)
    width = float(np.ptp(old.centroids, axis=0).max())
    away = [np.linalg.norm(group.corners[:, :, None, :] - group.centroids[marks], axis=3) for group in (old, new)]
    return bool(np.abs(away[0] - away[1]).max() <= SAME * width)


def _same_place(old: Group, new: Group) -> bool:
    return np.array_equal(old.corners, new.corners)
