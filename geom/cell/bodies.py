"""The bodies of a cell as solids in the tank frame."""

import numpy as np

from geom.arrays import Floats
from geom.cell.cell import (
    Anode,
    BoxTank,
    Cell,
    Pose,
    RodAnode,
    SheetAnode,
    Slab,
    Tank,
    Thief,
    Wire,
    WireAnode,
)
from geom.part.part import Part
from geom.surface.solid import box, upright_cylinder
from geom.surface.surface import Surface
from geom.surface.turning import rotation

SNAP = 0.5e-3  # an anode nearer to a wall, the floor or the surface than this is taken to touch it [m]
PAST = 2e-3  # how far a touching anode is carried past the wall, so that the cut is clean [m]
JAR_SIDES = 72
ROD_SIDES = 48
WIRE_SIDES = 24


def tank_solid(tank: Tank) -> Surface:
    """Return the liquid as if nothing hung in it, tag 0."""
    if isinstance(tank, BoxTank):
        return box(
            (-tank.length / 2, -tank.width / 2, 0.0),
            (tank.length / 2, tank.width / 2, tank.depth),
        )
    return upright_cylinder((0.0, 0.0, tank.depth / 2), tank.diameter, tank.depth, JAR_SIDES)


def anode_solid(anode: Anode, tank: Tank) -> Surface:
    """Return an anode, carried through a wall, the floor or the surface that it touches; tag 0."""
    if isinstance(anode, WireAnode):
        return wire_solid(anode, tank)
    if isinstance(anode, SheetAnode):
        return upright_slab(anode, tank)
    x, y, z = anode.at
    bottom, top = _carried_through(z - anode.height / 2, z + anode.height / 2, tank)
    return upright_cylinder((x, y, (bottom + top) / 2), anode.diameter, top - bottom, ROD_SIDES)


def anode_half(anode: Anode) -> Floats:
    """Return (3,) half the size of an anode's bounding box [m]."""
    if isinstance(anode, RodAnode):
        return np.array([anode.diameter, anode.diameter, anode.height]) / 2
    if isinstance(anode, SheetAnode):
        return np.array([anode.length, anode.width, anode.height]) / 2
    along = np.asarray(anode.end) - np.asarray(anode.start)
    across = np.sqrt(np.maximum(1 - (along / np.linalg.norm(along)) ** 2, 0.0))  # of a disc square to the wire
    return np.asarray((np.abs(along) + anode.diameter * across) / 2)


def _carried_through(bottom: float, top: float, tank: Tank) -> tuple[float, float]:
    """Return the ends of an upright body, past the floor and the surface where it touches them."""
    if bottom < SNAP:
        bottom = min(bottom, -PAST)
    if top > tank.depth - SNAP:
        top = max(top, tank.depth + PAST)
    return bottom, top


def upright_slab(slab: SheetAnode | Slab, tank: Tank) -> Surface:
    """Return a box with sides along the axes, carried through what it touches."""
    x, y, z = slab.at
    bottom, top = _carried_through(z - slab.height / 2, z + slab.height / 2, tank)
    low = np.array([x - slab.length / 2, y - slab.width / 2, bottom])
    high = np.array([x + slab.length / 2, y + slab.width / 2, top])
    if isinstance(tank, BoxTank):
        half = np.array([tank.length / 2, tank.width / 2])
        low[:2] = np.where(low[:2] < -half + SNAP, np.minimum(low[:2], -half - PAST), low[:2])
        high[:2] = np.where(high[:2] > half - SNAP, np.maximum(high[:2], half + PAST), high[:2])
    return box(low.tolist(), high.tolist())


def wire_solid(wire: WireAnode | Wire, tank: Tank) -> Surface:
    """Return a round wire; an end that touches a wall, the floor or the surface is carried through it; tag 0."""
    start, end = np.asarray(wire.start), np.asarray(wire.end)
    axis = (end - start) / np.linalg.norm(end - start)
    start, end = (
        point + out * PAST if room(point, tank) < SNAP and room(point + out * PAST, tank) < room(point, tank) else point
        for point, out in ((start, -axis), (end, axis))
    )
    upright = upright_cylinder((0.0, 0.0, 0.0), wire.diameter, float(np.linalg.norm(end - start)), WIRE_SIDES)
    across = np.cross(np.eye(3)[np.argmin(np.abs(axis))], axis)
    across /= np.linalg.norm(across)
    turned = np.stack([across, np.cross(axis, across), axis], axis=1)
    return upright.moved(turned, (start + end) / 2)


def room(point: Floats, tank: Tank) -> float:
    """Return how far a point is inside the liquid [m], negative outside."""
    x, y, z = point[None].T
    return float(min(wall_room(x, y, tank)[0], z[0], tank.depth - z[0]))


def wall_room(x: Floats, y: Floats, tank: Tank) -> Floats:
    """Return (n,) how far places are from the nearest wall [m], negative outside."""
    if isinstance(tank, BoxTank):
        return np.minimum(tank.length / 2 - np.abs(x), tank.width / 2 - np.abs(y))
    return np.asarray(tank.diameter / 2 - np.hypot(x, y))


def slab_solid(slab: Slab, tank: Tank) -> Surface:
    """Return a plate where it stands; one that is not turned is carried through what it touches; tag 0."""
    if not np.any(slab.turn):
        return upright_slab(slab, tank)
    half = np.array([slab.length, slab.width, slab.height]) / 2
    return box((-half).tolist(), half.tolist()).moved(rotation(slab.turn), np.asarray(slab.at))


def thief_solid(thief: Thief, tank: Tank) -> Surface:
    """Return a thief where it stands, tag 0."""
    return wire_solid(thief, tank) if isinstance(thief, Wire) else slab_solid(thief, tank)


def other_solids(cell: Cell) -> list[Surface]:
    """Return the anodes, then the shields, then the thieves of a cell: the bodies after tank and part."""
    return [
        *(anode_solid(anode, cell.tank) for anode in cell.anodes),
        *(slab_solid(shield, cell.tank) for shield in cell.shields),
        *(thief_solid(thief, cell.tank) for thief in cell.thieves),
    ]


def placement(part: Part, pose: Pose) -> tuple[Floats, Floats]:
    """Return the rotation (3, 3) and translation (3,) [m] that carry the part's frame into the tank's."""
    turned = part.surface.moved(pose.rotation, np.zeros(3)).bounds.mean(axis=0)
    return pose.rotation, np.asarray(pose.at) - turned


def part_solid(part: Part, pose: Pose) -> Surface:
    """Return the part where it hangs; tags are the features."""
    return part.surface.moved(*placement(part, pose))


def anode_title(number: int, anode: Anode) -> str:
    """Return the words for one anode in a message: its number from 1, its shape, its place in mm."""
    x, y, z = (1e3 * v for v in anode.at)
    shape = "sheet" if isinstance(anode, SheetAnode) else "rod" if isinstance(anode, RodAnode) else "wire"
    return f"anode {number} ({shape} at {x:.0f}, {y:.0f}, {z:.0f} mm)"
