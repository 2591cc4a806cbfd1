"""Solids: what is left of one body when others are taken out of it, with the tags kept."""

from collections.abc import Sequence

import manifold3d
import numpy as np

from geom.arrays import Floats, Ints
from geom.surface.surface import Surface

LEAST_GAP = 0.2e-3
"""Narrower gaps between solids are refused: they cannot be meshed honestly [m]."""


class NotSolidError(ValueError):
    """The surface does not bound a solid; the message is the library's own word for the reason."""


def to_manifold(surface: Surface, first_id: int = 0) -> manifold3d.Manifold:
    """Return the solid that ``surface`` bounds; its face ids are ``first_id`` plus the face number.

    Raises
    ------
    NotSolidError
        where the surface is open or not manifold.
    """
    mesh = manifold3d.Mesh64(
        vert_properties=np.array(surface.vertices),
        tri_verts=np.array(surface.faces, dtype=np.uint64),
        face_id=np.arange(first_id, first_id + len(surface.faces), dtype=np.uint64),
    )
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError:
        raise NotSolidError(str(solid.status()).rsplit(".", 1)[-1])
    return solid


def from_manifold(solid: manifold3d.Manifold, tag_of_id: Ints) -> Surface:
    """Return the boundary of ``solid``; each face takes the tag of the face it was cut from."""
    mesh = solid.to_mesh64()
    vertices = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
    faces = _welded(np.asarray(mesh.tri_verts, dtype=np.int64), mesh, len(vertices))
    return Surface(vertices, faces, tag_of_id[np.asarray(mesh.face_id, dtype=np.int64)])


def _welded(faces: Ints, mesh: manifold3d.Mesh64, count: int) -> Ints:
    """Undo the doubling of vertices that the library uses where runs meet."""
    number = np.arange(count)
    number[np.asarray(mesh.merge_from_vert, dtype=np.int64)] = np.asarray(mesh.merge_to_vert, dtype=np.int64)
    return number[faces]


def left_over(body: Surface, taken: Sequence[Surface]) -> list[Surface]:
    """Return the separate regions of ``body`` outside every surface of ``taken``, each with its inner shells.

    Faces keep the tag of the surface they lie on and point out of the region that is left.
    """
    surfaces = [body, *taken]
    offsets = np.cumsum([0, *(len(s.faces) for s in surfaces)])
    tags = np.concatenate([s.tag for s in surfaces])
    solids = [to_manifold(s, int(first)) for s, first in zip(surfaces, offsets[:-1], strict=True)]
    rest = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Subtract)
    return _regions([from_manifold(piece, tags) for piece in rest.decompose()])


def _regions(shells: Sequence[Surface]) -> list[Surface]:
    """Join each inner shell to the smallest outer shell round it, largest region first."""
    outer = sorted((s for s in shells if s.volume > 0), key=lambda s: -s.volume)
    members: list[list[Surface]] = [[s] for s in outer]
    for inner in (s for s in shells if s.volume < 0):
        place = inner.vertices[inner.faces[0, 0]]
        holders = [k for k, s in enumerate(outer) if winding_number(s, place) > 0.5]
        if holders:
            members[holders[-1]].append(inner)
    return [joined(group) for group in members]


def winding_number(surface: Surface, place: Floats) -> float:
    """Return how often a closed surface wraps ``place`` (3,): 1 inside, 0 outside (van Oosterom & Strackee 1983)."""
    a, b, c = (surface.corners[:, k] - place for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    triple = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = (
        la * lb * lc
        + np.einsum("ij,ij->i", a, b) * lc
        + np.einsum("ij,ij->i", b, c) * la
        + np.einsum("ij,ij->i", c, a) * lb
    )
    return float(np.arctan2(triple, below).sum() / (2 * np.pi))


def joined(surfaces: Sequence[Surface]) -> Surface:
    """Return several surfaces as one, vertices and faces in the order given."""
    first = np.cumsum([0, *(len(s.vertices) for s in surfaces)])
    return Surface(
        np.concatenate([s.vertices for s in surfaces]),
        np.concatenate([s.faces + n for s, n in zip(surfaces, first[:-1], strict=True)]),
        np.concatenate([s.tag for s in surfaces]),
    )


def common_volume(a: Surface, b: Surface) -> float:
    """Return the volume shared by two solids [m³]."""
    return float((to_manifold(a) ^ to_manifold(b)).volume())


def clearance(a: Surface, b: Surface, up_to: float) -> float:
    """Return the least distance between two solids, at most ``up_to`` [m]; 0 where they touch."""
    return float(to_manifold(a).min_gap(to_manifold(b), up_to))


def box(low: Sequence[float], high: Sequence[float], tag: int = 0) -> Surface:
    """Return the box between two corners [m], all faces with one tag."""
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    unit = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)], dtype=np.float64)
    # corner number is 4x + 2y + z; each side as two triangles seen counter-clockwise from outside
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Surface(lo + unit * (hi - lo), np.array(faces), np.full(12, tag))


def upright_cylinder(centre: Sequence[float], diameter: float, height: float, sides: int, tag: int = 0) -> Surface:
    """Return a cylinder along z whose polygon has the true perimeter; ``centre`` is its middle [m]."""
    angle = 2 * np.pi * np.arange(sides) / sides
    radius = 0.5 * diameter * (np.pi / sides) / np.sin(np.pi / sides)
    ring = radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    low = np.column_stack([ring, np.full(sides, -height / 2)])
    high = np.column_stack([ring, np.full(sides, height / 2)])
    poles = np.array([[0, 0, -height / 2], [0, 0, height / 2]])
    i, j = np.arange(sides), np.roll(np.arange(sides), -1)
    bottom = np.full(sides, 2 * sides)
    faces = np.concatenate(
        [
            np.stack([i, j, j + sides], 1),
            np.stack([i, j + sides, i + sides], 1),
            np.stack([bottom, j, i], 1),
            np.stack([bottom + 1, i + sides, j + sides], 1),
        ]
    )
    return Surface(np.concatenate([low, high, poles]) + np.asarray(centre), faces, np.full(len(faces), tag))
