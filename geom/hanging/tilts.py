"""The least tilt that frees what a part holds back."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.surface.surface import Surface

STEP = 5
MOST = 45  # a part is tilted no further
FREED = 0.02  # share of what was held at first, that does not count
DROP = 10e-9  # nor does this [m³]
PROMISE = 0.4  # share that may be left at some angle on a side worth trying
SIDES = ((1, 0), (0, 1), (-1, 0), (0, -1), (1, 1), (-1, 1), (-1, -1), (1, -1))

Volumes = Callable[[Surface, bool], tuple[float, float]]
"""Air and bath that a surface holds [m³]; True: on the finer grid."""


@dataclass(frozen=True, slots=True)
class Tilt:
    """A turn about a level axis, on top of the pose."""

    angle: float  # [rad]
    raised: tuple[int, int]  # the side that comes up: along x, along y
    frees_air: bool
    frees_bath: bool

    @property
    def rotation(self) -> Floats:
        """(3, 3) rotation matrix, in the frame of the tank."""
        return tilt_rotation(self.angle, self.raised)

    @property
    def side(self) -> str:
        """The side that comes up, in words."""
        names = [sign + axis for axis, sign in zip("xy", (_sign(v) for v in self.raised), strict=True) if sign]
        return " ".join(names)

    @property
    def axis(self) -> str:
        """The level axis of the tank that it turns about, in words."""
        x, y = self.raised
        return "an axis between x and y" if x and y else "y" if x else "x"

    def pose_turn(self, rotation: Floats) -> tuple[float, float, float]:
        """Return the ``turn`` of the pose with the tilt in it [rad]; ``rotation`` (3, 3) is that of the pose without."""
        m = self.rotation @ rotation
        y = float(np.arctan2(-m[2, 0], np.hypot(m[0, 0], m[1, 0])))
        return float(np.arctan2(m[2, 1], m[2, 2])), y, float(np.arctan2(m[1, 0], m[0, 0]))


def _sign(value: int) -> str:
    return "+" if value > 0 else "-" if value < 0 else ""


def tilt_rotation(angle: float, raised: tuple[int, int]) -> Floats:
    """Return the (3, 3) turn by ``angle`` [rad] about a level axis that lifts the side ``raised``."""
    x, y = np.array(raised, dtype=np.float64) / np.hypot(*raised)
    axis = np.array([y, -x, 0.0])  # raised x up
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross))


def least_tilt(solid: Surface, volumes: Volumes) -> Tilt | None:
    """Return the least tilt that frees air and bath; failing that air, failing that bath; None where none does.

    What frees one must not make the other worse. A side whose lifting by a third, two thirds and all of the most helps
    neither is not looked at more closely.
    """
    before = volumes(solid, False)
    worst = [max(FREED * v, DROP) for v in before]
    held = [v > w for v, w in zip(before, worst, strict=True)]
    tried = _Tried(solid, volumes)
    sides = [side for side in SIDES if _helps(tried, side, before, held)]
    partial: list[Tilt] = []
    for degrees in range(STEP, MOST + 1, STEP):
        for raised in sides:
            angle = float(np.radians(degrees))
            after = tried.at(degrees, raised)
            free = [v <= w for v, w in zip(after, worst, strict=True)]
            if all(free) and _confirmed(tried.tilted(degrees, raised), volumes, worst):
                return Tilt(angle, raised, held[0], held[1])
            for k in (0, 1):
                if held[k] and free[k] and after[1 - k] <= before[1 - k] + worst[1 - k]:
                    partial.append(Tilt(angle, raised, k == 0, k == 1))
    air = [tilt for tilt in partial if tilt.frees_air]
    return next(iter((*air, *partial)), None)


class _Tried:
    """What the part holds when tilted: worked out once for each tilt."""

    def __init__(self, solid: Surface, volumes: Volumes) -> None:
        self._solid, self._volumes = solid, volumes
        self._middle = solid.bounds.mean(axis=0)
        self._known: dict[tuple[int, tuple[int, int]], tuple[float, float]] = {}

    def tilted(self, degrees: int, raised: tuple[int, int]) -> Surface:
        turn = tilt_rotation(float(np.radians(degrees)), raised)
        return self._solid.moved(turn, self._middle - turn @ self._middle)

    def at(self, degrees: int, raised: tuple[int, int]) -> tuple[float, float]:
        if (degrees, raised) not in self._known:
            self._known[degrees, raised] = self._volumes(self.tilted(degrees, raised), False)
        return self._known[degrees, raised]


def _helps(tried: _Tried, raised: tuple[int, int], before: tuple[float, float], held: list[bool]) -> bool:
    """Does lifting this side free most of the air, or of the bath, at some angle?"""
    coarse = [tried.at(degrees, raised) for degrees in (MOST, 2 * MOST // 3, MOST // 3)]
    return any(held[k] and after[k] < PROMISE * before[k] for k in (0, 1) for after in coarse)


def _confirmed(tilted: Surface, volumes: Volumes, worst: list[float]) -> bool:
    return all(v <= w for v, w in zip(volumes(tilted, True), worst, strict=True))
