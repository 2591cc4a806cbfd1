"""How far the numbers may be off for numerical reasons, and where finer panels would better them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geom.advice.figures import CURRENT, HOTTEST, MEAN_OF, THINNEST, VOLTAGE, bends
from geom.advice.measures import PERCENTILES
from geom.feature import Kind
from geom.field import Field
from geom.panel_sizes import EDGE_SIZE, GROWTH
from geom.surface.sizing import SizeSource, equilateral_edges, size_source

COARSER = 1.7
"""By how much the panels of the first level are larger than those of the next."""

ORDER, MOST_FACTOR = 2.0, 3.0
"""What a figure changed by from one level to the next is taken to leave behind: 1 / (r^ORDER - 1) of it, where the panels
shrank r times (Richardson), and no more than MOST_FACTOR of it where they hardly shrank. Means of faces and edges
were found to converge with an order of 2 to 3 (docs/decisions/0009)."""

HOLLOW = (Kind.BORE, Kind.SLOT, Kind.INSIDE, Kind.BEND_INSIDE)
BEND = 2.5
"""On the bend of the values within panels of a hollow place: against much finer panels its mean was off by 1.5 to 3.2
times the bend (docs/decisions/0009). On faces and edges it is off by what the bend differs from that of the part."""

STRIP_CHANGE, STRIP_SHARE = 0.35, 0.013
"""Of the hottest strip's change, and for panels as wide as the strip: against much finer panels it was off by 0.3 to 2.9 % on
panels 0.5 to 1.5 times the strip wide, about in proportion. Panels far wider than the strip miss it by far, so that the
change from the first to the second level is mostly the error of the first."""
RIM_POWER = 1.2  # of the bend that is allowed, for the size of panels at a rim
TINY = 0.005  # features under this share of the wetted area get their error told, but do not ask for panels
SPENT = 0.7  # share of the accuracy that is aimed at when panels are asked for
MOST_FINER = 0.25  # no panel is asked to shrink by more in one level


@dataclass(frozen=True, eq=False)
class Accuracy:
    """Relative numerical error of each figure, estimated from two levels of panels, and whether it was enough."""

    wanted: float
    errors: Mapping[str, float]  # by the names of `geom.advice.figures`
    counted: frozenset[str]  # the figures that had to meet ``wanted``
    panels: tuple[int, ...]  # of each level
    spent: str = ""  # which budget ended the refining before the accuracy was met; empty otherwise

    @property
    def reached(self) -> bool:
        """Do all counted figures meet what was asked?"""
        return self.worst[1] <= self.wanted

    @property
    def worst(self) -> tuple[str, float]:
        """The counted figure with the largest error."""
        return max(((name, self.errors[name]) for name in sorted(self.counted)), key=lambda pair: pair[1])

    @property
    def voltage(self) -> float:
        """Of the voltage at the current set."""
        return self.errors[VOLTAGE]

    @property
    def current(self) -> float:
        """Of the current at the voltage set."""
        return self.errors[CURRENT]

    @property
    def thinnest(self) -> float:
        """Of the lowest local current density on the significant surface: sets the time."""
        return self.errors[THINNEST]

    @property
    def hottest(self) -> float:
        """Of the hottest strip: sets the burn limit."""
        return self.errors[HOTTEST]

    @property
    def percentiles(self) -> float:
        """The worst of p1 to p99."""
        return max(self.errors[f"p{p}"] for p in PERCENTILES)

    @property
    def worst_feature(self) -> str:
        """The feature whose mean is least sure, tiny ones apart."""
        return max(self._features, key=lambda pair: pair[1])[0]

    @property
    def features(self) -> float:
        """The worst mean of a feature, tiny ones apart."""
        return max(error for _, error in self._features)

    @property
    def _features(self) -> list[tuple[str, float]]:
        means = [name for name in self.errors if name.startswith(MEAN_OF)]
        large = [name for name in means if name in self.counted] or means
        return [(name.removeprefix(MEAN_OF), self.errors[name]) for name in large]


def compared(
    wanted: float, before: Mapping[str, float], after: Mapping[str, float], coarse: Field, fine: Field, width: float
) -> Accuracy:
    """Return the accuracy of the figures ``after``, of the field ``fine``, against those ``before`` of ``coarse``."""
    factors, bent = _factors(coarse, fine), _bent(fine, width)
    whole = factors[""]
    errors = {}
    for name, value in after.items():
        change = abs(before[name] / value - 1) if name in before else 1.0
        factor = STRIP_CHANGE if name == HOTTEST else factors.get(name, whole)
        errors[name] = max(factor * change, bent.get(name, 0.0))
    for name in (THINNEST, *(f"p{p}" for p in PERCENTILES)):
        errors[name] = max(errors[name], bent[""])
    areas = np.bincount(fine.panels.feature, fine.areas, len(fine.cell.part.features))
    small = {
        MEAN_OF + feature.name
        for feature, area in zip(fine.cell.part.features, areas, strict=True)
        if area < TINY * fine.wetted_area
    }
    levels = (len(coarse.panels.body), len(fine.panels.body))
    return Accuracy(wanted, errors, frozenset(errors.keys() - small), levels)


def _factors(coarse: Field, fine: Field) -> Mapping[str, float]:
    """Return on what to take a change for an error: for the mean of each feature, and under "" for the part."""
    names = ["", *(MEAN_OF + feature.name for feature in fine.cell.part.features)]
    count = len(names) - 1
    numbers = [
        np.concatenate([[field.panels.part_count], np.bincount(field.panels.feature, minlength=count)])
        for field in (coarse, fine)
    ]
    finer = np.sqrt(numbers[1] / np.maximum(numbers[0], 1))
    factor = 1.0 / np.maximum(finer**ORDER - 1.0, 1.0 / MOST_FACTOR)
    return dict(zip(names, factor.tolist(), strict=True))


def _bent(field: Field, width: float) -> Mapping[str, float]:
    """Return what one field tells of the error of the hottest strip and of features, and under "" of the part."""
    found = bends(field)
    hollow = {MEAN_OF + feature.name for feature in field.cell.part.features if feature.kind in HOLLOW}
    return {
        "": abs(found.whole),
        HOTTEST: STRIP_SHARE * field.panels.scale * EDGE_SIZE / width,
        **{
            name: BEND * abs(bend) if name in hollow else abs(bend - found.whole)
            for name, bend in found.features.items()
        },
    }


def wishes(field: Field, accuracy: float, most: float) -> tuple[SizeSource, ...]:
    """Return where panels in hollow places should be smaller for their means to meet ``accuracy``, ``most`` of them.

    The bend of a hollow place sits at its rims, and falls with little more than the size of the panels there. Faces
    and edges are left to the levels.
    """
    panels, areas, values = field.panels, field.areas, field.at_centroids
    features = field.cell.part.features
    count = len(features)
    bend = areas * np.abs(panels.recovery.raw_means(values) - values)
    flow = np.bincount(panels.feature, areas * np.abs(values), count)
    number = np.bincount(panels.feature, minlength=count)
    allowed = SPENT * accuracy / BEND * flow
    total = np.bincount(panels.feature, bend, count)
    whole = (allowed / np.maximum(total, 1e-300)) ** RIM_POWER
    even = total / np.maximum(number, 1)
    shrink = whole[panels.feature] * np.cbrt(even[panels.feature] / np.maximum(bend, 1e-300))
    hollow = np.array([feature.kind in HOLLOW for feature in features])
    large = np.bincount(panels.feature, areas, count) > TINY * field.wetted_area
    over = hollow & large & (total > allowed)
    rows = np.flatnonzero((shrink < 0.9) & over[panels.feature])
    if not len(rows):
        return ()
    smaller = np.maximum(shrink[rows], MOST_FINER)
    smaller *= max(1.0, float(np.sqrt((smaller**-2).sum() / most)))
    return (size_source(panels.part.centroids[rows], equilateral_edges(areas[rows]) * smaller, GROWTH),)
