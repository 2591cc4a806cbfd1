"""The cells of the options: the part turned, a wire inside, thieves or a shield at its edges, a second anode."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import part_solid
from geom.cell.build import build_cell
from geom.cell.cell import Anode, Cell, InnerWire, Pose, RodAnode, SheetAnode, Slab, Thief, Wire, WireAnode
from geom.electrode.laws import Law
from geom.errors import CellError, PartError
from geom.feature import Feature, Kind

WIRE_SHARE = 0.2  # diameter of a wire inside over that of its bore
THICKEST_WIRE = 3e-3  # [m]
BEYOND = 5e-3  # a wire inside sticks out so far at both ends [m]
THIEF_GAP, THIEF_WIRE = (
    8e-3,
    2e-3,
)  # a thief wire so far off the edge, so thick [m]; 5 to 15 mm are usual (common practice)
SHIELD_GAP, SHIELD_DEEP, SHIELD_WIDE = 6e-3, 2e-3, 20e-3  # a shield so far off the edge, so thick, so wide [m]


@dataclass(frozen=True, eq=False)
class Variant:
    """One way to set the job up; ``cell`` is None where it cannot be, and ``why`` says so."""

    name: str
    cell: Cell | None
    why: str = ""


def variants(cell: Cell, recesses: tuple[Feature, ...]) -> Iterator[Variant]:
    """Yield each other set-up that could help the recesses, or the far side."""
    if any(feature.kind in (Kind.BORE, Kind.BLIND_HOLE, Kind.SLOT) for feature in recesses):
        yield _made("the hole's axis toward the anode", lambda: axis_to_anode(cell, recesses))
    hollow = [f for f in recesses if f.kind in (Kind.BORE, Kind.SLOT, Kind.INSIDE)]
    if hollow:
        yield _made("an anode wire inside", lambda: with_wires(cell, hollow))
    if recesses:
        yield _made("thief wires along the edges", lambda: with_thieves(cell))
        yield _made("shields beside the edges", lambda: with_shields(cell))
    yield _made("a second anode on the other side", lambda: with_second_anode(cell))


def _made(name: str, make: Callable[[], Cell]) -> Variant:
    try:
        return Variant(name, make())
    except (CellError, PartError) as error:
        return Variant(name, None, error.message)


def rebuilt(
    cell: Cell,
    *,
    pose: Pose | None = None,
    anodes: tuple[Anode | InnerWire, ...] | None = None,
    thieves: tuple[Thief, ...] = (),
    shields: tuple[Slab, ...] = (),
) -> Cell:
    """Return the cell with something put in or turned."""
    return build_cell(
        cell.part,
        cell.bath,
        tank=cell.tank,
        anodes=cell.anodes if anodes is None else anodes,
        pose=pose or cell.pose,
        shields=(*cell.shields, *shields),
        thieves=(*cell.thieves, *thieves),
    )


def axis_to_anode(cell: Cell, recesses: tuple[Feature, ...]) -> Cell:
    """Return the cell with the part turned about the vertical until the first hole's axis points at the anode."""
    solid = part_solid(cell.part, cell.pose)
    tag = next(k for k, feature in enumerate(cell.part.features) if feature.name == recesses[0].name)
    rows = solid.tag == tag
    moments, axes = np.linalg.eigh((solid.normals[rows] * solid.areas[rows, None]).T @ solid.normals[rows])
    axis = axes[:, 0] if moments[0] < 1e-2 * moments[2] else axes[:, 2]
    flat = axis[:2]
    if np.linalg.norm(flat) < 0.3:
        raise CellError("option", "the axis stands upright as it hangs: lay the part first")
    toward = np.array(_middle(cell.anodes)[:2]) - np.array(cell.pose.at[:2])
    turn = float(np.arctan2(toward[1], toward[0]) - np.arctan2(flat[1], flat[0]))
    if abs(np.sin(turn)) < 0.05:
        raise CellError("option", "it points at the anode already")
    x, y, z = cell.pose.turn
    return rebuilt(cell, pose=replace(cell.pose, turn=(x, y, z + turn)))


def with_wires(cell: Cell, hollow: list[Feature]) -> Cell:
    """Return the cell with a wire along the axis of every hole."""
    wires = tuple(
        InnerWire(min(THICKEST_WIRE, WIRE_SHARE * f.width), f.name_alone, BEYOND, _law(cell.anodes[0]))
        for f in {f.name_alone: f for f in hollow}.values()
    )
    return rebuilt(cell, anodes=(*cell.anodes, *wires))


def _law(anode: Anode) -> Law | None:
    return anode.law


def with_thieves(cell: Cell) -> Cell:
    """Return the cell with a frame of wire round the part, in the plane across the way to the anode."""
    (low, high), along = _frame(cell)
    out = THIEF_GAP + THIEF_WIRE / 2.0
    y0, y1, z0, z1 = low[1] - out, high[1] + out, low[2] - out, high[2] + out
    x = float(along)
    corners = [(x, y0, z0), (x, y1, z0), (x, y1, z1), (x, y0, z1)]
    sides = ((corners[0], corners[1]), (corners[2], corners[3]))
    upright = (
        ((x, y0, z0 + 2 * THIEF_WIRE), (x, y0, z1 - 2 * THIEF_WIRE)),
        ((x, y1, z0 + 2 * THIEF_WIRE), (x, y1, z1 - 2 * THIEF_WIRE)),
    )
    wires = tuple(Wire(THIEF_WIRE, _point(a), _point(b)) for a, b in (*upright, *_shorter(sides)))
    return rebuilt(cell, thieves=wires)


def _shorter(
    sides: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...],
) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Return the level sides, ended short of the upright ones: wires must not touch."""
    found: list[tuple[tuple[float, ...], tuple[float, ...]]] = []
    for a, b in sides:
        (xa, ya, za), (xb, yb, zb) = sorted((a, b), key=lambda p: p[1])
        found.append(((xa, ya + 2 * THIEF_WIRE, za), (xb, yb - 2 * THIEF_WIRE, zb)))
    return found


def with_shields(cell: Cell) -> Cell:
    """Return the cell with an upright insulating strip beside each upright edge of the part."""
    (low, high), along = _frame(cell)
    tall = float(high[2] - low[2]) + 2 * SHIELD_GAP
    middle = float(low[2] + high[2]) / 2.0
    strips = []
    for side, y in ((-1.0, float(low[1])), (1.0, float(high[1]))):
        at = (float(along), y + side * (SHIELD_GAP + SHIELD_WIDE / 2.0), middle)
        strips.append(Slab(SHIELD_DEEP, SHIELD_WIDE, tall, at))
    return rebuilt(cell, shields=tuple(strips))


def with_second_anode(cell: Cell) -> Cell:
    """Return the cell with every anode mirrored to the other side of the part."""
    centre = cell.pose.at
    mirrored: list[Anode] = []
    for anode in cell.anodes:
        if isinstance(anode, WireAnode):
            continue
        x, y, z = anode.at
        mirrored.append(replace(anode, at=(2 * centre[0] - x, 2 * centre[1] - y, z)))
    if not mirrored:
        raise CellError("option", "wires alone cannot be mirrored")
    return rebuilt(cell, anodes=(*cell.anodes, *mirrored))


def _frame(cell: Cell) -> tuple[Floats, float]:
    """Return the bounds of the part as hung, and its middle along x."""
    bounds = part_solid(cell.part, cell.pose).bounds
    return bounds, float(bounds[:, 0].mean())


def _middle(anodes: tuple[Anode, ...]) -> tuple[float, float, float]:
    upright: list[Anode] = [a for a in anodes if isinstance(a, SheetAnode | RodAnode)]
    standing = upright or list(anodes)
    x, y, z = (float(v) for v in np.mean([a.at for a in standing], axis=0))
    return x, y, z


def _point(values: tuple[float, ...]) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z
