"""`Survey`: what can be told of a part without any solve: its areas, what a ball can touch, what it holds back."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, frozen
from geom.cell.bodies import part_solid
from geom.cell.cell import Cell
from geom.errors import PartError
from geom.findings import Finding
from geom.hanging.hanging import Hanging, hung, with_turn
from geom.hanging.words import hanging_findings
from geom.part.contacts import contact_findings
from geom.part.part import Part
from geom.surface.ball import BALL, touched_area
from geom.surface.surface import Surface
from geom.surface.waterline import area_below, cut_at


@dataclass(frozen=True, eq=False)
class Survey:
    """A part and its areas, feature by feature, in one pose: z is up."""

    part: Part
    wetted: Floats  # (features,) area below the liquid surface [m²]
    touchable: Floats  # (features,) area that is plated and that the ball can touch, also above the liquid [m²]
    wetted_touchable: Floats  # (features,) of it below the liquid surface [m²]
    immersed: float | None  # depth of the lowest point below the liquid surface [m]; None: all is under
    hanging: Hanging
    rotation: Floats | None = None  # (3, 3) how it is turned from its own frame as it hangs; None: as drawn
    job: str | None = None  # title of the job it is from

    def __post_init__(self) -> None:
        object.__setattr__(self, "wetted", frozen(self.wetted, np.float64))
        object.__setattr__(self, "touchable", frozen(self.touchable, np.float64))
        object.__setattr__(self, "wetted_touchable", frozen(self.wetted_touchable, np.float64))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything the reader should know: of the file, its repairs, and how the part hangs."""
        return (
            *self.part.findings,
            *contact_findings(self.part.features, self.wetted),
            *hanging_findings(self.hanging, self.part.area),
        )

    @property
    def waterline(self) -> tuple[Floats, float] | None:
        """Which way is up in the part's own frame (3,), and how far up the liquid stands [m]; None: all is under."""
        if self.immersed is None:
            return None
        up = np.array([0.0, 0.0, 1.0]) if self.rotation is None else np.asarray(self.rotation)[2]
        heights = self.part.surface.vertices @ up
        level = float(heights.min()) + self.immersed
        return (up, level) if level < heights.max() else None

    @property
    def plated(self) -> Floats:
        """(features,) wetted area that carries current [m²]."""
        return np.where([feature.is_plated for feature in self.part.features], self.wetted, 0.0)

    @property
    def under_air(self) -> Floats:
        """(features,) wetted area against air that surely stays: no current reaches it as the part hangs [m²]."""
        held = self.hanging.under_air
        return np.minimum(self.plated, [held.get(feature.name_alone, 0.0) for feature in self.part.features])

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
    plated = np.where([feature.is_plated for feature in part.features], formula, 0.0)
    touchable, wetted_touchable = _touchable(drawn, level, len(formula))
    return Survey(
        part=part,
        wetted=formula if level is None else formula * _share(drawn, area_below(drawn, level), len(formula)),
        touchable=plated * touchable,
        wetted_touchable=plated * wetted_touchable,
        immersed=immersed,
        hanging=with_turn(hung(drawn, part.features, level), turn),
        rotation=rotation,
    )


def _touchable(surface: Surface, level: float | None, count: int) -> tuple[Floats, Floats]:
    """Return (count,) what share of each tag the ball can touch, and (count,) what share of it below the level."""
    whole = _areas(surface, count)
    if level is None:
        share = _ratio(touched_area(surface, BALL, count), whole)
        return share, share
    cut = cut_at(surface, level)  # what is out of the liquid has tags of its own, and is in the way of the ball too
    told = Surface(cut.surface.vertices, cut.surface.faces, cut.surface.tag + np.where(cut.inside, 0, count))
    under, out = touched_area(told, BALL, 2 * count).reshape(2, count)
    return _ratio(under + out, whole), _ratio(under, whole)


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
