"""`Part`: the surface that is plated, and the features it is made of."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from geom.arrays import Ints, frozen
from geom.findings import Finding
from geom.surface.surface import Surface


class Kind(StrEnum):
    """What sort of place a feature is."""

    FACE = "face"  # a broad face
    EDGE = "edge"  # a narrow side face, or the rounded strip along an edge
    END = "end"  # the face at the end of a long part
    BORE = "bore"  # the wall of a round hole
    SLOT = "slot"  # the wall of a long hole
    INSIDE = "inside"  # the inside of a tube or channel
    BEND_INSIDE = "bend-inside"
    BEND_OUTSIDE = "bend-outside"
    SKIN = "skin"  # a piece of the surface of a mesh, bounded by sharp edges


@dataclass(frozen=True, slots=True)
class Feature:
    """One nameable piece of the surface."""

    name: str  # unique on the part: "face A (+z)", "bore 1 (8.0 mm)"
    kind: Kind
    area: float  # [m²], by formula where the part has dimensions, else of the mesh
    width: float  # clear width for a bore, slot, inside: diameter or gap [m]; 0 elsewhere
    depth: float  # depth of a bore, slot or inside: wall thickness it goes through [m]; 0 elsewhere
    copy: int = 0  # which of the parts on a rack it belongs to, from 1; 0: the part hangs alone

    @property
    def name_alone(self) -> str:
        """Its name on a part that hangs alone: the same on each copy."""
        return self.name.removesuffix(f", part {self.copy}") if self.copy else self.name


@dataclass(frozen=True, eq=False)
class Part:
    """A closed solid in its own frame, centred on its bounding box, metres.

    ``surface.tag`` is the index into ``features`` of each face. ``area`` and ``volume`` are by formula
    for a part given by dimensions (``exact``), else those of the mesh.
    """

    title: str  # "bar 100 x 20 x 3 mm, 2 holes", "clamp.stl"
    surface: Surface
    features: tuple[Feature, ...]
    area: float  # [m²]
    volume: float  # [m³]
    exact: bool
    smallest: float  # smallest wall thickness, hole diameter or radius known of the part [m]; inf if not known
    findings: tuple[Finding, ...] = ()
    file_face: Ints | None = None  # (m,) face of the file each surface face came from; None for dimensions

    @property
    def copies(self) -> int:
        """How many parts hang on the rack; 1 without one."""
        return max((feature.copy for feature in self.features), default=0) or 1

    def __post_init__(self) -> None:
        if self.file_face is not None:
            object.__setattr__(self, "file_face", frozen(self.file_face, np.int64))
