"""Columns of free space over a grid of upright rays, and the passages between neighbours. Validate nothing.

Heights are exact: where a ray meets a triangle, and how far a wall between two rays shuts the way from one to the
other. Only x and y are in steps. ``BIG`` stands for the open above and below.
"""

from typing import Any

import numpy as np
from numba import njit

Array = Any

BIG = 1e6
"""Height that stands for the open, far over any part [m]."""


@njit(cache=True)
def _side(px: float, py: float, vertices: Array, u: int, v: int) -> float:
    """Twice the area of (u, v, p) seen from above; never 0, and the exact opposite for (v, u, p)."""
    a, b = (u, v) if u < v else (v, u)
    ax, ay = vertices[a, 0], vertices[a, 1]
    s = (vertices[b, 0] - ax) * (py - ay) - (vertices[b, 1] - ay) * (px - ax)
    if s == 0.0:
        s = 1e-300
    return s if u < v else -s


@njit(cache=True)
def _on_edge(vertices: Array, u: int, v: int, axis: int, at: float) -> tuple[float, float]:
    """Where edge (u, v) meets the plane ``axis`` = ``at``: the other level coordinate, and the height."""
    a, b = (u, v) if u < v else (v, u)
    t = (at - vertices[a, axis]) / (vertices[b, axis] - vertices[a, axis])
    other = 1 - axis
    return (
        vertices[a, other] + t * (vertices[b, other] - vertices[a, other]),
        vertices[a, 2] + t * (vertices[b, 2] - vertices[a, 2]),
    )


@njit(cache=True)
def _cut(vertices: Array, faces: Array, face: int, axis: int, at: float) -> tuple[float, float, float, float]:
    """The line in which a face meets the plane ``axis`` = ``at``: (x, z) of both ends, x rising."""
    ends = np.zeros((2, 2))
    n = 0
    for k in range(3):
        u, v = faces[face, k], faces[face, (k + 1) % 3]
        if n < 2 and (vertices[u, axis] >= at) != (vertices[v, axis] >= at):
            ends[n, 0], ends[n, 1] = _on_edge(vertices, u, v, axis, at)
            n += 1
    if ends[0, 0] <= ends[1, 0]:
        return ends[0, 0], ends[0, 1], ends[1, 0], ends[1, 1]
    return ends[1, 0], ends[1, 1], ends[0, 0], ends[0, 1]


@njit(cache=True)
def _hits_of(face: int, vertices: Array, faces: Array, xs: Array, ys: Array, start: Array, out: Any) -> None:
    """Count (``out`` empty) or note where the rays meet one face: height, +1 into the metal or -1 out of it, face."""
    height, way, number = out
    a, b, c = faces[face, 0], faces[face, 1], faces[face, 2]
    va, vb, vc = vertices[a], vertices[b], vertices[c]
    double = (vb[0] - va[0]) * (vc[1] - va[1]) - (vb[1] - va[1]) * (vc[0] - va[0])
    if double == 0.0:
        return
    i0, i1 = np.searchsorted(xs, min(va[0], vb[0], vc[0])), np.searchsorted(xs, max(va[0], vb[0], vc[0]), side="right")
    for i in range(i0, i1):
        from_, _, to, _ = _cut(vertices, faces, face, 0, xs[i])
        slack = 1e-9 * (to - from_) + 1e-12  # the test below decides; this only saves work
        j0, j1 = np.searchsorted(ys, from_ - slack), np.searchsorted(ys, to + slack, side="right")
        for j in range(j0, j1):
            p = _side(xs[i], ys[j], vertices, b, c)
            q = _side(xs[i], ys[j], vertices, c, a)
            r = _side(xs[i], ys[j], vertices, a, b)
            if (p > 0.0) != (q > 0.0) or (q > 0.0) != (r > 0.0):
                continue
            column = i * len(ys) + j
            if len(height):
                k = start[column]
                height[k] = (p * va[2] + q * vb[2] + r * vc[2]) / (p + q + r)
                way[k] = -1 if p > 0.0 else 1
                number[k] = face
            start[column] += 1


@njit(cache=True)
def hits(vertices: Array, faces: Array, xs: Array, ys: Array) -> tuple[Array, Array, Array, Array]:
    """Where the rays meet the faces, column by column and upwards: first of each column, height, way, face."""
    count = np.zeros(len(xs) * len(ys) + 1, np.int64)
    none = (np.zeros(0), np.zeros(0, np.int64), np.zeros(0, np.int64))
    for face in range(len(faces)):
        _hits_of(face, vertices, faces, xs, ys, count, none)
    start = np.zeros(len(count), np.int64)
    for column in range(len(count) - 1):
        start[column + 1] = start[column] + count[column]
    total = start[len(start) - 1]
    found = (np.zeros(total), np.zeros(total, np.int64), np.zeros(total, np.int64))
    at = start.copy()
    for face in range(len(faces)):
        _hits_of(face, vertices, faces, xs, ys, at, found)
    height, way, number = found
    for column in range(len(start) - 1):
        for k in range(start[column] + 1, start[column + 1]):
            h, w, n = height[k], way[k], number[k]
            m = k
            while m > start[column] and height[m - 1] > h:
                height[m], way[m], number[m] = height[m - 1], way[m - 1], number[m - 1]
                m -= 1
            height[m], way[m], number[m] = h, w, n
    return start, height, way, number


@njit(cache=True)
def intervals(start: Array, height: Array, way: Array, least: float) -> tuple[Array, Array, Array]:
    """Free stretches of every column higher than ``least``: first of each column, floor, ceiling."""
    columns = len(start) - 1
    first = np.zeros(columns + 1, np.int64)
    low, high = np.zeros(len(height) + columns), np.zeros(len(height) + columns)
    n = 0
    for column in range(columns):
        depth, floor = 0, -BIG
        for k in range(start[column], start[column + 1]):
            after = depth + way[k]
            if depth <= 0 and after > 0 and height[k] - floor > least:
                low[n], high[n] = floor, height[k]
                n += 1
            if depth > 0 and after <= 0:
                floor = height[k]
            depth = after
        if depth <= 0:
            low[n], high[n] = floor, BIG
            n += 1
        first[column + 1] = n
    return first, low[:n].copy(), high[:n].copy()


@njit(cache=True)
def _pairs(p: int, q: int, first: Array, low: Array, high: Array, n: int, out: Any) -> int:
    """Count (``out`` empty) or note the stretches of columns p and q that overlap."""
    one, two, bottom, top = out
    a, b = first[p], first[q]
    while a < first[p + 1] and b < first[q + 1]:
        floor, ceiling = max(low[a], low[b]), min(high[a], high[b])
        if ceiling > floor:
            if len(one):
                one[n], two[n], bottom[n], top[n] = a, b, floor, ceiling
            n += 1
        if high[a] < high[b]:
            a += 1
        else:
            b += 1
    return n


@njit(cache=True)
def _all_pairs(first: Array, low: Array, high: Array, nx: int, ny: int, strip: Array, out: Any) -> int:
    """Every pair of neighbours: first along x, strip (i, j) is i * ny + j; then along y, i * (ny - 1) + j."""
    n, s = 0, 0
    for i in range(nx - 1):
        for j in range(ny):
            n = _pairs(i * ny + j, (i + 1) * ny + j, first, low, high, n, out)
            s += 1
            strip[s] = n
    for i in range(nx):
        for j in range(ny - 1):
            n = _pairs(i * ny + j, i * ny + j + 1, first, low, high, n, out)
            s += 1
            strip[s] = n
    return n


@njit(cache=True)
def passages(first: Array, low: Array, high: Array, nx: int, ny: int) -> tuple[Array, Array, Array, Array, Array]:
    """Overlapping free stretches of neighbouring columns: first of each strip, both stretches, bottom, top."""
    strip = np.zeros((nx - 1) * ny + nx * (ny - 1) + 1, np.int64)
    none = (np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    n = _all_pairs(first, low, high, nx, ny, strip, none)
    found = (np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n), np.zeros(n))
    _all_pairs(first, low, high, nx, ny, strip, found)
    return strip, found[0], found[1], found[2], found[3]


@njit(cache=True)
def walls(
    vertices: Array,
    faces: Array,
    xs: Array,
    ys: Array,
    axis: int,
    strip: Array,
    bottom: Array,
    top: Array,
    least: float,
) -> tuple[Array, Array, Array]:
    """Stretches of height that metal between two columns shuts: passage, from, to. Along x (``axis`` 1) or y (0)."""
    lines, steps = (ys, xs) if axis == 1 else (xs, ys)
    offset = 0 if axis == 1 else (len(xs) - 1) * len(ys)
    room, n = 1024, 0
    which, start, stop = np.zeros(room, np.int64), np.zeros(room), np.zeros(room)
    for face in range(len(faces)):
        a, b, c = vertices[faces[face, 0], axis], vertices[faces[face, 1], axis], vertices[faces[face, 2], axis]
        l0, l1 = np.searchsorted(lines, min(a, b, c)), np.searchsorted(lines, max(a, b, c), side="right")
        for line in range(l0, l1):
            if (a >= lines[line]) == (b >= lines[line]) and (b >= lines[line]) == (c >= lines[line]):
                continue
            x1, z1, x2, z2 = _cut(vertices, faces, face, axis, lines[line])
            i0, i1 = int(np.searchsorted(steps, x1, side="right")) - 1, int(np.searchsorted(steps, x2))
            for i in range(max(i0, 0), min(i1, len(steps) - 1)):
                za, zb = z1, z2
                if x2 > x1:
                    slope = (z2 - z1) / (x2 - x1)
                    za = z1 + slope * max(steps[i] - x1, 0.0)
                    zb = z1 + slope * min(steps[i + 1] - x1, x2 - x1)
                za, zb = min(za, zb), max(za, zb)
                s = offset + (i * len(ys) + line if axis == 1 else line * (len(ys) - 1) + i)
                for k in range(strip[s], strip[s + 1]):
                    if min(zb, top[k]) - max(za, bottom[k]) > least:
                        if n == room:
                            room *= 2
                            which = np.concatenate((which, np.zeros(n, np.int64)))
                            start = np.concatenate((start, np.zeros(n)))
                            stop = np.concatenate((stop, np.zeros(n)))
                        which[n], start[n], stop[n] = k, za, zb
                        n += 1
    return which[:n].copy(), start[:n].copy(), stop[:n].copy()


@njit(cache=True)
def lower_tops(top: Array, which: Array, start: Array, stop: Array, least: float) -> None:
    """Lower the top of each passage to what its walls leave; the walls come by passage, then from the highest."""
    for n in range(len(which)):
        k = which[n]
        if stop[n] >= top[k] - least:
            top[k] = min(top[k], start[n])


@njit(cache=True)
def _sift(heap: Array, key: Array, place: int, size: int) -> None:
    """Let the entry at ``place`` of a heap sink to where it belongs, the largest key on top."""
    while True:
        child = 2 * place + 1
        if child >= size:
            return
        if child + 1 < size and key[child + 1] > key[child]:
            child += 1
        if key[child] <= key[place]:
            return
        heap[place], heap[child] = heap[child], heap[place]
        key[place], key[child] = key[child], key[place]
        place = child


@njit(cache=True)
def escape_levels(nodes: int, is_open: Array, one: Array, two: Array, top: Array) -> Array:
    """Highest level that gas from each stretch must sink to on its way out; -BIG where there is no way out.

    The open floods the stretches from above: the highest passage first, as water fills a relief from its rim.
    """
    first = np.zeros(nodes + 1, np.int64)
    for k in range(len(one)):
        first[one[k] + 1] += 1
        first[two[k] + 1] += 1
    for i in range(nodes):
        first[i + 1] += first[i]
    near, over = np.zeros(2 * len(one), np.int64), np.zeros(2 * len(one))
    at = first[:-1].copy()
    for k in range(len(one)):
        a, b = one[k], two[k]
        near[at[a]], over[at[a]] = b, top[k]
        near[at[b]], over[at[b]] = a, top[k]
        at[a] += 1
        at[b] += 1
    level = np.full(nodes, -BIG)
    heap, key, size = np.zeros(2 * len(one) + 1, np.int64), np.zeros(2 * len(one) + 1), 0
    for i in range(nodes):
        if is_open[i]:
            level[i] = BIG
            for m in range(first[i], first[i + 1]):
                if not is_open[near[m]] and over[m] > level[near[m]]:
                    heap[size], key[size], level[near[m]] = near[m], over[m], over[m]
                    size += 1
    for place in range(size // 2, -1, -1):
        _sift(heap, key, place, size)
    done = is_open.copy()
    while size > 0:
        node, reached = heap[0], key[0]
        size -= 1
        heap[0], key[0] = heap[size], key[size]
        _sift(heap, key, 0, size)
        if done[node]:
            continue
        done[node] = True
        for m in range(first[node], first[node + 1]):
            found = min(reached, over[m])
            if found > level[near[m]]:
                level[near[m]] = found
                heap[size], key[size] = near[m], found
                place = size
                size += 1
                while place > 0 and key[(place - 1) // 2] < key[place]:
                    parent = (place - 1) // 2
                    heap[place], heap[parent] = heap[parent], heap[place]
                    key[place], key[parent] = key[parent], key[place]
                    place = parent
    return level


@njit(cache=True)
def nodes_before(
    places: Array, normals: Array, xs: Array, ys: Array, first: Array, low: Array, high: Array, reach: float
) -> Array:
    """The free stretch that each place (n, 3) of the surface looks into; -1 where none is near.

    A place on a sloping face is carried along the plane of the face to the column; of the columns round a place those in front
    of the face count.
    """
    out = np.full(len(places), -1, np.int64)
    for n in range(len(places)):
        x, y, z = places[n]
        nx, ny, nz = normals[n]
        i0, j0 = np.searchsorted(xs, x), np.searchsorted(ys, y)
        best = np.inf
        for i in range(max(i0 - 2, 0), min(i0 + 2, len(xs))):
            for j in range(max(j0 - 2, 0), min(j0 + 2, len(ys))):
                dx, dy = xs[i] - x, ys[j] - y
                ahead = nx * dx + ny * dy
                at = z
                if abs(nz) > 0.2:
                    at -= ahead / nz - 1e-9 * np.sign(nz)
                elif ahead < 0.0:
                    continue
                flat = dx * dx + dy * dy
                for k in range(first[i * len(ys) + j], first[i * len(ys) + j + 1]):
                    off = max(low[k] - at, at - high[k], 0.0)
                    if off < reach and flat + 4.0 * off * off < best:
                        best = flat + 4.0 * off * off
                        out[n] = k
    return out
