"""Remesh a tagged surface into graded, well-shaped triangles, keeping sharp edges and tag borders exactly."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.surface import remesh_kernels as kernels
from geom.surface import slide_kernels
from geom.surface.boxtree import BoxTree, box_tree
from geom.surface.flip_kernels import settle
from geom.surface.restore import curved_tags, restored
from geom.surface.surface import Surface

SizeField = Callable[[Floats], Floats]
"""(n, 3) places [m] to (n,) wanted edge length there [m]."""

SHARP = np.cos(np.radians(30.0))  # faces that meet at more than 30° have a sharp edge between them
CORNER = np.cos(np.radians(40.0))  # a kept curve that turns by more than this has a corner
LONG, SHORT = 1.35, 0.72  # edges outside this band of the wanted size are split or collapsed
SAG = 0.05  # a curve or a curved face may be straightened by this share of the wanted size
TURN = 0.86  # a face may turn by 30° when a neighbour is collapsed
POOR = np.sin(np.radians(25.0))  # faces with a smaller angle are mended one by one
POLISH = 4  # times
STALE = 0.2  # a vertex that has moved by this share of its size asks for its size anew
FLAT = 0.93  # edges between faces that meet at up to 21° may be flipped


@dataclass(eq=False)
class _Mesh:
    """Working arrays of one remeshing run, with spare room at the end. Not a record: edited in place."""

    vertex: Floats
    size: Floats
    asked: Floats  # places at which the size was last asked for
    rank: Ints
    face: Ints
    tag: Ints
    twin: Ints
    kept: Bools
    out: Ints
    counts: Ints  # vertices, faces in use
    dirty: Bools  # faces whose edges are to be looked at for flips


def half_edge_twins(faces: Ints) -> Ints:
    """Return (3m,) the opposite half-edge of each half-edge, -1 at rims.

    Raises ``ValueError`` where an edge has more than two faces or two faces run the same way along it.
    """
    start = faces.reshape(-1)
    end = np.roll(faces, -1, axis=1).reshape(-1)
    count = int(faces.max()) + 1 if len(faces) else 0
    forward, backward = start * count + end, end * count + start
    order = np.argsort(forward, kind="stable")
    if np.any(np.diff(forward[order]) == 0):
        raise ValueError("an edge is used twice in the same direction")
    place = np.searchsorted(forward[order], backward)
    place[place == len(order)] = 0
    found = order[place]
    return np.where(forward[found] == backward, found, -1).astype(np.int64)


def sharp_half_edges(surface: Surface, twin: Ints) -> Bools:
    """Return (3m,) whether each half-edge is a rim, a border between tags, or sharp."""
    face = np.arange(len(twin)) // 3
    other = np.where(twin >= 0, twin, 0) // 3
    cosine = np.einsum("ij,ij->i", surface.normals[face], surface.normals[other])
    # a face without area has no normal: its edges are kept only for their tags
    blank = (surface.areas[face] <= 0) | (surface.areas[other] <= 0)
    sharp = (cosine < SHARP) & ~blank
    if surface.smooth:
        sharp &= ~np.isin(surface.tag[face], surface.smooth)
    return np.asarray((twin < 0) | (surface.tag[face] != surface.tag[other]) | sharp)


def vertex_ranks(surface: Surface, kept: Bools) -> Ints:
    """Return (n,) 0 for free vertices, 1 on a smooth kept curve, 2 at corners."""
    start = surface.faces.reshape(-1)[kept]
    end = np.roll(surface.faces, -1, axis=1).reshape(-1)[kept]
    pairs = np.unique(np.sort(np.stack([start, end], axis=1), axis=1), axis=0)
    ends = np.concatenate([pairs, pairs[:, ::-1]])
    degree = np.bincount(ends[:, 0], minlength=len(surface.vertices))
    along = surface.vertices[ends[:, 1]] - surface.vertices[ends[:, 0]]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-300)[:, None]
    total = np.zeros((len(surface.vertices), 3))
    np.add.at(total, ends[:, 0], along)
    # two unit vectors a, b: |a + b|^2 = 2 + 2 cos, and a straight curve has cos = -1
    turn = 1.0 - 0.5 * np.einsum("ij,ij->i", total, total)
    rank = np.where(degree == 0, 0, 1)
    rank[(degree != 0) & ((degree != 2) | (turn < CORNER))] = 2
    return rank.astype(np.int64)


def remeshed(
    surface: Surface, size: SizeField, *, sag: float = SAG, rounds: int = 3, areas: Floats | None = None
) -> Surface:
    """Return ``surface`` remeshed to the wanted ``size``; tags, sharp edges, rims and flat faces are kept exactly.

    Vertices of curved faces stand outside the curve by so much that the triangles have its area.

    Parameters
    ----------
    surface : manifold, consistently wound, open rims allowed; tags are small non-negative integers
    size : wanted edge length by place
    sag : share of the wanted size by which a curve or curved face may be straightened
    rounds : of split, collapse, flip and slide
    areas : (tags,) true area of each curved tag [m²]; by default that of ``surface``

    Raises
    ------
    ValueError
        where the surface is not manifold.
    """
    capacity = 2 * len(surface.faces) + 2000
    for _ in range(6):
        mesh = _opened(surface, size, capacity)
        if _run(mesh, surface, size, sag, rounds):
            break
        capacity *= 3
    _compact(mesh)
    n, m = mesh.counts
    done = Surface(mesh.vertex[:n], mesh.face[:m], mesh.tag[:m])
    curved = curved_tags(surface)
    wanted = np.bincount(surface.tag, weights=surface.areas) if areas is None else areas[: len(curved)]
    return restored(
        done, mesh.rank[:n], mesh.twin[: 3 * m], mesh.kept[: 3 * m], curved, np.asarray(wanted, dtype=np.float64)
    )


def _opened(surface: Surface, size: SizeField, capacity: int) -> _Mesh:
    """Lay the surface out in arrays with room to grow."""
    n, m = len(surface.vertices), len(surface.faces)
    twin = half_edge_twins(surface.faces)
    kept = sharp_half_edges(surface, twin)
    spare = capacity // 2 + n

    def grown(array: np.ndarray, rows: int, fill: float) -> np.ndarray:
        bigger = np.full((rows, *array.shape[1:]), fill, dtype=array.dtype)
        bigger[: len(array)] = array
        return bigger

    out = np.full(n, -1, dtype=np.int64)
    out[surface.faces.reshape(-1)] = np.arange(3 * m)
    return _Mesh(
        vertex=grown(np.array(surface.vertices), spare, 0.0),
        size=grown(size(surface.vertices), spare, 0.0),
        asked=grown(np.array(surface.vertices), spare, 0.0),
        rank=grown(vertex_ranks(surface, kept), spare, 0),
        face=grown(np.array(surface.faces), capacity + m, -1),
        tag=grown(np.array(surface.tag), capacity + m, 0),
        twin=grown(twin, 3 * (capacity + m), -1),
        kept=grown(kept, 3 * (capacity + m), False),
        out=grown(out, spare, -1),
        counts=np.array([n, m], dtype=np.int64),
        dirty=np.ones(capacity + m, dtype=np.bool_),
    )


def _run(mesh: _Mesh, surface: Surface, size: SizeField, sag: float, rounds: int) -> bool:
    """Edit in place; False when the room ran out."""
    faces, curves = box_tree(surface.corners, surface.tag), _curves(surface)
    limits = np.array([LONG * 1.1, sag, TURN])
    topology = (mesh.twin, mesh.kept, mesh.out, mesh.counts)
    _settle(mesh)
    for turn in range(rounds):
        for _ in range(20):
            before = int(mesh.counts[0])
            split = kernels.split_pass(
                mesh.vertex, mesh.size, mesh.rank, mesh.face, mesh.tag, *topology, mesh.dirty, LONG
            )
            if mesh.counts[0] + 1 >= len(mesh.vertex) or mesh.counts[1] + 2 >= len(mesh.face):
                return False
            # a broad face between two fine edges is not fine in the middle: ask there before splitting on
            _ask(mesh, size, np.arange(before, int(mesh.counts[0])))
            _settle(mesh)
            if split <= mesh.counts[1] // 400:
                break
        kernels.collapse_pass(mesh.vertex, mesh.size, mesh.rank, mesh.face, *topology, SHORT, limits)
        _compact(mesh)
        _relax(mesh, faces, curves, 2)
        _onto_curves(mesh, curves)
        if turn < rounds - 1:
            n = int(mesh.counts[0])
            moved = np.abs(mesh.vertex[:n] - mesh.asked[:n]).max(axis=1) > STALE * mesh.size[:n]
            _ask(mesh, size, np.flatnonzero(moved))
    _relax(mesh, faces, curves, 3)
    _onto_curves(mesh, curves)
    _polish(mesh, faces, curves)
    return True


def _polish(mesh: _Mesh, faces: BoxTree, curves: BoxTree) -> None:
    """Mend the worst faces one by one."""
    trees = [(tree.corners, tree.kind, tree.low, tree.high) for tree in (faces, curves)]
    topology = (mesh.twin, mesh.kept, mesh.out, mesh.counts)
    for _ in range(POLISH):
        _settle(mesh)
        if not slide_kernels.polish_pass(
            mesh.vertex, mesh.rank, mesh.face, mesh.tag, *topology, mesh.dirty, trees[0], trees[1], POOR
        ):
            break


def _ask(mesh: _Mesh, size: SizeField, rows: Ints) -> None:
    """Ask for the size wanted where some vertices are now."""
    if len(rows):
        mesh.asked[rows] = mesh.vertex[rows]
        mesh.size[rows] = size(mesh.vertex[rows])


def _relax(mesh: _Mesh, faces: BoxTree, curves: BoxTree, times: int) -> None:
    """Flip, then slide, so many times."""
    topology = (mesh.twin, mesh.kept, mesh.out, mesh.counts)
    trees = [(tree.corners, tree.kind, tree.low, tree.high) for tree in (faces, curves)]
    for _ in range(times):
        _settle(mesh)
        slide_kernels.slide_pass(mesh.vertex, mesh.size, mesh.rank, mesh.face, mesh.tag, *topology, mesh.dirty, *trees)


def _curves(surface: Surface) -> BoxTree:
    """Return the kept edges of the original, each once."""
    twin = half_edge_twins(surface.faces)
    half = np.flatnonzero(sharp_half_edges(surface, twin) & ((twin < 0) | (np.arange(len(twin)) < twin)))
    corners = surface.corners
    ends = np.stack([corners[half // 3, half % 3], corners[half // 3, (half + 1) % 3]], axis=1)
    return box_tree(ends)


def _onto_curves(mesh: _Mesh, curves: BoxTree) -> None:
    """Put vertices of kept curves back on the original ones: splits and slides along chords let them drift inward."""
    rows = np.flatnonzero(mesh.rank[: mesh.counts[0]] == 1)
    if not len(rows):
        return
    # farther off it may be another curve
    _, distance, foot = curves.nearest(mesh.vertex[rows], 0.25 * mesh.size[rows])
    near = np.isfinite(distance)
    mesh.vertex[rows[near]] = foot[near]
    mesh.dirty[: mesh.counts[1]] = True


def _settle(mesh: _Mesh) -> None:
    """Flip until nothing more is gained."""
    settle(mesh.vertex, mesh.face, mesh.twin, mesh.kept, mesh.out, mesh.counts, FLAT, mesh.dirty)


def _compact(mesh: _Mesh) -> None:
    """Drop dead faces and vertices so that the passes run over live ones only."""
    m = int(mesh.counts[1])
    alive = np.flatnonzero(mesh.face[:m, 0] >= 0)
    renumber = np.full(m, -1, dtype=np.int64)
    renumber[alive] = np.arange(len(alive))
    half = (3 * alive[:, None] + np.arange(3)).reshape(-1)
    twin = mesh.twin[half]
    twin = np.where(twin >= 0, 3 * renumber[twin // 3] + twin % 3, -1)
    face = mesh.face[alive]
    used = np.unique(face)
    vertex_number = np.full(int(mesh.counts[0]), -1, dtype=np.int64)
    vertex_number[used] = np.arange(len(used))
    k, n = len(alive), len(used)
    mesh.face[:k] = vertex_number[face]
    mesh.face[k:m] = -1
    mesh.tag[:k] = mesh.tag[alive]
    mesh.kept[: 3 * k] = mesh.kept[half]
    mesh.twin[: 3 * k] = twin
    mesh.vertex[:n] = mesh.vertex[used]
    mesh.size[:n] = mesh.size[used]
    mesh.asked[:n] = mesh.asked[used]
    mesh.rank[:n] = mesh.rank[used]
    mesh.out[:n] = -1
    mesh.out[mesh.face[:k].reshape(-1)] = np.arange(3 * k)
    mesh.counts[:] = n, k
    mesh.dirty[:k] = True
