"""`Columns`: the free space round a solid, as upright stretches over a grid and the passages between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geom.arrays import Floats, Ints
from geom.hanging import column_kernels as kernels
from geom.surface.surface import Surface

BIG = kernels.BIG
HAIR = 1e-9
"""Heights nearer than this are one [m]."""

ASIDE = (0.0137, -0.0171)
"""Shares of a step by which the lines of the grid miss the middle, where a part is likely to have edges."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Lines of the grid along x and y; the outermost lie beside the part."""

    xs: Floats  # (nx,) [m]
    ys: Floats  # (ny,) [m]
    step: float  # distance between neighbours, where no feature asks for less [m]

    @cached_property
    def areas(self) -> Floats:
        """(nx * ny,) share of the level plane that each column stands for [m²]."""
        wide, deep = (0.5 * np.diff(line, prepend=line[:1], append=line[-1:]) for line in (self.xs, self.ys))
        x, y = (w[:-1] + w[1:] for w in (wide, deep))
        return np.asarray(x[:, None] * y[None, :]).reshape(-1)


def grid_over(bounds: Floats, step: float, extra: Sequence[tuple[float, float]] = ()) -> Grid:
    """Return the grid over a bounding box (2, 3), with lines through further places as well."""
    lines = []
    for axis, aside in enumerate(ASIDE):
        low, high = bounds[:, axis]
        more = np.array([place[axis] for place in extra], dtype=np.float64)
        lines.append(_sorted_lines(even_lines(low, high, step, aside), more[(more > low) & (more < high)]))
    return Grid(lines[0], lines[1], step)


def even_lines(low: float, high: float, step: float, aside: float) -> Floats:
    """Return lines at even distances over a stretch, and one beside it on either side."""
    count = max(int(np.ceil((high - low) / step)), 4)
    wide = (high - low) / count
    return np.asarray(low + wide * (np.arange(-1, count + 1) + 0.5 + aside), dtype=np.float64)


def _sorted_lines(lines: Floats, more: Floats) -> Floats:
    """Return lines and further ones in order, without those that nearly coincide."""
    line = np.unique(np.concatenate([lines, more]))
    apart = np.concatenate([[True], np.diff(line) > 0.02 * np.diff(line).mean()])
    return np.asarray(line[apart], dtype=np.float64)


def refined_grid(grid: Grid, boxes: Sequence[Floats], across: int, room: int) -> Grid:
    """Return the grid with ``across`` lines over each of the boxes (2, 2: low and high x, y), while there is ``room``."""
    lines = []
    for axis, (line, aside) in enumerate(zip((grid.xs, grid.ys), ASIDE, strict=True)):
        for low, high in (box[:, axis] for box in boxes):
            step = (high - low) / across
            inside = (line > low) & (line < high)
            if step < 0.7 * (high - low) / max(int(inside.sum()), 1) and len(line) + across <= room:
                new = even_lines(low, high, step, aside)
                line = np.sort(np.concatenate([line[(line < new[0]) | (line > new[-1])], new]))
        lines.append(line)
    return Grid(lines[0], lines[1], grid.step)


@dataclass(frozen=True, eq=False)
class Columns:
    """Free stretches ("nodes") and passages. ``turned`` upside down, floors become ceilings and liquid gas.

    Two stretches of neighbouring columns are joined by a passage where they overlap in height and a level line goes
    from one to the other clear of the metal; ``top`` is the highest such line. So no wall is too thin to hold, and the
    way out is never found too high.
    """

    grid: Grid
    first: Ints  # (columns + 1,) first node of each column
    low: Floats  # (nodes,) [m]
    high: Floats
    one: Ints  # (passages,) nodes on either side
    two: Ints
    top: Floats  # (passages,) [m]
    level: Floats  # (nodes,) what gas from there must sink to on its way out [m]; -BIG: no way was found

    @cached_property
    def column(self) -> Ints:
        """(nodes,) the column of each."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    @cached_property
    def areas(self) -> Floats:
        """(nodes,) [m²]."""
        return np.asarray(self.grid.areas[self.column])

    @cached_property
    def places(self) -> Floats:
        """(nodes, 2) x and y [m]."""
        i, j = np.divmod(self.column, len(self.grid.ys))
        return np.column_stack([self.grid.xs[i], self.grid.ys[j]])


def columns_round(solid: Surface, grid: Grid) -> tuple[Columns, Columns]:
    """Return the free space round a solid (closed, wound outwards): as gas sees it, and upside down for liquid."""
    vertices, faces = np.array(solid.vertices), np.array(solid.faces)
    start, height, way, _ = kernels.hits(vertices, faces, grid.xs, grid.ys)
    first, low, high = kernels.intervals(start, height, way, HAIR)
    nx, ny = len(grid.xs), len(grid.ys)
    strip, one, two, bottom, top = kernels.passages(first, low, high, nx, ny)
    cuts = [kernels.walls(vertices, faces, grid.xs, grid.ys, axis, strip, bottom, top, HAIR) for axis in (1, 0)]
    which, start_of, stop_of = (np.concatenate(pieces) for pieces in zip(*cuts, strict=True))
    gas = (first, low, high, one, two, _open_height(top, bottom, which, start_of, stop_of))
    flipped = _open_height(-bottom, -top, which, -stop_of, -start_of)
    return _flooded(grid, *gas), _flooded(grid, first, -high, -low, one, two, flipped)


def _open_height(top: Floats, bottom: Floats, which: Ints, start: Floats, stop: Floats) -> Floats:
    """Return the top of each passage that walls leave; -inf where they shut it."""
    order = np.lexsort((-stop, which))
    lowered = top.copy()
    kernels.lower_tops(lowered, which[order], start[order], stop[order], HAIR)
    return np.where(lowered > bottom + HAIR, lowered, -np.inf)


def _flooded(grid: Grid, first: Ints, low: Floats, high: Floats, one: Ints, two: Ints, top: Floats) -> Columns:
    clear = top > -np.inf
    one, two, top = one[clear], two[clear], top[clear]
    level = kernels.escape_levels(len(low), high >= BIG, one, two, top)
    return Columns(grid, first, low, high, one, two, top, level)
