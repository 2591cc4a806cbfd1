"""Which face is seen in each pixel: a depth buffer filled triangle by triangle."""

import numba
import numpy as np


@numba.njit(cache=True)
def fill(corners, front, owner, depth):  # type: ignore[no-untyped-def]
    """Write the nearest face of each pixel into ``owner`` (rows, columns), its nearness into ``depth``.

    ``corners`` (m, 3, 3) in pixels: column, row, nearness. Faces with ``front`` (m,) False are left out.
    """
    rows, columns = owner.shape
    for m in range(len(corners)):
        if not front[m]:
            continue
        ax, ay, az = corners[m, 0]
        bx, by, bz = corners[m, 1]
        cx, cy, cz = corners[m, 2]
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0.0:
            continue
        left = max(int(np.ceil(min(ax, bx, cx) - 0.5)), 0)
        right = min(int(np.floor(max(ax, bx, cx) - 0.5)), columns - 1)
        low = max(int(np.ceil(min(ay, by, cy) - 0.5)), 0)
        high = min(int(np.floor(max(ay, by, cy) - 0.5)), rows - 1)
        for row in range(low, high + 1):
            y = row + 0.5
            for column in range(left, right + 1):
                x = column + 0.5
                u = ((bx - x) * (cy - y) - (by - y) * (cx - x)) / area
                v = ((cx - x) * (ay - y) - (cy - y) * (ax - x)) / area
                w = 1.0 - u - v
                if u < -1e-9 or v < -1e-9 or w < -1e-9:
                    continue
                near = u * az + v * bz + w * cz
                if near > depth[row, column]:
                    depth[row, column] = near
                    owner[row, column] = m
