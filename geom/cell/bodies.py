"""The bodies of a cell as solids in the tank frame."""

import numpy as np

from geom.arrays import Floats
from geom.cell.cell import Anode, BoxTank, Pose, RodAnode, SheetAnode, Tank
from geom.part.part import Part
from geom.surface.solid import box, upright_cylinder
from geom.surface.surface import Surface

SNAP = 0.5e-3  # an anode nearer to a wall, the floor or the surface than this is taken to touch it [m]
PAST = 2e-3  # how far a touching anode is carried past the wall, so that the cut is clean [m]
JAR_SIDES = 72
ROD_SIDES = 48


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
    x, y, z = anode.at
    bottom, top = z - anode.height / 2, z + anode.height / 2
    if bottom < SNAP:
        bottom = min(bottom, -PAST)
    if top > tank.depth - SNAP:
        top = max(top, tank.depth + PAST)
    if isinstance(anode, RodAnode):
        return upright_cylinder((x, y, (bottom + top) / 2), anode.diameter, top - bottom, ROD_SIDES)
    low = np.array([x - anode.length / 2, y - anode.width / 2, bottom])
    high = np.array([x + anode.length / 2, y + anode.width / 2, top])
    if isinstance(tank, BoxTank):
        half = np.array([tank.length / 2, tank.width / 2])
        low[:2] = np.where(low[:2] < -half + SNAP, np.minimum(low[:2], -half - PAST), low[:2])
        high[:2] = np.where(high[:2] > half - SNAP, np.maximum(high[:2], half + PAST), high[:2])
    return box(low.tolist(), high.tolist())


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
    shape = "sheet" if isinstance(anode, SheetAnode) else "rod"
    return f"anode {number} ({shape} at {x:.0f}, {y:.0f}, {z:.0f} mm)"
