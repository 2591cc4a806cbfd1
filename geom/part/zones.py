"""`Zone`: the strip of a flat blank that becomes a bend, and where its metal goes."""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.part import checks
from geom.part.bent import LEAST_BEND, MOST_BEND
from geom.part.shapes import BendLine
from geom.surface import rings
from geom.wording import mm

LEAST_RADIUS = 5e-5  # inside [m]
LEAST_FACTOR, MOST_FACTOR = 0.2, 0.6  # of the thickness
REACH = 1e-5  # a bend line that ends so near to the edge of the part reaches it [m]


@dataclass(frozen=True, eq=False)
class Rigid:
    """A turn and a shift: ``turn @ x + shift``."""

    turn: Floats  # (3, 3)
    shift: Floats  # (3,) [m]

    def after(self, inner: "Rigid") -> "Rigid":
        """Return this motion of what ``inner`` moved."""
        return Rigid(self.turn @ inner.turn, self.turn @ inner.shift + self.shift)

    @property
    def undone(self) -> "Rigid":
        """The motion back."""
        return Rigid(self.turn.T, -self.turn.T @ self.shift)

    def of(self, points: Floats) -> Floats:
        """Return points (n, 3), moved."""
        return np.asarray(points @ self.turn.T + self.shift)


STILL = Rigid(np.eye(3), np.zeros(3))


@dataclass(frozen=True, eq=False)
class Zone:
    """The strip along a bend line that becomes bend ``number``: ``across`` from its fixed side, ``along`` the line."""

    number: int
    start: Floats  # (2,) on the bend line [m]
    along: Floats  # unit vector (2,)
    length: float  # [m]
    angle: float  # positive is upward [rad]
    inside: float  # radius [m]
    thickness: float
    neutral: float  # radius at which the metal keeps its length [m]

    @property
    def across(self) -> Floats:
        """Unit vector (2,) away from the fixed side."""
        return np.array([self.along[1], -self.along[0]])

    @property
    def width(self) -> float:
        """Of the strip in the blank [m]."""
        return abs(self.angle) * self.neutral

    @property
    def steps(self) -> int:
        """Flats that the bend is made of."""
        return max(math.ceil(abs(self.angle) / (2 * math.pi) * rings.FACETS - 1e-9), 4)

    @property
    def up(self) -> float:
        """1 where it is bent upward, -1 downward."""
        return math.copysign(1.0, self.angle)

    def placed(self, points: Floats) -> tuple[Floats, Floats]:
        """Return how far points (n, 2) are across the strip, from its fixed side, and along the line [m]."""
        spoke = points - self.start
        return spoke @ self.across + self.width / 2, spoke @ self.along

    def cuts(self) -> list[Floats]:
        """Return the lines (2, 2) that part the strip from the rest and into its flats."""
        low = self.start - self.width / 2 * self.across
        high = low + self.length * self.along
        shifts = np.linspace(0.0, self.width, self.steps + 1)[:, None] * self.across
        lines = [np.stack([low + shift, high + shift]) for shift in shifts]
        return [*lines, *(np.stack([end + shifts[0], end + shifts[-1]]) for end in (low, high))]

    def bent(self, points: Floats, height: float, step: Ints) -> Floats:
        """Return where points (n, 2) of the strip at ``height`` above the middle of the blank go, (n, 3) [m].

        The fixed side stays. Each point lies on the flat ``step`` (n,): between its two borders in a straight line.
        """
        across, _ = self.placed(points)
        share = across / self.width * self.steps - step
        low, high = self._ring(height)[step], self._ring(height)[step + 1]
        section = low + share[:, None] * (high - low)
        return self._in_space(points, across, section)

    def _ring(self, height: float) -> Floats:
        """Return the section (steps + 1, 2): across and up."""
        radius = self.inside + self.thickness / 2 - self.up * height
        turned = np.linspace(0.0, abs(self.angle), self.steps + 1)
        rise = self.inside + self.thickness / 2 - radius * np.cos(turned)
        return np.stack([radius * np.sin(turned), self.up * rise], axis=1)

    def _in_space(self, points: Floats, across: Floats, section: Floats) -> Floats:
        flat = points + (section[:, :1] - across[:, None]) * self.across
        return np.column_stack([flat, section[:, 1]])

    @cached_property
    def motion(self) -> Rigid:
        """What the bend does to the flat beyond it, the fixed side staying."""
        axis = np.append(self.along, 0.0)
        side, sky = np.append(self.across, 0.0), np.array([0.0, 0.0, 1.0])
        cos, sin = math.cos(self.angle), math.sin(self.angle)
        turn = np.outer(axis, axis) + np.outer(cos * side + sin * sky, side) + np.outer(cos * sky - sin * side, sky)
        begin = np.append(self.start - self.width / 2 * self.across, 0.0)
        radius = self.inside + self.thickness / 2
        end = radius * math.sin(abs(self.angle)) * side + self.up * radius * (1 - math.cos(self.angle)) * sky
        return Rigid(turn, begin + end - turn @ (begin + self.width * side))

    def share(self, depth: float) -> float:
        """Return by how much metal is stretched at a ``depth`` from the inside of the bend: its radius over neutral."""
        return (self.inside + depth) / self.neutral

    def walls(self, edges: Floats) -> Floats:
        """Return the area (n,) of the wall that each edge (n, 2, 2) of the strip becomes [m²].

        A wall element across the bend grows with its radius, one along it does not: the integral over the thickness
        by Gauss's rule.
        """
        side = edges[:, 1] - edges[:, 0]
        along, across = side @ self.along, side @ self.across
        node, weight = np.polynomial.legendre.leggauss(8)
        share = np.array([self.share(depth) for depth in (node + 1) / 2 * self.thickness])
        return np.asarray(np.hypot(along[:, None], across[:, None] * share) @ weight / 2 * self.thickness)


def reaching(zone: Zone, metal: Any) -> Zone:
    """Return the zone made so long that it ends outside the metal (a shapely polygon).

    Of a bend that meets the edge of the part at a slant, one side of the strip is longer than its line. The zone is
    made longer only at an end where the line itself leaves the metal.
    """
    import shapely

    low, high = zone.start, zone.start + zone.length * zone.along
    for is_high in (False, True):
        way = zone.along if is_high else -zone.along
        end = high if is_high else low
        if metal.contains(shapely.Point(end)):
            continue
        half = zone.width / 2 * zone.across
        for more in (0.0, 0.25, 0.5, 1.0, 2.0, 4.0):
            moved = end + more * zone.width * way
            if shapely.LineString([moved - half, moved + half]).intersection(metal).length < REACH:
                low, high = (low, moved) if is_high else (moved, high)
                break
    return replace(zone, start=low, length=float((high - low) @ zone.along))


def zone_of(bend: BendLine, number: int, thickness: float) -> Zone:
    """Return the strip of a bend, after a look at its numbers."""
    values = (*bend.start, *bend.end, bend.angle, bend.inside_radius, bend.k_factor)
    if not all(map(math.isfinite, values)):
        raise PartError("part-bend", f"a number of bend {number} is not finite")
    if not LEAST_BEND <= abs(bend.angle) <= MOST_BEND * (1 + 1e-12):
        raise PartError(
            "part-bend",
            f"bend {number} is through {math.degrees(bend.angle):.4g} degrees; "
            f"{math.degrees(LEAST_BEND):.0f} to {math.degrees(MOST_BEND):.0f} degrees up or down is possible",
            hint="the angle is what the metal is turned through: 0 is flat, 90 is square; negative bends down",
        )
    if not LEAST_RADIUS <= bend.inside_radius <= checks.LARGEST:
        raise PartError(
            "part-bend",
            f"the inside radius of bend {number} is {mm(bend.inside_radius)} mm; {mm(LEAST_RADIUS)} mm is the least",
            hint="a sharp inside is about half the thickness in practice",
        )
    if not LEAST_FACTOR <= bend.k_factor <= MOST_FACTOR:
        raise PartError(
            "part-bend",
            f"the k factor of bend {number} is {bend.k_factor:g}; {LEAST_FACTOR} to {MOST_FACTOR} is possible",
        )
    start, end = np.array(bend.start), np.array(bend.end)
    length = float(np.hypot(*(end - start)))
    if not checks.SMALLEST <= length <= checks.LARGEST:
        raise PartError("part-bend", f"the line of bend {number} is {mm(length)} mm long")
    along = (end - start) / length
    return Zone(
        number,
        start - REACH * along,
        along,
        length + 2 * REACH,
        bend.angle,
        bend.inside_radius,
        thickness,
        bend.inside_radius + bend.k_factor * thickness,
    )
