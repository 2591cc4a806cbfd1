"""Bodies whose capacitance is known: normals out of the metal, panels crowded to the edges where charge crowds."""

import math

import numpy as np

from geom.arrays import Floats
from geom.surface.solid import joined
from geom.surface.surface import Surface
from helpers.meshes import graded, grid
from helpers.revolved import revolved

GOLDEN = (1.0 + math.sqrt(5.0)) / 2.0


def cylinder(length: float, n: int, *, radius: float = 1.0, power: float = 2.0, along: int | None = None) -> Surface:
    """A solid cylinder about z from z = 0; ``n`` steps from axis to rim, ``along`` to half its length, 8n round it."""
    in_to_out = 1.0 - (1.0 - np.arange(n + 1) / n) ** power
    side = length * graded(along or n, power)
    return revolved(
        [
            (radius * in_to_out, np.zeros(n + 1), 0),
            (np.full(len(side), radius), side, 1),
            (radius * in_to_out[::-1], np.full(n + 1, length), 2),
        ],
        8 * n,
    )


def tube(length: float, wall: float, n: int, *, power: float = 2.0) -> Surface:
    """An open tube of middle radius 1 about z from z = 0."""
    along, across = length * graded(n, power), np.array([1.0 + wall / 2, 1.0 - wall / 2])
    inner, outer = np.full(len(along), across[1]), np.full(len(along), across[0])
    return revolved(
        [
            (outer, along, 0),
            (across, np.full(2, length), 1),
            (inner, along[::-1], 0),
            (across[::-1], np.zeros(2), 1),
        ],
        6 * n,
    )


def torus(middle: float, thick: float, around: int, across: int) -> Surface:
    """A ring about z: radius of its middle line, radius of its section; corners on it."""

    def place(u: Floats, v: Floats) -> Floats:
        out = middle + thick * np.cos(v)
        return np.column_stack([out * np.cos(u), out * np.sin(u), thick * np.sin(v)])

    return grid(place, np.linspace(0.0, 2 * np.pi, around + 1), np.linspace(0.0, 2 * np.pi, across + 1))


def octahedron() -> tuple[Floats, list[tuple[int, int, int]]]:
    """Corners and faces of the regular octahedron of edge length 1, wound outwards."""
    corners = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]]) / math.sqrt(2.0)
    return _wound(corners, 1.0)


def icosahedron() -> tuple[Floats, list[tuple[int, int, int]]]:
    """Corners and faces of the regular icosahedron of edge length 1, wound outwards."""
    base = [(0.0, a, b * GOLDEN) for a in (-1.0, 1.0) for b in (-1.0, 1.0)]
    corners = np.array([np.roll(point, k) for point in base for k in range(3)]) / 2.0
    return _wound(corners, 1.0)


def _wound(corners: Floats, edge: float) -> tuple[Floats, list[tuple[int, int, int]]]:
    """Return the corners and every triangle of three that are ``edge`` apart, wound outwards."""
    near = np.abs(np.linalg.norm(corners[:, None] - corners[None], axis=2) - edge) < 1e-9
    count = len(corners)
    faces = [
        (a, b, c)
        for a in range(count)
        for b in range(a + 1, count)
        for c in range(b + 1, count)
        if near[a, b] and near[b, c] and near[a, c]
    ]
    return corners, [f if np.linalg.det(corners[list(f)]) > 0 else (f[0], f[2], f[1]) for f in faces]


def crowded(corners: Floats, faces: list[tuple[int, int, int]], n: int, power: float) -> Surface:
    """A polyhedron of triangles, each cut into three kites of n x n cells crowded to its edges."""
    share = (np.arange(n + 1) / n) ** power
    kites = []
    for face in faces:
        a = corners[list(face)]
        middle, halves = a.mean(axis=0), 0.5 * (a + np.roll(a, -1, axis=0))
        for k in range(3):

            def place(
                u: Floats, v: Floats, k: int = k, a: Floats = a, m: Floats = middle, h: Floats = halves
            ) -> Floats:
                u, v = u[:, None], v[:, None]
                return (1 - u) * (1 - v) * a[k] + u * (1 - v) * h[k] + u * v * m + (1 - u) * v * h[k - 1]

            kites.append(grid(place, share, share))
    return joined(kites)
