"""`Ledger`: the features of a part under construction."""

import math

from geom.feature import Feature, Kind
from geom.part.holes import hole_name, hole_perimeter, is_slot
from geom.part.shapes import Hole


class Ledger:
    """Collects features; the number that `add` returns is the tag of the feature's faces."""

    def __init__(self) -> None:
        self._features: list[Feature] = []

    def add(self, name: str, kind: Kind, area: float, *, width: float = 0.0, depth: float = 0.0) -> int:
        """Note a feature and return its tag. ``area`` by formula [m²], the rest as in `Feature`."""
        self._features.append(Feature(name, kind, area, width, depth))
        return len(self._features) - 1

    def add_hole(self, hole: Hole, number: int, depth: float, suffix: str = "") -> int:
        """Note the wall of a drilled hole that goes through ``depth`` of metal."""
        kind = Kind.SLOT if is_slot(hole) else Kind.BORE
        area = hole_perimeter(hole) * depth
        return self.add(hole_name(hole, number) + suffix, kind, area, width=hole.diameter, depth=depth)

    @property
    def features(self) -> tuple[Feature, ...]:
        """All features so far, in the order of their tags."""
        return tuple(self._features)

    @property
    def area(self) -> float:
        """Sum of their areas [m²]."""
        return math.fsum(feature.area for feature in self._features)
