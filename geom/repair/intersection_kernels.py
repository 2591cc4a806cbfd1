"""How deep two triangles pass through each other, and all pairs of a mesh that do. Validate nothing.

The depth is the shortest shift that would part them: the least overlap of their shadows over the normals of their
Minkowski difference (Gottschalk, Lin & Manocha 1996). More axes than needed can only make it less, so a badly
known normal of a sliver never raises a false alarm.
"""

from typing import Any

import numpy as np
from numba import njit

Array = Any

LEAF = 4  # faces to a leaf
DEEP = 64  # room for the nodes still to be looked at: more than the depth of any tree


@njit(cache=True)
def frames(vertices: Array, faces: Array, order: Array, least: float) -> tuple[Array, Array]:
    """Corners (m, 3, 3) and unit normals (m, 3) of the faces in ``order``; no normal where lower than ``least``."""
    count = len(order)
    corners, normals = np.zeros((count, 3, 3)), np.zeros((count, 3))
    for i in range(count):
        for j in range(3):
            for k in range(3):
                corners[i, j, k] = vertices[faces[order[i], j], k]
        a, b, c = corners[i, 0], corners[i, 1], corners[i, 2]
        ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        wx, wy, wz = c[0] - b[0], c[1] - b[1], c[2] - b[2]
        nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        length = np.sqrt(nx * nx + ny * ny + nz * nz)
        longest = np.sqrt(max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, wx * wx + wy * wy + wz * wz))
        if length > least * longest:
            normals[i, 0], normals[i, 1], normals[i, 2] = nx / length, ny / length, nz / length
    return corners, normals


@njit(cache=True)
def middles(vertices: Array, faces: Array) -> Array:
    """Middle (m, 3) of the box of each face."""
    out = np.zeros((len(faces), 3))
    for i in range(len(faces)):
        for k in range(3):
            a, b, c = vertices[faces[i, 0], k], vertices[faces[i, 1], k], vertices[faces[i, 2], k]
            out[i, k] = 0.5 * (min(a, b, c) + max(a, b, c))
    return out


@njit(cache=True)
def face_boxes(corners: Array, room: float) -> tuple[Array, Array]:
    """Lowest and highest corner (m, 3) of the box of each face, with ``room`` round it."""
    low, high = np.zeros((len(corners), 3)), np.zeros((len(corners), 3))
    for i in range(len(corners)):
        for k in range(3):
            a, b, c = corners[i, 0, k], corners[i, 1, k], corners[i, 2, k]
            low[i, k], high[i, k] = min(a, b, c) - room, max(a, b, c) + room
    return low, high


@njit(cache=True)
def tree_boxes(face_low: Array, face_high: Array, leaves: int) -> tuple[Array, Array]:
    """Boxes of every node of the full binary tree over faces in order, ``LEAF`` to a leaf."""
    low, high = np.full((2 * leaves - 1, 3), np.inf), np.full((2 * leaves - 1, 3), -np.inf)
    for i in range(len(face_low)):
        node = leaves - 1 + i // LEAF
        for k in range(3):
            low[node, k] = min(low[node, k], face_low[i, k])
            high[node, k] = max(high[node, k], face_high[i, k])
    for node in range(leaves - 2, -1, -1):
        for k in range(3):
            low[node, k] = min(low[2 * node + 1, k], low[2 * node + 2, k])
            high[node, k] = max(high[2 * node + 1, k], high[2 * node + 2, k])
    return low, high


@njit(cache=True)
def overlap(one: Array, two: Array, x: float, y: float, z: float) -> float:
    """Overlap of the shadows of two triangles along a unit vector: the shift along it that parts them."""
    a = x * one[0, 0] + y * one[0, 1] + z * one[0, 2]
    b = x * one[1, 0] + y * one[1, 1] + z * one[1, 2]
    c = x * one[2, 0] + y * one[2, 1] + z * one[2, 2]
    d = x * two[0, 0] + y * two[0, 1] + z * two[0, 2]
    e = x * two[1, 0] + y * two[1, 1] + z * two[1, 2]
    f = x * two[2, 0] + y * two[2, 1] + z * two[2, 2]
    return min(max(a, b, c) - min(d, e, f), max(d, e, f) - min(a, b, c))


@njit(cache=True)
def farthest(one: Array, normal: Array, two: Array) -> float:
    """Largest distance of a corner of ``two`` from the plane of ``one``."""
    out = 0.0
    for j in range(3):
        d = 0.0
        for k in range(3):
            d += normal[k] * (two[j, k] - one[0, k])
        out = max(out, abs(d))
    return out


@njit(cache=True)
def lie_on(one: Array, n: Array, two: Array, m: Array, shallow: float, step: float) -> bool:
    """Do two triangles of one plane overlap by more than ``shallow``?

    The two sides of a wall are one plane only within ``step``: a thin wall is none the less a wall.
    """
    behind = n[0] * (two[0, 0] - one[0, 0]) + n[1] * (two[0, 1] - one[0, 1]) + n[2] * (two[0, 2] - one[0, 2])
    if n[0] * m[0] + n[1] * m[1] + n[2] * m[2] < 0.0 and behind < 0.0 and farthest(one, n, two) > step:
        return False
    for which in range(2):
        tri = one if which == 0 else two
        for j in range(3):
            k = (j + 1) % 3
            x, y, z = tri[k, 0] - tri[j, 0], tri[k, 1] - tri[j, 1], tri[k, 2] - tri[j, 2]
            px, py, pz = n[1] * z - n[2] * y, n[2] * x - n[0] * z, n[0] * y - n[1] * x
            length = np.sqrt(px * px + py * py + pz * pz)
            if overlap(one, two, px / length, py / length, pz / length) <= shallow:
                return False
    return True


@njit(cache=True)
def are_crossing(one: Array, n: Array, two: Array, m: Array, shallow: float, step: float) -> bool:
    """Do two triangles with unit normals n and m pass through, or lie on, each other by more than ``shallow``?"""
    if overlap(one, two, n[0], n[1], n[2]) <= shallow:
        if farthest(one, n, two) > shallow or farthest(two, m, one) > shallow:
            return False
        return lie_on(one, n, two, m, shallow, step)
    if overlap(one, two, m[0], m[1], m[2]) <= shallow:
        return False
    for i in range(3):
        p = (i + 1) % 3
        ux, uy, uz = one[p, 0] - one[i, 0], one[p, 1] - one[i, 1], one[p, 2] - one[i, 2]
        for j in range(3):
            q = (j + 1) % 3
            vx, vy, vz = two[q, 0] - two[j, 0], two[q, 1] - two[j, 1], two[q, 2] - two[j, 2]
            x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
            length = x * x + y * y + z * z
            if length > 1e-20 * (ux * ux + uy * uy + uz * uz) * (vx * vx + vy * vy + vz * vz):
                length = np.sqrt(length)
                if overlap(one, two, x / length, y / length, z / length) <= shallow:
                    return False
    return True


@njit(cache=True)
def is_none(normal: Array) -> bool:
    """Is there no normal, because the face is too low?"""
    return normal[0] == 0.0 and normal[1] == 0.0 and normal[2] == 0.0


@njit(cache=True)
def doubled(rows: Array) -> Array:
    """The same rows (n, 2) with room for as many again."""
    out = np.zeros((2 * len(rows), 2), np.int64)
    for i in range(len(rows)):
        out[i, 0], out[i, 1] = rows[i, 0], rows[i, 1]
    return out


@njit(cache=True)
def crossing_pairs(
    corners: Array,
    normals: Array,
    boxes: tuple[Array, Array, Array, Array],
    shallow: float,
    step: float,
    most: int,
) -> Array:
    """Rows (k, 2) of the faces that cross, at most ``most`` of them; ``boxes`` of the faces, then of the tree."""
    face_low, face_high, low, high = boxes
    leaves = (len(low) + 1) // 2
    found, count = np.zeros((16, 2), np.int64), 0
    todo, wide, end = np.zeros(DEEP, np.int64), np.zeros(DEEP, np.int64), np.zeros(DEEP, np.int64)
    for leaf in range((len(corners) + LEAF - 1) // LEAF):
        here = leaves - 1 + leaf
        todo[0], wide[0], end[0], top = 0, leaves, leaves, 1
        while top > 0:
            top -= 1
            node, width, stop = todo[top], wide[top], end[top]
            apart = stop <= leaf
            for k in range(3):
                apart = apart or low[node, k] > high[here, k] or high[node, k] < low[here, k]
            if apart:
                continue
            if node < leaves - 1:
                width //= 2
                todo[top], wide[top], end[top] = 2 * node + 1, width, stop - width
                todo[top + 1], wide[top + 1], end[top + 1] = 2 * node + 2, width, stop
                top += 2
                continue
            first = (node - leaves + 1) * LEAF
            for i in range(leaf * LEAF, min(leaf * LEAF + LEAF, len(corners))):
                for j in range(max(first, i + 1), min(first + LEAF, len(corners))):
                    apart = False
                    for k in range(3):
                        apart = apart or face_low[i, k] > face_high[j, k] or face_high[i, k] < face_low[j, k]
                    if apart or is_none(normals[i]) or is_none(normals[j]):
                        continue
                    if are_crossing(corners[i], normals[i], corners[j], normals[j], shallow, step):
                        if count == len(found):
                            found = doubled(found)
                        found[count, 0], found[count, 1] = i, j
                        count += 1
                        if count == most:
                            return found[:count]
    return found[:count]


@njit(cache=True)
def windings_above(
    places: Array, bodies: Array, vertices: Array, faces: Array, start: Array, close: float
) -> tuple[Array, Array]:
    """How often body ``bodies[i]`` wraps ``places[i]``, by its faces above, and whether the ray came too close.

    The faces of body b are the rows ``start[b]`` to ``start[b + 1]``. ``close`` [m²] is a moment about a side of
    a face seen from above, under which the ray may as well have passed on the other side.
    """
    out, doubt = np.zeros(len(places), np.int64), np.zeros(len(places), np.bool_)
    for i in range(len(places)):
        x, y, z = places[i, 0], places[i, 1], places[i, 2]
        for row in range(start[bodies[i]], start[bodies[i] + 1]):
            a, b, c = vertices[faces[row, 0]], vertices[faces[row, 1]], vertices[faces[row, 2]]
            if max(a[2], b[2], c[2]) < z or min(a[0], b[0], c[0]) > x or max(a[0], b[0], c[0]) < x:
                continue
            if min(a[1], b[1], c[1]) > y or max(a[1], b[1], c[1]) < y:
                continue
            ab = (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
            bc = (c[0] - b[0]) * (y - b[1]) - (c[1] - b[1]) * (x - b[0])
            ca = (a[0] - c[0]) * (y - c[1]) - (a[1] - c[1]) * (x - c[0])
            total = ab + bc + ca
            if min(ab, bc, ca) < -close and max(ab, bc, ca) > close:
                continue
            if abs(ab) <= close or abs(bc) <= close or abs(ca) <= close:
                doubt[i] = True
                continue
            lift = (bc * (a[2] - z) + ca * (b[2] - z) + ab * (c[2] - z)) / total
            if lift > 0.0:
                out[i] += 1 if total > 0.0 else -1
    return out, doubt
