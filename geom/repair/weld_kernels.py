"""Which corners lie on which edges. Validate nothing."""

from typing import Any

import numpy as np
from numba import njit

Array = Any


@njit(cache=True)
def corners_on_edges(
    points: Array, first: Array, last: Array, start: Array, stop: Array, distance: float, found: Array, place: Array
) -> int:
    """Fill ``found`` (n, 2) with edge and point, ``place`` (n,) with how far along; return how many.

    For edge e the points from ``first[e]`` to before ``last[e]`` are looked at. One within ``distance`` of an end
    is not on the edge. -1: more are found than there is room for.
    """
    count = 0
    for e in range(len(start)):
        ux, uy, uz = stop[e, 0] - start[e, 0], stop[e, 1] - start[e, 1], stop[e, 2] - start[e, 2]
        length = np.sqrt(ux * ux + uy * uy + uz * uz)
        if length <= 2 * distance:
            continue
        ux, uy, uz = ux / length, uy / length, uz / length
        for p in range(first[e], last[e]):
            x, y, z = points[p, 0] - start[e, 0], points[p, 1] - start[e, 1], points[p, 2] - start[e, 2]
            along = x * ux + y * uy + z * uz
            if along <= distance or length - along <= distance:
                continue
            x, y, z = x - along * ux, y - along * uy, z - along * uz
            if x * x + y * y + z * z > distance * distance:
                continue
            if count == len(found):
                return -1
            found[count, 0], found[count, 1], place[count] = e, p, along
            count += 1
    return count
