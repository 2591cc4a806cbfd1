"""`build_folded`: a flat outline bent about stated lines.

The blank is cut into flats and bends; each flat moves as a whole, each bend is rolled up between them. The
strip of a bend is as wide as the arc at the neutral line is long. Areas and volume are by formula: at a radius
r a bend has r over the neutral radius of the area that its strip had in the blank.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from geom.arrays import Floats
from geom.errors import PartError
from geom.feature import Feature, Kind
from geom.findings import Finding, Severity
from geom.part.bentsolid import Solid, bent_solid, check_apart
from geom.part.flat import boundary_loops, checked_polygon
from geom.part.fold import Fold, folded
from geom.part.holes import hole_opening, hole_ring, holes_words
from geom.part.ledger import Ledger
from geom.part.part import Part
from geom.part.pieces import Blank, Piece, cut_blank, metal_of
from geom.part.shapes import BendLine, Outline
from geom.part.zones import Zone, reaching, zone_of
from geom.surface.surface import Surface
from geom.wording import mm

MOST_BENDS = 50


def build_folded(outline: Outline, bends: Sequence[BendLine]) -> Part:
    """Return the outline bent about each line.

    Raises
    ------
    PartError
        where a bend does not run right across the metal, two overlap, or the bent part runs into itself.
    """
    if len(bends) > MOST_BENDS:
        raise PartError("part-bend", f"{len(bends)} bends; at most {MOST_BENDS} are taken")
    polygon = checked_polygon(outline)
    zones = [zone_of(bend, number, outline.thickness) for number, bend in enumerate(bends, 1)]
    drawn = Ledger()
    loops, gaps = boundary_loops(drawn, polygon, outline)
    metal = metal_of(loops)
    zones = [reaching(zone, metal) for zone in zones]
    blank = cut_blank(loops, metal, zones)
    fold = folded(blank, zones)
    names = _Names(drawn, fold, zones)
    solid = bent_solid(blank, fold, zones, outline.thickness)
    check_apart(solid, blank, fold)
    surface = _surface(solid, blank, zones, names)
    low, high = surface.bounds
    surface = surface.moved(np.eye(3), -(low + high) / 2)
    areas, volume = _figures(blank, fold, zones, names, outline)
    features = _features(names, areas, surface, zones, _axes(blank, fold, zones, names))
    return Part(
        f"folded outline {' x '.join(map(mm, high - low))} mm{holes_words(outline.holes)}",
        surface,
        features,
        math.fsum(areas),
        volume,
        True,
        min(outline.thickness, *gaps, *(h.diameter for h in outline.holes), *(z.inside for z in zones)),
        tuple(_findings(blank, names)),
    )


class _Names:
    """The features of a folded part, and the tag of each face of it."""

    def __init__(self, drawn: Ledger, fold: Fold, zones: Sequence[Zone]) -> None:
        self.fold = fold
        self.faces = Ledger()
        for flat, bend in enumerate(fold.by_bend, 1):
            how = "fixed" if bend < 0 else f"beyond bend {zones[bend].number}"
            for side in ("A", "B"):
                self.faces.add(f"flat {flat} ({how}) face {side}", Kind.FACE, 0.0)
        for zone in zones:
            self.faces.add(f"inside of bend {zone.number}", Kind.BEND_INSIDE, 0.0)
            self.faces.add(f"outside of bend {zone.number}", Kind.BEND_OUTSIDE, 0.0)
        self.first_wall = len(self.faces.features)
        self.features = (*self.faces.features, *drawn.features)

    def of_piece(self, piece: Piece, number: int, up: float) -> tuple[int, int]:
        """Return the tags of the upper and the lower side of a piece; ``up``: which way its bend goes."""
        if piece.zone < 0:
            first = 2 * int(self.fold.flat[number])
            return first, first + 1
        first = 2 * len(self.fold.motions) + 2 * piece.zone
        return (first, first + 1) if up > 0 else (first + 1, first)


def _surface(solid: Solid, blank: Blank, zones: Sequence[Zone], names: _Names) -> Surface:
    sides = np.array(
        [
            names.of_piece(piece, k, zones[piece.zone].up if piece.zone >= 0 else 1.0)
            for k, piece in enumerate(blank.pieces)
        ]
    )
    tags = np.where(solid.is_top, sides[solid.piece, 0], sides[solid.piece, 1])
    walls = blank.border_tag[solid.wall] + names.first_wall
    return Surface(solid.vertices, solid.faces, np.where(solid.wall >= 0, walls, tags))


def _figures(blank: Blank, fold: Fold, zones: Sequence[Zone], names: _Names, outline: Outline) -> tuple[Floats, float]:
    """Return the area of every feature [m²] and the volume [m³], by formula."""
    thickness = outline.thickness
    areas = np.zeros(len(names.features))
    volume = 0.0
    for k, piece in enumerate(blank.pieces):
        if piece.zone < 0:
            areas[list(names.of_piece(piece, k, 1.0))] += piece.area
            volume += piece.area * thickness
            continue
        zone = zones[piece.zone]
        inside, outside = names.of_piece(piece, k, 1.0)
        areas[inside] += piece.area * zone.share(0.0)
        areas[outside] += piece.area * zone.share(thickness)
        volume += piece.area * thickness * zone.share(thickness / 2)
    sides = blank.points[blank.border]
    length = np.hypot(*(sides[:, 1] - sides[:, 0]).T)
    in_bend = np.array([piece.zone for piece in blank.pieces])[blank.border_piece]
    walls = length * thickness
    for k, zone in enumerate(zones):
        walls[in_bend == k] = zone.walls(sides[in_bend == k])
    np.add.at(areas, blank.border_tag + names.first_wall, walls)
    return _with_round_holes(areas, volume, blank, fold, names, outline)


def _with_round_holes(
    areas: Floats, volume: float, blank: Blank, fold: Fold, names: _Names, outline: Outline
) -> tuple[Floats, float]:
    """Return area and volume with holes in a flat as round as they are: their rings keep the length, not the area."""
    first = len(names.features) - len(outline.holes) - names.first_wall
    for number, hole in enumerate(outline.holes):
        flats = np.unique(fold.flat[blank.border_piece[blank.border_tag == first + number]])
        if len(flats) == 1 and flats[0] >= 0:
            x, y = hole_ring(hole).T
            more = float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2 - hole_opening(hole)
            areas[[2 * flats[0], 2 * flats[0] + 1]] += more
            volume += more * outline.thickness
    return areas, volume


def _axes(blank: Blank, fold: Fold, zones: Sequence[Zone], names: _Names) -> dict[int, tuple[float, float, float]]:
    """Return the direction of each bend, and of each opening that lies in one flat, by tag."""
    found: dict[int, Floats] = {}
    for tag in np.unique(blank.border_tag):
        flats = np.unique(fold.flat[blank.border_piece[blank.border_tag == tag]])
        is_opening = names.features[tag + names.first_wall].kind in (Kind.BORE, Kind.SLOT)
        if is_opening and len(flats) == 1 and flats[0] >= 0:
            found[int(tag) + names.first_wall] = fold.motions[flats[0]].turn[:, 2]
    for k, piece in enumerate(blank.pieces):
        if piece.zone >= 0:
            along = fold.motions[fold.base[k]].turn @ np.append(zones[piece.zone].along, 0.0)
            for tag in names.of_piece(piece, k, 1.0):
                found.setdefault(tag, along)
    return {tag: (float(axis[0]), float(axis[1]), float(axis[2])) for tag, axis in found.items()}


def _features(
    names: _Names,
    areas: Floats,
    surface: Surface,
    zones: Sequence[Zone],
    axes: dict[int, tuple[float, float, float]],
) -> tuple[Feature, ...]:
    """Return the features with their areas, places and directions."""
    features = []
    first_bend = 2 * len(names.fold.motions)
    for tag, feature in enumerate(names.features):
        corners = surface.corners[surface.tag == tag].reshape(-1, 3)
        middle = tuple(((corners.min(axis=0) + corners.max(axis=0)) / 2).tolist())
        feature = replace(feature, area=float(areas[tag]), middle=middle, axis=axes.get(tag))
        if feature.kind in (Kind.BEND_INSIDE, Kind.BEND_OUTSIDE):
            zone = zones[(tag - first_bend) // 2]
            outer = zone.thickness if feature.kind is Kind.BEND_OUTSIDE else 0.0
            feature = replace(feature, radius=zone.inside + outer)
        features.append(feature)
    return tuple(features)


def _findings(blank: Blank, names: _Names) -> Iterator[Finding]:
    """Tell which openings a bend draws out of shape."""
    in_bend = np.array([piece.zone for piece in blank.pieces])[blank.border_piece] >= 0
    for tag in np.unique(blank.border_tag[in_bend]):
        feature = names.features[tag + names.first_wall]
        if feature.kind in (Kind.BORE, Kind.SLOT):
            text = f"{feature.name} lies in a bend, which draws it out of shape; its wall is computed as bent"
            yield Finding(Severity.NOTE, "part-hole-in-bend", text)
