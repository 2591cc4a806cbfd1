"""How large triangles may be from place to place: sources with a size, growing with distance."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from geom.arrays import Floats, Ints
from geom.surface.remesh import CORNER, half_edge_twins, sharp_half_edges
from geom.surface.surface import Surface

MOST_ALONG = 100  # places on one edge of a curved face


@dataclass(frozen=True, eq=False)
class SizeSource:
    """Points that ask for a size: ``size`` at the point, growing by ``growth`` for each metre away."""

    tree: cKDTree
    size: Floats  # (n,) [m]
    growth: float


def size_source(points: Floats, size: Floats | float, growth: float) -> SizeSource:
    """Return a source from points (n, 3) and a size for each or for all [m]."""
    return SizeSource(cKDTree(points), np.broadcast_to(np.asarray(size, dtype=np.float64), (len(points),)), growth)


@dataclass(frozen=True, eq=False)
class GradedSize:
    """The least size that any source asks for, within ``floor`` and ``cap``, times ``scale``.

    What a ``firm`` source asks for is not scaled.
    """

    sources: tuple[SizeSource, ...]
    cap: float
    floor: float
    scale: float = 1.0
    firm: tuple[SizeSource, ...] = ()

    def __call__(self, places: Floats) -> Floats:
        """Return (n,) wanted edge length at places (n, 3) [m]."""
        wanted = np.full(len(places), self.cap)
        for source in self.sources:
            _lower(wanted, places, source)
        wanted *= self.scale
        for source in self.firm:
            _lower(wanted, places, source)
        return np.asarray(np.maximum(wanted, self.floor))


def _lower(wanted: Floats, places: Floats, source: SizeSource) -> None:
    """Lower ``wanted`` (n,), in place, to what one source asks for at ``places`` (n, 3)."""
    if not len(wanted) or not len(source.size):
        return
    reach = (float(wanted.max()) - float(source.size.min())) / source.growth  # farther away it asks for nothing
    if reach <= 0:
        return
    # a size needs no exact distance
    distance, nearest = source.tree.query(places, eps=0.15, distance_upper_bound=reach)
    near = np.flatnonzero(np.isfinite(distance))
    asked = source.size[nearest[near]] + source.growth * distance[near]
    wanted[near] = np.minimum(wanted[near], asked)


@dataclass(frozen=True, eq=False)
class EdgeSet:
    """Kept edges of a surface as segments."""

    start: Floats  # (n, 3)
    end: Floats  # (n, 3)
    tags: Ints  # (n, 2) tags of the two faces; -1 beyond a rim
    bulge: Floats  # (n,) sine-like: > 0 outward (convex for the metal), < 0 inward, 0 flat or rim
    vertices: Ints  # (n, 2)


def kept_edges(surface: Surface) -> EdgeSet:
    """Return sharp edges, borders between tags and rims, each once.

    The surface's normals point out of the electrolyte, into the metal: an outside edge of the metal has
    ``bulge`` > 0.
    """
    twin = half_edge_twins(surface.faces)
    kept = sharp_half_edges(surface, twin)
    half = np.flatnonzero(kept & ((twin < 0) | (np.arange(len(twin)) < twin)))
    face, other = half // 3, np.where(twin[half] >= 0, twin[half] // 3, -1)
    a = surface.faces[face, half % 3]
    b = surface.faces[face, (half + 1) % 3]
    # the far corner of the neighbour lies in front of a face (along its normal) where the metal bulges out
    apex = np.where(other >= 0, surface.faces[other, (twin[half] + 2) % 3], a)
    lift = np.einsum("ij,ij->i", surface.vertices[apex] - surface.vertices[a], surface.normals[face])
    reach = np.maximum(np.linalg.norm(surface.vertices[apex] - surface.vertices[a], axis=1), 1e-300)
    cosine = np.einsum("ij,ij->i", surface.normals[face], surface.normals[other])
    sine = np.sqrt(np.maximum(1.0 - cosine**2, 0.0))
    bulge = np.where(other >= 0, np.where(lift / reach > 1e-6, np.maximum(sine, 1e-3), -sine), 0.0)
    bulge = np.where((np.abs(lift) / reach < 1e-6) | (sine < 1e-6), 0.0, bulge)
    tags = np.stack([surface.tag[face], np.where(other >= 0, surface.tag[other], -1)], axis=1)
    return EdgeSet(surface.vertices[a], surface.vertices[b], tags, bulge, np.stack([a, b], axis=1))


def along(start: Floats, end: Floats, spacing: Floats | float) -> tuple[Floats, Ints]:
    """Return points on segments about ``spacing`` (one for all, or each its own) apart, and which each lies on."""
    length = np.linalg.norm(end - start, axis=1)
    count = np.maximum(np.ceil(length / spacing).astype(np.int64), 1) + 1
    which = np.repeat(np.arange(len(start)), count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    share = (place / np.repeat(count - 1, count))[:, None]
    return start[which] * (1 - share) + end[which] * share, which


def scattered(surface: Surface, spacing: float) -> Floats:
    """Return points over a surface, about ``spacing`` apart."""
    sides = np.linalg.norm(surface.corners - np.roll(surface.corners, -1, axis=1), axis=2)
    first = np.argmax(sides, axis=1)  # the longest side runs from this corner to the next
    rows = np.arange(len(sides))
    a, b, c = (surface.corners[rows, (first + k) % 3] for k in range(3))
    longest = sides[rows, first]
    steps = np.clip(np.ceil(longest / spacing), 1, 60).astype(np.int64)
    height = 2 * surface.areas / np.maximum(longest, 1e-300)
    across = np.clip(np.ceil(height / spacing), 1, steps).astype(np.int64)
    out = [surface.vertices]
    for n, m in np.unique(np.stack([steps, across], axis=1), axis=0):
        alike = (steps == n) & (across == m)
        i, j = np.meshgrid(np.arange(n + 1) / n, np.arange(m) / m, indexing="ij")
        weights = np.stack([(1 - i) * (1 - j), i * (1 - j), j], axis=-1).reshape(-1, 3)
        out.append(np.einsum("wk,fkx->fwx", weights, np.stack([a, b, c], axis=1)[alike]).reshape(-1, 3))
    points = np.concatenate(out)
    # thin faces crowd their points: one for each cube of half the spacing will do
    cube = np.round((points - points.min(axis=0)) / (0.5 * spacing)).astype(np.int64)
    _, first = np.unique((cube[:, 0] << 42) | (cube[:, 1] << 21) | cube[:, 2], return_index=True)
    return points[np.sort(first)]


def bending(surface: Surface) -> tuple[Floats, Floats]:
    """Return places on curved faces (n, 3) and the radius of curvature there (n,) [m], from edge angles."""
    twin = half_edge_twins(surface.faces)
    smooth = ~sharp_half_edges(surface, twin)
    half = np.flatnonzero(smooth & (np.arange(len(twin)) < twin))
    face, other = half // 3, twin[half] // 3
    cosine = np.clip(np.einsum("ij,ij->i", surface.normals[face], surface.normals[other]), -1.0, 1.0)
    a = surface.vertices[surface.faces[face, half % 3]]
    b = surface.vertices[surface.faces[face, (half + 1) % 3]]
    length = np.linalg.norm(b - a, axis=1)
    angle = np.arccos(cosine)
    bent = (angle > np.radians(0.3)) & (length > 0)
    across = (surface.areas[face] + surface.areas[other])[bent] / length[bent]  # distance of the two face middles
    radius = across / angle[bent]
    # the bend is along the tightest of the edges of a face; the others, diagonals say, do not show it
    tightest = np.full(len(surface.faces), np.inf)
    for side in (face[bent], other[bent]):
        np.minimum.at(tightest, side, radius)
    radius = np.minimum(tightest[face[bent]], tightest[other[bent]])
    # a strip may be far longer than its radius: the radius holds all along it
    places, which = along(a[bent], b[bent], np.maximum(radius, length[bent] / MOST_ALONG))
    return places, radius[which]


def curving(edges: EdgeSet) -> tuple[Floats, Floats]:
    """Return the corners of smoothly curved kept edges (n, 3) and the radius of the curve there (n,) [m]."""
    ends = np.concatenate([edges.vertices[:, 0], edges.vertices[:, 1]])
    places = np.concatenate([edges.start, edges.end])
    along = np.concatenate([edges.end - edges.start, edges.start - edges.end])
    order = np.argsort(ends, kind="stable")
    _, first, count = np.unique(ends[order], return_index=True, return_counts=True)
    one, two = order[first[count == 2]], order[first[count == 2] + 1]
    a, b = along[one], along[two]
    la, lb = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
    cosine = -np.einsum("ij,ij->i", a, b) / np.maximum(la * lb, 1e-300)
    turn = np.arccos(np.clip(cosine, -1.0, 1.0))
    curved = (turn > np.radians(0.3)) & (cosine > CORNER)
    return places[one][curved], 0.5 * (la + lb)[curved] / turn[curved]


def patch_widths(surface: Surface, edges: EdgeSet) -> Floats:
    """Return (tags,) 2 * area / length of border for each tag: the width of a narrow face, inf where unused."""
    count = int(surface.tag.max()) + 1
    area = np.bincount(surface.tag, weights=surface.areas, minlength=count)
    length = np.linalg.norm(edges.end - edges.start, axis=1)
    border = np.zeros(count)
    for side in range(2):
        real = edges.tags[:, side] >= 0
        border += np.bincount(edges.tags[real, side], weights=length[real], minlength=count)
    return np.where((border > 0) & (area > 0), 2 * area / np.maximum(border, 1e-300), np.inf)


def equilateral_edges(areas: Floats) -> Floats:
    """Return (n,) the edges of equilateral triangles of these areas [m]."""
    return np.asarray(np.sqrt(4.0 / np.sqrt(3.0) * areas))


@dataclass(frozen=True, eq=False)
class Demand:
    """What a size field asks for at places over a surface: the number of faces follows for any scale."""

    spread: Floats  # (n,) area that each place stands for [m²]
    scaled: Floats  # (n,) size there at scale 1, without firm wishes [m]
    firm: Floats  # (n,) least of the firm wishes, inf for none [m]
    floor: float

    def faces(self, scale: float) -> float:
        """Return about how many faces a remesh gives: area over that of an equilateral triangle."""
        size = np.maximum(np.minimum(self.scaled * scale, self.firm), self.floor)
        return float((self.spread / (np.sqrt(3) / 4 * size**2)).sum())


def demand(surface: Surface, size: GradedSize) -> Demand:
    """Return what ``size`` asks for over ``surface``, whatever its scale."""
    points, spread = surface.centroids, surface.areas
    if len(points) < 400 or surface.areas.max() > 0.01 * surface.area:  # few big faces: sample each more densely
        points, spread, _ = sampled(surface)
    firm = np.full(len(points), np.inf)
    if size.firm:
        firm = replace(size, sources=(), cap=1e6 * size.cap)(points)
    return Demand(spread, replace(size, scale=1.0, firm=())(points), firm, size.floor)


def sampled(surface: Surface) -> tuple[Floats, Floats, Ints]:
    """Return places inside the faces, the area that each stands for and the face it lies in."""
    spacing = np.sqrt(surface.area / 4000)
    steps = np.clip(np.ceil(np.sqrt(surface.areas) / spacing).astype(np.int64), 1, 40)
    places, areas, faces = [], [], []
    for n in np.unique(steps):
        rows = steps == n
        i, j = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
        inside = i + j < n
        first, second = (i[inside] + 1 / 3) / n, (j[inside] + 1 / 3) / n
        weights = np.stack([first, second, 1 - first - second], axis=1)
        corners = surface.corners[rows]
        places.append(np.einsum("wk,fkx->fwx", weights, corners).reshape(-1, 3))
        areas.append(np.repeat(surface.areas[rows] / len(weights), len(weights)))
        faces.append(np.repeat(np.flatnonzero(rows), len(weights)))
    return np.concatenate(places), np.concatenate(areas), np.concatenate(faces)
