"""A tree of boxes round segments and triangles: the nearest of them to a place. Validate nothing.

The items are sorted along a space-filling curve, ``LEAF`` of them to a leaf; node ``i`` of the full binary tree
has the children ``2 i + 1`` and ``2 i + 2``, and the last ``leaves`` nodes are the leaves. ``corners`` (n, 2, 3)
are segments, ``corners`` (n, 3, 3) triangles.
"""

from typing import Any

import numpy as np
from numba import njit

from geom.surface.triangle_kernels import along_segment, closest_on_triangle

Array = Any

LEAF = 4  # items to a leaf
DEEP = 64  # room for the nodes still to be looked at: more than the depth of any tree


@njit(cache=True)
def curve_codes(places: Array, low: Array, step: float) -> Array:
    """Number of each place along a space-filling curve of 2^10 steps each way (Morton's order)."""
    out = np.zeros(len(places), np.int64)
    for i in range(len(places)):
        code = 0
        for k in range(3):
            cell = min(max(int((places[i, k] - low[k]) / step), 0), 1023)
            for bit in range(10):
                code |= ((cell >> bit) & 1) << (3 * bit + k)
        out[i] = code
    return out


@njit(cache=True)
def boxes(corners: Array, leaves: int) -> tuple[Array, Array]:
    """Lowest and highest corner of every node of the tree over items in the order of the curve."""
    nodes = 2 * leaves - 1
    low, high = np.full((nodes, 3), np.inf), np.full((nodes, 3), -np.inf)
    for i in range(len(corners)):
        node = leaves - 1 + i // LEAF
        for j in range(corners.shape[1]):
            for k in range(3):
                low[node, k] = min(low[node, k], corners[i, j, k])
                high[node, k] = max(high[node, k], corners[i, j, k])
    for node in range(leaves - 2, -1, -1):
        for k in range(3):
            low[node, k] = min(low[2 * node + 1, k], low[2 * node + 2, k])
            high[node, k] = max(high[2 * node + 1, k], high[2 * node + 2, k])
    return low, high


@njit(cache=True)
def box_gap(p: Array, low: Array, high: Array) -> float:
    """Squared distance from p to a box; infinite for the box of nothing."""
    total = 0.0
    for k in range(3):
        below, above = low[k] - p[k], p[k] - high[k]
        if below > 0.0:
            total += below * below
        elif above > 0.0:
            total += above * above
    return total


@njit(cache=True)
def nearest_item(
    p: Array, reach: float, wanted: int, corners: Array, kind: Array, low: Array, high: Array, out: Array
) -> int:
    """Write the closest point of the items of kind ``wanted`` (any, where negative); return the item's row.

    -1 when none lies within ``reach``.
    """
    leaves = (len(low) + 1) // 2
    todo, bound = np.zeros(DEEP, np.int64), np.zeros(DEEP)
    trial = np.zeros(3)
    best, which = reach * reach, -1
    bound[0] = box_gap(p, low[0], high[0])
    top = 1
    while top > 0:
        top -= 1
        node = todo[top]
        if bound[top] > best:
            continue
        if node >= leaves - 1:
            first = (node - leaves + 1) * LEAF
            for i in range(first, min(first + LEAF, len(corners))):
                if wanted >= 0 and kind[i] != wanted:
                    continue
                if corners.shape[1] == 2:
                    distance = along_segment(p, corners[i, 0], corners[i, 1], trial)
                else:
                    distance = closest_on_triangle(p, corners[i, 0], corners[i, 1], corners[i, 2], trial)
                if distance < best:
                    best, which = distance, i
                    out[0], out[1], out[2] = trial[0], trial[1], trial[2]
            continue
        one, two = 2 * node + 1, 2 * node + 2
        d1, d2 = box_gap(p, low[one], high[one]), box_gap(p, low[two], high[two])
        if d1 < d2:
            one, two, d1, d2 = two, one, d2, d1
        if d1 <= best:
            todo[top], bound[top] = one, d1
            top += 1
        if d2 <= best:
            todo[top], bound[top] = two, d2
            top += 1
    return which


@njit(cache=True)
def nearest_items(
    places: Array, reach: Array, wanted: Array, corners: Array, kind: Array, low: Array, high: Array
) -> tuple[Array, Array]:
    """Row of the nearest item of the wanted kind within ``reach`` of each place (-1 for none), and its point."""
    row, foot = np.full(len(places), -1, np.int64), places.copy()
    for i in range(len(places)):
        row[i] = nearest_item(places[i], reach[i], wanted[i], corners, kind, low, high, foot[i])
    return row, foot


@njit(cache=True)
def crossed(p: Array, d: Array, corners: Array) -> float:
    """How far along the ray from p in direction d a triangle is met; inf where not (Möller & Trumbore 1997)."""
    a, b, c = corners[0], corners[1], corners[2]
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    hx, hy, hz = d[1] * vz - d[2] * vy, d[2] * vx - d[0] * vz, d[0] * vy - d[1] * vx
    det = ux * hx + uy * hy + uz * hz
    if det == 0.0:
        return np.inf
    sx, sy, sz = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    s = (sx * hx + sy * hy + sz * hz) / det
    qx, qy, qz = sy * uz - sz * uy, sz * ux - sx * uz, sx * uy - sy * ux
    t = (d[0] * qx + d[1] * qy + d[2] * qz) / det
    if s < 0.0 or t < 0.0 or s + t > 1.0:
        return np.inf
    return (vx * qx + vy * qy + vz * qz) / det


@njit(cache=True)
def first_crossings(places: Array, ways: Array, least: float, most: float, tree: tuple[Array, Array, Array]) -> Array:
    """Distance along each ray to the first triangle between ``least`` and ``most``; inf where there is none."""
    corners, low, high = tree
    leaves = (len(low) + 1) // 2
    out = np.full(len(places), np.inf)
    todo = np.zeros(DEEP, np.int64)
    for i in range(len(places)):
        p, d = places[i], ways[i]
        best = most
        todo[0] = 0
        top = 1
        while top > 0:
            top -= 1
            node = todo[top]
            enter, leave = 0.0, best
            for k in range(3):
                if d[k] != 0.0:
                    one, two = (low[node, k] - p[k]) / d[k], (high[node, k] - p[k]) / d[k]
                    enter, leave = max(enter, min(one, two)), min(leave, max(one, two))
                elif p[k] < low[node, k] or p[k] > high[node, k]:
                    leave = -1.0
            if enter > leave:
                continue
            if node < leaves - 1:
                todo[top], todo[top + 1] = 2 * node + 1, 2 * node + 2
                top += 2
                continue
            first = (node - leaves + 1) * LEAF
            for j in range(first, min(first + LEAF, len(corners))):
                distance = crossed(p, d, corners[j])
                if least < distance < best:
                    best = distance
                    out[i] = distance
    return out
