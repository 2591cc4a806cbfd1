"""Solids with hollows of known volume, in millimetres; tag 0 is the body, 1 and up what was taken out, in order."""

from collections.abc import Sequence

import numpy as np

from geom.arrays import Floats
from geom.feature import Feature, Kind
from geom.hanging.hanging import Hanging, hung
from geom.hanging.tilts import Tilt
from geom.surface.solid import box, left_over, upright_cylinder
from geom.surface.surface import Surface
from helpers.meshes import icosphere

SIDES = 240
BODY, HOLLOW, HOLE = 0, 1, 2


def block(low: Sequence[float], high: Sequence[float], tag: int = 0) -> Surface:
    """A box between two corners [mm]."""
    return box([1e-3 * v for v in low], [1e-3 * v for v in high], tag)


def round_block(diameter: float, low: float, high: float, tag: int = 0, at: tuple[float, float] = (0, 0)) -> Surface:
    """An upright cylinder from one height to another [mm]."""
    middle = [1e-3 * at[0], 1e-3 * at[1], 0.5e-3 * (low + high)]
    return upright_cylinder(middle, 1e-3 * diameter, 1e-3 * (high - low), SIDES, tag)


def ball(diameter: float, at: Sequence[float], tag: int = 0) -> Surface:
    """A sphere about a place [mm], of the volume of the true one."""
    sphere = icosphere(5, 0.5e-3 * diameter, tag)
    rounder = np.cbrt(np.pi / 6 * (1e-3 * diameter) ** 3 / sphere.volume)
    return sphere.moved(rounder * np.eye(3), 1e-3 * np.asarray(at, dtype=float))


def lying(surface: Surface, axis: str = "x") -> Surface:
    """An upright body laid along x or y."""
    return surface.moved(about("y" if axis == "x" else "x", 90), np.zeros(3))


def shifted(surface: Surface, by: Sequence[float]) -> Surface:
    """The body moved by so many millimetres."""
    return surface.moved(np.eye(3), 1e-3 * np.asarray(by, dtype=float))


def without(body: Surface, *taken: Surface) -> Surface:
    """The body with others taken out, in one piece."""
    (solid,) = left_over(body, taken)
    return solid


def about(axis: str, degrees: float) -> Floats:
    """(3, 3) turn about an axis of the tank."""
    k = "xyz".index(axis)
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    out = np.eye(3)
    p, q = (k + 1) % 3, (k + 2) % 3
    out[p, p], out[q, q], out[p, q], out[q, p] = c, c, -s, s
    return out


def turned(surface: Surface, axis: str, degrees: float) -> Surface:
    """The body turned about the origin."""
    return surface.moved(about(axis, degrees), np.zeros(3))


def upside_down(surface: Surface) -> Surface:
    """The body turned over about x."""
    return turned(surface, "x", 180)


def features(solid: Surface, widths: dict[int, float] | None = None, kind: Kind = Kind.BORE) -> list[Feature]:
    """One feature for each tag; those with a width [mm] are holes of that kind."""
    wide = widths or {}
    return [
        Feature(
            f"piece {k}", kind if k in wide else Kind.SKIN, 0.0, 1e-3 * wide.get(k, 0.0), 1e-3 if k in wide else 0.0
        )
        for k in range(int(solid.tag.max()) + 1)
    ]


def held(solid: Surface, level: float | None = None, widths: dict[int, float] | None = None) -> Hanging:
    """What a body holds, without a look at tilts; the liquid surface in millimetres."""
    return hung(solid, features(solid, widths), None if level is None else 1e-3 * level, tilts=False)


def least(solid: Surface) -> Tilt | None:
    """The least tilt that frees what a body holds."""
    return hung(solid, features(solid), None).tilt


def cup(diameter: float = 20.0, deep: float = 25.0, wall: float = 2.0) -> Surface:
    """A round cup, mouth up, its floor at z = 0 inside; nothing of it below -5 mm."""
    return without(
        round_block(diameter + 2 * wall, -5, deep),
        round_block(diameter, 0, deep + 5, HOLLOW),
    )


def tray(length: float, width: float, deep: float, wall: float = 1.0) -> Surface:
    """A tray, mouth up, of these inside dimensions; its floor at z = 0 inside."""
    x, y = length / 2, width / 2
    return without(
        block((-x - wall, -y - wall, -2), (x + wall, y + wall, deep)),
        block((-x, -y, 0), (x, y, deep + 5), HOLLOW),
    )
