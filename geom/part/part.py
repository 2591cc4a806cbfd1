"""`Part`: the surface that is plated, and the features it is made of."""

import math
from dataclasses import dataclass

import numpy as np

from geom.arrays import Ints, frozen
from geom.feature import Feature
from geom.findings import Finding
from geom.repair.change import Change
from geom.surface.surface import Surface


@dataclass(frozen=True, eq=False)
class Part:
    """A closed solid in its own frame, centred on its bounding box, metres.

    ``surface.tag`` is the index into ``features`` of each face. ``area`` and ``volume`` are by formula
    for a part given by dimensions (``exact``), else those of the mesh. ``area`` counts what is plated: not what is
    stopped off, plugged or under a contact.
    """

    title: str  # "bar 100 x 20 x 3 mm, 2 holes", "clamp.stl"
    surface: Surface
    features: tuple[Feature, ...]
    area: float  # [m²]
    volume: float  # [m³]
    exact: bool
    smallest: float  # smallest wall thickness, hole diameter or radius known of the part [m]; inf if not known
    findings: tuple[Finding, ...] = ()
    file_face: Ints | None = None  # (m,) face of the file each surface face came from, -1 for none; None for dimensions
    changes: tuple[Change, ...] = ()  # what was repaired in the faces of the file
    smooth: tuple[int, ...] = ()  # features without a sharp edge inside, where the surface is a lighter one
    bodies: int = 1  # separate solids of one part; copies on a rack are not counted

    @property
    def copies(self) -> int:
        """How many parts hang on the rack; 1 without one."""
        return max((feature.copy for feature in self.features), default=0) or 1

    @property
    def is_one_of_each(self) -> tuple[bool, ...]:
        """Of each feature: is it on the part itself or, on a rack, on the first of its kind?"""
        first: dict[str, int] = {}
        for feature in self.features:
            first.setdefault(feature.name_alone, feature.copy)
        return tuple(first[feature.name_alone] == feature.copy for feature in self.features)

    @property
    def area_of_each(self) -> float:
        """Plated area of one part, or of one part of each kind on a rack [m²]."""
        counts = zip(self.features, self.is_one_of_each, strict=True)
        return math.fsum(feature.area for feature, counted in counts if counted and feature.is_plated)

    @property
    def bare_area(self) -> float:
        """Area of what stays bare though it belongs to the part [m²]."""
        return math.fsum(feature.area for feature in self.features if not feature.is_plated)

    @property
    def true_area(self) -> float:
        """Area of what is plated, with the factors of threads and roughness [m²]."""
        return math.fsum(feature.area * feature.factor for feature in self.features if feature.is_plated)

    def __post_init__(self) -> None:
        if self.file_face is not None:
            object.__setattr__(self, "file_face", frozen(self.file_face, np.int64))
