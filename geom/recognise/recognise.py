"""`recognised`: the features of a closed mesh."""

import math
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints, frozen
from geom.feature import Feature, Kind
from geom.recognise.bends import find_bends, find_rounding
from geom.recognise.facets import Facets, facets_of
from geom.recognise.holes import find_holes
from geom.recognise.names import Placed, features_of, shortened
from geom.recognise.piece import Scene
from geom.recognise.regions import regions_of
from geom.recognise.sides import find_grooves_round, find_sides
from geom.surface.surface import Surface

SHARP = math.radians(30)  # an edge that turns by more than this is sharp
LARGE = 0.05  # share of the area of a part from which on a face tells of its thickness
CLEAR_KINDS = (Kind.BORE, Kind.SLOT, Kind.BLIND_HOLE, Kind.RECESS, Kind.INSIDE)


@dataclass(frozen=True, eq=False)
class Recognised:
    """The features of a mesh."""

    features: tuple[Feature, ...]
    tags: Ints  # (m,) feature of each face
    smallest: float  # least wall thickness, clear width or radius found [m]; inf where there is none
    sharp_edge_length: float  # of the sharp outside edges, together [m]

    def __post_init__(self) -> None:
        object.__setattr__(self, "tags", frozen(self.tags, np.int64))


def recognised(surface: Surface, pairs: Ints) -> Recognised:
    """Find the features of a closed mesh, wound outward, its bounding box about the origin.

    Parameters
    ----------
    pairs : (e, 2) half-edges that meet, of `geom.surface.soundness.EdgeReport`
    """
    facets = facets_of(surface, pairs)
    scene = Scene(surface, regions_of(surface, facets))
    find_holes(scene)
    find_bends(scene)
    find_grooves_round(scene)
    find_rounding(scene)
    find_sides(scene)
    features, tags = _named(scene)
    return Recognised(features, tags, _smallest(scene), _sharp_length(facets))


def _named(scene: Scene) -> tuple[tuple[Feature, ...], Ints]:
    """Name the pieces; what is left of the faces becomes one feature."""
    surface, label = scene.surface, scene.regions.label
    piece_of = np.full(len(scene.regions.items) + 1, -1, dtype=np.int64)  # the last row is for small faces: label -1
    for number, piece in enumerate(scene.pieces):
        piece_of[list(piece.members)] = number
    owner = piece_of[label]
    kept, _ = shortened(_placed(scene))
    features, ordered = features_of(kept, np.stack([surface.vertices.min(axis=0), surface.vertices.max(axis=0)]))
    tag_of = np.full(len(scene.pieces) + 1, -1, dtype=np.int64)
    for tag, item in enumerate(ordered):
        tag_of[list(item.numbers)] = tag
    tags = tag_of[owner]
    rest = tags < 0
    if rest.any():
        tags = np.where(rest, len(features), tags)
        middle = _middle(surface, np.flatnonzero(rest))
        area = float(surface.areas[rest].sum())
        features.append(
            Feature(
                "small faces", Kind.SKIN, area, 0.0, 0.0, middle=(float(middle[0]), float(middle[1]), float(middle[2]))
            )
        )
    return tuple(features), tags


def _placed(scene: Scene) -> list[Placed]:
    """Return the pieces with their areas and places."""
    areas = scene.surface.areas
    found = []
    for number, piece in enumerate(scene.pieces):
        regions = [scene.regions.items[m] for m in piece.members]
        faces = np.concatenate([r.faces for r in regions])
        points = np.concatenate([r.points for r in regions])
        middle = (points.min(axis=0) + points.max(axis=0)) / 2
        found.append(Placed(piece, (number,), float(areas[faces].sum()), middle))
    return found


def _middle(surface: Surface, faces: Ints) -> Floats:
    corners = surface.corners[faces].reshape(-1, 3)
    return np.asarray((corners.min(axis=0) + corners.max(axis=0)) / 2)


def _smallest(scene: Scene) -> float:
    """Return the least thickness, clear width or radius [m]."""
    widths = [p.width for p in scene.pieces if p.kind in CLEAR_KINDS and p.width > 0]
    radii = [p.radius for p in scene.pieces if p.kind is Kind.BEND_INSIDE or p.word.startswith("rounded")]
    walls = [
        scene.wall(p.members[0])
        for p in scene.pieces
        if p.kind is Kind.FACE and scene.regions.items[p.members[0]].area > LARGE * scene.surface.area
    ]
    return min([*widths, *(r for r in radii if r > 0), *walls], default=math.inf)


def _sharp_length(facets: Facets) -> float:
    return float(facets.length[facets.turn > SHARP].sum())
