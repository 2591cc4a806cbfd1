"""`Survey`: what can be told of a part without any solve: its areas, what a ball can touch, what it holds back."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, frozen
from geom.cell.bodies import part_solid
from geom.cell.cell import Cell
from geom.errors import PartError
from geom.findings import Finding
from geom.hanging.hanging import Hanging, hung
from geom.hanging.words import hanging_findings
from geom.part.part import Part
from geom.surface.ball import BALL, touched_area
from geom.surface.surface import Surface
from geom.surface.waterline import area_below


@dataclass(frozen=True, eq=False)
class Survey:
    """A part and its areas, feature by feature, in one pose: z is up."""

    part: Part
    wetted: Floats  # (features,) area below the liquid surface [m²]
    touchable: Floats  # (features,) area that is plated and that the ball can touch, also above the liquid [m²]
    immersed: float | None  # depth of the lowest point below the liquid surface [m]; None: all is under
    hanging: Hanging

    def __post_init__(self) -> None:
        object.__setattr__(self, "wetted", frozen(self.wetted, np.float64))
        object.__setattr__(self, "touchable", frozen(self.touchable, np.float64))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything the reader should know: of the file, its repairs, and how the part hangs."""
        return (*self.part.findings, *hanging_findings(self.hanging, self.part.area))

    @property
    def plated(self) -> Floats:
        """(features,) wetted area that carries current [m²]."""
        return np.where([feature.is_plated for feature in self.part.features], self.wetted, 0.0)

    @property
    def wetted_area(self) -> float:
        """Wetted area that is plated [m²]."""
        return float(self.plated.sum())

    @property
    def bare_area(self) -> float:
        """Wetted area that stays bare: stopped off, plugged, under a contact [m²]."""
        return float(self.wetted.sum()) - self.wetted_area

    @property
    def true_area(self) -> float:
        """Plated area with the factors of threads and roughness [m²]."""
        return float(self.plated @ np.array([feature.factor for feature in self.part.features]))


def surveyed(part: Part, *, rotation: Floats | None = None, immersed: float | None = None) -> Survey:
    """Return the survey of a part.

    Parameters
    ----------
    rotation : (3, 3) how it is turned from its own frame; None: as drawn
    immersed : how deep its lowest point hangs below the liquid surface [m]; None: all of it is under

    Raises
    ------
    PartError
        where the depth is not more than zero.
    """
    if immersed is not None and not immersed > 0:
        raise PartError("part-not-immersed", "no part of the work is under the liquid surface")
    turn = np.eye(3) if rotation is None else rotation
    drawn = part.surface.moved(turn, np.zeros(3))
    level = None if immersed is None else float(drawn.bounds[0, 2]) + immersed
    formula = np.array([feature.area for feature in part.features])
    return Survey(
        part=part,
        wetted=formula if level is None else formula * _share(drawn, area_below(drawn, level), len(formula)),
        touchable=np.where([feature.is_plated for feature in part.features], formula, 0.0)
        * _ratio(touched_area(drawn, BALL, len(formula)), _areas(drawn, len(formula))),
        immersed=immersed,
        hanging=hung(drawn, part.features, level),
    )


def depth_of(cell: Cell) -> float | None:
    """Return how deep the lowest point of the part hangs in a cell [m]; None where all of it is under."""
    low, high = part_solid(cell.part, cell.pose).bounds[:, 2]
    return None if high <= cell.tank.depth else float(cell.tank.depth - low)


def _share(surface: Surface, amount: Floats, count: int) -> Floats:
    """Return (count,) what share of the area of each tag an amount of each face is."""
    some = np.bincount(surface.tag, weights=amount, minlength=count)
    return _ratio(np.asarray(some, dtype=np.float64), _areas(surface, count))


def _areas(surface: Surface, count: int) -> Floats:
    return np.asarray(np.bincount(surface.tag, weights=surface.areas, minlength=count), dtype=np.float64)


def _ratio(some: Floats, whole: Floats) -> Floats:
    return np.divide(some, whole, out=np.zeros(len(whole)), where=whole > 0)
