"""Lengths, shapes and nearest points of triangles and segments. Validate nothing."""

from typing import Any

import numpy as np
from numba import njit

Array = Any


@njit(cache=True)
def cross_of(a: Array, b: Array, c: Array, out: Array) -> float:
    """Write (b - a) x (c - a) and return its length."""
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    out[0] = uy * vz - uz * vy
    out[1] = uz * vx - ux * vz
    out[2] = ux * vy - uy * vx
    return np.sqrt(out[0] * out[0] + out[1] * out[1] + out[2] * out[2])


@njit(cache=True)
def gap(a: Array, b: Array) -> float:
    """Distance of two points."""
    return np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)


@njit(cache=True)
def shape_of(a: Array, b: Array, c: Array) -> float:
    """Sine of the smallest angle of a triangle, nearly: twice the area over the product of the longest two sides."""
    ab, bc, ca = gap(a, b), gap(b, c), gap(c, a)
    short = min(ab, bc, ca)
    product = ab * bc * ca
    if product <= 0.0:
        return 0.0
    normal = np.zeros(3)
    return cross_of(a, b, c, normal) * short / product


@njit(cache=True)
def warp_of(pa: Array, pb: Array, pc: Array, pd: Array) -> float:
    """Distance of the lines ab and cd over the length of cd: how far a flip would move the surface."""
    ux, uy, uz = pb[0] - pa[0], pb[1] - pa[1], pb[2] - pa[2]
    vx, vy, vz = pd[0] - pc[0], pd[1] - pc[1], pd[2] - pc[2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    length = np.sqrt(nx * nx + ny * ny + nz * nz)
    if length <= 0.0:
        return np.inf
    lift = abs(nx * (pc[0] - pa[0]) + ny * (pc[1] - pa[1]) + nz * (pc[2] - pa[2])) / length
    return lift / np.sqrt(vx * vx + vy * vy + vz * vz)


@njit(cache=True)
def closest_on_triangle(p: Array, a: Array, b: Array, c: Array, out: Array) -> float:
    """Write the point of triangle abc closest to p and return the squared distance (Ericson 2005, ch. 5)."""
    ab, ac, ap = b - a, c - a, p - a
    d1, d2 = np.dot(ab, ap), np.dot(ac, ap)
    bp, cp = p - b, p - c
    d3, d4, d5, d6 = np.dot(ab, bp), np.dot(ac, bp), np.dot(ab, cp), np.dot(ac, cp)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        out[:] = a
    elif d3 >= 0.0 and d4 <= d3:
        out[:] = b
    elif d6 >= 0.0 and d5 <= d6:
        out[:] = c
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        out[:] = a + ab * (d1 / (d1 - d3))
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        out[:] = a + ac * (d2 / (d2 - d6))
    elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        out[:] = b + (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6)))
    else:
        total = va + vb + vc
        if total == 0.0:
            out[:] = a
        else:
            out[:] = a + ab * (vb / total) + ac * (vc / total)
    return (p[0] - out[0]) ** 2 + (p[1] - out[1]) ** 2 + (p[2] - out[2]) ** 2


@njit(cache=True)
def drawn_to(p: Array, within: float, corners: Array, first: int, last: int, out: Array) -> bool:
    """Write the point of triangles ``corners[first:last]`` closest to p; False when none is ``within`` reach."""
    best = within * within
    found = False
    trial = np.zeros(3)
    for i in range(first, last):
        apart = 0.0  # squared distance to the box round the triangle: a quick no
        for k in range(3):
            a, b, c = corners[i, 0, k], corners[i, 1, k], corners[i, 2, k]
            below, above = min(a, b, c) - p[k], p[k] - max(a, b, c)
            if below > 0.0:
                apart += below * below
            elif above > 0.0:
                apart += above * above
        if apart >= best:
            continue
        distance = closest_on_triangle(p, corners[i, 0], corners[i, 1], corners[i, 2], trial)
        if distance < best:
            best = distance
            out[:] = trial
            found = True
    return found


@njit(cache=True)
def nearest_segments(places: Array, start: Array, end: Array) -> tuple[Array, Array]:
    """Distance from each place to the nearest of the segments, and which one that is."""
    distance = np.full(len(places), np.inf)
    number = np.full(len(places), -1, np.int64)
    for i in range(len(places)):
        p = places[i]
        best, which = np.inf, -1
        for j in range(len(start)):
            a, b = start[j], end[j]
            ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
            wx, wy, wz = p[0] - a[0], p[1] - a[1], p[2] - a[2]
            length = ux * ux + uy * uy + uz * uz
            t = 0.0
            if length > 0.0:
                t = min(max((ux * wx + uy * wy + uz * wz) / length, 0.0), 1.0)
            dx, dy, dz = wx - t * ux, wy - t * uy, wz - t * uz
            d = dx * dx + dy * dy + dz * dz
            if d < best:
                best, which = d, j
        distance[i], number[i] = np.sqrt(best), which
    return distance, number
