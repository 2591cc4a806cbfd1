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
    """Return what lies under the liquid surface and stays dry, because liquid had to come over a brim above it.

    Without what gas holds already.
    """
    brim = -flipped.level
    dry = (brim > liquid) & (brim < BIG)
    gas = np.where(columns.level > -BIG, columns.level, BIG)  # the lowest gas
    highest = np.minimum(gas, liquid)
    top = np.where(dry, np.minimum(columns.high, highest), -BIG)
    return Held(columns, columns.low, top, np.full(len(top), -BIG), highest)


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


def boxes_of(held: Held) -> list[tuple[float, Floats]]:
    """Return volume [m³] and extent in x and y (2, 2) [m] of every pocket larger than a clinging bubble."""
    number, volumes = pocket_of_node(held), held.volumes
    has = number >= 0
    if not has.any():
        return []
    total = np.bincount(number[has], volumes[has])
    low, high = np.full((len(total), 2), np.inf), np.full((len(total), 2), -np.inf)
    np.minimum.at(low, number[has], held.columns.places[has])
    np.maximum.at(high, number[has], held.columns.places[has])
    step = held.columns.grid.step
    chosen = np.flatnonzero(total > LEAST_POCKET)
    return [(float(total[k]), np.stack([low[k] - step, high[k] + step])) for k in chosen]


def _named(features: Sequence[Feature], areas: Floats) -> tuple[tuple[str, float], ...]:
    """Return the features of some account, those that are to stay bare left out."""
    least = max(0.01 * float(areas.sum()), 0.1e-6)
    order = [int(k) for k in np.argsort(-areas, kind="stable") if areas[k] > least and features[k].is_plated]
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
    """Return places on faces, the face of each, and the area it stands for [m²].

    A face is cut into strips side by side with its shortest edge, and these across, so that slivers are seen all along.
    """
    length = np.linalg.norm(np.roll(solid.corners[faces], -1, axis=1) - solid.corners[faces], axis=2)
    shortest = length.argmin(axis=1)
    turned = (shortest[:, None] + [2, 0, 1]) % 3  # the corner away from the shortest edge, then its two ends
    corners = np.take_along_axis(solid.corners[faces], turned[:, :, None], axis=1)
    step = float(np.sqrt(max(float(solid.areas[faces].sum()), 1e-300) / SAMPLES))
    strips, across = (
        _power_of_two(v / step) for v in (length.max(axis=1, initial=0), length.min(axis=1, initial=np.inf))
    )
    points, owner, weights = [np.zeros((0, 3))], [np.zeros(0, np.int64)], [np.zeros(0)]
    for n, m in sorted(set(zip(strips.tolist(), across.tolist(), strict=True))):
        rows = np.flatnonzero((strips == n) & (across == m))
        bary, share = _strips(n, m)
        points.append(np.einsum("kc,fcx->fkx", bary, corners[rows]).reshape(-1, 3))
        owner.append(np.repeat(faces[rows], len(bary)))
        weights.append((solid.areas[faces[rows]][:, None] * share).reshape(-1))
    return np.concatenate(points), np.concatenate(owner), np.concatenate(weights)


def _power_of_two(ratio: Floats) -> Ints:
    return np.asarray(2 ** np.ceil(np.log2(np.clip(ratio, 1.0, 256.0))), dtype=np.int64)


def _strips(n: int, m: int) -> tuple[Floats, Floats]:
    """Return the middles (n m, 3) of n strips cut into m pieces, in barycentric coordinates, and the share of each."""
    k = np.arange(n)
    along = 2 / 3 * ((k + 1) ** 3 - k**3) / (2 * k + 1) / n
    beside = (np.arange(m) + 0.5) / m
    t, s = (v.reshape(-1) for v in np.meshgrid(along, beside, indexing="ij"))
    return np.column_stack([1 - t, t * (1 - s), t * s]), np.repeat((2 * k + 1) / (n**2 * m), m)
