"""Moves of the vertices of a half-edge mesh that keep it on the original surface. Validate nothing; edit in place.

``rank``, ``size`` and the rest as in `geom.surface.remesh_kernels`; ``tree`` is the original surface and ``curves``
are its kept edges, each as the arrays of a `BoxTree`.
"""

from typing import Any

import numpy as np
from numba import njit

from geom.surface.boxtree_kernels import nearest_item
from geom.surface.halfedge_kernels import STAR, following, preceding, star_of
from geom.surface.triangle_kernels import cross_of, dot_of, gap, shape_of

Array = Any

FOLD = 0.4  # cosine: faces round a vertex that meet at more than 66° where no edge is kept are a fold
WAYS = 8  # directions in which a better place is looked for


@njit(cache=True)
def star_shape(
    v: int, at: Array, count: int, ring: Array, vertex: Array, face: Array, kept: Array, normals: Array
) -> float:
    """Worst shape of the faces round ``v`` if it stood at ``at``; negative when one would turn over or they fold."""
    worst, fold = 1.0, 1.0
    n, last, first = np.zeros(3), np.zeros(3), np.zeros(3)
    for i in range(count):
        e = ring[i]
        x, y = vertex[face[e // 3, following(e) % 3]], vertex[face[e // 3, preceding(e) % 3]]
        length = cross_of(at, x, y, n)
        if dot_of(n, normals[i]) <= 0.0:
            return -3.0
        worst = min(worst, shape_of(at, x, y))
        for k in range(3):
            n[k] /= max(length, 1e-300)
        if i == 0:
            first[:] = n
        elif not kept[e]:
            fold = min(fold, dot_of(n, last))
        last[:] = n
    if count > 2 and not kept[ring[0]]:
        fold = min(fold, dot_of(last, first))
    return worst if fold >= FOLD else fold - 2.0


@njit(cache=True)
def star_normals(v: int, count: int, ring: Array, vertex: Array, face: Array, normals: Array, mean: Array) -> bool:
    """Write the area vectors (times two) of the faces round ``v`` and their mean direction; are they one plane?"""
    mean[:] = 0.0
    for i in range(count):
        e = ring[i]
        x, y = face[e // 3, following(e) % 3], face[e // 3, preceding(e) % 3]
        cross_of(vertex[v], vertex[x], vertex[y], normals[i])
        for k in range(3):
            mean[k] += normals[i, k]
    length = np.sqrt(dot_of(mean, mean))
    if length <= 0.0:
        return False
    for k in range(3):
        mean[k] /= length
    flat = True
    for i in range(count):
        own = np.sqrt(dot_of(normals[i], normals[i]))
        flat = flat and dot_of(normals[i], mean) > (1.0 - 1e-10) * own
    return flat


@njit(cache=True)
def wanted_place(v: int, count: int, ring: Array, vertex: Array, size: Array, face: Array, out_point: Array) -> None:
    """Mean of the centroids round ``v``, weighted so that a graded mesh stays graded (density size^-4)."""
    total = 0.0
    out_point[:] = 0.0
    n = np.zeros(3)
    for i in range(count):
        e = ring[i]
        x, y = face[e // 3, following(e) % 3], face[e // 3, preceding(e) % 3]
        h = (size[v] + size[x] + size[y]) / 3.0
        weight = cross_of(vertex[v], vertex[x], vertex[y], n) / (h * h * h * h)
        for k in range(3):
            out_point[k] += weight * (vertex[v, k] + vertex[x, k] + vertex[y, k]) / 3.0
        total += weight
    for k in range(3):
        out_point[k] = out_point[k] / total if total > 0.0 else vertex[v, k]


@njit(cache=True)
def curve_place(
    v: int,
    count: int,
    ring: Array,
    vertex: Array,
    size: Array,
    face: Array,
    kept: Array,
    twin: Array,
    curves: tuple[Array, Array, Array, Array],
    out_point: Array,
) -> bool:
    """Place on the kept curve that shares the spacing by size; False where that is not to be found."""
    found = 0
    ends = np.zeros(2, np.int64)
    for i in range(count):
        e = ring[i]
        if kept[e]:
            if found < 2:
                ends[found] = face[e // 3, following(e) % 3]
            found += 1
        if twin[preceding(e)] < 0:
            if found < 2:
                ends[found] = face[e // 3, preceding(e) % 3]
            found += 1
    if found != 2:
        return False
    a, b = ends[0], ends[1]
    n = np.zeros(3)
    base = gap(vertex[a], vertex[b])
    if base <= 0.0:
        return False
    wa, wb = size[a] + size[v], size[b] + size[v]
    for k in range(3):
        out_point[k] = (vertex[a, k] * wb + vertex[b, k] * wa) / (wa + wb)
    if cross_of(vertex[a], vertex[b], vertex[v], n) <= 1e-9 * base * base:
        return True
    for k in range(3):
        n[k] = out_point[k]
    # farther off it may be another curve
    return nearest_item(n, 0.25 * base, -1, curves[0], curves[1], curves[2], curves[3], out_point) >= 0


@njit(cache=True)
def slide_pass(
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
    tree: tuple[Array, Array, Array, Array],
    curves: tuple[Array, Array, Array, Array],
) -> int:
    """Slide each vertex within its plane, along its kept curve, or over the original curved surface."""
    ring = np.zeros(STAR, np.int64)
    normals = np.zeros((STAR, 3))
    goal, moved, mean = np.zeros(3), np.zeros(3), np.zeros(3)
    done = 0
    for v in range(counts[0]):
        if out[v] < 0 or rank[v] == 2:
            continue
        count = star_of(out[v], twin, ring)
        if count < 0:
            continue
        if rank[v] == 1:
            if not curve_place(v, count, ring, vertex, size, face, kept, twin, curves, goal):
                continue
        else:
            wanted_place(v, count, ring, vertex, size, face, goal)
        flat = star_normals(v, count, ring, vertex, face, normals, mean)
        if rank[v] == 0:
            lift = dot_of(goal, mean) - dot_of(vertex[v], mean)
            for k in range(3):
                goal[k] -= mean[k] * lift
            if not flat:
                kind = tag[out[v] // 3]
                # the vertex lies near the surface (a split puts it on a chord), so the goal does
                reach = 1.5 * gap(goal, vertex[v]) + 0.2 * size[v]
                if nearest_item(goal, reach, kind, tree[0], tree[1], tree[2], tree[3], moved) < 0:
                    continue
                goal[:] = moved
        before = star_shape(v, vertex[v], count, ring, vertex, face, kept, normals)
        after = star_shape(v, goal, count, ring, vertex, face, kept, normals)
        if after > before or after > 0.5:
            vertex[v] = goal
            for i in range(count):
                dirty[ring[i] // 3] = True
            done += 1
    return done


@njit(cache=True)
def polish_vertex(
    v: int,
    vertex: Array,
    rank: Array,
    face: Array,
    tag: Array,
    twin: Array,
    kept: Array,
    out: Array,
    tree: tuple[Array, Array, Array, Array],
    curves: tuple[Array, Array, Array, Array],
    ring: Array,
    normals: Array,
) -> int:
    """Try places round ``v`` for a better worst shape of its faces; return how many faces changed."""
    mean, goal, moved, base = np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3)
    first, second = np.zeros(3), np.zeros(3)
    count = star_of(out[v], twin, ring)
    if count < 0 or rank[v] == 2:
        return 0
    flat = star_normals(v, count, ring, vertex, face, normals, mean)
    short, far = np.inf, 0.0
    for i in range(count):
        x = face[ring[i] // 3, following(ring[i]) % 3]
        length = gap(vertex[v], vertex[x])
        short, far = min(short, length), max(far, length)
        along = kept[ring[i]] if rank[v] == 1 else length == far
        if along:  # the first direction: along the curve, or to the farthest neighbour
            for k in range(3):
                first[k] = (vertex[x, k] - vertex[v, k]) / max(length, 1e-300)
    lift = dot_of(first, mean)
    if rank[v] == 0:
        for k in range(3):
            first[k] -= lift * mean[k]
    for k in range(3):
        second[k] = mean[(k + 1) % 3] * first[(k + 2) % 3] - mean[(k + 2) % 3] * first[(k + 1) % 3]
    best = star_shape(v, vertex[v], count, ring, vertex, face, kept, normals)
    base[:] = vertex[v]
    ways = WAYS if rank[v] == 0 else 2
    done = 0
    for step in (0.4, 0.2, 0.1, 0.05):
        reach = step * max(short, 0.3 * far)
        for way in range(ways):
            c, s = np.cos(2 * np.pi * way / ways), np.sin(2 * np.pi * way / ways)
            for k in range(3):
                goal[k] = base[k] + reach * (c * first[k] + (s * second[k] if rank[v] == 0 else 0.0))
            if rank[v] == 1:
                if nearest_item(goal, 0.5 * reach, -1, curves[0], curves[1], curves[2], curves[3], moved) < 0:
                    continue
                goal[:] = moved
            elif not flat:
                kind = tag[out[v] // 3]
                if nearest_item(goal, reach, kind, tree[0], tree[1], tree[2], tree[3], moved) < 0:
                    continue
                goal[:] = moved
            shape = star_shape(v, goal, count, ring, vertex, face, kept, normals)
            if shape > best + 0.01 * abs(best):
                best, done = shape, count
                vertex[v] = goal
        base[:] = vertex[v]
    return done


@njit(cache=True)
def polish_pass(
    vertex: Array,
    rank: Array,
    face: Array,
    tag: Array,
    twin: Array,
    kept: Array,
    out: Array,
    counts: Array,
    dirty: Array,
    tree: tuple[Array, Array, Array, Array],
    curves: tuple[Array, Array, Array, Array],
    least: float,
) -> int:
    """Move the corners of each face whose shape is under ``least`` to where its worst neighbour is better."""
    ring = np.zeros(STAR, np.int64)
    normals = np.zeros((STAR, 3))
    done = 0
    for f in range(counts[1]):
        if shape_of(vertex[face[f, 0]], vertex[face[f, 1]], vertex[face[f, 2]]) >= least:
            continue
        for k in range(3):
            v = face[f, k]
            changed = polish_vertex(v, vertex, rank, face, tag, twin, kept, out, tree, curves, ring, normals)
            for i in range(changed):
                dirty[ring[i] // 3] = True
            done += changed > 0
    return done
