"""Cuts through holes and bends: the outline of the metal in a plane, and how much lies on it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geom.advice.measures import anode_direction
from geom.arrays import Bools, Floats, Ints
from geom.feature import Feature, Kind
from geom.plan import Plan
from geom.surface.surface import Surface

HOLES = (Kind.BORE, Kind.SLOT, Kind.INSIDE, Kind.BLIND_HOLE, Kind.RECESS)
MOST = 4
NUDGE = 1.3e-6  # of the part's size, by which the plane misses the middle: it then meets no corner of a panel
ROUND = 1.3  # walls whose normals differ by less in two directions have no wide and narrow side
ALIKE = 0.8  # cosine: neighbours that turn by less share their thickness in between


@dataclass(frozen=True, eq=False)
class Cut:
    """The part cut by a plane, in the plane's own coordinates (across, up) in metres."""

    name: str
    ends: Floats  # (n, 2, 2) the stretches of the outline
    outward: Floats  # (n, 2) unit vectors out of the metal
    thickness: Floats  # (n,) that lies there [m]; nan where it stays bare
    height: Floats  # (n, 2) the same at both ends, shared with the neighbour where the outline is smooth [m]
    joint: Ints  # (n, 2) number of the point at each end: neighbours share one
    loops: tuple[Floats, ...]  # (k, 2) each: the outline in order
    window: Floats  # (2, 2) lowest and highest corner of what is worth showing
    width: float  # clear width of the hole [m]; inf for a bend
    to_anode: Floats | None  # (2,) the part of the direction to the anode that lies in the plane


def cuts_of(plan: Plan) -> Iterator[Cut]:
    """Yield a cut through the middle of each hole and inside bend, those that get least first."""
    panels = plan.fields[0].panels
    thickness = np.concatenate([plan.deposit.thickness, np.full(len(panels.bare_feature), np.nan)])
    toward = anode_direction(plan.fields[0])
    for tag in _chosen(plan):
        feature = plan.cell.part.features[tag]
        own = panels.hung.selected(panels.hung.tag == tag)
        found = _cut(panels.hung, own, feature, thickness, toward)
        if found is not None:
            yield found


def _chosen(plan: Plan) -> list[int]:
    """Return the features to cut: of a rack those of one part, of equals the first."""
    least = {result.name: result.least_thickness for result in plan.features}
    part = plan.cell.part
    wanted = [
        k
        for k, f in enumerate(part.features)
        if f.is_plated and f.kind in (*HOLES, Kind.BEND_INSIDE) and f.name in least
    ]
    wanted.sort(key=lambda k: (least[part.features[k].name], k))
    seen: dict[str, int] = {}
    for k in wanted:
        seen.setdefault(part.features[k].name_alone, k)
    present = set(plan.fields[0].panels.feature.tolist())
    return [k for k in seen.values() if k in present][:MOST]


def _cut(whole: Surface, own: Surface, feature: Feature, thickness: Floats, toward: Floats | None) -> Cut | None:
    middle = own.bounds.mean(axis=0)
    directions, wide = _directions(own)
    if feature.kind is Kind.BEND_INSIDE:
        across, up = _upright(directions[:, 0], directions[:, 1])
    else:
        side = directions[:, 0] if wide else _narrow(whole, directions[:, 2])
        across, up = _upright(side, directions[:, 2])
    normal = np.cross(across, up)
    size = float(np.linalg.norm(np.ptp(whole.bounds, axis=0)))
    distance = (whole.vertices - middle) @ normal + NUDGE * size
    face, point, joint = _crossed(whole, distance)
    if len(face) < 3:
        return None
    frame = np.stack([across, up])
    ends = (point - middle) @ frame.T
    outward = -(whole.normals[face] @ frame.T)  # panel normals point into the metal
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-12)
    lies = thickness[face]
    flat = (own.vertices - middle) @ frame.T
    return Cut(
        name=feature.name,
        ends=ends,
        outward=outward,
        thickness=lies,
        height=_shared(lies, outward, joint),
        joint=joint,
        loops=_loops(ends, joint),
        window=_window(flat, ends),
        width=feature.width if feature.width > 0 and feature.kind in HOLES else float("inf"),
        to_anode=None if toward is None else frame @ toward,
    )


def _directions(own: Surface) -> tuple[Floats, bool]:
    """Return as columns the way most walls look, the next, and the way none does: the axis; is the first a wide one?"""
    normals = own.normals
    shares, directions = np.linalg.eigh((normals * own.areas[:, None]).T @ normals)
    order = np.argsort(-shares)
    return directions[:, order], bool(shares[order[0]] > ROUND * shares[order[1]])


def _narrow(whole: Surface, axis: Floats) -> Floats:
    """Return the direction square to the axis in which the part is narrowest."""
    first = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    return min(first, second, key=lambda way: round(float(np.ptp(whole.vertices @ way)), 9))


def _upright(one: Floats, two: Floats) -> tuple[Floats, Floats]:
    """Return the directions across and up of a picture: up is the one nearer to the tank's z, each to its positive side."""
    across, up = (two, one) if abs(one[2]) > abs(two[2]) + 1e-6 else (one, two)
    ways = [way if way[np.argmax(np.abs(way))] > 0 else -way for way in (across, up)]
    return ways[0], ways[1]


def _crossed(whole: Surface, distance: Floats) -> tuple[Ints, Floats, Ints]:
    """Return which faces a plane meets, both ends of each stretch (n, 2, 3), and which point each end is (n, 2)."""
    faces = whole.faces
    over = distance[faces] >= 0
    face = np.flatnonzero(over.any(axis=1) & ~over.all(axis=1))
    crosses = over[face] != np.roll(over[face], -1, axis=1)  # (n, 3): exactly two of each
    side = np.argsort(~crosses, axis=1, kind="stable")[:, :2]
    rows = face[:, None]
    pairs = np.sort(np.stack([faces[rows, side], faces[rows, (side + 1) % 3]], axis=2), axis=2)
    a, b = pairs[..., 0], pairs[..., 1]
    share = distance[a] / (distance[a] - distance[b])
    point = whole.vertices[a] + share[..., None] * (whole.vertices[b] - whole.vertices[a])
    _, joint = np.unique(a * len(whole.vertices) + b, return_inverse=True)
    return face, np.asarray(point), np.asarray(joint).reshape(-1, 2)


def _shared(lies: Floats, outward: Floats, joint: Ints) -> Floats:
    """Return (n, 2) the thickness at both ends of each stretch."""
    height = np.repeat(np.nan_to_num(lies)[:, None], 2, axis=1)
    for (one, end_one), (two, end_two) in _neighbours(joint):
        if outward[one] @ outward[two] > ALIKE and np.isfinite(lies[one] + lies[two]):
            height[one, end_one] = height[two, end_two] = 0.5 * (lies[one] + lies[two])
    return height


def _neighbours(joint: Ints) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield for each point that two stretches share (stretch, end) of both."""
    order = np.argsort(joint.reshape(-1), kind="stable")
    flat = joint.reshape(-1)[order]
    for first, second in zip(order[:-1][flat[:-1] == flat[1:]], order[1:][flat[:-1] == flat[1:]], strict=True):
        yield (int(first) // 2, int(first) % 2), (int(second) // 2, int(second) % 2)


def joints(cut: Cut) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield for each point of the outline the stretches that meet there, as (stretch, end)."""
    return _neighbours(cut.joint)


def _loops(ends: Floats, joint: Ints) -> tuple[Floats, ...]:
    """Return the outline as points in order, one array for each closed or open run."""
    mates: dict[tuple[int, int], tuple[int, int]] = {}
    for one, two in _neighbours(joint):
        mates[one], mates[two] = two, one
    left = set(range(len(ends)))
    starts = [k for k in range(len(ends)) if (k, 0) not in mates or (k, 1) not in mates]  # open runs first
    found = []
    for start in (*starts, *range(len(ends))):
        if start not in left:
            continue
        end = 0 if (start, 0) not in mates else 1 if (start, 1) not in mates else 0
        at = (start, end)
        run = [ends[at]]
        while at[0] in left:
            left.remove(at[0])
            far = (at[0], 1 - at[1])
            run.append(ends[far])
            if far not in mates:
                break
            at = mates[far]
        found.append(np.array(run))
    return tuple(found)


def _window(own: Floats, ends: Floats) -> Floats:
    """Return the corners of a hole or bend and what is round it, no more than there is of the part."""
    low, high = own.min(axis=0), own.max(axis=0)
    room = 1.1 * float((high - low).max())
    points = ends.reshape(-1, 2)
    pad = 0.12 * float((high - low).max())
    low = np.maximum(low - room, points.min(axis=0) - pad)
    high = np.minimum(high + room, points.max(axis=0) + pad)
    return np.stack([low, high])


def inside(cut: Cut) -> Bools:
    """Return (n,) which stretches are at least partly in the window."""
    low, high = cut.ends.min(axis=1), cut.ends.max(axis=1)
    return np.asarray(np.all((high >= cut.window[0]) & (low <= cut.window[1]), axis=1))
