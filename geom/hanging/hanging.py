"""`Hanging`: what a part holds back in the pose it hangs in, and the least tilt that frees it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import part_solid
from geom.cell.cell import Cell
from geom.feature import Feature
from geom.hanging.columns import BIG, Columns, Grid, columns_round, grid_over, refined_grid
from geom.hanging.plugs import HOLDS, THROUGH, is_narrow, shut
from geom.hanging.pockets import (
    LEAST_POCKET,
    Held,
    Pocket,
    boxes_of,
    dry_air,
    held_air,
    held_bath,
    pocket_of_node,
    pockets,
)
from geom.hanging.tilts import Tilt, least_tilt
from geom.hanging.undersides import Underside, undersides
from geom.surface.surface import Surface

ALONG = 200
"""Columns along the longest level side of a part."""

ACROSS = 4
"""Columns across the narrowest hole, where there is room."""

MOST = 60_000
"""Columns, at most."""

DENSE = 120
"""Lines of the finer grid over each pocket found on the first, along x and along y."""

LINES = 400
"""Lines of the finer grid along x or y, at most."""

LOOKED_AT = 6
"""Pockets, the largest, that get a finer grid."""

TRIED = (60, 200)
"""Columns along the diagonal of a part: where tilts are tried, and where the one found is confirmed."""

EXTRA = 40
"""Holes that get lines of the grid of their own, at most."""

UNLIKE = 0.5
"""Where the two grids differ by more than this share, a small pocket is one of the grid, not of the part."""

SMALL = 20e-9
"""Of that size [m³]."""


@dataclass(frozen=True, slots=True)
class Hanging:
    """What stays on a part as it hangs; volumes of one part, on a rack of one of each kind."""

    trapped: tuple[Pocket, ...]  # air under it, when it goes into the bath
    cups: tuple[Pocket, ...]  # bath on it, when it comes out
    undersides: tuple[Underside, ...]  # nearly level, facing down: hydrogen clings there
    narrow: tuple[str, ...]  # blind holes that may hold a bubble or bath in any pose
    tilt: Tilt | None  # the least that frees air and bath; None: nothing to free, or nothing does
    step: float  # of the grid [m]
    turn: tuple[float, float, float] | None = None  # of the pose with the tilt in it [rad]; None without a pose

    @property
    def trapped_volume(self) -> float:
        """All air that surely stays [m³]."""
        return sum(pocket.volume for pocket in self.trapped if pocket.sure)

    @property
    def under_air(self) -> dict[str, float]:
        """Area of each feature against air that surely stays, by its name on a part that hangs alone: it stays bare [m²]."""
        total: dict[str, float] = {}
        for pocket in self.trapped:
            for name, area in pocket.features if pocket.sure else ():
                total[name] = total.get(name, 0.0) + area
        return total

    @property
    def cup_volume(self) -> float:
        """All bath that surely stays [m³]."""
        return sum(pocket.volume for pocket in self.cups if pocket.sure)


def with_turn(hanging: Hanging, rotation: Floats) -> Hanging:
    """Return the same with the turn of the pose that holds the tilt; ``rotation`` (3, 3) is that of the pose looked at."""
    tilt = hanging.tilt
    return hanging if tilt is None else replace(hanging, turn=tilt.pose_turn(rotation))


def hanging_of(cell: Cell) -> Hanging:
    """Return what the part of a cell holds back; of a rack, what one part of each kind does."""
    solid, features = part_solid(cell.part, cell.pose), cell.part.features
    if cell.part.copies > 1:
        solid = solid.selected(np.array(cell.part.is_one_of_each)[solid.tag])
        features = tuple(replace(feature, name=feature.name_alone) for feature in features)
    return with_turn(hung(solid, features, cell.tank.depth), cell.pose.rotation)


def hung(solid: Surface, features: Sequence[Feature], liquid_level: float | None, *, tilts: bool = True) -> Hanging:
    """Return what a part holds back as it hangs.

    Parameters
    ----------
    solid : closed, in the frame of the tank (z up), tags are the numbers of ``features``
    liquid_level : height of the liquid surface [m]; None where all of the part is under it
    tilts : look for the least tilt that frees what is held, which takes most of the time
    """
    liquid = BIG / 2 if liquid_level is None else liquid_level
    step = grid_step(solid, features)
    trapped, cups = _held(solid, features, liquid, step)
    narrow = [int(k) for k in np.unique(solid.tag) if is_narrow(features[k])]
    through = [k for k in narrow if features[k].kind in THROUGH]
    if through:
        again = _held(shut(solid, through), features, liquid, step)
        trapped, cups = (with_doubtful(sure, maybe) for sure, maybe in zip((trapped, cups), again, strict=True))
    tilt = None
    if tilts and any(pocket.sure for pocket in (*trapped, *cups)):
        size = float(np.linalg.norm(np.ptp(solid.bounds, axis=0)))
        tilt = least_tilt(solid, lambda s, fine: _volumes(s, features, liquid, size / TRIED[fine]))
    return Hanging(
        trapped=trapped,
        cups=cups,
        undersides=undersides(solid, features, trapped),
        narrow=tuple(features[k].name for k in narrow if k not in through),
        tilt=tilt,
        step=step,
    )


def grid_step(solid: Surface, features: Sequence[Feature]) -> float:
    """Return the step of the finer grid [m]."""
    wide, deep = (float(v) for v in np.ptp(solid.bounds, axis=0)[:2])
    widths = [max(features[k].width, HOLDS) for k in np.unique(solid.tag) if features[k].width > 0]
    wanted = min([max(wide, deep) / ALONG, *(width / ACROSS for width in widths)])
    return float(max(wanted, float(np.sqrt(wide * deep / MOST)), max(wide, deep) / (4 * ALONG)))


def _grid(solid: Surface, features: Sequence[Feature], step: float) -> Grid:
    """Return the grid with lines through every hole that few lines cross."""
    extra: list[tuple[float, float]] = []
    for number in np.unique(solid.tag):
        if 0 < features[number].width < 2 * ACROSS * step and len(extra) < EXTRA:
            points = solid.corners[solid.tag == number].reshape(-1, 3)
            x, y = 0.5 * (points.min(axis=0) + points.max(axis=0))[:2] + 0.017 * features[number].width
            extra.append((float(x), float(y)))
    return grid_over(solid.bounds, step, extra)


def _all_held(columns: Columns, flipped: Columns, liquid: float) -> tuple[Held, Held, Held]:
    return (
        held_air(columns, liquid),
        dry_air(columns, flipped, liquid),
        held_bath(columns, flipped, liquid),
    )


def _held(
    solid: Surface, features: Sequence[Feature], liquid: float, step: float
) -> tuple[tuple[Pocket, ...], tuple[Pocket, ...]]:
    """Return the pockets of air and of bath on the finer grid, each with its difference from the first grid."""
    grid = _grid(solid, features, step)
    first = _all_held(*columns_round(solid, grid), liquid)
    boxes = sorted((box for held in first for box in boxes_of(held)), key=lambda box: -box[0])
    if not boxes:
        return (), ()
    finer = refined_grid(grid, [box for _, box in boxes[:LOOKED_AT]], DENSE, LINES)
    is_new = len(finer.xs) > len(grid.xs) or len(finer.ys) > len(grid.ys)
    air, dry, bath = _all_held(*columns_round(solid, finer), liquid) if is_new else first
    found = [pockets(air, solid, features), pockets(dry, solid, features, dry=True), pockets(bath, solid, features)]
    checked = [_compared(fine, other) for fine, other in zip(found, first, strict=True)]
    return (*checked[0], *checked[1]), tuple(checked[2])


def _compared(fine: Sequence[Pocket], coarse: Held) -> list[Pocket]:
    """Return pockets with their doubt, without the small ones that are none on the first grid."""
    if not fine:
        return []
    number, volumes = pocket_of_node(coarse), coarse.volumes
    has = number >= 0
    places = np.column_stack([coarse.columns.places, 0.5 * (coarse.bottom + coarse.top)])[has]
    nearest = _nearest(places, np.array([pocket.middle for pocket in fine]))
    out = []
    total = np.bincount(nearest, volumes[has], len(fine))
    for pocket, other in zip(fine, total, strict=True):
        differs = abs(float(other) - pocket.volume)
        if pocket.volume > SMALL or differs < UNLIKE * pocket.volume:
            out.append(replace(pocket, doubt=max(differs, pocket.doubt)))
    return out


def _nearest(places: Floats, middles: Floats) -> "np.ndarray[tuple[int], np.dtype[np.int64]]":
    gap = np.linalg.norm(places[:, None] - middles[None, :64], axis=2)
    return np.asarray(gap.argmin(axis=1) if len(places) else np.zeros(0), dtype=np.int64)


def with_doubtful(sure: Sequence[Pocket], maybe: Sequence[Pocket]) -> tuple[Pocket, ...]:
    """Return sure pockets, and those of ``maybe`` (narrow holes shut) that are not among them."""
    out = list(sure)
    for pocket in maybe:
        near = [other for other in sure if np.linalg.norm(np.subtract(other.middle, pocket.middle)) < _size(pocket)]
        already = sum(other.volume for other in near)
        if pocket.volume > 1.1 * already + LEAST_POCKET:
            out.append(replace(pocket, volume=pocket.volume - already, sure=False))
    return tuple(out)


def _size(pocket: Pocket) -> float:
    return float(np.cbrt(pocket.volume))


def _volumes(solid: Surface, features: Sequence[Feature], liquid: float, step: float) -> tuple[float, float]:
    """Return all air and all bath held, pockets of the size of a bubble left out [m³]."""
    totals = []
    for held in _all_held(*columns_round(solid, _grid(solid, features, step)), liquid):
        number, volumes = pocket_of_node(held), held.volumes
        total = np.bincount(number[number >= 0], volumes[number >= 0])
        totals.append(float(total[total > LEAST_POCKET].sum()))
    return totals[0] + totals[1], totals[2]
