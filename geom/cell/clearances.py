"""Which bodies may meet: electrodes of unlike potential never, shields and thieves where they clearly overlap."""

from dataclasses import dataclass
from itertools import combinations

from geom.cell.bodies import anode_solid, anode_title, part_solid, slab_solid, tank_solid, thief_solid, wall_room
from geom.cell.cell import Cell, Shield, Tank, Thief, Wire
from geom.errors import CellError
from geom.findings import Finding, Severity
from geom.surface.solid import LEAST_GAP, clearance, common_volume
from geom.surface.surface import Surface

LEAST_OVERLAP = 1e-12  # of two bodies that are meant to be joined [m³]
WET = 1e-12  # volume of a body that must be under the liquid [m³]


@dataclass(frozen=True, eq=False)
class _Body:
    """One body but the tank, with the words for it."""

    title: str
    where: str
    solid: Surface
    is_cathode: bool
    is_anode: bool


def check_clearances(cell: Cell) -> list[Finding]:
    """Return what is odd about shields and thieves; refuse what touches and must not, or nearly touches.

    The part and the anodes among themselves are looked at elsewhere.

    Raises
    ------
    CellError
        naming the two bodies.
    """
    part = _Body("the part", "[pose]", part_solid(cell.part, cell.pose), True, False)
    anodes = [
        _Body(anode_title(k, anode), f"[[anode]] number {k}", anode_solid(anode, cell.tank), False, True)
        for k, anode in enumerate(cell.anodes, 1)
    ]
    shields = [
        _Body(shield_title(k, shield), f"[[shield]] number {k}", slab_solid(shield, cell.tank), False, False)
        for k, shield in enumerate(cell.shields, 1)
    ]
    thieves = [
        _Body(thief_title(k, thief), f"[[thief]] number {k}", thief_solid(thief, cell.tank), True, False)
        for k, thief in enumerate(cell.thieves, 1)
    ]
    findings = [finding for body in (*shields, *thieves) for finding in _inside(body, cell.tank)]
    for added in (*shields, *thieves):
        _apart(part, added)
        for anode in anodes:
            (_apart if added.is_cathode else _joined_or_apart)(anode, added)
    for one, other in combinations((*shields, *thieves), 2):
        _joined_or_apart(one, other)
    return findings


def shield_title(number: int, shield: Shield) -> str:
    """Return the words for a shield in a message: its number from 1 and its place in mm."""
    x, y, z = (1e3 * v for v in shield.at)
    return f"shield {number} (at {x:.0f}, {y:.0f}, {z:.0f} mm)"


def thief_title(number: int, thief: Thief) -> str:
    """Return the words for a thief in a message: its number from 1, its shape and its middle in mm."""
    middle = (
        [0.5 * (a + b) for a, b in zip(thief.start, thief.end, strict=True)] if isinstance(thief, Wire) else thief.at
    )
    x, y, z = (1e3 * v for v in middle)
    return f"thief {number} ({'wire' if isinstance(thief, Wire) else 'strip'} at {x:.0f}, {y:.0f}, {z:.0f} mm)"


def _inside(body: _Body, tank: Tank) -> list[Finding]:
    """Check one body against the tank: it must reach into the liquid, and stand clear of the walls or meet them."""
    liquid = tank_solid(tank)
    wet = common_volume(body.solid, liquid)
    if wet < WET:
        raise CellError(
            "body-outside-liquid",
            f"{body.title} does not reach into the liquid",
            where=body.where,
            hint="the origin is on the floor at the centre of the tank; z is up",
        )
    x, y, z = body.solid.vertices.T
    gaps = {"a wall": wall_room(x, y, tank), "the floor": z, "the surface of the liquid": tank.depth - z}
    for name, gap in ((name, float(values.min())) for name, values in gaps.items()):
        if 0 <= gap < LEAST_GAP:
            raise CellError(
                "gap-too-narrow",
                f"{body.title} is {1e3 * gap:.3f} mm from {name}",
                where=body.where,
                hint=f"leave at least {1e3 * LEAST_GAP:.1f} mm, or let it reach through",
            )
    return _beyond(body, tank)


def _beyond(body: _Body, tank: Tank) -> list[Finding]:
    """Say so when a body passes through a wall or the floor; out of the surface is usual."""
    x, y, z = body.solid.vertices.T
    over = -float(min(wall_room(x, y, tank).min(), z.min()))
    if over < 3e-3:  # less is how a body that touches is carried through
        return []
    text = f"{body.title} reaches {1e3 * over:.1f} mm past a wall or the floor; only what is inside the tank counts"
    return [Finding(Severity.WARNING, "body-through-wall", text)]


def _apart(one: _Body, other: _Body) -> None:
    """Refuse two bodies that touch or nearly do."""
    gap = clearance(one.solid, other.solid, 1.0)
    where = f"{other.where} and {one.where}"
    if gap <= 0 and one.is_anode:
        raise CellError(
            "thief-touches-anode",
            f"{other.title} touches {one.title}: a short circuit, nothing would plate",
            where=where,
            hint="move one of them",
        )
    if gap <= 0:
        raise CellError(
            "body-touches-part",
            f"{other.title} touches the part",
            where=where,
            hint="move it away; a thief is wired to the rack beside the part, and what a mask covers is cut off the part",
        )
    if gap < LEAST_GAP:
        raise CellError(
            "gap-too-narrow",
            f"{other.title} is only {1e3 * gap:.3f} mm from {one.title}",
            where=where,
            hint=f"leave at least {1e3 * LEAST_GAP:.1f} mm",
        )


def _joined_or_apart(one: _Body, other: _Body) -> None:
    """Refuse two bodies that neither overlap clearly nor stand clear of one another."""
    gap = clearance(one.solid, other.solid, 1.0)
    if gap >= LEAST_GAP or (gap <= 0 and common_volume(one.solid, other.solid) > LEAST_OVERLAP):
        return
    raise CellError(
        "gap-too-narrow",
        f"{other.title} and {one.title} touch, or are only {1e3 * gap:.3f} mm apart",
        where=f"{other.where} and {one.where}",
        hint=f"let them overlap, or leave at least {1e3 * LEAST_GAP:.1f} mm between them",
    )
