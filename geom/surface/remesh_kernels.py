"""Edits on a half-edge mesh held in flat arrays: split, flip, collapse, slide. Validate nothing.

Half-edge ``e = 3 * f + k`` runs from ``face[f, k]`` to ``face[f, (k + 1) % 3]``; ``twin[e]`` is the half-edge
that runs back, or -1 at an open rim. ``kept[e]`` marks an edge that no edit may lose (a sharp edge, a border
between tags, a rim). ``rank[v]`` is 0 for a free vertex, 1 on a kept curve, 2 for a corner that never moves.
The local operations follow Botsch & Kobbelt, "A remeshing approach to multiresolution modeling", Symposium
on Geometry Processing 2004 (from memory), with a size wanted at each vertex instead of one length.
"""

from typing import Any

import numpy as np
from numba import njit

STAR = 4096  # most half-edges of one vertex that are looked at; a busier vertex is left alone

Array = Any


@njit(cache=True, inline="always")
def following(e: int) -> int:
    """Next half-edge of the same face."""
    return e - 2 if e % 3 == 2 else e + 1


@njit(cache=True, inline="always")
def preceding(e: int) -> int:
    """Previous half-edge of the same face."""
    return e + 2 if e % 3 == 0 else e - 1


@njit(cache=True)
def star_of(start: int, twin: Array, ring: Array) -> int:
    """Fill ``ring`` with the half-edges out of the origin of ``start``; return their number, -1 if too many."""
    e = start
    for _ in range(STAR):
        if twin[e] < 0:
            break
        e = following(twin[e])
        if e == start:
            break
    first = e
    count = 0
    while count < STAR:
        ring[count] = e
        count += 1
        e = twin[preceding(e)]
        if e < 0 or e == first:
            return count
    return -1


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
def linked(a: int, b: int, twin: Array, kept: Array, flag: bool) -> None:
    """Make two half-edges each other's twin; either may be -1."""
    if a >= 0:
        twin[a] = b
        kept[a] = flag or b < 0
    if b >= 0:
        twin[b] = a
        kept[b] = flag or a < 0


@njit(cache=True)
def split_edge(e: int, v: int, f2: int, g2: int, face: Array, tag: Array, twin: Array, kept: Array, out: Array) -> None:
    """Put vertex ``v`` on half-edge ``e``; ``f2`` and ``g2`` are free rows for the new faces."""
    f, t = e // 3, twin[e]
    a, b, c = face[f, e % 3], face[f, following(e) % 3], face[f, preceding(e) % 3]
    flag = kept[e]
    bc, ca = twin[following(e)], twin[preceding(e)]
    kept_bc, kept_ca = kept[following(e)], kept[preceding(e)]
    face[f, 0], face[f, 1], face[f, 2] = a, v, c
    face[f2, 0], face[f2, 1], face[f2, 2] = v, b, c
    tag[f2] = tag[f]
    linked(3 * f + 2, ca, twin, kept, kept_ca)
    linked(3 * f2 + 1, bc, twin, kept, kept_bc)
    linked(3 * f + 1, 3 * f2 + 2, twin, kept, False)
    out[a], out[v], out[c], out[b] = 3 * f, 3 * f + 1, 3 * f + 2, 3 * f2 + 1
    if t < 0:
        linked(3 * f, -1, twin, kept, True)
        linked(3 * f2, -1, twin, kept, True)
        return
    g = t // 3
    d = face[g, preceding(t) % 3]
    ad, db = twin[following(t)], twin[preceding(t)]
    kept_ad, kept_db = kept[following(t)], kept[preceding(t)]
    face[g, 0], face[g, 1], face[g, 2] = b, v, d
    face[g2, 0], face[g2, 1], face[g2, 2] = v, a, d
    tag[g2] = tag[g]
    linked(3 * g + 2, db, twin, kept, kept_db)
    linked(3 * g2 + 1, ad, twin, kept, kept_ad)
    linked(3 * g + 1, 3 * g2 + 2, twin, kept, False)
    linked(3 * f, 3 * g2, twin, kept, flag)
    linked(3 * f2, 3 * g, twin, kept, flag)
    out[d] = 3 * g + 2


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
            vertex[v] = 0.5 * (vertex[a] + vertex[b])
            size[v] = 0.5 * (size[a] + size[b])
            rank[v] = 1 if kept[best] else 0
            counts[0] += 1
            f2, g2 = counts[1], counts[1] + 1
            counts[1] += 1 if twin[best] < 0 else 2
            split_edge(best, v, f2, g2, face, tag, twin, kept, out)
            done += 1
    return done


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
def flip_pass(vertex: Array, face: Array, twin: Array, kept: Array, out: Array, counts: Array, flat: float) -> int:
    """Flip each free edge between nearly coplanar faces where that raises the smallest angle."""
    ring = np.zeros(STAR, np.int64)
    n1, n2, m1, m2 = np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(3)
    done = 0
    for e in range(3 * counts[1]):
        t = twin[e]
        if t < e or kept[e]:
            continue
        f, g = e // 3, t // 3
        a, b = face[f, e % 3], face[f, following(e) % 3]
        c, d = face[f, preceding(e) % 3], face[g, preceding(t) % 3]
        if c == d:
            continue
        pa, pb, pc, pd = vertex[a], vertex[b], vertex[c], vertex[d]
        old = min(shape_of(pa, pb, pc), shape_of(pb, pa, pd))
        new = min(shape_of(pa, pd, pc), shape_of(pd, pb, pc))
        if new <= old * 1.0001 + 1e-12:
            continue
        l1, l2 = cross_of(pa, pb, pc, n1), cross_of(pb, pa, pd, n2)
        k1, k2 = cross_of(pa, pd, pc, m1), cross_of(pd, pb, pc, m2)
        if k1 <= 0.0 or k2 <= 0.0 or np.dot(m1, m2) < flat * k1 * k2:
            continue
        total = n1 + n2  # a face without area has no say
        if np.dot(m1, total) <= 0.0 or np.dot(m2, total) <= 0.0:
            continue
        if old > 1e-6 and (np.dot(n1, n2) < flat * l1 * l2 or warp_of(pa, pb, pc, pd) > 0.03):
            continue
        count = star_of(3 * f + preceding(e) % 3, twin, ring)
        if count < 0:
            continue
        exists = False
        for i in range(count):
            q = ring[i]
            exists = exists or face[q // 3, following(q) % 3] == d or face[q // 3, preceding(q) % 3] == d
        if exists:
            continue
        ad, db, bc, ca = twin[following(t)], twin[preceding(t)], twin[following(e)], twin[preceding(e)]
        s_ad, s_db, s_bc, s_ca = (
            kept[following(t)],
            kept[preceding(t)],
            kept[following(e)],
            kept[preceding(e)],
        )
        face[f, 0], face[f, 1], face[f, 2] = a, d, c
        face[g, 0], face[g, 1], face[g, 2] = d, b, c
        linked(3 * f, ad, twin, kept, s_ad)
        linked(3 * g, db, twin, kept, s_db)
        linked(3 * g + 1, bc, twin, kept, s_bc)
        linked(3 * f + 2, ca, twin, kept, s_ca)
        linked(3 * f + 1, 3 * g + 2, twin, kept, False)
        out[a], out[d], out[c], out[b] = 3 * f, 3 * g, 3 * f + 2, 3 * g + 1
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
    common = 0  # link condition: u and v share the two apexes only
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
    if common != (1 if t < 0 else 2):
        return False
    n1, n2 = np.zeros(3), np.zeros(3)
    worst_old, worst_new = 1.0, 1.0
    level, nearest = True, np.inf  # does the surface stay where it is; how far is it from u afterwards
    for i in range(count):
        q = ring[i]
        g = q // 3
        x, y = face[g, following(q) % 3], face[g, preceding(q) % 3]
        worst_old = min(worst_old, shape_of(vertex[u], vertex[x], vertex[y]))
        if g == f or (t >= 0 and g == t // 3):
            continue
        l1 = cross_of(vertex[u], vertex[x], vertex[y], n1)
        l2 = cross_of(vertex[v], vertex[x], vertex[y], n2)
        if l2 <= 0.0 or np.dot(n1, n2) < limits[2] * l1 * l2:
            return False
        worst_new = min(worst_new, shape_of(vertex[v], vertex[x], vertex[y]))
        level = level and np.dot(n1, n2) > (1.0 - 1e-9) * l1 * l2
        nearest = min(nearest, closest_on_triangle(vertex[u], vertex[v], vertex[x], vertex[y], n1))
        if gap(vertex[v], vertex[x]) > limits[0] * 0.5 * (size[v] + size[x]):
            return False
        if gap(vertex[v], vertex[y]) > limits[0] * 0.5 * (size[v] + size[y]):
            return False
    if not level and rank[u] == 0 and np.sqrt(nearest) > limits[1] * size[u]:
        return False
    return worst_new >= min(worst_old, 0.25)


@njit(cache=True)
def collapse_edge(e: int, face: Array, twin: Array, kept: Array, out: Array, ring: Array) -> None:
    """Draw the origin of ``e`` into its end; the two faces beside ``e`` become dead (corner -1)."""
    f, t = e // 3, twin[e]
    u, v, c = face[f, e % 3], face[f, following(e) % 3], face[f, preceding(e) % 3]
    count = star_of(out[u], twin, ring)
    for i in range(count):
        face[ring[i] // 3, ring[i] % 3] = v
    vc, cu = following(e), preceding(e)
    x1, x2, flag = twin[vc], twin[cu], kept[vc] or kept[cu]
    linked(x1, x2, twin, kept, flag)
    out[c] = x1 if x1 >= 0 else following(x2)
    out[v] = x2 if x2 >= 0 else following(x1)
    if t >= 0:
        d = face[t // 3, preceding(t) % 3]
        ud, dv = following(t), preceding(t)
        y1, y2, flag = twin[ud], twin[dv], kept[ud] or kept[dv]
        linked(y1, y2, twin, kept, flag)
        out[d] = y1 if y1 >= 0 else following(y2)
        face[t // 3, 0] = -1
        twin[3 * (t // 3)] = twin[3 * (t // 3) + 1] = twin[3 * (t // 3) + 2] = -1
    face[f, 0] = -1
    twin[3 * f] = twin[3 * f + 1] = twin[3 * f + 2] = -1
    out[u] = -1


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


@njit(cache=True)
def star_shape(v: int, at: Array, count: int, ring: Array, vertex: Array, face: Array, normals: Array) -> float:
    """Worst shape of the faces round ``v`` if it stood at ``at``; -1 when one would turn over."""
    worst = 1.0
    n = np.zeros(3)
    for i in range(count):
        e = ring[i]
        x, y = vertex[face[e // 3, following(e) % 3]], vertex[face[e // 3, preceding(e) % 3]]
        cross_of(at, x, y, n)
        if np.dot(n, normals[i]) <= 0.0:
            return -1.0
        worst = min(worst, shape_of(at, x, y))
    return worst


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
        out_point += weight * (vertex[v] + vertex[x] + vertex[y]) / 3.0
        total += weight
    if total > 0.0:
        out_point /= total
    else:
        out_point[:] = vertex[v]


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
def line_place(
    v: int,
    count: int,
    ring: Array,
    vertex: Array,
    size: Array,
    face: Array,
    kept: Array,
    twin: Array,
    out_point: Array,
) -> bool:
    """Place on a straight kept line that shares the spacing by size; False when the line bends at ``v``."""
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
    if base <= 0.0 or cross_of(vertex[a], vertex[b], vertex[v], n) > 1e-9 * base * base:
        return False
    wa, wb = size[a] + size[v], size[b] + size[v]
    out_point[:] = (vertex[a] * wb + vertex[b] * wa) / (wa + wb)
    return True


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
    original: Array,
    starts: Array,
) -> int:
    """Slide each vertex within its plane, along its straight line, or over the original curved surface."""
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
            if not line_place(v, count, ring, vertex, size, face, kept, twin, goal):
                continue
        else:
            wanted_place(v, count, ring, vertex, size, face, goal)
        mean[:] = 0.0
        for i in range(count):
            e = ring[i]
            cross_of(
                vertex[v],
                vertex[face[e // 3, following(e) % 3]],
                vertex[face[e // 3, preceding(e) % 3]],
                normals[i],
            )
            mean += normals[i]
        length = np.sqrt(np.dot(mean, mean))
        if rank[v] == 0 and length > 0.0:
            mean /= length
            flat = True
            for i in range(count):
                own = np.sqrt(np.dot(normals[i], normals[i]))
                flat = flat and np.dot(normals[i], mean) > (1.0 - 1e-10) * own
            goal -= mean * np.dot(goal - vertex[v], mean)
            if not flat:
                kind = tag[out[v] // 3]
                # the vertex lies on the surface, so the surface is no farther from the goal than the vertex is
                reach = 1.5 * gap(goal, vertex[v]) + 1e-12
                if not drawn_to(goal, reach, original, starts[kind], starts[kind + 1], moved):
                    continue
                goal[:] = moved
        before = star_shape(v, vertex[v], count, ring, vertex, face, normals)
        after = star_shape(v, goal, count, ring, vertex, face, normals)
        if after > before or after > 0.5:
            vertex[v] = goal
            done += 1
    return done


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
