"""Passes over a half-edge mesh: split and collapse. Validate nothing; edit in place.

``rank[v]`` is 0 for a free vertex, 1 on a kept curve, 2 for a corner that never moves; ``size[v]`` is the
edge length wanted there. The local operations follow Botsch & Kobbelt, "A remeshing approach to
multiresolution modeling", Symposium on Geometry Processing 2004 (from memory).
"""

from typing import Any

import numpy as np
from numba import njit

from geom.surface.halfedge_kernels import STAR, collapse_edge, following, preceding, split_edge, star_of
from geom.surface.triangle_kernels import closest_on_triangle, cross_of, dot_of, gap, shape_of

Array = Any


@njit(cache=True)
def split_pass(
    vertex: Array,
    size: Array,
    rank: Array,
    face: Array,
    tag: Array,
    twin: Array,
    kept: Array,
    out: Array,
    counts: Array,
    dirty: Array,
    ratio: float,
) -> int:
    """Split, once for each face, its longest edge where that is over ``ratio`` times the wanted size.

    Only faces present at the start are looked at: flips between passes then undo slivers before they breed.
    """
    done = 0
    for f in range(counts[1]):
        longest, best = 0.0, -1
        for k in range(3):
            a, b = face[f, k], face[f, (k + 1) % 3]
            length = gap(vertex[a], vertex[b])
            if length > longest:
                longest, best = length, 3 * f + k
        a, b = face[f, best % 3], face[f, following(best) % 3]
        room = counts[0] + 1 < len(vertex) and counts[1] + 2 < len(face)
        if longest > ratio * 0.5 * (size[a] + size[b]) and room:
            v = counts[0]
            for k in range(3):
                vertex[v, k] = 0.5 * (vertex[a, k] + vertex[b, k])
            size[v] = 0.5 * (size[a] + size[b])
            rank[v] = 1 if kept[best] else 0
            counts[0] += 1
            f2, g2 = counts[1], counts[1] + 1
            counts[1] += 1 if twin[best] < 0 else 2
            if twin[best] >= 0:
                dirty[twin[best] // 3] = dirty[g2] = True
            dirty[f] = dirty[f2] = True
            split_edge(best, v, f2, g2, face, tag, twin, kept, out)
            done += 1
    return done


@njit(cache=True)
def bend_allowed(
    u: int,
    v: int,
    count: int,
    ring: Array,
    vertex: Array,
    size: Array,
    face: Array,
    kept: Array,
    twin: Array,
    sag: float,
) -> bool:
    """May curve vertex ``u`` go, its curve then running straight from ``v`` to its other neighbour?"""
    other = -1
    found_v = False
    kept_edges = 0
    for i in range(count):
        e = ring[i]
        ahead, behind = face[e // 3, following(e) % 3], face[e // 3, preceding(e) % 3]
        if kept[e]:
            kept_edges += 1
            if ahead == v:
                found_v = True
            else:
                other = ahead
        if twin[preceding(e)] < 0:
            kept_edges += 1
            if behind == v:
                found_v = True
            else:
                other = behind
    if not found_v or other < 0 or kept_edges != 2:
        return False
    normal = np.zeros(3)
    base = gap(vertex[v], vertex[other])
    if base <= 0.0:
        return False
    return cross_of(vertex[v], vertex[other], vertex[u], normal) / base <= sag * size[u]


@njit(cache=True)
def link_allows(
    count: int, count2: int, c: int, d: int, sides: int, face: Array, twin: Array, ring: Array, ring2: Array
) -> bool:
    """Do the two ends of an edge share no neighbour but its apexes c and d (the link condition)?"""
    common = 0
    for i in range(count):
        for side in range(2):
            q = ring[i]
            if side == 1 and twin[preceding(q)] >= 0:
                continue
            w = face[q // 3, (following(q) if side == 0 else preceding(q)) % 3]
            for j in range(count2):
                r = ring2[j]
                if face[r // 3, following(r) % 3] == w or (
                    twin[preceding(r)] < 0 and face[r // 3, preceding(r) % 3] == w
                ):
                    common += 1
                    if w != c and w != d:
                        return False
    return common == sides


@njit(cache=True)
def faces_allow(
    u: int,
    v: int,
    f: int,
    g: int,
    count: int,
    vertex: Array,
    size: Array,
    rank: Array,
    face: Array,
    ring: Array,
    limits: Array,
) -> bool:
    """Do the faces round u stay upright, well shaped, short enough and near u when u is drawn into v?

    ``f`` and ``g`` are the two faces that go with the edge, -1 for none.
    """
    n1, n2 = np.zeros(3), np.zeros(3)
    worst_old, worst_new = 1.0, 1.0
    level, nearest = True, np.inf  # does the surface stay where it is; how far is it from u afterwards
    for i in range(count):
        q = ring[i]
        own = q // 3
        x, y = face[own, following(q) % 3], face[own, preceding(q) % 3]
        worst_old = min(worst_old, shape_of(vertex[u], vertex[x], vertex[y]))
        if own in (f, g):
            continue
        l1 = cross_of(vertex[u], vertex[x], vertex[y], n1)
        l2 = cross_of(vertex[v], vertex[x], vertex[y], n2)
        if l2 <= 0.0 or dot_of(n1, n2) < limits[2] * l1 * l2:
            return False
        worst_new = min(worst_new, shape_of(vertex[v], vertex[x], vertex[y]))
        level = level and dot_of(n1, n2) > (1.0 - 1e-9) * l1 * l2
        nearest = min(nearest, closest_on_triangle(vertex[u], vertex[v], vertex[x], vertex[y], n1))
        if gap(vertex[v], vertex[x]) > limits[0] * 0.5 * (size[v] + size[x]):
            return False
        if gap(vertex[v], vertex[y]) > limits[0] * 0.5 * (size[v] + size[y]):
            return False
    if not level and rank[u] == 0 and np.sqrt(nearest) > limits[1] * size[u]:
        return False
    return worst_new >= 0.6 * min(worst_old, 0.4)  # a passing loss of shape is made good by the next edits


@njit(cache=True)
def collapse_allowed(
    e: int,
    vertex: Array,
    size: Array,
    rank: Array,
    face: Array,
    twin: Array,
    kept: Array,
    out: Array,
    ring: Array,
    ring2: Array,
    limits: Array,
) -> bool:
    """May the origin of ``e`` be drawn into its end? ``limits``: longest edge ratio, sag, least cosine of turn."""
    f = e // 3
    u, v, c = face[f, e % 3], face[f, following(e) % 3], face[f, preceding(e) % 3]
    t = twin[e]
    d = face[t // 3, preceding(t) % 3] if t >= 0 else -1
    if rank[u] == 2 or (rank[u] == 1 and not kept[e]):
        return False
    count = star_of(out[u], twin, ring)
    count2 = star_of(out[v], twin, ring2)
    if count < 3 - (t < 0) or count2 < 3 - (t < 0):
        return False
    if rank[u] == 1 and not bend_allowed(u, v, count, ring, vertex, size, face, kept, twin, limits[1]):
        return False
    if twin[following(e)] < 0 and twin[preceding(e)] < 0:
        return False
    if t >= 0 and twin[following(t)] < 0 and twin[preceding(t)] < 0:
        return False
    sides = 1 if t < 0 else 2
    if not link_allows(count, count2, c, d, sides, face, twin, ring, ring2):
        return False
    return faces_allow(u, v, f, -1 if t < 0 else t // 3, count, vertex, size, rank, face, ring, limits)


@njit(cache=True)
def collapse_pass(
    vertex: Array,
    size: Array,
    rank: Array,
    face: Array,
    twin: Array,
    kept: Array,
    out: Array,
    counts: Array,
    ratio: float,
    limits: Array,
) -> int:
    """Collapse each edge shorter than ``ratio`` times the wanted size where that harms nothing."""
    ring, ring2 = np.zeros(STAR, np.int64), np.zeros(STAR, np.int64)
    done = 0
    for f in range(counts[1]):
        for k in range(3):
            if face[f, 0] < 0:
                break
            e = 3 * f + k
            u, v = face[f, k], face[f, (k + 1) % 3]
            if gap(vertex[u], vertex[v]) >= ratio * 0.5 * (size[u] + size[v]):
                continue
            if collapse_allowed(e, vertex, size, rank, face, twin, kept, out, ring, ring2, limits):
                collapse_edge(e, face, twin, kept, out, ring)
                done += 1
    return done
