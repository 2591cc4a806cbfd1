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
def dot_of(a: Array, b: Array) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit(cache=True)
def gap(a: Array, b: Array) -> float:
    """Distance of two points."""
    return np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)


@njit(cache=True)
def shape_of(a: Array, b: Array, c: Array) -> float:
    """Sine of the smallest angle of a triangle, nearly: twice the area over the product of the longest two sides."""
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    wx, wy, wz = c[0] - b[0], c[1] - b[1], c[2] - b[2]
    ab, ca, bc = ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, wx * wx + wy * wy + wz * wz
    product = ab * bc * ca
    if product <= 0.0:
        return 0.0
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    return np.sqrt((nx * nx + ny * ny + nz * nz) * min(ab, bc, ca) / product)


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
    abx, aby, abz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    acx, acy, acz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    px, py, pz = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    d1, d2 = abx * px + aby * py + abz * pz, acx * px + acy * py + acz * pz
    ab2, ac2 = abx * abx + aby * aby + abz * abz, acx * acx + acy * acy + acz * acz
    abac = abx * acx + aby * acy + abz * acz
    d3, d4, d5, d6 = d1 - ab2, d2 - abac, d1 - abac, d2 - ac2
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    s, t = 0.0, 0.0  # the point is a + s * ab + t * ac
    if d1 <= 0.0 and d2 <= 0.0:
        pass
    elif d3 >= 0.0 and d4 <= d3:
        s = 1.0
    elif d6 >= 0.0 and d5 <= d6:
        t = 1.0
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        s = d1 / (d1 - d3) if d1 > d3 else 0.0
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        t = d2 / (d2 - d6) if d2 > d6 else 0.0
    elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        side = (d4 - d3) + (d5 - d6)
        t = (d4 - d3) / side if side > 0.0 else 0.0
        s = 1.0 - t
    elif va + vb + vc > 0.0:
        s, t = vb / (va + vb + vc), vc / (va + vb + vc)
    out[0] = a[0] + s * abx + t * acx
    out[1] = a[1] + s * aby + t * acy
    out[2] = a[2] + s * abz + t * acz
    return (p[0] - out[0]) ** 2 + (p[1] - out[1]) ** 2 + (p[2] - out[2]) ** 2


@njit(cache=True)
def along_segment(p: Array, a: Array, b: Array, out: Array) -> float:
    """Write the point of segment ab closest to p and return the squared distance."""
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    length = ux * ux + uy * uy + uz * uz
    t = 0.0
    if length > 0.0:
        t = min(max((ux * (p[0] - a[0]) + uy * (p[1] - a[1]) + uz * (p[2] - a[2])) / length, 0.0), 1.0)
    out[0], out[1], out[2] = a[0] + t * ux, a[1] + t * uy, a[2] + t * uz
    return (p[0] - out[0]) ** 2 + (p[1] - out[1]) ** 2 + (p[2] - out[2]) ** 2
