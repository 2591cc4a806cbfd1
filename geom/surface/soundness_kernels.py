"""Loops over millions of corners and links: equal places, connected groups. Validate nothing."""

from typing import Any

import numpy as np
from numba import njit

Array = Any

MIX_X, MIX_Y, MIX_Z = 73856093, 19349663, 83492791  # large odd primes: neighbours fall into different slots


@njit(cache=True)
def same_rows(rows: Array, number: Array, first: Array) -> int:
    """Number equal rows (n, 3) alike, by first appearance; return how many differ.

    ``rows`` are int64; ``number`` (n,) and ``first`` (n,), the row that each number appeared in, are filled.
    """
    count = len(rows)
    size = 16
    while size < 2 * count:
        size *= 2
    mask = size - 1
    slot = np.full(size, -1, np.int32)
    found = 0
    for i in range(count):
        x, y, z = rows[i, 0], rows[i, 1], rows[i, 2]
        mixed = (x * MIX_X) ^ (y * MIX_Y) ^ (z * MIX_Z)
        mixed ^= mixed >> 32
        mixed *= 0x9E3779B1
        mixed ^= mixed >> 29
        place = mixed & mask
        while True:
            k = slot[place]
            if k < 0:
                slot[place] = found
                number[i] = found
                first[found] = i
                found += 1
                break
            j = first[k]
            if rows[j, 0] == x and rows[j, 1] == y and rows[j, 2] == z:
                number[i] = k
                break
            place = (place + 1) & mask
    return found


@njit(cache=True)
def _root(parent: Array, k: int) -> int:
    while parent[k] != k:
        parent[k] = parent[parent[k]]
        k = parent[k]
    return k


@njit(cache=True)
def joined(one: Array, two: Array, label: Array) -> int:
    """Fill ``label`` (n,) with the group of each node, numbered by first appearance; return the number of groups.

    ``one[k]`` and ``two[k]`` are in the same group.
    """
    parent = label
    for k in range(len(parent)):
        parent[k] = k
    for k in range(len(one)):
        a, b = _root(parent, one[k]), _root(parent, two[k])
        if a < b:
            parent[b] = a
        elif b < a:
            parent[a] = b
    groups = 0
    for k in range(len(parent)):
        # the root of a group is its least node, so it has been numbered before the others
        if parent[k] == k:
            parent[k] = -groups - 1
            groups += 1
        else:
            up = parent[k]
            while up >= 0 and parent[up] >= 0:
                up = parent[up]
            parent[k] = parent[up]
    for k in range(len(parent)):
        parent[k] = -parent[k] - 1
    return groups


@njit(cache=True)
def area_vectors(vertices: Array, faces: Array, vectors: Array) -> None:
    """Fill ``vectors`` (m, 3) with normal times area of each face."""
    for f in range(len(faces)):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ux, vx = vertices[b, 0] - vertices[a, 0], vertices[c, 0] - vertices[a, 0]
        uy, vy = vertices[b, 1] - vertices[a, 1], vertices[c, 1] - vertices[a, 1]
        uz, vz = vertices[b, 2] - vertices[a, 2], vertices[c, 2] - vertices[a, 2]
        vectors[f, 0] = 0.5 * (uy * vz - uz * vy)
        vectors[f, 1] = 0.5 * (uz * vx - ux * vz)
        vectors[f, 2] = 0.5 * (ux * vy - uy * vx)
