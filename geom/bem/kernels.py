"""Integrals of the Laplace kernel over flat triangles, and the matrices made of them. Validate nothing.

``G = 1 / (4 pi r)``. The single layer is the integral of G over a panel; the double layer that of dG/dn,
n the normal of the panel. Closed forms: solid angle by van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30
(1983) 125; single layer by edges as in Wilton et al., IEEE Trans. Antennas Propag. 32 (1984) 276 (both from
memory, checked against quadrature by the tests).
"""

from typing import Any

import numpy as np
from numba import njit, prange

Array = Any

NEAR = 4.0  # nearer than this many panel radii: closed form
MIDDLE = 12.0  # nearer than this: three points; beyond: one


@njit(cache=True)
def panel_integrals(px: float, py: float, pz: float, corners: Array, normal: Array) -> tuple[float, float]:
    """Return 4 pi times the single and the double layer of one panel at a point, in closed form."""
    rx, ry, rz = np.zeros(3), np.zeros(3), np.zeros(3)
    length = np.zeros(3)
    for k in range(3):
        rx[k], ry[k], rz[k] = corners[k, 0] - px, corners[k, 1] - py, corners[k, 2] - pz
        length[k] = np.sqrt(rx[k] * rx[k] + ry[k] * ry[k] + rz[k] * rz[k])
    nx, ny, nz = normal[0], normal[1], normal[2]
    height = rx[0] * nx + ry[0] * ny + rz[0] * nz  # of the panel above the point, along its normal
    triple = (
        rx[0] * (ry[1] * rz[2] - rz[1] * ry[2])
        - ry[0] * (rx[1] * rz[2] - rz[1] * rx[2])
        + rz[0] * (rx[1] * ry[2] - ry[1] * rx[2])
    )
    below = (
        length[0] * length[1] * length[2]
        + (rx[0] * rx[1] + ry[0] * ry[1] + rz[0] * rz[1]) * length[2]
        + (rx[1] * rx[2] + ry[1] * ry[2] + rz[1] * rz[2]) * length[0]
        + (rx[2] * rx[0] + ry[2] * ry[0] + rz[2] * rz[0]) * length[1]
    )
    angle = 2.0 * np.arctan2(triple, below)
    total = 0.0
    for k in range(3):
        m = (k + 1) % 3
        ex, ey, ez = rx[m] - rx[k], ry[m] - ry[k], rz[m] - rz[k]
        edge = np.sqrt(ex * ex + ey * ey + ez * ez)
        ex, ey, ez = ex / edge, ey / edge, ez / edge
        # distance in the panel's plane from the foot of the point to this edge, positive when inside
        aside = rx[k] * (ey * nz - ez * ny) + ry[k] * (ez * nx - ex * nz) + rz[k] * (ex * ny - ey * nx)
        s1 = rx[k] * ex + ry[k] * ey + rz[k] * ez
        s2 = rx[m] * ex + ry[m] * ey + rz[m] * ez
        if s1 + s2 >= 0.0:
            top, bottom = length[m] + s2, length[k] + s1
        else:
            top, bottom = length[k] - s1, length[m] - s2
        if bottom > 0.0 and top > 0.0:
            total += aside * np.log(top / bottom)
    return total - height * angle, -angle


@njit(cache=True, parallel=True, fastmath=True)
def layer_matrices(
    centroids: Array,
    corners: Array,
    normals: Array,
    areas: Array,
    radii: Array,
    column: Array,
    double: Array,
    single: Array,
    sums: Array,
) -> None:
    """Fill ``double`` (n, n), ``single`` (n, electrodes) and ``sums`` (n,), the row sums of ``double``.

    ``column[j]`` is the column of panel j in ``single``, or -1.
    """
    n = len(centroids)
    scale = 1.0 / (4.0 * np.pi)
    for i in prange(n):
        px, py, pz = centroids[i, 0], centroids[i, 1], centroids[i, 2]
        row = 0.0
        for j in range(n):
            dx, dy, dz = centroids[j, 0] - px, centroids[j, 1] - py, centroids[j, 2] - pz
            far = dx * dx + dy * dy + dz * dz
            reach = radii[j] * radii[j]
            if far < NEAR * NEAR * reach:
                v, k = panel_integrals(px, py, pz, corners[j], normals[j])
                if i == j:
                    k = 0.0
            else:
                nx, ny, nz = normals[j, 0], normals[j, 1], normals[j, 2]
                v, k = 0.0, 0.0
                if far < MIDDLE * MIDDLE * reach:
                    for a in range(3):  # the three points (2/3, 1/6, 1/6): exact to second order
                        qx = dx + 0.5 * (corners[j, a, 0] - centroids[j, 0])
                        qy = dy + 0.5 * (corners[j, a, 1] - centroids[j, 1])
                        qz = dz + 0.5 * (corners[j, a, 2] - centroids[j, 2])
                        inverse = 1.0 / np.sqrt(qx * qx + qy * qy + qz * qz)
                        v += inverse
                        k -= (qx * nx + qy * ny + qz * nz) * inverse * inverse * inverse
                    v *= areas[j] / 3.0
                    k *= areas[j] / 3.0
                else:
                    inverse = 1.0 / np.sqrt(far)
                    v = areas[j] * inverse
                    k = -areas[j] * (dx * nx + dy * ny + dz * nz) * inverse * inverse * inverse
            double[i, j] = k * scale
            row += k * scale
            if column[j] >= 0:
                single[i, column[j]] = v * scale
        sums[i] = row


@njit(cache=True, parallel=True, fastmath=True)
def two_columns(matrix: Array, columns: Array, out: Array) -> None:
    """Write ``matrix`` (n, m) times two columns, given as rows (2, m), into ``out`` (n, 2).

    Each matrix entry is read once for both: the product is bound by memory, and BLAS reads it more often.
    """
    for i in prange(matrix.shape[0]):
        a = matrix[i, 0] * columns[0, 0]
        b = matrix[i, 0] * columns[1, 0]
        for j in range(1, matrix.shape[1]):
            a += matrix[i, j] * columns[0, j]
            b += matrix[i, j] * columns[1, j]
        out[i, 0] = a
        out[i, 1] = b
