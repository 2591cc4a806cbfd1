"""Integrals of the Laplace kernel over flat triangles, one by one and in groups. Validate nothing.

``G = 1 / (4 pi r)``. The single layer is the integral of G over a panel; the double layer that of dG/dn,
n the normal of the panel. Closed forms: solid angle by van Oosterom & Strackee, IEEE Trans. Biomed. Eng. 30
(1983) 125; single layer by edges as in Wilton et al., IEEE Trans. Antennas Propag. 32 (1984) 276 (both from
memory, checked against quadrature by the tests).
"""

from typing import Any

import numpy as np
from numba import njit, prange

Array = Any

NEAR = 4.0
MIDDLE = 12.0  # nearer than this: three points; beyond: one


@njit(cache=True, error_model="numpy")
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


@njit(cache=True, fastmath=True, error_model="numpy")
def _three_points(
    dx: float, dy: float, dz: float, corners: Array, centroid: Array, normal: Array
) -> tuple[float, float]:
    """Return the layers for one unit of area, times 4 pi: by the points (2/3, 1/6, 1/6), exact to second order."""
    v, k = 0.0, 0.0
    for a in range(3):
        qx = dx + 0.5 * (corners[a, 0] - centroid[0])
        qy = dy + 0.5 * (corners[a, 1] - centroid[1])
        qz = dz + 0.5 * (corners[a, 2] - centroid[2])
        inverse = 1.0 / np.sqrt(qx * qx + qy * qy + qz * qz)
        v += inverse
        k -= (qx * normal[0] + qy * normal[1] + qz * normal[2]) * inverse * inverse * inverse
    return v / 3.0, k / 3.0


@njit(cache=True, fastmath=True, error_model="numpy")
def layer_row(
    px: float,
    py: float,
    pz: float,
    places: Array,
    centroids: Array,
    corners: Array,
    normals: Array,
    areas: Array,
    radii: Array,
    single: Array,
    double: Array,
) -> None:
    """Fill ``single`` and ``double`` (n,), the layers of n panels at one point.

    ``places`` (3, n) are the centroids once more, laid out so that the first pass, one point for every panel,
    is done several panels at a time; the second goes over the panels too near for that.
    """
    scale = 1.0 / (4.0 * np.pi)
    xs, ys, zs = places[0], places[1], places[2]
    n = len(areas)
    for j in range(n):
        dx, dy, dz = xs[j] - px, ys[j] - py, zs[j] - pz
        far = dx * dx + dy * dy + dz * dz
        single[j] = far
        inverse = scale * areas[j] / np.sqrt(far)
        double[j] = inverse
    for j in range(n):
        far = single[j]
        dx, dy, dz = xs[j] - px, ys[j] - py, zs[j] - pz
        reach = radii[j] * radii[j]
        if far >= MIDDLE * MIDDLE * reach:
            v = double[j]
            single[j] = v
            double[j] = -v * (dx * normals[j, 0] + dy * normals[j, 1] + dz * normals[j, 2]) / far
        elif far >= NEAR * NEAR * reach:
            v, k = _three_points(dx, dy, dz, corners[j], centroids[j], normals[j])
            single[j], double[j] = v * areas[j] * scale, k * areas[j] * scale
        else:
            v, k = panel_integrals(px, py, pz, corners[j], normals[j])
            single[j], double[j] = v * scale, k * scale


@njit(cache=True, parallel=True, nogil=True, error_model="numpy")
def layer_blocks(
    centroids: Array,
    corners: Array,
    normals: Array,
    areas: Array,
    radii: Array,
    rows: Array,
    double: Array,
    single: Array,
) -> None:
    """Fill ``double`` and ``single`` (blocks, size, size) for groups of panels ``rows`` (blocks, size)."""
    for b in prange(len(rows)):
        own = rows[b]
        places = np.ascontiguousarray(centroids[own].T)
        here, triangles, normal, area, reach = centroids[own], corners[own], normals[own], areas[own], radii[own]
        for i in range(len(own)):
            layer_row(
                here[i, 0],
                here[i, 1],
                here[i, 2],
                places,
                here,
                triangles,
                normal,
                area,
                reach,
                single[b, i],
                double[b, i],
            )
            for j in range(len(own)):
                if own[j] == own[i]:
                    double[b, i, j] = 0.0
