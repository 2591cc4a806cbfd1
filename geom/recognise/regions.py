"""Regions: the flat and round pieces that a mesh is made of, and how they meet."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.recognise.facets import FLAT, NOISE, SMOOTH, Facets, groups, numbered, straight_ways, summed
from geom.recognise.fits import BOW, Fit, ball, cone, cylinder, turned
from geom.recognise.specks import absorbed, joined_skins
from geom.surface.surface import Surface

MOST_FITS = 300  # curves looked at, the largest first
MOST_SPLIT = (
    400_000  # facets of curves that fit nothing, up to which they are split: more are a scanned or free surface
)
MOST_REGIONS = 900  # pieces told apart, the largest first; the rest are small faces
SAME_WAY = np.cos(np.radians(8.0))  # neighbouring facets of one cylinder are straight along one way
MOST_ROUND = 80  # cylinders to which what lies on them is given
FEW = 6  # facets of a curve that fits nothing: as many flats
SAME_AXIS, SAME_RADIUS = 0.03, 0.02  # of the radius, for pieces of one cylinder
SQUARE = 0.02  # sine of the angle by which things that are parallel may differ


class Form(StrEnum):
    """What a region is."""

    FLAT = "flat"
    CYLINDER = "cylinder"
    CONE = "cone"
    BALL = "ball"
    SWEPT = "swept"  # curved one way only, round no one axis
    OTHER = "other"


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """One flat or round piece."""

    form: Form
    faces: Ints
    area: float  # [m²]
    sign: int  # 1 bulges, -1 is hollow, 0 is flat
    axis: Floats  # (3,) along a cylinder, cone or swept piece; the normal of a flat
    point: Floats  # (3,) on the axis; centroid of a flat [m]
    points: Floats  # (n, 3) its corners [m]
    normals: Floats  # (k, 3) of its facets
    radius: float = 0.0  # [m]
    arc: float = 0.0  # [rad]
    slope: float = 0.0  # of a cone [rad]

    @property
    def is_whole(self) -> bool:
        """Does it go all round?"""
        return self.arc > 6.28

    def along(self, axis: Floats) -> tuple[float, float]:
        """Return from where to where it reaches along an axis [m]."""
        reach = self.points @ axis
        return float(reach.min()), float(reach.max())

    def holds(self, points: Floats, blur: float) -> bool:
        """Do points (n, 3) lie on this cylinder, not beyond its ends?"""
        low, high = self.along(self.axis)
        height = points @ self.axis
        bow = self.radius * (1 - np.cos(min(self.arc, np.pi) / 2))
        slack = min(SAME_RADIUS * self.radius, BOW * bow) + 4 * blur
        if height.min() < low - slack or height.max() > high + slack:
            return False
        out = points - self.point
        far = np.linalg.norm(out - (out @ self.axis)[:, None] * self.axis, axis=1)
        return bool(np.abs(far - self.radius).max() < slack)

    def length(self, axis: Floats) -> float:
        """Return how far it reaches along an axis [m]."""
        low, high = self.along(axis)
        return high - low


@dataclass(frozen=True, slots=True, eq=False)
class Seam:
    """Where two regions meet."""

    other: int
    length: float  # [m]
    turn: float  # mean of the turn, negative where hollow [rad]
    way: Floats  # (3,) unit vector along it, where it is straight
    is_straight: bool
    middle: Floats  # (3,) [m]


@dataclass(frozen=True, slots=True, eq=False)
class Regions:
    """The regions of a surface, the largest first, and what each borders on."""

    items: tuple[Region, ...]
    label: Ints  # (m,) region of each face, -1 for small faces
    seams: tuple[tuple[Seam, ...], ...]  # of each region
    blur: float  # by how much corners may be off [m]


def regions_of(surface: Surface, facets: Facets) -> Regions:
    """Split a surface into flat and round pieces."""
    maker = _Maker(surface, facets)
    items = maker.regions()
    label = np.full(len(surface.faces), -1, dtype=np.int64)
    for number, region in enumerate(items):
        label[region.faces] = number
    return Regions(tuple(items), label, _seams(surface.vertices, facets, label, len(items)), maker.blur)


class _Maker:
    """Puts facets together to regions."""

    def __init__(self, surface: Surface, facets: Facets) -> None:
        self.surface, self.facets = surface, facets
        self.blur = NOISE * float(np.linalg.norm(np.ptp(surface.vertices, axis=0)))
        weighted = summed(facets.label, surface.areas[:, None] * surface.centroids, facets.count)
        self.centres = weighted / np.maximum(facets.area, 1e-300)[:, None]
        self.faces_of = _Sorted(facets.label, facets.count)
        self.flats = facets.sign == 0  # grows as curves turn out to be none
        self.done: list[Region] = []

    def regions(self) -> list[Region]:
        """Return them, the largest first."""
        facets = self.facets
        curved = facets.sign != 0
        smooth = (np.abs(facets.turn) <= SMOOTH) & (facets.sign[facets.one] == facets.sign[facets.two])
        left = self._fitted(curved, smooth, self._round)
        if left.sum() > MOST_SPLIT:
            self._fitted(left, smooth, self._rest)
        elif left.any():
            axis, single = straight_ways(facets, left)
            way = np.abs(np.einsum("ij,ij->i", axis[facets.one], axis[facets.two])) > SAME_WAY
            left = self._fitted(left & single, smooth & way, self._cylinder) | (left & ~single)
            self._fitted(left, smooth, self._rest)
        order = np.argsort(-facets.area, kind="stable")
        plane = order[self.flats[order]][:MOST_REGIONS]
        self.done += [self._region(np.array([k]), None) for k in plane]
        self.done = self._without_specks(_whole_cylinders(self.done))
        return sorted(self.done, key=lambda region: -region.area)[:MOST_REGIONS]

    def _without_specks(self, done: list[Region]) -> list[Region]:
        """Give tiny pieces within free skins to them, and join skins that run into each other."""
        owner = np.full(self.facets.count, -1, dtype=np.int64)
        for number, region in enumerate(done):
            owner[self.facets.label[region.faces]] = number
        is_free = np.array([region.form is Form.OTHER for region in done], dtype=np.bool_)
        after = joined_skins(self.facets, absorbed(self.facets, owner, is_free), is_free)
        changed = set(np.unique(np.concatenate([owner[owner != after], after[owner != after]])).tolist())
        if not changed or not done:
            return done
        mine = _Sorted(after + 1, len(done) + 1)
        kept = []
        for number, region in enumerate(done):
            rows = mine.rows(np.array([number + 1]))
            if len(rows):
                is_same = number not in changed or region.form is not Form.OTHER
                kept.append(region if is_same else replace(self._region(rows, None, Form.OTHER), axis=region.axis))
        return kept

    def _fitted(self, chosen: Bools, links: Bools, fit: "Callable[[Ints], Region | None]") -> Bools:
        """Fit the largest connected pieces of the chosen facets; return which facets are left over."""
        facets, left = self.facets, chosen.copy()
        usable = links & chosen[facets.one] & chosen[facets.two]
        nodes = np.flatnonzero(chosen)
        if not len(nodes):
            return left
        label = groups(facets.one[usable], facets.two[usable], facets.count)[nodes]
        label = numbered(label)
        size = np.bincount(label, facets.area[nodes])
        members = _Sorted(label, len(size))
        for number in np.argsort(-size, kind="stable")[:MOST_FITS]:
            mine = nodes[members.rows(np.array([number]))]
            if self._absorbed(mine):
                left[mine] = False
                continue
            region = fit(mine)
            if region is not None:
                self.done.append(region)
                left[mine] = False
            elif self.flats[mine].all():
                left[mine] = False
        return left

    def _absorbed(self, mine: Ints) -> bool:
        """Give facets that lie on a cylinder found before to it."""
        normals, _, points = self._shape(mine)
        sign = int(self.facets.sign[mine[0]])
        for number, region in enumerate(self.done[:MOST_ROUND]):
            if region.form is not Form.CYLINDER or region.sign != sign:
                continue
            if np.abs(normals @ region.axis).max() > 2 * SQUARE or not region.holds(points, self.blur):
                continue
            spokes = self.centres[mine] - region.point
            if (np.einsum("ij,ij->i", spokes, normals) * sign < 0.9 * region.radius).any():
                continue
            self.done[number] = _united([region, self._region(mine, None, Form.CYLINDER)])
            return True
        return False

    def _round(self, mine: Ints) -> Region | None:
        """Make a round region of facets; few that fit nothing are flats."""
        if len(mine) < 3:
            self.flats[mine] = True
            return None
        args = self._shape(mine)
        for form, found in (
            (Form.CYLINDER, cylinder(*args, self.blur)),
            (Form.CONE, cone(*args, self.blur)),
            (Form.BALL, ball(args[0], self.centres[mine], args[2], self.blur)),
        ):
            if found is not None:
                return self._region(mine, found, form)
        return None

    def _cylinder(self, mine: Ints) -> Region | None:
        found = cylinder(*self._shape(mine), self.blur) if len(mine) >= 3 else None
        return None if found is None else self._region(mine, found, Form.CYLINDER)

    def _rest(self, mine: Ints) -> Region | None:
        """Make what fits nothing a region of its own: flats if they are few, else a swept or a free piece."""
        found = self._round(mine)
        if found is not None or self.flats[mine].all():
            return found
        if len(mine) <= FEW:
            self.flats[mine] = True
            return None
        normals, weights, _ = self._shape(mine)
        sizes, ways = np.linalg.eigh((normals * weights[:, None]).T @ normals / weights.sum())
        swept = sizes[0] < SQUARE**2
        return replace(self._region(mine, None), form=Form.SWEPT if swept else Form.OTHER, axis=ways[:, 0])

    def _shape(self, mine: Ints) -> tuple[Floats, Floats, Floats]:
        return self.facets.normal[mine], self.facets.area[mine], self._points(self._faces(mine))

    def _faces(self, mine: Ints) -> Ints:
        return self.faces_of.rows(mine)

    def _points(self, faces: Ints) -> Floats:
        if 50 * len(faces) < len(self.surface.faces):
            return np.asarray(self.surface.vertices[np.unique(self.surface.faces[faces])])
        mine = np.zeros(len(self.surface.vertices), dtype=np.bool_)
        mine[self.surface.faces[faces]] = True
        return np.asarray(self.surface.vertices[mine])

    def _region(self, mine: Ints, fit: Fit | None, form: Form = Form.FLAT) -> Region:
        facets, faces = self.facets, self._faces(mine)
        area = float(facets.area[mine].sum())
        sign = int(np.sign(float(facets.sign[mine] @ facets.area[mine])))
        normals, points = facets.normal[mine], self._points(faces)
        if fit is None:
            weights = self.surface.areas[faces]
            middle = self.surface.centroids[faces].T @ weights / max(float(weights.sum()), 1e-300)
            return Region(
                form,
                faces,
                area,
                sign if form is not Form.FLAT or len(mine) > 1 else 0,
                normals[0],
                middle,
                points,
                normals,
            )
        return Region(form, faces, area, sign, fit.axis, fit.point, points, normals, fit.radius, fit.arc, fit.slope)


class _Sorted:
    """Rows by label."""

    def __init__(self, label: Ints, count: int) -> None:
        self.order = np.argsort(label, kind="stable")
        self.size = np.bincount(label, minlength=count)
        self.start = np.cumsum(self.size) - self.size

    def rows(self, labels: Ints) -> Ints:
        """Return the rows with any of the labels (k,)."""
        size = self.size[labels]
        first = np.repeat(self.start[labels] - (np.cumsum(size) - size), size)
        return np.asarray(self.order[first + np.arange(len(first))], dtype=np.int64)


def _whole_cylinders(regions: list[Region]) -> list[Region]:
    """Join the pieces of one cylinder that lie side by side round its axis."""
    pieces = [r for r in regions if r.form is Form.CYLINDER and not r.is_whole]
    rest = [r for r in regions if not (r.form is Form.CYLINDER and not r.is_whole)]
    while pieces:
        first = pieces.pop(0)
        mates = [r for r in pieces if _one_cylinder(first, r)]
        if mates:
            pieces = [r for r in pieces if not any(r is mate for mate in mates)]
            first = _united([first, *mates])
        rest.append(first)
    return rest


def _one_cylinder(one: Region, two: Region) -> bool:
    if one.sign != two.sign or abs(one.radius - two.radius) > SAME_RADIUS * one.radius:
        return False
    if not coaxial(one, two, SAME_AXIS * one.radius):
        return False
    low, high = zip(one.along(one.axis), two.along(one.axis), strict=True)
    overlap = min(high) - max(low)
    return overlap > -0.02 * one.radius


def coaxial(one: Region, two: Region, slack: float) -> bool:
    """Are the axes of two round regions one line, within ``slack`` [m]?"""
    if np.linalg.norm(np.cross(one.axis, two.axis)) > 2 * SQUARE:
        return False
    # the axis of the other, where it passes the middle of the other
    foot = two.point + ((two.points.mean(axis=0) - two.point) @ two.axis) * two.axis
    gap = foot - one.point
    return bool(np.linalg.norm(gap - (gap @ one.axis) * one.axis) <= slack)


def _united(pieces: list[Region]) -> Region:
    first = max(pieces, key=lambda r: r.area)
    normals = np.concatenate([r.normals for r in pieces])
    side = np.cross(first.axis, [1.0, 0.0, 0.0] if abs(first.axis[0]) < 0.8 else [0.0, 1.0, 0.0])
    side = side / np.linalg.norm(side)
    up = np.cross(first.axis, side)
    arc, _ = turned(np.arctan2(normals @ up, normals @ side))
    return replace(
        first,
        faces=np.concatenate([r.faces for r in pieces]),
        area=sum(r.area for r in pieces),
        points=np.concatenate([r.points for r in pieces]),
        normals=normals,
        arc=arc,
    )


def _seams(vertices: Floats, facets: Facets, label: Ints, count: int) -> tuple[tuple[Seam, ...], ...]:
    """Return what each region borders on."""
    found: list[list[Seam]] = [[] for _ in range(count)]
    of_facet = np.full(facets.count, -1, dtype=np.int64)
    of_facet[facets.label] = label
    one, two = of_facet[facets.one], of_facet[facets.two]
    real = (one != two) & (one >= 0) & (two >= 0)
    if not real.any():
        return tuple(() for _ in range(count))
    one, two = one[real], two[real]
    edge, turn = facets.edge[real], facets.turn[real]
    key, row = np.unique(np.minimum(one, two) * count + np.maximum(one, two), return_inverse=True)
    row = row.reshape(-1)
    length = np.linalg.norm(edge, axis=1)
    total = np.bincount(row, length)
    mean = np.bincount(row, length * turn) / np.maximum(total, 1e-300)
    # the ways of the edges, all turned to the half space of the longest: their sum is straight where they agree
    order = np.argsort(length, kind="stable")
    longest = np.zeros((len(key), 3))
    longest[row[order]] = edge[order]
    same = np.where(np.einsum("ij,ij->i", edge, longest[row]) < 0, -1.0, 1.0)
    ways = summed(row, edge * same[:, None], len(key))
    reach = np.linalg.norm(ways, axis=1)
    middle = vertices[facets.start[real]] + edge / 2
    middles = summed(row, length[:, None] * middle, len(key)) / np.maximum(total, 1e-300)[:, None]
    for number, pair in enumerate(key):
        a, b = divmod(int(pair), count)
        way = ways[number] / max(float(reach[number]), 1e-300)
        straight = bool(reach[number] > 0.999 * total[number])
        for mine, other in ((a, b), (b, a)):
            found[mine].append(Seam(other, float(total[number]), float(mean[number]), way, straight, middles[number]))
    return tuple(tuple(seams) for seams in found)


def hollow(seam: Seam) -> bool:
    """Is the seam in a corner of the metal's outside, where liquid has less than half the space?"""
    return seam.turn < -FLAT
