"""Pockets: gas or liquid that a solid holds, how much, where, and against which features."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from geom.arrays import Floats, Ints
from geom.feature import Feature
from geom.hanging import column_kernels as kernels
from geom.hanging.columns import BIG, HAIR, Columns
from geom.surface.surface import Surface

THIN = 1e-6
"""A layer thinner than this is none [m]."""

LEAST_POCKET = 2e-9
"""Less is not told: a bubble of 1.6 mm, which clings to any face [m³]."""

SAMPLES = 30_000
"""Places at which the faces of a part are looked at, about."""


@dataclass(frozen=True, slots=True)
class Pocket:
    """Gas or liquid held in one place."""

    volume: float  # [m³]
    doubt: float  # by how much it may be off: half a step of the grid, or the difference to a coarser one [m³]
    middle: tuple[float, float, float]  # [m]
    level: float  # where the gas ends below, or the liquid above [m]
    features: tuple[tuple[str, float], ...]  # what it lies against: name, area [m²], the largest first
    sure: bool = True  # False: only if a hole too narrow for water to leave by itself stays shut
    dry: bool = False  # liquid never gets there: its brim stands above the surface


@dataclass(frozen=True, eq=False)
class Held:
    """What every node holds: from ``bottom`` to ``top``; a place of the surface is against it from ``low`` to ``high``."""

    columns: Columns  # as gas sees them
    bottom: Floats  # (nodes,) [m]; top <= bottom: nothing is held
    top: Floats
    low: Floats
    high: Floats

    @property
    def volumes(self) -> Floats:
        """(nodes,) [m³]."""
        deep = self.top - self.bottom
        return np.asarray(np.where(deep > THIN, deep, 0.0) * self.columns.areas)


def held_air(columns: Columns, liquid: float) -> Held:
    """Return the gas that stays under the liquid surface at height ``liquid``."""
    way_out = (columns.level > -BIG) & (columns.level < BIG)
    top = np.where(way_out, np.minimum(columns.high, liquid), -BIG)
    bottom = np.maximum(columns.low, columns.level)
    high = np.full(len(top), liquid)
    return Held(columns, bottom, top, columns.level, high)


def held_bath(columns: Columns, flipped: Columns, liquid: float) -> Held:
    """Return the liquid that stays on the part lifted out, where its brim was under the liquid surface."""
    brim = -flipped.level
    full = (brim > -BIG) & (brim < BIG) & (brim <= liquid)
    top = np.where(full, np.minimum(columns.high, brim), -BIG)
    return Held(columns, columns.low, top, np.full(len(top), -BIG), brim)


def dry_air(columns: Columns, flipped: Columns, liquid: float) -> Held:
    """Return what lies under the liquid surface and stays dry, because liquid had to come over a brim above it."""
    brim = -flipped.level
    dry = (brim > liquid) & (brim < BIG)
    top = np.where(dry, np.minimum(columns.high, liquid), -BIG)
    return Held(columns, columns.low, top, np.full(len(top), -BIG), np.full(len(top), liquid))


def pocket_of_node(held: Held) -> Ints:
    """Return (nodes,) the number of the pocket of each node, -1 where nothing is held."""
    columns, has = held.columns, held.volumes > 0
    one, two = columns.one, columns.two
    shared = has[one] & has[two]
    one, two = one[shared], two[shared]
    lowest = np.maximum(held.bottom[one], held.bottom[two])
    meet = np.minimum(held.top[one], held.top[two]) > lowest - THIN
    one, two = one[meet], two[meet]
    graph = coo_array((np.ones(len(one), np.int8), (one, two)), shape=(len(has), len(has)))
    _, label = connected_components(graph, directed=False)
    number = np.full(len(has), -1)
    number[has] = np.unique(label[has], return_inverse=True)[1]
    return number


def pockets(held: Held, solid: Surface, features: Sequence[Feature], *, dry: bool = False) -> list[Pocket]:
    """Return the pockets larger than a clinging bubble, the largest first."""
    number, volumes = pocket_of_node(held), held.volumes
    count = int(number.max(initial=-1)) + 1
    total = np.bincount(number[number >= 0], volumes[number >= 0], count)
    chosen = [int(k) for k in np.argsort(-total, kind="stable") if total[k] > LEAST_POCKET]
    if not chosen:
        return []
    against = areas_against(held, number, solid, len(features), count)
    out = []
    for k in chosen:
        nodes = number == k
        share = volumes[nodes] / total[k]
        middle = (*(share @ held.columns.places[nodes]), share @ (0.5 * (held.bottom + held.top))[nodes])
        edge = held.low[nodes] if held.low[nodes].max() > -BIG else held.high[nodes]
        level = float(np.median(edge))
        x, y, z = (float(v) for v in middle)
        doubt = float(total[k]) * _half_a_step(held.columns.column[nodes], len(held.columns.grid.ys))
        out.append(Pocket(float(total[k]), doubt, (x, y, z), level, _named(features, against[k]), dry=dry))
    return out


def _half_a_step(column: Ints, ny: int) -> float:
    """Return by which share half a step along x and along y changes a volume of these columns."""
    i, j = np.divmod(column, ny)
    return 0.5 / len(np.unique(i)) + 0.5 / len(np.unique(j))


def boxes_of(held: Held) -> list[Floats]:
    """Return the extent in x and y (2, 2) of every pocket larger than a clinging bubble, the largest first [m]."""
    number, volumes = pocket_of_node(held), held.volumes
    has = number >= 0
    if not has.any():
        return []
    total = np.bincount(number[has], volumes[has])
    low, high = np.full((len(total), 2), np.inf), np.full((len(total), 2), -np.inf)
    np.minimum.at(low, number[has], held.columns.places[has])
    np.maximum.at(high, number[has], held.columns.places[has])
    order = [int(k) for k in np.argsort(-total, kind="stable") if total[k] > LEAST_POCKET]
    return [np.stack([low[k] - held.columns.grid.step, high[k] + held.columns.grid.step]) for k in order]


def _named(features: Sequence[Feature], areas: Floats) -> tuple[tuple[str, float], ...]:
    least = max(0.01 * float(areas.sum()), 0.1e-6)
    order = [int(k) for k in np.argsort(-areas, kind="stable") if areas[k] > least]
    return tuple((features[k].name, float(areas[k])) for k in order)


def areas_against(held: Held, number: Ints, solid: Surface, features: int, pockets_: int) -> Floats:
    """Return (pockets, features) the area of each feature that lies against each pocket [m²]."""
    columns, xs, ys = held.columns, held.columns.grid.xs, held.columns.grid.ys
    has = number >= 0
    place = columns.places[has]
    reach = 2 * columns.grid.step
    low = np.append(place.min(axis=0) - reach, max(held.low[has].min(), held.bottom[has].min()) - HAIR)
    high = np.append(place.max(axis=0) + reach, min(held.high[has].max(), held.top[has].max()) + reach)
    near = (solid.corners.max(axis=1) >= low).all(axis=1) & (solid.corners.min(axis=1) <= high).all(axis=1)
    points, face, weight = sampled(solid, np.flatnonzero(near & (solid.areas > 0)))
    node = kernels.nodes_before(
        points, solid.normals[face], xs, ys, columns.first, columns.low, columns.high, columns.grid.step
    )
    height = points[:, 2]
    counts = (node >= 0) & has[node] & (height > held.low[node] + HAIR) & (height < held.high[node] - HAIR)
    out = np.zeros((pockets_, features))
    np.add.at(out, (number[node[counts]], solid.tag[face[counts]]), weight[counts])
    return out


def sampled(solid: Surface, faces: Ints) -> tuple[Floats, Ints, Floats]:
    """Return places on faces, the face of each, and the area it stands for [m²]: the middles of equal parts."""
    areas = solid.areas[faces]
    target = max(float(areas.sum()), 1e-300) / SAMPLES
    parts = np.minimum(np.ceil(np.sqrt(areas / target)), 150).astype(np.int64)
    points, owner, weights = [], [], []
    for n in np.unique(parts):
        rows = faces[parts == n]
        bary = _middles(int(n))
        points.append(np.einsum("kc,fcx->fkx", bary, solid.corners[rows]).reshape(-1, 3))
        owner.append(np.repeat(rows, len(bary)))
        weights.append(np.repeat(solid.areas[rows] / len(bary), len(bary)))
    if not points:
        return np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros(0)
    return np.concatenate(points), np.concatenate(owner), np.concatenate(weights)


def _middles(n: int) -> Floats:
    """Return (n², 3) the middles, in barycentric coordinates, of a triangle cut into n² alike."""
    i, j = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    up, down = i + j < n, i + j < n - 1
    a = np.concatenate([i[up] + 1 / 3, i[down] + 2 / 3]) / n
    b = np.concatenate([j[up] + 1 / 3, j[down] + 2 / 3]) / n
    return np.column_stack([a, b, 1 - a - b])
