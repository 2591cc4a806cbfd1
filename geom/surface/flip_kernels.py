"""Flips of a half-edge mesh, from a queue of the edges that may have become worth it. Validate nothing.

``dirty[f]`` marks a face that was changed since its edges were last looked at.
"""

from typing import Any

import numpy as np
from numba import njit

from geom.surface.halfedge_kernels import STAR, following, linked, preceding, star_of
from geom.surface.triangle_kernels import cross_of, shape_of, warp_of

Array = Any


@njit(cache=True)
def flip_gains(pa: Array, pb: Array, pc: Array, pd: Array, flat: float, normals: Array) -> bool:
    """Would edge cd in place of ab raise the smallest angle and leave the surface where it is?"""
    old = min(shape_of(pa, pb, pc), shape_of(pb, pa, pd))
    new = min(shape_of(pa, pd, pc), shape_of(pd, pb, pc))
    if new <= old * 1.0001 + 1e-12:
        return False
    n1, n2, m1, m2 = normals[0], normals[1], normals[2], normals[3]
    l1, l2 = cross_of(pa, pb, pc, n1), cross_of(pb, pa, pd, n2)
    k1, k2 = cross_of(pa, pd, pc, m1), cross_of(pd, pb, pc, m2)
    if k1 <= 0.0 or k2 <= 0.0:
        return False
    turn, fold, first, second = 0.0, 0.0, 0.0, 0.0
    for k in range(3):
        turn += m1[k] * m2[k]
        fold += n1[k] * n2[k]
        first += m1[k] * (n1[k] + n2[k])  # a face without area has no say
        second += m2[k] * (n1[k] + n2[k])
    if turn < flat * k1 * k2 or first <= 0.0 or second <= 0.0:
        return False
    return old <= 1e-6 or (fold >= flat * l1 * l2 and warp_of(pa, pb, pc, pd) <= 0.03)


@njit(cache=True)
def flip_edge(e: int, face: Array, twin: Array, kept: Array, out: Array) -> None:
    """Turn the edge within its two faces; half-edges 3f, 3g, 3g + 1 and 3f + 2 are then the outer ones."""
    t = twin[e]
    f, g = e // 3, t // 3
    a, b = face[f, e % 3], face[f, following(e) % 3]
    c, d = face[f, preceding(e) % 3], face[g, preceding(t) % 3]
    ad, db, bc, ca = twin[following(t)], twin[preceding(t)], twin[following(e)], twin[preceding(e)]
    s_ad, s_db = kept[following(t)], kept[preceding(t)]
    s_bc, s_ca = kept[following(e)], kept[preceding(e)]
    face[f, 0], face[f, 1], face[f, 2] = a, d, c
    face[g, 0], face[g, 1], face[g, 2] = d, b, c
    linked(3 * f, ad, twin, kept, s_ad)
    linked(3 * g, db, twin, kept, s_db)
    linked(3 * g + 1, bc, twin, kept, s_bc)
    linked(3 * f + 2, ca, twin, kept, s_ca)
    linked(3 * f + 1, 3 * g + 2, twin, kept, False)
    out[a], out[d], out[c], out[b] = 3 * f, 3 * g, 3 * f + 2, 3 * g + 1


@njit(cache=True)
def joined_already(c: int, d: int, start: int, face: Array, twin: Array, ring: Array) -> bool:
    """Is there an edge between c, whose half-edge ``start`` is, and d (or too many edges to tell)?"""
    count = star_of(start, twin, ring)
    for i in range(count):
        q = ring[i]
        if face[q // 3, following(q) % 3] == d or face[q // 3, preceding(q) % 3] == d:
            return True
    return count < 0


@njit(cache=True)
def settle(
    vertex: Array, face: Array, twin: Array, kept: Array, out: Array, counts: Array, flat: float, dirty: Array
) -> int:
    """Flip free edges of dirty faces, and those that this makes worth a look, until nothing is gained."""
    room = 3 * counts[1] + 1
    queue, queued = np.zeros(room, np.int64), np.zeros(room, np.bool_)
    ring, normals = np.zeros(STAR, np.int64), np.zeros((4, 3))
    head, tail = 0, 0
    for f in range(counts[1]):
        if not dirty[f]:
            continue
        dirty[f] = False
        for e in range(3 * f, 3 * f + 3):
            t = twin[e]
            if t >= 0 and not kept[e] and not queued[min(e, t)]:
                queue[tail] = min(e, t)
                queued[min(e, t)] = True
                tail += 1
    done = 0
    while head != tail and done < 10 * counts[1]:
        e = queue[head]
        head = (head + 1) % room
        queued[e] = False
        t = twin[e]
        if t < 0 or kept[e]:
            continue
        f, g = e // 3, t // 3
        c, d = face[f, preceding(e) % 3], face[g, preceding(t) % 3]
        a, b = face[f, e % 3], face[f, following(e) % 3]
        if c == d or not flip_gains(vertex[a], vertex[b], vertex[c], vertex[d], flat, normals):
            continue
        if joined_already(c, d, 3 * f + preceding(e) % 3, face, twin, ring):
            continue
        flip_edge(e, face, twin, kept, out)
        done += 1
        for e in (3 * f, 3 * g, 3 * g + 1, 3 * f + 2):
            t = twin[e]
            if t >= 0 and not kept[e] and not queued[min(e, t)]:
                queue[tail] = min(e, t)
                queued[min(e, t)] = True
                tail = (tail + 1) % room
    return done
