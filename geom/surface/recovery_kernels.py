"""Compiled fit of a quadratic to the values of neighbouring faces. Validates nothing."""

from typing import Any

import numpy as np
from numba import njit

Array = Any

TERMS = 5  # u, v, u²/2, u v, v²/2
LEAST = 3  # neighbours; with fewer a face keeps its one value
ENOUGH = 8  # neighbours from which the second-order terms are determined well
STIFF, SOFT = 0.3, 3e-3  # shares by which the second-order terms are held down: few neighbours, enough of them
FOLD = 0.5  # cosine between normals: neighbours farther turned lie round an edge


@njit(cache=True, error_model="numpy")
def _fit(
    near: Array,
    face: int,
    n: Array,
    t: Array,
    s: Array,
    reach: float,
    centroids: Array,
    normals: Array,
    patches: Array,
) -> tuple[Array, Array, int]:
    """Return the neighbours used, the terms' weights on their values (TERMS, k), and how many there are; 0: too few."""
    terms, share, used = np.zeros((len(near), TERMS)), np.zeros(len(near)), np.zeros(len(near), np.int64)
    k = 0
    for other in near:
        if other == face or patches[other] != patches[face] or (normals[other] * n).sum() < FOLD:
            continue
        d = centroids[other] - centroids[face]
        u, v, length = (d * t).sum(), (d * s).sum(), np.sqrt((d * d).sum())
        flat = np.sqrt(u * u + v * v)
        if flat < 1e-9 * length:
            continue
        u, v = u * length / (flat * reach), v * length / (flat * reach)
        terms[k, 0], terms[k, 1], terms[k, 2], terms[k, 3], terms[k, 4] = u, v, 0.5 * u * u, u * v, 0.5 * v * v
        share[k] = (u * u + v * v) ** -1.5
        used[k] = other
        k += 1
    if k < LEAST:
        return used, np.zeros((TERMS, 1)), 0
    matrix, right = np.zeros((TERMS, TERMS)), np.zeros((TERMS, k))
    for i in range(TERMS):
        for q in range(k):
            right[i, q] = share[q] * terms[q, i]
        for j in range(TERMS):
            matrix[i, j] = (right[i] * terms[:k, j]).sum()
    slope, bend = matrix[0, 0] + matrix[1, 1], matrix[2, 2] + matrix[3, 3] + matrix[4, 4]
    for i in range(TERMS):
        matrix[i, i] += 1e-6 * slope if i < 2 else (SOFT if k >= ENOUGH else STIFF) * bend
    return used, np.linalg.solve(matrix, right), k


@njit(cache=True, error_model="numpy")
def quarter_weights(
    starts: Array,
    neighbours: Array,
    centroids: Array,
    normals: Array,
    patches: Array,
    corners: Array,
    rows: Array,
    columns: Array,
    weights: Array,
) -> int:
    """Fill the weights that make the means over the quarters of each face from values at the centroids; return how many.

    Row ``4 face`` is the middle quarter, the next three those at the corners. Through the face's own value, nearest
    neighbours counting most; distances are taken along the surface, as if it were unrolled.
    """
    count = 0
    for face in range(len(centroids)):
        n = normals[face]
        axis = int(np.argmin(np.abs(n)))
        e = np.zeros(3)
        e[axis] = 1.0
        t = np.cross(n, e)
        t /= np.sqrt((t * t).sum())
        s = np.cross(n, t)
        reach = np.sqrt(((corners[face] - centroids[face]) ** 2).sum() / 3.0)
        first, last = starts[face], starts[face + 1]
        used, fit, k = _fit(neighbours[first:last], face, n, t, s, reach, centroids, normals, patches)
        us, vs = np.zeros(3), np.zeros(3)
        for a in range(3):
            d = corners[face, a] - centroids[face]
            us[a], vs[a] = (d * t).sum() / reach, (d * s).sum() / reach
        for quarter in range(4):
            mean = _mean_terms(us, vs, quarter)
            total = 0.0
            for q in range(k):
                weight = (mean * fit[:, q]).sum()
                rows[count], columns[count], weights[count] = 4 * face + quarter, used[q], weight
                total += weight
                count += 1
            rows[count], columns[count], weights[count] = 4 * face + quarter, face, 1.0 - total
            count += 1
    return count


@njit(cache=True, error_model="numpy")
def _mean_terms(us: Array, vs: Array, quarter: int) -> Array:
    """Return the means of the terms over a quarter of the triangle with corners (us, vs): exact by its edge middles."""
    x, y = np.zeros(3), np.zeros(3)
    for a in range(3):
        b = (a + 1) % 3 if quarter == 0 else quarter - 1
        x[a], y[a] = 0.5 * (us[a] + us[b]), 0.5 * (vs[a] + vs[b])
    mean = np.zeros(TERMS)
    for a in range(3):
        u, v = 0.5 * (x[a] + x[(a + 1) % 3]), 0.5 * (y[a] + y[(a + 1) % 3])
        mean += np.array([u, v, 0.5 * u * u, u * v, 0.5 * v * v]) / 3.0
    return mean
