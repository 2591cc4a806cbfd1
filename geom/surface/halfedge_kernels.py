"""A triangle mesh as half-edges in flat arrays, and the two edits that change their number. Validate nothing.

Half-edge ``e = 3 * f + k`` runs from ``face[f, k]`` to ``face[f, (k + 1) % 3]``; ``twin[e]`` is the half-edge
that runs back, or -1 at an open rim; ``out[v]`` is one half-edge out of vertex v. ``kept[e]`` marks an edge
that no edit may lose (a sharp edge, a border between tags, a rim).
"""

from typing import Any

from numba import njit

Array = Any

STAR = 4096  # most half-edges of one vertex that are looked at; a busier vertex is left alone


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
