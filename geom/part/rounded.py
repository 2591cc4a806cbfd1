"""The bar with rounded edges: the set of all points within the radius of a smaller box.

All twelve edges are rounded alike, those between two side faces too, so that area and volume have a closed
form (Steiner's formula for a box). The edges of holes stay sharp.
"""

import math

import numpy as np

from geom.arrays import Floats, Ints
from geom.feature import Kind
from geom.part.holes import hole_opening, hole_ring
from geom.part.ledger import Ledger
from geom.part.shapes import Bar
from geom.surface.shell import Shell
from geom.surface.surface import Surface

NO_FLAT = 1e-9  # a flat narrower than this share of the radius is no flat


def rounded_bar(bar: Bar) -> tuple[Surface, Ledger, float]:
    """Return the surface, the features and the volume [m³] of a bar whose ``edge_radius`` is not zero."""
    r = bar.edge_radius
    core = np.array([bar.length, bar.width, bar.thickness]) - 2 * r
    core[core < NO_FLAT * r] = 0.0
    ledger, tags = _features(bar, core)
    shell = Shell()
    levels = _levels(shell, core, r, _pieces(bar, core))
    corner = levels.shape[1] // 4 - 1
    rounded, sides = tags["rounded"], np.full(levels.shape[1], tags["rounded"])
    sides[corner :: corner + 1] = [tags["+y"], tags["-x"], tags["-y"], tags["+x"]]
    middle = len(levels) // 2 - 1 if core[2] > 0 else -1
    for number in range(len(levels) - 1):
        shell.band(levels[number], levels[number + 1], sides if number == middle else rounded)
    _faces(shell, bar, (levels[0][:: corner + 1], levels[-1][:: corner + 1]), ledger, tags)
    volume = (
        core.prod()
        + 2 * r * (core[0] * core[1] + core[1] * core[2] + core[2] * core[0])
        + math.pi * r**2 * core.sum()
        + 4 / 3 * math.pi * r**3
        - math.fsum(map(hole_opening, bar.holes)) * bar.thickness
    )
    return shell.surface(), ledger, float(volume)


def _features(bar: Bar, core: Floats) -> tuple[Ledger, dict[str, int]]:
    """Name the flats that are left and the rounding; return the tag of each place."""
    ledger, tags = Ledger(), {}
    a, b, c = (float(size) for size in core)
    r, opened = bar.edge_radius, math.fsum(map(hole_opening, bar.holes))
    flats = [
        ("+z", "face A (+z)", Kind.FACE, a * b - opened),
        ("-z", "face B (-z)", Kind.FACE, a * b - opened),
        ("+y", "long edge +y", Kind.EDGE, a * c),
        ("-y", "long edge -y", Kind.EDGE, a * c),
        ("+x", "end +x", Kind.END, b * c),
        ("-x", "end -x", Kind.END, b * c),
    ]
    for place, name, kind, area in flats:
        tags[place] = ledger.add(name, kind, area) if area > 0 else -1
    steiner = 2 * math.pi * r * (a + b + c) + 4 * math.pi * r**2
    tags["rounded"] = ledger.add("rounded edges", Kind.EDGE, steiner)
    return ledger, tags


def _pieces(bar: Bar, core: Floats) -> int:
    """Flats to a quarter circle: as many as keep area and volume within 1e-3, few for a slight rounding."""
    r = bar.edge_radius
    curved = 2 * math.pi * r * core.sum() + 4 * math.pi * r**2
    flat = 2 * (core[0] * core[1] + core[1] * core[2] + core[2] * core[0])
    volume = math.pi * r**2 * core.sum() + 4 / 3 * math.pi * r**3
    share = max(curved / (curved + flat), volume / (bar.length * bar.width * bar.thickness))
    return max(8, math.ceil(34 * math.sqrt(share)))


def _levels(shell: Shell, core: Floats, radius: float, pieces: int) -> Ints:
    """Add the rings of the outside from the bottom up; (levels, points), coincident vertices shared."""
    turn = np.linspace(0.0, math.pi / 2, pieces + 1)
    turns = np.concatenate([turn + quarter * math.pi / 2 for quarter in range(4)])
    # the first turn of a corner equals the last of the corner before: the flat side lies between the two
    signs = np.repeat(np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]), pieces + 1, axis=0)
    rise = [*(-turn[::-1]), *turn] if core[2] > 0 else [*(-turn[::-1]), *turn[1:]]
    points = np.zeros((len(rise), len(turns), 3))
    outward = np.stack([_cos(turns), _cos(turns - math.pi / 2)], axis=1)
    for number, angle in enumerate(rise):
        up = 1 if number >= len(rise) / 2 else -1
        points[number, :, :2] = signs * core[:2] / 2 + radius * _cos(angle) * outward
        points[number, :, 2] = up * core[2] / 2 + radius * math.sin(angle)
    grid = np.rint(points.reshape(-1, 3) / (radius * 1e-9)).astype(np.int64)
    _, first, inverse = np.unique(grid, axis=0, return_index=True, return_inverse=True)
    index = shell.add(points.reshape(-1, 3)[first])
    return np.asarray(index[inverse.reshape(-1)].reshape(len(rise), len(turns)), dtype=np.int64)


def _cos(angle: Floats | float) -> Floats:
    """Cosine that is zero where it should be, so that points which coincide are equal."""
    cosine = np.cos(angle)
    return np.asarray(np.where(np.abs(cosine) < 1e-12, 0.0, cosine))


def _faces(shell: Shell, bar: Bar, rims: tuple[Ints, Ints], ledger: Ledger, tags: dict[str, int]) -> None:
    """Close the broad faces, with the walls of the holes between them."""
    if tags["+z"] < 0:
        return
    lower, upper = [], []
    for number, hole in enumerate(bar.holes, 1):
        ring = hole_ring(hole)[::-1]
        low, high = (
            shell.add(np.column_stack([ring, np.full(len(ring), z)])) for z in (-bar.thickness / 2, bar.thickness / 2)
        )
        shell.band(low, high, ledger.add_hole(hole, number, bar.thickness))
        lower.append(low[::-1])
        upper.append(high)
    shell.flat(rims[0][::-1], lower, tags["-z"])
    shell.flat(rims[1], upper, tags["+z"])
