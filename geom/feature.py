"""`Feature`: one nameable piece of the surface of a part, and what sort of place it is."""

from dataclasses import dataclass
from enum import StrEnum


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
    BLIND_HOLE = "blind-hole"  # wall and bottom of a round hole that does not go through
    RECESS = "recess"  # wall and bottom of a pocket, or of a groove
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
    bare: str = ""  # why it is not plated though it belongs to the part: "stop-off", "contact", "plug"; "": plated
    factor: float = 1.0  # true area over drawn area: of a thread, of a rough surface
    radius: float = 0.0  # of a bend, on the side of the feature [m]; 0 elsewhere
    axis: tuple[float, float, float] | None = None  # unit vector along a bore, slot or bend, frame of the part
    middle: tuple[float, float, float] | None = None  # of its bounding box, frame of the part [m]

    @property
    def is_plated(self) -> bool:
        """Does it carry current?"""
        return not self.bare

    @property
    def aspect(self) -> float:
        """Depth over width of a bore, slot, blind hole or recess; 0 elsewhere."""
        return self.depth / self.width if self.width > 0 else 0.0

    @property
    def name_alone(self) -> str:
        """Its name on a part that hangs alone: the same on each copy."""
        return self.name.removesuffix(f", part {self.copy}") if self.copy else self.name
