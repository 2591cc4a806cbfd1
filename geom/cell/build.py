"""Put the cell together: fill in what the job left out, then look whether it can stand."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import anode_half, anode_solid, anode_title, part_solid, tank_solid
from geom.cell.cell import (
    Anode,
    BoxTank,
    Cell,
    Immersed,
    InnerWire,
    JarTank,
    Pose,
    RodAnode,
    SheetAnode,
    Shield,
    Tank,
    Thief,
    WireAnode,
)
from geom.cell.clearances import WET, check_clearances
from geom.cell.inner import fixed, placed
from geom.chemistry import Bath
from geom.errors import CellError
from geom.findings import Finding, Severity
from geom.part.part import Part
from geom.part.rack import Rack, racked
from geom.surface.solid import LEAST_GAP, clearance, common_volume
from geom.surface.surface import Surface
from geom.surface.turning import rotation

WALL_CLEARANCE = 50e-3  # part to walls and floor when the tank is ours to choose [m]; common practice
TOP_CLEARANCE = 30e-3  # liquid over the part [m]; common practice
ANODE_GAP = 100e-3  # least gap to the anode when the set-up is ours to choose [m]; common practice
ANODE_AREA_RATIO = 1.5  # anode to cathode area when the anode is ours to choose; common practice


def build_cell(
    part: Part,
    bath: Bath,
    *,
    tank: Tank | None,
    anodes: Sequence[Anode | InnerWire] | None,
    pose: Pose | Immersed | None,
    rack: Rack | None = None,
    shields: Sequence[Shield] = (),
    thieves: Sequence[Thief] = (),
) -> Cell:
    """Return the cell with defaults for everything that is None.

    With a ``rack`` the part of the cell is the whole rack of copies; the pose is then that of the rack.

    Raises
    ------
    CellError
        where bodies touch, stick out of the tank or leave a gap too narrow to resolve.
    PartError
        where copies on the rack touch.
    """
    turn = pose.turn if pose else upright_turn(part, tank)
    if rack is not None:
        part = racked(part, rack, rotation(turn))
    extent = turned_extent(part, turn)
    tank = tank or roomy_tank(extent, fixed(anodes or ()))
    if isinstance(pose, Immersed):
        pose = pose.pose(float(extent[2]), tank)
    if anodes is None:
        anodes = (facing_anode(part, extent, tank, pose),)
    if pose is None:
        pose = free_pose(part, turn, extent, tank, fixed(anodes))
    cell = Cell(tank, placed(anodes, part, pose), part, pose, bath, (), tuple(shields), tuple(thieves))
    return replace(cell, findings=checked(cell))


def turned_extent(part: Part, turn: tuple[float, float, float]) -> Floats:
    """Return (3,) the size of the part's bounding box after turning [m]."""
    low, high = part.surface.moved(Pose(turn, (0.0, 0.0, 0.0)).rotation, np.zeros(3)).bounds
    return np.asarray(high - low)


def upright_turn(part: Part, tank: Tank | None) -> tuple[float, float, float]:
    """Return the quarter turns that hang the part upright with its broad side along x, if the tank is deep enough."""
    quarter = np.pi / 2
    choices = [(x, y, z) for x, y, z in product((0.0, quarter), repeat=3)]
    turns = sorted(choices, key=lambda t: (np.count_nonzero(t), t[::-1]))
    extents = [turned_extent(part, turn) for turn in turns]
    room = np.inf if tank is None else tank.depth

    def rank(k: int) -> tuple[bool, float, float]:
        size = np.round(extents[k], 9)
        return bool(size[2] >= room), float(-size[2]), float(size[0])

    return turns[min(range(len(turns)), key=rank)]


def roomy_tank(extent: Floats, anodes: Sequence[Anode]) -> BoxTank:
    """Return a box tank that leaves the usual clearances round the part and holds the anodes."""
    gap = max(ANODE_GAP, float(extent[1:].max()))
    length = float(extent[0]) + gap + 2 * WALL_CLEARANCE
    width = float(extent[1]) + 2 * WALL_CLEARANCE
    depth = float(extent[2]) + WALL_CLEARANCE + TOP_CLEARANCE
    for anode in anodes:
        half = anode_half(anode)
        length = max(length, 2 * (abs(anode.at[0]) + float(half[0])) + 20e-3)
        width = max(width, 2 * (abs(anode.at[1]) + float(half[1])) + 20e-3)
        depth = max(depth, anode.at[2])
    return BoxTank(*(float(np.ceil(v / 5e-3 - 1e-9) * 5e-3) for v in (length, width, depth)))


def tank_reach(tank: Tank) -> tuple[float, float]:
    """Return how far the tank reaches from its centre along x and y [m]."""
    if isinstance(tank, BoxTank):
        return tank.length / 2, tank.width / 2
    return tank.diameter / 2, tank.diameter / 2


def facing_anode(part: Part, extent: Floats, tank: Tank, pose: Pose | None) -> SheetAnode:
    """Return one sheet near the wall at -x that faces the part."""
    reach_x, reach_y = tank_reach(tank)
    thickness = 2e-3
    x = -reach_x + min(20e-3, 0.15 * reach_x)
    y, z = (pose.at[1], pose.at[2]) if pose else (0.0, hung_height(extent, tank))
    chord = reach_y if isinstance(tank, BoxTank) else float(np.sqrt(max(reach_x**2 - x**2, 0.0)))
    height = min(max(0.9 * float(extent[2]), 20e-3), 0.9 * tank.depth)
    wanted = max(ANODE_AREA_RATIO * part.area / (2 * height), float(extent[1]), 10e-3)
    width = min(wanted, 2 * (chord - abs(y)) - 10e-3)
    if width < 4e-3 or height < 4e-3:
        raise CellError(
            "anode-no-room",
            "no room for a sheet anode beside the -x wall of this tank",
            hint="give the anodes in [[anode]], or a larger tank",
        )
    z = min(max(z, height / 2 + 1e-3), tank.depth - height / 2 - 1e-3)
    whole = np.floor(1e3 * np.array([width, height]) + 1e-9) / 1e3  # a sheet is cut to whole millimetres
    return SheetAnode(thickness, float(whole[0]), float(whole[1]), (float(np.round(x, 3)), float(y), float(z)))


def hung_height(extent: Floats, tank: Tank) -> float:
    """Return the height of the part's centre: the usual liquid over it, or half way where the tank is shallow."""
    spare = tank.depth - float(extent[2])
    over = TOP_CLEARANCE if spare >= TOP_CLEARANCE + 20e-3 else spare / 2
    return tank.depth - over - float(extent[2]) / 2


def free_pose(
    part: Part, turn: tuple[float, float, float], extent: Floats, tank: Tank, anodes: Sequence[Anode]
) -> Pose:
    """Return the pose with the most room round the part: the middle of the tank, or the best place along x.

    Raises
    ------
    CellError
        where the part does not fit.
    """
    reach_x, reach_y = tank_reach(tank)
    if extent[2] >= tank.depth - 2 * LEAST_GAP or extent[0] >= 2 * reach_x or extent[1] >= 2 * reach_y:
        size = ", ".join(f"{1e3 * v:.1f} mm along {axis}" for v, axis in zip(extent, "xyz", strict=True))
        raise CellError(
            "part-does-not-fit",
            f"the part, as it would be hung ({size}), does not fit under the liquid surface",
            hint="give a deeper or wider [tank], or say with [pose] how the part hangs",
        )
    y = float(np.mean([a.at[1] for a in anodes])) if anodes else 0.0
    y = float(np.clip(y, -reach_y + extent[1] / 2, reach_y - extent[1] / 2))
    z = hung_height(extent, tank)

    def room(x: float) -> float:
        walls = min(reach_x - abs(x) - float(extent[0]) / 2, 1.0)
        gaps = [_box_gap(np.array([x, y, z]), extent, anode) for anode in anodes]
        return min([2 * walls, *gaps])  # a near wall does less harm than a near anode

    places = np.linspace(-reach_x, reach_x, 81)
    best = max(places, key=lambda x: (round(room(float(x)), 4), -abs(x)))
    if room(float(best)) <= LEAST_GAP:
        raise CellError(
            "part-does-not-fit",
            "no place beside the anodes is free for the part",
            hint="say with [pose] where the part hangs, or give a larger [tank]",
        )
    return Pose(turn, (float(np.round(best, 3)), y, z))


def _box_gap(centre: Floats, extent: Floats, anode: Anode) -> float:
    """Return the gap between two bounding boxes [m], negative where they overlap along every axis."""
    apart = np.abs(centre - np.asarray(anode.at)) - (0.5 * extent + anode_half(anode))
    return float(np.linalg.norm(np.maximum(apart, 0.0))) if np.any(apart > 0) else float(apart.max())


def checked(cell: Cell) -> tuple[Finding, ...]:
    """Return what is odd about the set-up; raise where it cannot be."""
    part = part_solid(cell.part, cell.pose)
    findings = [*_inside_tank(part, cell.tank)]
    for number, anode in enumerate(cell.anodes, start=1):
        findings += _anode_inside(number, anode, cell.tank)
        _clear_of_part(number, anode, cell.tank, part)
    for number, anode in enumerate(cell.anodes, start=1):
        for other, second in enumerate(cell.anodes[: number - 1], start=1):
            if common_volume(anode_solid(anode, cell.tank), anode_solid(second, cell.tank)) > 1e-15:
                raise CellError(
                    "anodes-overlap",
                    f"anode {other} and anode {number} stand in the same place",
                    where="[[anode]]",
                    hint="move one of them, or give them as one anode",
                )
    return (*findings, *check_clearances(cell))


def _inside_tank(part: Surface, tank: Tank) -> list[Finding]:
    """Check the part against walls, floor and surface."""
    low, high = part.bounds
    slack = 1e-9
    if isinstance(tank, BoxTank):
        gaps = np.array([tank.length / 2 - max(high[0], -low[0]), tank.width / 2 - max(high[1], -low[1])])
    else:
        radius = float(np.linalg.norm(part.vertices[:, :2], axis=1).max())
        gaps = np.array([tank.diameter / 2 * np.cos(np.pi / 72) - radius])
    names = {"wall": float(gaps.min()), "floor": float(low[2])}
    hint = "change [pose] at, or give a larger [tank]"
    for name, gap in names.items():
        if gap < -slack:
            raise CellError(
                "part-outside-tank",
                f"the part passes {-1e3 * gap:.2f} mm through the {name} of the tank",
                where="[pose]",
                hint=hint,
            )
        if gap < LEAST_GAP:
            raise CellError(
                "gap-too-narrow",
                f"the part is {1e3 * max(gap, 0):.3f} mm from the {name}; under {1e3 * LEAST_GAP:.1f} mm the field "
                "in the gap is not resolved",
                where="[pose]",
                hint=f"move the part at least {1e3 * LEAST_GAP:.1f} mm away from the {name}",
            )
    if low[2] >= tank.depth - LEAST_GAP:
        raise CellError(
            "part-above-liquid",
            "no part of the work is under the liquid surface",
            where="[pose]",
            hint=f"the liquid is {1e3 * tank.depth:.0f} mm deep; the part starts at z = {1e3 * low[2]:.1f} mm",
        )
    if -LEAST_GAP < high[2] - tank.depth < LEAST_GAP:
        raise CellError(
            "gap-too-narrow",
            "the top of the part is within 0.2 mm of the liquid surface",
            where="[pose]",
            hint="lower it, or let it stand clear through the surface",
        )
    if high[2] > tank.depth:
        over = 1e3 * (high[2] - tank.depth)
        return [
            Finding(
                Severity.NOTE,
                "part-through-surface",
                f"{over:.1f} mm of the part stand above the liquid and are not plated",
            )
        ]
    return []


def _anode_inside(number: int, anode: Anode, tank: Tank) -> list[Finding]:
    """Check one anode against the tank; part of it may be above the liquid or beyond a wall it lines."""
    if isinstance(anode, WireAnode):
        return _wire_inside(number, anode, tank)
    x, y, z = anode.at
    reach_x, reach_y = tank_reach(tank)
    outside = np.hypot(x, y) > reach_x if isinstance(tank, JarTank) else abs(x) > reach_x or abs(y) > reach_y
    title = anode_title(number, anode)
    half = anode_half(anode)
    if outside or z + half[2] <= 0:
        raise CellError(
            "anode-outside-tank",
            f"{title} stands outside the tank",
            where=f"[[anode]] number {number}",
            hint="the origin is on the floor at the centre of the tank; z is up",
        )
    if z - half[2] >= tank.depth - LEAST_GAP:
        raise CellError(
            "anode-above-liquid",
            f"{title} does not reach into the liquid",
            where=f"[[anode]] number {number}",
            hint=f"the liquid surface is at z = {1e3 * tank.depth:.0f} mm",
        )
    if isinstance(tank, BoxTank):
        over = max(abs(x) + half[0] - reach_x, abs(y) + half[1] - reach_y)
    else:
        over = float(np.hypot(abs(x) + half[0], abs(y) + half[1]) - reach_x)
        if isinstance(anode, RodAnode):
            over = float(np.hypot(x, y) + half[0] - reach_x)
    if over > 1e-6:
        return [
            Finding(
                Severity.WARNING,
                "anode-through-wall",
                f"{title} reaches {1e3 * over:.1f} mm past the wall; only the part inside the tank counts",
            )
        ]
    return []


def _wire_inside(number: int, wire: WireAnode, tank: Tank) -> list[Finding]:
    """Check a wire against the tank; it may come out of the liquid or through a wall."""
    solid = anode_solid(wire, tank)
    if common_volume(solid, tank_solid(tank)) < WET:
        raise CellError(
            "anode-above-liquid",
            f"{anode_title(number, wire)} does not reach into the liquid",
            where=f"[[anode]] number {number}",
            hint=f"the liquid stands from z = 0 to {1e3 * tank.depth:.0f} mm; the origin is at the centre of the tank",
        )
    return []


def _clear_of_part(number: int, anode: Anode, tank: Tank, part: Surface) -> None:
    """Refuse an anode that touches the part or nearly does."""
    gap = clearance(part, anode_solid(anode, tank), 1.0)
    where = f"[[anode]] number {number} and [pose]"
    title = anode_title(number, anode)
    if gap <= 0:
        raise CellError(
            "part-touches-anode",
            f"the part touches {title}: a short circuit, nothing would plate",
            where=where,
            hint="move the part or the anode apart",
        )
    if gap < LEAST_GAP:
        raise CellError(
            "gap-too-narrow",
            f"the part is only {1e3 * gap:.3f} mm from {title}",
            where=where,
            hint=f"leave at least {1e3 * LEAST_GAP:.1f} mm; tens of millimetres are usual",
        )
