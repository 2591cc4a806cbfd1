"""`prism`: plane loops swept along an axis, with windows drilled through its horizontal flats."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.surface.shell import Shell
from geom.surface.surface import Surface

# Columns: where the loop's first axis, its second axis and the sweep point to. All right-handed.
ALONG_Z = np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]])
ALONG_X = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])  # loops in (y, z)
ALONG_MINUS_Y = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])  # loops in (x, z)


@dataclass(frozen=True, eq=False)
class Loop:
    """A closed plane ring with the material on its left, and the tag of each of its sides."""

    points: Floats  # (n, 2) [m]
    tags: Ints  # (n,) of the side from point i to point i + 1


@dataclass(frozen=True, eq=False)
class Window:
    """A hole along z through two horizontal sides of a prism."""

    ring: Floats  # (n, 2) counter-clockwise, in x and y [m]
    upper: tuple[int, int]  # loop and side whose outside faces up
    lower: tuple[int, int]  # loop and side whose outside faces down
    tag: int


def prism(
    loops: Sequence[Loop],
    length: float,
    frame: Floats,
    caps: tuple[int, int],
    windows: Sequence[Window] = (),
) -> Surface:
    """Sweep plane loops by ``length`` [m] about the plane of the loops, and close both ends.

    Parameters
    ----------
    loops : the outer loop first (counter-clockwise), then inner ones (clockwise)
    frame : (3, 3) one of ``ALONG_X``, ``ALONG_Z``, ``ALONG_MINUS_Y``
    caps : tags of the end where the sweep starts and of the end where it stops
    windows : holes through sides that are horizontal in the frame of the part
    """
    shell = Shell()
    low, high = [
        [shell.add(np.column_stack([loop.points, np.full(len(loop.points), w)]) @ frame.T) for loop in loops]
        for w in (-length / 2, length / 2)
    ]
    pierced = _drill(shell, loops, frame, windows)
    for number, loop in enumerate(loops):
        whole = [side for side in range(len(loop.points)) if (number, side) not in pierced]
        shell.band(low[number], high[number], loop.tags, only=np.array(whole, dtype=np.int64))
    for (number, side), rings in pierced.items():
        a, b = low[number], high[number]
        after = (side + 1) % len(a)
        outer = np.array([a[side], a[after], b[after], b[side]])
        shell.flat(outer, rings, int(loops[number].tags[side]))
    shell.flat(high[0], high[1:], caps[1])
    shell.flat(low[0][::-1], [ring[::-1] for ring in low[1:]], caps[0])
    return shell.surface()


def _drill(
    shell: Shell, loops: Sequence[Loop], frame: Floats, windows: Sequence[Window]
) -> dict[tuple[int, int], list[Ints]]:
    """Add the rings and the wall of each window; return the rings that open each side."""
    pierced: dict[tuple[int, int], list[Ints]] = {}
    height = frame[2, :2]  # z of a point of a loop
    for window in windows:
        ring = window.ring[::-1]
        ends = []
        for number, side in (window.lower, window.upper):
            z = float(loops[number].points[side] @ height)
            ends.append(shell.add(np.column_stack([ring, np.full(len(ring), z)])))
        shell.band(ends[0], ends[1], window.tag)
        pierced.setdefault(window.lower, []).append(ends[0][::-1])
        pierced.setdefault(window.upper, []).append(ends[1])
    return pierced
