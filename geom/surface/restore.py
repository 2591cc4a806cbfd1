"""Give curved faces back the area that chords cut off, by moving their vertices outward.

A chord of length h across a curve of curvature k leaves a bow of height h² k / 8; the polygon has the length of
the curve again when its corners stand h² k / 24 outside it. Inside a curved face a vertex moves along the gradient
of the area, which has that same shape; on a curved edge along the gradient of the edge's length, which lies in the
plane of a flat neighbour. Both vanish where nothing is curved. One factor for each face is solved for.
"""

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.surface.surface import Surface

BOW = 1.0 / 24.0  # outward shift of a corner, over chord squared times curvature, that restores the length
STAR_AREA = 0.866  # a third of the area round a vertex of an even mesh, over edge length squared
FLAT = 2e-3  # faces that meet at less than this angle are one plane [rad]
CURVED = 0.01  # a face whose normals spread by less than this is flat [rad]
LEAST, MOST = -1.0, 3.0  # of the theoretical shift; beyond it the difference in area is no bow of a chord
STEPS = 6


def restored(mesh: Surface, rank: Ints, twin: Ints, kept: Bools, curved: Bools, areas: Floats) -> Surface:
    """Return the mesh with the area of each curved tag brought to ``areas``; flat faces and straight edges stay.

    Parameters
    ----------
    rank : (n,) of each vertex as in the remesher: 0 free, 1 on a kept curve, 2 fixed
    twin, kept : (3m,) opposite half-edges, and which edges are kept
    curved : (tags,) which tags are curved
    areas : (tags,) wanted [m²]
    """
    if not np.any(curved):
        return mesh
    ways = _ways(mesh, rank, twin, kept, curved)
    share = _shares(mesh, curved)
    count = len(curved)

    def placed(factor: Floats) -> Surface:
        return Surface(mesh.vertices + (share @ factor)[:, None] * ways, mesh.faces, mesh.tag)

    def found(surface: Surface) -> Floats:
        return np.asarray(np.bincount(surface.tag, weights=surface.areas, minlength=count), dtype=np.float64)

    factor, best = np.zeros(count), mesh
    area, slope = found(mesh), np.zeros(count)
    trial = np.where(curved, 1.0, 0.0)
    for _ in range(STEPS):
        best = placed(trial)
        new = found(best)
        step = trial - factor
        slope = np.where(np.abs(step) > 1e-6, (new - area) / np.where(step == 0, 1.0, step), slope)
        factor, area = trial, new
        able = curved & (slope > 1e-9 * area)
        wanted = np.where(able, factor + (areas - area) / np.where(able, slope, 1.0), 0.0)
        trial = np.clip(wanted, LEAST, MOST)
        if np.abs(trial - factor).max() < 1e-4:
            break
    return placed(trial)


def curved_tags(surface: Surface) -> Bools:
    """Return (tags,) whether the normals of each tag's faces differ."""
    count = int(surface.tag.max()) + 1
    total = np.stack([np.bincount(surface.tag, weights=v, minlength=count) for v in surface.area_vectors.T], axis=1)
    length = np.linalg.norm(total, axis=1)
    area = np.bincount(surface.tag, weights=surface.areas, minlength=count)
    return np.asarray(length < np.cos(CURVED / 2) * area)


def _ways(mesh: Surface, rank: Ints, twin: Ints, kept: Bools, curved: Bools) -> Floats:
    """Return (n, 3) where each vertex would go to give chords the length of their curves [m]."""
    count = len(mesh.vertices)
    corners, normals = mesh.corners, mesh.normals
    ways = np.zeros((count, 3))
    for k in range(3):
        pull = 0.5 * np.cross(normals, corners[:, (k + 2) % 3] - corners[:, (k + 1) % 3])
        for axis in range(3):
            ways[:, axis] += np.bincount(mesh.faces[:, k], weights=pull[:, axis], minlength=count)
    ways *= BOW / STAR_AREA
    ways[rank > 0] = 0.0
    half = np.flatnonzero(kept & ((twin < 0) | (np.arange(len(twin)) < twin)))
    a, b = mesh.faces[half // 3, half % 3], mesh.faces[half // 3, (half + 1) % 3]
    along = mesh.vertices[b] - mesh.vertices[a]
    length = np.linalg.norm(along, axis=1)
    unit = along / np.maximum(length, 1e-300)[:, None]
    reach = np.bincount(a, weights=length, minlength=count) + np.bincount(b, weights=length, minlength=count)
    for axis in range(3):
        bend = np.bincount(b, weights=unit[:, axis], minlength=count)
        bend -= np.bincount(a, weights=unit[:, axis], minlength=count)
        ways[rank == 1, axis] = (BOW * 0.5 * reach * bend)[rank == 1]
    ways[rank == 2] = 0.0
    ways[_level_vertices(mesh, twin, kept, curved)] = 0.0
    return ways


def _level_vertices(mesh: Surface, twin: Ints, kept: Bools, curved: Bools) -> Ints:
    """Return the free vertices of curved tags that lie on a flat piece: they keep it flat."""
    face = np.arange(len(twin)) // 3
    other = np.where(twin >= 0, twin, 0) // 3
    cosine = np.einsum("ij,ij->i", mesh.normals[face], mesh.normals[other])
    turns = ~kept & (cosine < np.cos(FLAT))
    level = curved[mesh.tag] & ~turns.reshape(-1, 3).any(axis=1)
    return np.unique(mesh.faces[level])


def _shares(mesh: Surface, curved: Bools) -> Floats:
    """Return (n, tags) the say of each curved tag in where a vertex goes: its own, or an equal part of a border."""
    says = np.zeros((len(mesh.vertices), len(curved)))
    for k in range(3):
        says[mesh.faces[:, k], mesh.tag] = 1.0
    says[:, ~curved] = 0.0
    return np.asarray(says / np.maximum(says.sum(axis=1), 1.0)[:, None])
