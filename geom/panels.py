"""`Cell` to `Panels`: graded triangles on every wetted surface, each remembering its body and feature."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geom.arrays import Bools, Floats, Ints, frozen
from geom.cell.bodies import anode_title, other_solids, part_solid, placement, tank_solid
from geom.cell.cell import Cell, Pose, Tank
from geom.errors import CellError, PartError
from geom.findings import Finding, Severity
from geom.part.part import Part
from geom.surface.remesh import SAG, remeshed
from geom.surface.segments import chains_of, nearest_segment
from geom.surface.sizing import (
    EdgeSet,
    GradedSize,
    SizeSource,
    along,
    bending,
    demand,
    kept_edges,
    least_size,
    patch_widths,
    scattered,
    size_source,
)
from geom.surface.solid import NotSolidError, joined, left_over
from geom.surface.surface import Surface

TANK, PART, FIRST_ANODE = 0, 1, 2
"""Body numbers: walls, floor and liquid surface; the part; anode k is FIRST_ANODE + k; then shields, then thieves."""

GROWTH = 0.35  # edge length gained for each metre away from an edge
EDGE_SIZE = 1.0e-3  # panel edge at the sharp edges of a part of the usual size [m]
FACE_SIZE = 5.0e-3  # panel edge in the middle of its broad faces [m]
ROUND = 0.3  # chord of a curved face of the part, in radii: 21 round a circle, 0.4 % short of its length
ROUND_ANODE = 0.4  # the same for anodes
ROUGH_SAG = 0.05  # share of the panel edge by which anodes and walls may be straightened
WALL_SIZE = 1.5e-3  # panel edge on a wall where an electrode meets it [m]
REST_FIRST = 1.3  # how much more than the part's the panels of walls and anodes are enlarged to meet the budget
FLOOR = 1e-6  # no panel edge is asked to be smaller [m]
BUDGET = 7000  # panels of one cell; beyond it every size is enlarged alike


@dataclass(frozen=True, eq=False)
class Panels:
    """Triangles for the solver, normals out of the electrolyte; rows of the part come first.

    ``surface.tag`` is the body. The first ``part_count`` panels are the wetted part, in the tank frame.
    """

    surface: Surface
    part_count: int
    feature: Ints  # (part_count,) index into part.features
    edge_distance: Floats  # (part_count, 4) from quarters of the panel to the nearest sharp outside edge [m]; or inf
    edge_chain: Ints  # (part_count,) the sharp edge nearest to the centroid; -1 without
    edge_length: Floats  # (edges,) length of each sharp edge [m]
    anode_count: int
    pose: Pose
    scale: float = 1.0  # by how much the budget enlarged the panels of the part
    rest_scale: float = 1.0  # and those of walls and anodes
    findings: tuple[Finding, ...] = ()
    shield_count: int = 0
    thief_count: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "feature", frozen(self.feature, np.int64))
        object.__setattr__(self, "edge_distance", frozen(self.edge_distance, np.float64))
        object.__setattr__(self, "edge_chain", frozen(self.edge_chain, np.int64))
        object.__setattr__(self, "edge_length", frozen(self.edge_length, np.float64))

    @property
    def body(self) -> Ints:
        """(n,) body of each panel."""
        return self.surface.tag

    def rows(self, body: int) -> Ints:
        """Return the panel numbers of one body."""
        return np.flatnonzero(self.surface.tag == body)

    @property
    def anodes(self) -> range:
        """Bodies of the anodes."""
        return range(FIRST_ANODE, FIRST_ANODE + self.anode_count)

    @property
    def thieves(self) -> range:
        """Bodies of the thieves."""
        first = FIRST_ANODE + self.anode_count + self.shield_count
        return range(first, first + self.thief_count)

    @property
    def on_anode(self) -> Bools:
        """(n,) is the panel on an anode?"""
        return np.isin(self.body, self.anodes)

    @property
    def electrodes(self) -> Ints:
        """Panel numbers of part, anodes and thieves: all that carries current."""
        return np.flatnonzero(np.isin(self.body, (PART, *self.anodes, *self.thieves)))

    @property
    def part(self) -> Surface:
        """The panels of the part alone, tags are features, tank frame."""
        mask = np.arange(len(self.surface.faces)) < self.part_count
        own = self.surface.selected(mask)
        return Surface(own.vertices, own.faces, self.feature)


@dataclass(frozen=True, slots=True)
class MeshOptions:
    """How finely to mesh: panel edge at sharp edges and amid faces [m], and the most panels."""

    edge_size: float = EDGE_SIZE
    face_size: float = FACE_SIZE
    budget: int = BUDGET


DEFAULT_OPTIONS = MeshOptions()


def mesh_cell(
    cell: Cell,
    options: MeshOptions = DEFAULT_OPTIONS,
    *,
    like: Panels | None = None,
    scales: tuple[float, float] | None = None,
    asked: Sequence[SizeSource] = (),
) -> Panels:
    """Return the panels of a cell.

    ``scales`` enlarge the panels of the part, and of the rest; without them the budget decides. ``asked``
    are further wishes for the panels of the part, in the frame of the tank; no scale enlarges them.

    ``like`` holds panels of the same part hung differently: where the same surface is wet, its panels are
    carried over to the new pose instead of meshed anew, so that thickness adds up panel by panel.

    Raises
    ------
    CellError
        where the liquid does not join the part with an anode.
    """
    wet, rest, findings = _wetted(cell)
    edges = kept_edges(wet)
    bodies = [wet, *(rest.selected(rest.tag == body) for body in np.unique(rest.tag))]
    sizes = _sizes(cell.tank, bodies, edges, options)
    sizes[0] = replace(sizes[0], firm=tuple(asked))
    if scales is None:
        scales = (like.scale, like.rest_scale) if like is not None else _scales_for(options.budget, sizes, bodies)
    scale, rest_scale = scales
    part_mesh = _carried(like, cell, wet) if like is not None else None
    if part_mesh is None:
        true = _true_areas(cell.part, wet)
        part_mesh = remeshed(wet, replace(sizes[0], scale=scale), sag=SAG * scale, areas=true)
    others = [
        remeshed(body, replace(size, scale=rest_scale), sag=ROUGH_SAG * rest_scale)
        for body, size in zip(bodies[1:], sizes[1:], strict=True)
    ]
    distance, chain, edge_length = _edge_strips(cell.part, part_mesh, edges)
    as_body = Surface(part_mesh.vertices, part_mesh.faces, np.full(len(part_mesh.faces), PART))
    return Panels(
        surface=joined([as_body, *others]),
        part_count=len(part_mesh.faces),
        feature=part_mesh.tag,
        edge_distance=distance,
        edge_chain=chain,
        edge_length=edge_length,
        anode_count=len(cell.anodes),
        pose=cell.pose,
        scale=scale,
        rest_scale=rest_scale,
        findings=(*findings, *_coarse(scale)),
        shield_count=len(cell.shields),
        thief_count=len(cell.thieves),
    )


def _true_areas(part: Part, wet: Surface) -> Floats:
    """Return (tags,) the wetted area of each feature, by formula where the part has dimensions [m²]."""
    count = len(part.features)
    facets = np.bincount(part.surface.tag, weights=part.surface.areas, minlength=count)
    formula = np.array([feature.area for feature in part.features])
    share = np.divide(formula, facets, out=np.ones(count), where=facets > 0)
    return np.asarray(share * np.bincount(wet.tag, weights=wet.areas, minlength=count))


def _scales_for(budget: int, sizes: list[GradedSize], bodies: list[Surface]) -> tuple[float, float]:
    """Return by how much the sizes of the part and of the rest must be enlarged to stay within the budget.

    Walls and anodes give way first: the plan is about the part.
    """
    part, rest = 1.0, 1.0
    demands = [demand(body, size) for body, size in zip(bodies, sizes, strict=True)]
    for _ in range(20):
        counts = [wish.faces(rest if k else part) for k, wish in enumerate(demands)]
        over = sum(counts) / budget
        if over <= 1:
            break
        if rest < REST_FIRST * part and sum(counts[1:]) > 0.15 * budget:
            rest *= max(1.05, min(over, 2.0) ** 0.6)
        else:
            part *= max(1.05, over**0.6)
            rest = max(rest, part)
    return part, rest


def _edge_strips(part: Part, mesh: Surface, edges: EdgeSet) -> tuple[Floats, Ints, Floats]:
    """Return each panel's distances to the nearest outside edge and which edge that is, and the edges' lengths.

    Outside edges are sharp convex ones, and the border lines of a rounded strip along an edge; an edge runs
    on until it turns a corner.
    """
    rounded = np.array([feature.name.startswith("rounded") for feature in part.features])
    on_strip = np.any((edges.tags >= 0) & rounded[np.maximum(edges.tags, 0)], axis=1)
    outside = (edges.bulge > np.sin(np.radians(30.0))) | on_strip
    count = len(mesh.faces)
    if not np.any(outside):
        return np.full((count, 4), np.inf), np.full(count, -1, dtype=np.int64), np.zeros(0)
    start, end = edges.start[outside], edges.end[outside]
    chains = chains_of(edges.vertices[outside], start, end)
    middle, corners = mesh.centroids, mesh.corners
    outer = 0.5 * (corners + middle[:, None, :])  # middles of the three corner quarters
    quarters = np.concatenate([middle[:, None, :], outer], axis=1).reshape(-1, 3)
    distance, nearest = nearest_segment(quarters, start, end)
    length = np.asarray(np.bincount(chains, np.linalg.norm(end - start, axis=1)), dtype=np.float64)
    return distance.reshape(-1, 4), chains[nearest.reshape(-1, 4)[:, 0]], length


def _coarse(scale: float) -> list[Finding]:
    """Say so when the budget made the panels much larger than wanted."""
    if scale <= 1.6:
        return []
    return [
        Finding(
            Severity.NOTE,
            "panels-enlarged",
            f"panels were made {scale:.1f} times larger than wanted to keep the solve short; edge values are less sure",
        )
    ]


def _wetted(cell: Cell) -> tuple[Surface, Surface, list[Finding]]:
    """Return the wetted part (tags: features), the other wetted surfaces (tags: bodies), and findings."""
    part, tank = part_solid(cell.part, cell.pose), tank_solid(cell.tank)
    others = [
        Surface(s.vertices, s.faces, np.full(len(s.faces), k)) for k, s in enumerate(other_solids(cell), FIRST_ANODE)
    ]
    first = FIRST_ANODE + len(others)  # features are told from bodies by tags from here on
    try:
        regions = left_over(tank, [Surface(part.vertices, part.faces, part.tag + first), *others])
    except NotSolidError as error:
        raise PartError(
            "mesh-not-solid", f"the part does not bound a solid ({error})", hint="repair the mesh first"
        ) from None
    anodes = range(FIRST_ANODE, FIRST_ANODE + len(cell.anodes))
    live = [r for r in regions if np.any(r.tag >= first) and np.any(np.isin(r.tag, anodes))]
    if not live:
        raise CellError(
            "no-current-path",
            "the liquid does not join the part with any anode",
            where="[[anode]] and [pose]",
            hint="an anode or a shield that spans the tank, or a part above the liquid, cuts the current off",
        )
    region = live[0] if len(live) == 1 else joined(live)
    on_part = region.tag >= first
    wet, rest = region.selected(on_part), region.selected(~on_part)
    findings = _cut_off(cell, regions, live, rest, first)
    return Surface(wet.vertices, wet.faces, wet.tag - first), rest, findings


def _cut_off(cell: Cell, regions: list[Surface], live: list[Surface], rest: Surface, first: int) -> list[Finding]:
    """Name wet pieces that no current can reach, and anodes that stand idle."""
    findings = []
    dead = sum(float(r.areas[r.tag >= first].sum()) for r in regions if r not in live)
    if dead > 0:
        findings.append(
            Finding(
                Severity.WARNING,
                "part-cut-off",
                f"{1e6 * dead:.0f} mm² of the part lie in liquid that no current reaches (a sealed void or a space "
                "shut off by an anode or a shield); they stay bare and are not in the wetted area",
            )
        )
    for k, anode in enumerate(cell.anodes):
        if not np.any(rest.tag == FIRST_ANODE + k):
            findings.append(
                Finding(
                    Severity.WARNING,
                    "anode-idle",
                    f"{anode_title(k + 1, anode)} has no liquid joining it with the part",
                )
            )
    thieves = range(FIRST_ANODE + len(cell.anodes) + len(cell.shields), first)
    idle = [number for number, body in enumerate(thieves, 1) if not np.any(rest.tag == body)]
    return findings + [
        Finding(Severity.WARNING, "thief-idle", f"thief {number} has no liquid joining it with the part and an anode")
        for number in idle
    ]


def _carried(like: Panels, cell: Cell, wet: Surface) -> Surface | None:
    """Return the part's panels of another pose, turned over to this one; None when another surface is wet."""
    rotation, shift = placement(cell.part, like.pose)
    own = Surface((like.part.vertices - shift) @ rotation, like.part.faces, like.part.tag)
    moved = own.moved(*placement(cell.part, cell.pose))
    same_level = np.abs(moved.bounds - wet.bounds).max() < 1e-6
    # the panels cut across curves, the larger they are the more: a few percent are no sign of another surface
    return moved if same_level and abs(moved.area - wet.area) < 0.05 * wet.area else None


def _shape_sources(wet: Surface, edges: EdgeSet, options: MeshOptions, around: float = ROUND) -> list[SizeSource]:
    """Return what the part's own shape asks for: small at sharp edges, narrow faces and tight curves."""
    widths = patch_widths(wet, edges)
    longest = float(np.ptp(wet.bounds, axis=0).max())
    wanted = min(options.edge_size, longest / 30)
    narrow = np.where(edges.tags >= 0, widths[np.maximum(edges.tags, 0)], np.inf).min(axis=1)
    at_edge = np.minimum(wanted, 1.5 * narrow)
    sources = []
    outside = (edges.bulge != 0) | (edges.tags[:, 1] < 0)
    if np.any(outside):
        points, which = along(edges.start[outside], edges.end[outside], wanted / 2)
        sources.append(size_source(points, at_edge[outside][which], GROWTH))
    middles, radius = bending(wet)
    if len(middles):
        # chords of 0.3 radii lose 0.4 % of a curved face; roundings near the panel size get longer ones, up to 3 %
        edge = options.edge_size
        chord = np.stack([around * radius, np.minimum(0.5 * radius, 0.5 * edge), np.minimum(0.8 * radius, 0.3 * edge)])
        sources.append(size_source(middles, chord.max(axis=0), GROWTH))
    return sources


def _near_sources(
    bodies: list[Surface], surface: Surface, share: float, least: float, reach: float
) -> list[SizeSource]:
    """Return what near neighbours ask of ``surface``: panels no larger than ``share`` of the gap."""
    sources = []
    low, high = surface.bounds
    for body in bodies:
        other_low, other_high = body.bounds
        apart = float(np.linalg.norm(np.maximum(np.maximum(other_low - high, low - other_high), 0.0)))
        if apart * share < reach:
            points = scattered(body, max(least, min(apart, reach) / 2, np.sqrt(body.area / 2e5)))
            sources.append(size_source(points, least, share))
    return sources


def _sizes(tank: Tank, bodies: list[Surface], edges: EdgeSet, options: MeshOptions) -> list[GradedSize]:
    """Return the size field of each body: the part first, then walls and the others in the order of their tags."""
    wet, walls, others = bodies[0], bodies[1], bodies[2:]
    own = _shape_sources(wet, edges, options)
    least = min(options.edge_size / 2, least_size(own))
    near = _near_sources([walls, *others], wet, 0.7, least, options.face_size)
    sizes = [GradedSize((*own, *near), options.face_size, FLOOR)]
    tank_cap = 0.2 * float(np.ptp(tank_solid(tank).bounds, axis=0).min())
    around = [
        size_source(scattered(body, max(2 * options.edge_size, float(np.sqrt(body.area / 4e3)))), WALL_SIZE, 0.6)
        for body in (wet, *others)
    ]
    sizes.append(GradedSize(tuple(around), tank_cap, FLOOR))
    larger = replace(options, edge_size=2.5 * options.edge_size)
    for other in others:
        shape = _shape_sources(other, kept_edges(other), larger, ROUND_ANODE)
        neighbours = [wet, walls, *(body for body in others if body is not other)]
        close = _near_sources(neighbours, other, 0.7, least, options.face_size)
        sizes.append(GradedSize((*shape, *close), 2.5 * options.face_size, FLOOR))
    return sizes
