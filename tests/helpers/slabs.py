"""Flat cells between two insulating planes: a problem in two dimensions, posed in three.

Any depth gives the same current density, so that the planes may be as close as the panels are wide.
"""

from collections.abc import Callable, Sequence

import numpy as np

from geom.arrays import Floats, Ints
from geom.surface.solid import joined
from geom.surface.surface import Surface
from helpers.meshes import grid, turned_over

Plane = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""(u, v) to (x, y), turning counter-clockwise as (u, v) does."""

Side = Sequence[int] | Ints | int | None
"""Tag of one side of a block, or of each of its cells; None where another block goes on."""

INSULATOR = 0


def crowded(start: float, stop: float, n: int, power: float = 1.0, *, to: str = "start") -> Floats:
    """(n + 1,) places from ``start`` to ``stop``, crowded by ``power`` to "start", "stop" or "both"."""
    t = np.arange(n + 1) / n
    if to == "start":
        share = t**power
    elif to == "stop":
        share = 1.0 - (1.0 - t) ** power
    else:
        share = np.where(t < 0.5, 0.5 * (2 * t) ** power, 1.0 - 0.5 * np.abs(2 - 2 * t) ** power)
    return np.asarray(start + (stop - start) * share)


def chained(*pieces: Floats) -> Floats:
    """Places end to end, each joint once."""
    return np.concatenate([pieces[0], *(piece[1:] for piece in pieces[1:])])


def rectangle(u: Floats, v: Floats) -> tuple[Floats, Floats]:
    """The plane as it is."""
    return u, v


def slab(
    place: Plane, us: Floats, vs: Floats, sides: tuple[Side, Side, Side, Side], depth: float, layers: int = 2
) -> Surface:
    """One block with insulating planes at z = 0 and ``depth``; ``sides``: u low, u high, v low, v high."""
    rise = np.linspace(0.0, depth, layers + 1)

    def flat(height: float) -> Surface:
        return grid(lambda u, v: np.column_stack([*place(u, v), np.full(len(u), height)]), us, vs, INSULATOR)

    def edge(axis: int, at: float, along: Floats, side: Side, outward: bool) -> list[Surface]:
        if side is None:
            return []

        def wall(s: Floats, z: Floats) -> Floats:
            fixed = np.full(len(s), at)
            return np.column_stack([*(place(fixed, s) if axis == 0 else place(s, fixed)), z])

        found = grid(wall, along, rise)
        cells = np.repeat(np.broadcast_to(np.asarray(side), (len(along) - 1,)), layers)
        found = Surface(found.vertices, found.faces, np.concatenate([cells, cells]))
        return [found if outward else turned_over(found)]

    return joined(
        [
            turned_over(flat(0.0)),
            flat(depth),
            *edge(0, us[0], vs, sides[0], False),
            *edge(0, us[-1], vs, sides[1], True),
            *edge(1, vs[0], us, sides[2], True),
            *edge(1, vs[-1], us, sides[3], False),
        ]
    )


def eased(n: int, power: float) -> Floats:
    """(n + 1,) places 0..1, crowded to 1 by ``power``, nearly even at 0."""
    even = np.sin(0.5 * np.pi * np.arange(n + 1) / n)
    even[-1] = 1.0
    return np.asarray(1.0 - (1.0 - even) ** (0.5 * power))
