"""Compiled work on the blocks of a compressed operator. Validate nothing.

A pair of clusters far apart keeps ``single ~ U V`` and ``double ~ U D``: V and D are the layers at a few points of
the row cluster, and U carries values at those points over to all of them. The points are the pivots of an adaptive
cross approximation of ``1 / r`` (Bebendorf, Numer. Math. 86 (2000) 565; the layers taken at pivots of the kernel as
in Börm & Grasedyck, Numer. Math. 101 (2005) 221; both from memory).
"""

from typing import Any

import numpy as np
from numba import njit, prange

from geom.bem.kernels import layer_row

Array = Any

MOST_RANK = 60
LOOKS = 3  # rows looked at before a block is taken to be done


@njit(cache=True, error_model="numpy")
def pairs_apart(
    child_r: Array, centre_r: Array, radius_r: Array, child_c: Array, centre_c: Array, radius_c: Array, nearness: float
) -> tuple[Array, Array]:
    """Return pairs (k, 2) of clusters to be kept in full, and pairs to be compressed.

    Compressed where the narrower cluster is no wider than ``nearness`` times the distance between the two.
    """
    near, far = [], []
    stack = [(0, 0)]
    while len(stack) > 0:
        r, c = stack.pop()
        dx = centre_r[r, 0] - centre_c[c, 0]
        dy = centre_r[r, 1] - centre_c[c, 1]
        dz = centre_r[r, 2] - centre_c[c, 2]
        apart = np.sqrt(dx * dx + dy * dy + dz * dz) - radius_r[r] - radius_c[c]
        if 2.0 * min(radius_r[r], radius_c[c]) <= nearness * apart:
            far.append((r, c))
        elif child_r[r, 0] < 0 and child_c[c, 0] < 0:
            near.append((r, c))
        elif child_c[c, 0] < 0 or (child_r[r, 0] >= 0 and radius_r[r] >= radius_c[c]):
            stack.append((child_r[r, 0], c))
            stack.append((child_r[r, 1], c))
        else:
            stack.append((r, child_c[c, 0]))
            stack.append((r, child_c[c, 1]))
    first = np.zeros((len(near), 2), dtype=np.int64)
    for k in range(len(near)):
        first[k, 0], first[k, 1] = near[k]
    second = np.zeros((len(far), 2), dtype=np.int64)
    for k in range(len(far)):
        second[k, 0], second[k, 1] = far[k]
    return first, second


@njit(cache=True, fastmath=True, error_model="numpy")
def _residual_row(
    point: Array, sources: Array, normals: Array, scale: float, both: bool, shares: Array, right: Array, out: Array
) -> int:
    """Fill ``out`` with both kernels at one point less ``shares`` of the rows of ``right``; return its largest place.

    Of n sources, ``scale`` times the derivative of ``1 / r`` along each normal comes first, then ``1 / r`` if ``both``.
    """
    m = len(sources)
    for j in range(m):
        dx, dy, dz = sources[j, 0] - point[0], sources[j, 1] - point[1], sources[j, 2] - point[2]
        inverse = 1.0 / np.sqrt(dx * dx + dy * dy + dz * dz)
        slope = dx * normals[j, 0] + dy * normals[j, 1] + dz * normals[j, 2]
        out[j] = scale * slope * inverse * inverse * inverse
        if both:
            out[m + j] = inverse
    for older in range(len(shares)):
        share, row = shares[older], right[older]
        for j in range(len(out)):
            out[j] -= share * row[j]
    return _largest(out)


@njit(cache=True, fastmath=True, error_model="numpy")
def _residual_column(
    points: Array, source: Array, normal: Array, scale: float, derived: bool, shares: Array, left: Array, out: Array
) -> int:
    """Fill ``out`` with one kernel of one source at all points less ``shares`` of the rows of ``left``."""
    for i in range(len(points)):
        dx, dy, dz = source[0] - points[i, 0], source[1] - points[i, 1], source[2] - points[i, 2]
        inverse = 1.0 / np.sqrt(dx * dx + dy * dy + dz * dz)
        if derived:
            out[i] = scale * (dx * normal[0] + dy * normal[1] + dz * normal[2]) * inverse * inverse * inverse
        else:
            out[i] = inverse
    for older in range(len(shares)):
        share, row = shares[older], left[older]
        for i in range(len(out)):
            out[i] -= share * row[i]
    return _largest(out)


@njit(cache=True, fastmath=True, error_model="numpy")
def _largest(row: Array) -> int:
    best, place = -1.0, 0
    for j in range(len(row)):
        if abs(row[j]) > best:
            best, place = abs(row[j]), j
    return place


@njit(cache=True, fastmath=True, error_model="numpy")
def _squares(row: Array) -> float:
    total = 0.0
    for j in range(len(row)):
        total += row[j] * row[j]
    return total


@njit(cache=True, fastmath=True, error_model="numpy")
def _cross(
    points: Array, sources: Array, normals: Array, both: bool, accuracy: float, rows: Array, left: Array, right: Array
) -> int:
    """Fill pivot ``rows`` and the factors ``left`` (rank, n), ``right`` (rank, m or 2 m); return the rank.

    The kernel alone does not see on which side of a flat source its points lie, so its derivative is crossed as well.
    A pivot is (nearly) the largest of its row and of its column of what is left: so the weights made of ``left``
    stay near one. Where a cross is small enough to stop, a few rows are looked at before it is believed.
    """
    n, m = len(points), len(sources)
    width = 2 * m if both else m
    most = min(min(n, width), MOST_RANK)
    dx, dy, dz = points[0, 0] - sources[0, 0], points[0, 1] - sources[0, 1], points[0, 2] - sources[0, 2]
    scale = np.sqrt(dx * dx + dy * dy + dz * dz)
    pivot, size, looked = n // 2, 0.0, 0
    shares = np.zeros(MOST_RANK)
    k = 0
    while k < most:
        column = 0
        for turn in range(4):
            for older in range(k):
                shares[older] = left[older, pivot]
            column = _residual_row(
                points[pivot], sources, normals, scale, both, shares[:k], right[:k], right[k, :width]
            )
            for older in range(k):
                shares[older] = right[older, column]
            j = column if column < m else column - m
            other = _residual_column(points, sources[j], normals[j], scale, column < m, shares[:k], left[:k], left[k])
            if turn == 3 or abs(left[k, other]) <= 2.0 * abs(left[k, pivot]):
                break
            pivot = other
        top = right[k, column]
        cross = _squares(left[k]) * _squares(right[k, :width]) / (top * top) if top != 0.0 else 0.0
        if top == 0.0 or cross <= accuracy * accuracy * size:
            if looked == LOOKS:
                return k
            looked += 1
            pivot = (n * (2 * looked - 1)) // (2 * LOOKS)
            continue
        for j in range(width):
            right[k, j] /= top
        rows[k] = pivot
        size += cross
        k += 1
        best, other = -1.0, 0
        for i in range(n):
            if abs(left[k - 1, i]) > best and i != pivot:
                best, other = abs(left[k - 1, i]), i
        pivot = other
    return k


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def cross_pivots(
    points: Array, sources: Array, normals: Array, both: bool, blocks: Array, accuracy: float, rank: Array, rows: Array
) -> None:
    """Fill the ``rank`` (k,) of each block and its pivot ``rows`` (k, MOST_RANK), counted within the block.

    ``blocks`` (k, 4): first and past the last row place, first and past the last column place.
    """
    for b in prange(len(blocks)):
        first, last, begin, end = blocks[b, 0], blocks[b, 1], blocks[b, 2], blocks[b, 3]
        left, right = np.zeros((MOST_RANK, last - first)), np.zeros((MOST_RANK, 2 * (end - begin)))
        rank[b] = _cross(
            points[first:last], sources[begin:end], normals[begin:end], both, accuracy, rows[b], left, right
        )


@njit(cache=True, error_model="numpy")
def _carried(points: Array, sources: Array, normals: Array, both: bool, accuracy: float, rank: int, out: Array) -> None:
    """Fill ``out`` (n * rank,) with the weights that carry values at the pivots over to all points, point by point."""
    n = len(points)
    left, right = np.zeros((MOST_RANK, n)), np.zeros((MOST_RANK, 2 * len(sources)))
    rows = np.zeros(MOST_RANK, dtype=np.int32)
    _cross(points, sources, normals, both, accuracy, rows, left, right)
    # left at the pivots is lower triangular L; the weights are left L^-1, found column by column from the last
    for k in range(rank - 1, -1, -1):
        inverse = 1.0 / left[k, rows[k]]
        for i in range(n):
            value = left[k, i]
            for later in range(k + 1, rank):
                value -= out[i * rank + later] * left[k, rows[later]]
            out[i * rank + k] = value * inverse


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def fill_far(
    points: Array,
    places: Array,
    sources: Array,
    corners: Array,
    normals: Array,
    areas: Array,
    radii: Array,
    blocks: Array,
    accuracy: float,
    rank: Array,
    rows: Array,
    at_u: Array,
    at_w: Array,
    u: Array,
    double: Array,
    single: Array,
) -> None:
    """Fill the factors of every compressed block; ``single`` is left alone when it is empty."""
    for b in prange(len(blocks)):
        first, last, begin, end = blocks[b, 0], blocks[b, 1], blocks[b, 2], blocks[b, 3]
        k, m = rank[b], end - begin
        weights = np.zeros((last - first) * k)
        _carried(points[first:last], sources[begin:end], normals[begin:end], len(single) > 0, accuracy, k, weights)
        u[at_u[b] : at_u[b] + len(weights)] = weights
        v, d = np.zeros(m), np.zeros(m)
        for p in range(k):
            row, place = first + rows[b, p], at_w[b] + p * m
            layer_row(
                points[row, 0], points[row, 1], points[row, 2], places[:, begin:end], sources[begin:end],
                corners[begin:end], normals[begin:end], areas[begin:end], radii[begin:end], v, d,
            )  # fmt: skip
            double[place : place + m] = d
            if len(single) > 0:
                single[place : place + m] = v


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def fill_near(
    points: Array,
    places: Array,
    sources: Array,
    corners: Array,
    normals: Array,
    areas: Array,
    radii: Array,
    blocks: Array,
    at: Array,
    itself: bool,
    double: Array,
    single: Array,
) -> None:
    """Fill every block kept in full; ``itself``: rows and columns are the same panels."""
    for b in prange(len(blocks)):
        first, last, begin, end = blocks[b, 0], blocks[b, 1], blocks[b, 2], blocks[b, 3]
        m = end - begin
        v, d = np.zeros(m), np.zeros(m)
        for i in range(first, last):
            place = at[b] + (i - first) * m
            layer_row(
                points[i, 0], points[i, 1], points[i, 2], places[:, begin:end], sources[begin:end],
                corners[begin:end], normals[begin:end], areas[begin:end], radii[begin:end], v, d,
            )  # fmt: skip
            if itself and begin <= i < end:
                d[i - begin] = 0.0
            double[place : place + m] = d
            if len(single) > 0:
                single[place : place + m] = v


@njit(cache=True, fastmath=True, error_model="numpy")
def _two_dots(row: Array, first: Array, second: Array) -> tuple[float, float]:
    """Return a matrix row times two vectors: each entry is read once, and memory is what the product waits for."""
    a, b = row[0] * first[0], row[0] * second[0]
    for j in range(1, len(row)):
        a += row[j] * first[j]
        b += row[j] * second[j]
    return a, b


@njit(cache=True, parallel=True, nogil=True, fastmath=True, error_model="numpy")
def far_values(
    blocks: Array,
    rank: Array,
    at_w: Array,
    at_t: Array,
    double: Array,
    single: Array,
    phi: Array,
    flux: Array,
    out: Array,
) -> None:
    """Write the layers at the pivots of each compressed block into ``out`` (2, pivots of all blocks)."""
    for b in prange(len(blocks)):
        begin, end = blocks[b, 2], blocks[b, 3]
        m = end - begin
        phi_0, phi_1 = phi[0, begin:end], phi[1, begin:end]
        for p in range(rank[b]):
            place = at_w[b] + p * m
            s, t = _two_dots(double[place : place + m], phi_0, phi_1)
            if len(single) > 0:
                v, w = _two_dots(single[place : place + m], flux[0, begin:end], flux[1, begin:end])
                s += v
                t += w
            out[0, at_t[b] + p] = s
            out[1, at_t[b] + p] = t


@njit(cache=True, parallel=True, nogil=True, fastmath=True, error_model="numpy")
def gathered(
    leaf_start: Array,
    leaf_stop: Array,
    near_of: Array,
    near_list: Array,
    near: Array,
    at: Array,
    near_double: Array,
    near_single: Array,
    far_of: Array,
    far_list: Array,
    far: Array,
    rank: Array,
    at_u: Array,
    at_t: Array,
    u: Array,
    values: Array,
    phi: Array,
    flux: Array,
    out: Array,
) -> None:
    """Add to ``out`` (2, rows) what each row cluster gets of its blocks, near and far."""
    for leaf in prange(len(leaf_start)):
        for q in range(near_of[leaf], near_of[leaf + 1]):
            b = near_list[q]
            begin, end = near[b, 2], near[b, 3]
            m = end - begin
            phi_0, phi_1 = phi[0, begin:end], phi[1, begin:end]
            for i in range(leaf_start[leaf], leaf_stop[leaf]):
                place = at[b] + (i - near[b, 0]) * m
                s, t = _two_dots(near_double[place : place + m], phi_0, phi_1)
                if len(near_single) > 0:
                    v, w = _two_dots(near_single[place : place + m], flux[0, begin:end], flux[1, begin:end])
                    s += v
                    t += w
                out[0, i] += s
                out[1, i] += t
        for q in range(far_of[leaf], far_of[leaf + 1]):
            b = far_list[q]
            k = rank[b]
            if k == 0:
                continue
            values_0, values_1 = values[0, at_t[b] : at_t[b] + k], values[1, at_t[b] : at_t[b] + k]
            for i in range(leaf_start[leaf], leaf_stop[leaf]):
                place = at_u[b] + (i - far[b, 0]) * k
                s, t = _two_dots(u[place : place + k], values_0, values_1)
                out[0, i] += s
                out[1, i] += t
