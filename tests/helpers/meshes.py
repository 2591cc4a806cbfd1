"""Panels laid out by formula, normals out of the electrolyte: no remesher of the program is involved."""

from collections.abc import Callable

import numpy as np
import trimesh

from geom.arrays import Floats
from geom.surface.solid import joined
from geom.surface.surface import Surface

Place = Callable[[Floats, Floats], Floats]


def turned_over(surface: Surface) -> Surface:
    """The same faces, wound the other way."""
    return Surface(surface.vertices, surface.faces[:, ::-1], surface.tag)


def grid(place: Place, us: Floats, vs: Floats, tag: int = 0) -> Surface:
    """Triangles on a patch ``place(u, v)`` (n, 3); the normal is along d/du x d/dv. Diagonals alternate."""
    u, v = np.meshgrid(us, vs, indexing="ij")
    vertices = place(u.reshape(-1), v.reshape(-1))
    i, j = np.meshgrid(np.arange(len(us) - 1), np.arange(len(vs) - 1), indexing="ij")
    a = (i * len(vs) + j).reshape(-1)
    b, c, d = a + len(vs), a + len(vs) + 1, a + 1
    even = ((i + j) % 2 == 0).reshape(-1)
    one = np.where(even[:, None], np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    two = np.where(even[:, None], np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    faces = np.concatenate([one, two])
    return Surface(vertices, faces, np.full(len(faces), tag))


def graded(n: int, power: float = 1.0) -> Floats:
    """(2n + 1,) places 0..1, crowded towards both ends by ``power``; even for power 1."""
    half = 0.5 * (np.arange(n + 1) / n) ** power
    return np.concatenate([half, 1.0 - half[-2::-1]])


def box_panels(low: Floats, high: Floats, shares: tuple[Floats, Floats, Floats], first_tag: int = 0) -> Surface:
    """A box with normals outward; tags first_tag + (0 -x, 1 +x, 2 -y, 3 +y, 4 -z, 5 +z)."""
    low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    sides = []
    for axis in range(3):
        p, q = (axis + 1) % 3, (axis + 2) % 3
        for end in range(2):

            def place(u: Floats, v: Floats, axis: int = axis, p: int = p, q: int = q, end: int = end) -> Floats:
                points = np.zeros((len(u), 3))
                points[:, axis] = (low, high)[end][axis]
                points[:, p] = low[p] + u * (high[p] - low[p])
                points[:, q] = low[q] + v * (high[q] - low[q])
                return points

            side = grid(place, shares[p], shares[q], first_tag + 2 * axis + end)
            sides.append(side if end else turned_over(side))
    return joined(sides)


def cube(n: int, power: float = 1.0, edge: float = 1.0) -> Surface:
    """A cube about the origin, normals outward, 2n cells along each edge."""
    share = graded(n, power)
    return box_panels(-0.5 * edge * np.ones(3), 0.5 * edge * np.ones(3), (share, share, share))


def icosphere(level: int, radius: float = 1.0, tag: int = 0) -> Surface:
    """A sphere of 20 * 4**level panels, corners on the sphere, normals outward."""
    mesh = trimesh.creation.icosphere(subdivisions=level, radius=radius)
    return Surface(np.array(mesh.vertices), np.array(mesh.faces), np.full(len(mesh.faces), tag))


def ellipsoid(level: int, semi_axes: tuple[float, float, float]) -> Surface:
    """An icosphere pulled to three semi-axes, normals outward."""
    ball = icosphere(level)
    return Surface(ball.vertices * np.asarray(semi_axes), ball.faces, ball.tag)


def sphere_in_sphere(level: int, inner: float, outer: float, shift: float = 0.0) -> Surface:
    """Electrolyte between two spheres: tag 0 the inner one, tag 1 the outer one with its centre at x = shift."""
    shell = icosphere(level, outer, tag=1).moved(np.eye(3), np.array([shift, 0.0, 0.0]))
    return joined([turned_over(icosphere(level, inner, tag=0)), shell])


def coaxial(n: int, inner: float, outer: float, length: float) -> Surface:
    """Electrolyte between two cylinders along z: tag 0 inner, 1 outer, 2 the two ends; 4n sides."""
    round_ = np.linspace(0.0, 2 * np.pi, 4 * n + 1)
    rise = np.linspace(0.0, length, n + 1)
    across = np.geomspace(inner, outer, n + 1)

    def shell(radius: float) -> Place:
        return lambda u, v: np.column_stack([radius * np.cos(u), radius * np.sin(u), v])

    def end(height: float) -> Place:
        return lambda u, v: np.column_stack([u * np.cos(v), u * np.sin(v), np.full(len(u), height)])

    return joined(
        [
            turned_over(grid(shell(inner), round_, rise, 0)),
            grid(shell(outer), round_, rise, 1),
            turned_over(grid(end(0.0), across, round_, 2)),
            grid(end(length), across, round_, 2),
        ]
    )


def box_in_box(n: int, inner: float, outer: float, power: float = 1.5) -> Surface:
    """Electrolyte between two cubes about one centre: tags 0..5 the inner one, 6..11 the outer one."""
    share = graded(n, power)
    inside = turned_over(cube(n, power, inner))
    half = 0.5 * outer * np.ones(3)
    return joined([inside, box_panels(-half, half, (share, share, share), 6)])
