"""`Cell` to `Panels`: graded triangles on every wetted surface, each remembering its body and feature."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from geom.arrays import Bools, Floats, Ints, frozen
from geom.cell.bodies import anode_title, other_solids, part_solid, placement, tank_solid
from geom.cell.cell import Cell, Pose
from geom.errors import CellError, PartError
from geom.findings import Finding, Severity
from geom.panel_sizes import EDGE_SIZE as EDGE_SIZE
from geom.panel_sizes import MeshOptions as MeshOptions
from geom.panel_sizes import scaled_sizes, scales_for, wanted_sizes
from geom.part.part import Part
from geom.surface.boxtree import box_tree
from geom.surface.recovery import Recovery
from geom.surface.remesh import SAG, remeshed
from geom.surface.segments import chains_of, nearest_segment
from geom.surface.sizing import EdgeSet, GradedSize, SizeSource, equilateral_edges, kept_edges
from geom.surface.solid import NotSolidError, joined, left_over
from geom.surface.surface import Surface

TANK, PART, FIRST_ANODE = 0, 1, 2
"""Body numbers: walls, floor and liquid surface; the part; anode k is FIRST_ANODE + k; then shields, thieves, and what is
bare of the part."""

KEPT_COARSER = 1.6  # panels of walls and anodes are kept over poses unless they are so many times too large in places
KEPT_AREA = 0.02  # share of its area by which panels across a curve may differ from the body
SAME = 1e-6  # share of the area by which the wet areas of two poses of one surface may differ
OFF_CURVE = 0.03  # share of the extent by which panels across a curve may miss it
WHOLE = 1e-9  # a feature that is wet but for this share of it is wet all over
ROUGH_SAG = 0.05  # share of the panel edge by which anodes and walls may be straightened


@dataclass(frozen=True, eq=False)
class Panels:
    """Triangles for the solver, normals out of the electrolyte; rows of the part come first.

    ``surface.tag`` is the body. The first ``part_count`` panels are what is wet and plated of the part, in the tank
    frame; then come those of it that stay bare, a body of their own that carries no current.
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
    source: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    # (part_count,) the face of ``part.surface`` that each panel lies on; of the file it came from by ``part.file_face``
    bare_feature: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))  # (bare panels,) as ``feature``
    wetted_areas: Floats = field(default_factory=lambda: np.zeros(0))
    # (features,) under the liquid, by formula where the part has dimensions, cut at the waterline [m²]

    def __post_init__(self) -> None:
        object.__setattr__(self, "bare_feature", frozen(self.bare_feature, np.int64))
        object.__setattr__(self, "wetted_areas", frozen(self.wetted_areas, np.float64))
        object.__setattr__(self, "feature", frozen(self.feature, np.int64))
        object.__setattr__(self, "edge_distance", frozen(self.edge_distance, np.float64))
        object.__setattr__(self, "edge_chain", frozen(self.edge_chain, np.int64))
        object.__setattr__(self, "edge_length", frozen(self.edge_length, np.float64))
        object.__setattr__(self, "source", frozen(self.source, np.int64))

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

    @cached_property
    def recovery(self) -> Recovery:
        """What makes values at the centroids of the part's panels into means over their quarters."""
        on_bare = np.zeros(len(self.surface.vertices), dtype=np.bool_)
        on_bare[self.surface.faces[self.part_count : self.hung_count]] = True
        return Recovery(self.part, np.asarray(on_bare[self.surface.faces[: self.part_count]].any(axis=1)))

    @cached_property
    def part(self) -> Surface:
        """The panels of the part that are plated, tags are features, tank frame."""
        mask = np.arange(len(self.surface.faces)) < self.part_count
        own = self.surface.selected(mask)
        return Surface(own.vertices, own.faces, self.feature)

    @property
    def hung_count(self) -> int:
        """Panels of the part, plated and bare."""
        return self.part_count + len(self.bare_feature)

    @cached_property
    def hung(self) -> Surface:
        """The panels of the part, first the plated ones and then the bare ones, tags are features, tank frame."""
        own = self.surface.selected(np.arange(len(self.surface.faces)) < self.hung_count)
        return Surface(own.vertices, own.faces, np.concatenate([self.feature, self.bare_feature]))


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
    wet = replace(wet, smooth=cell.part.smooth)
    edges = kept_edges(wet)
    plated = np.array([feature.is_plated for feature in cell.part.features])
    bodies = [wet, *(rest.selected(rest.tag == body) for body in np.unique(rest.tag))]
    sizes = wanted_sizes(cell.tank, bodies, edges, options, plated)
    sizes[0] = replace(sizes[0], firm=(*sizes[0].firm, *asked))
    if scales is None:
        scales = (
            (like.scale, like.rest_scale)
            if like is not None
            else scales_for(options.budget, sizes, bodies, options.scale)
        )
    scale, rest_scale = scales
    sizes = scaled_sizes(sizes, bodies, edges, scale, rest_scale)
    true = _true_areas(cell.part, wet)
    hung = _carried(like, cell, wet, true) if like is not None else None
    if hung is None:
        hung = _plated_first(remeshed(wet, sizes[0], sag=SAG * scale, areas=true), plated)
    standing = None if like is None or np.any(edges.tags[:, 1] < 0) else like
    others = [
        _kept(standing, body, size) or remeshed(body, size, sag=ROUGH_SAG * rest_scale)
        for body, size in zip(bodies[1:], sizes[1:], strict=True)
    ]
    count = int(np.count_nonzero(plated[hung.tag]))
    part_mesh = hung.selected(np.arange(len(hung.faces)) < count)
    distance, chain, edge_length = _edge_strips(cell.part, part_mesh, edges)
    bare_body = FIRST_ANODE + len(cell.anodes) + len(cell.shields) + len(cell.thieves)
    as_bodies = Surface(hung.vertices, hung.faces, np.where(plated[hung.tag], PART, bare_body))
    return Panels(
        surface=joined([as_bodies, *others]),
        part_count=count,
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
        source=_source_faces(cell, part_mesh),
        bare_feature=hung.tag[count:],
        wetted_areas=true,
    )


def _plated_first(mesh: Surface, plated: Bools) -> Surface:
    """Return the panels of the part with the bare ones behind the others."""
    order = np.argsort(~plated[mesh.tag], kind="stable")
    return Surface(mesh.vertices, mesh.faces[order], mesh.tag[order])


def _kept(like: Panels | None, body: Surface, size: GradedSize) -> Surface | None:
    """Return the panels that ``like`` has on a wall or anode, if they are the same surface and fine enough here.

    ``like`` None, or a part that meets a wall or the liquid surface: nothing is kept.
    """
    if like is None:
        return None
    old = like.surface.selected(like.surface.tag == body.tag[0])
    if not len(old.faces) or np.abs(old.bounds - body.bounds).max() > 1e-9:
        return None
    edge = equilateral_edges(old.areas)
    same = abs(old.area - body.area) < KEPT_AREA * body.area
    return old if same and bool(np.all(edge <= KEPT_COARSER * size(old.centroids))) else None


def _source_faces(cell: Cell, mesh: Surface) -> Ints:
    """Return (m,) the face of the part's own surface that each panel lies on: the nearest one of its feature."""
    whole = part_solid(cell.part, cell.pose)
    return box_tree(whole.corners, whole.tag).nearest(mesh.centroids, kind=mesh.tag)[0]


def _true_areas(part: Part, wet: Surface) -> Floats:
    """Return (tags,) the wetted area of each feature, by formula where the part has dimensions [m²]."""
    count = len(part.features)
    facets = np.bincount(part.surface.tag, weights=part.surface.areas, minlength=count)
    formula = np.array([feature.area for feature in part.features])
    under = np.bincount(wet.tag, weights=wet.areas, minlength=count)
    share = np.divide(under, facets, out=np.ones(count), where=facets > 0)
    return np.asarray(formula * np.where(np.abs(share - 1) < WHOLE, 1.0, share))


def _edge_strips(part: Part, mesh: Surface, edges: EdgeSet) -> tuple[Floats, Ints, Floats]:
    """Return each panel's distances to the nearest outside edge and which edge that is, and the edges' lengths.

    Outside edges are sharp convex ones, the border lines of a rounded strip along an edge, and the borders of a
    stop-off or a plug but for those in a nook: there too the current crowds, as r^(-1/2) on a flat face. A contact
    has no such border: the hook that sits there is metal, and plates as well. An edge runs on until it turns a corner.
    """
    rounded = np.array([feature.name.startswith("rounded") for feature in part.features])
    on_strip = np.any((edges.tags >= 0) & rounded[np.maximum(edges.tags, 0)], axis=1)
    bare = np.array([not feature.is_plated for feature in part.features])
    covered = bare & np.array([feature.bare != "contact" for feature in part.features])
    sides_bare, sides_covered = ((edges.tags >= 0) & which[np.maximum(edges.tags, 0)] for which in (bare, covered))
    steep = np.sin(np.radians(30.0))
    outside = (edges.bulge > steep) | on_strip | (sides_covered.any(axis=1) & (edges.bulge > -steep))
    outside &= ~sides_bare.all(axis=1) & ~(sides_bare.any(axis=1) & (edges.tags[:, 1] < 0))
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
    plated = [first + k for k, feature in enumerate(cell.part.features) if feature.is_plated]
    live = [r for r in regions if np.any(np.isin(r.tag, plated)) and np.any(np.isin(r.tag, anodes))]
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
    findings = _cut_off(cell, [r for r in regions if r not in live], rest, plated)
    return Surface(wet.vertices, wet.faces, wet.tag - first), rest, findings


def _cut_off(cell: Cell, shut: list[Surface], rest: Surface, plated: list[int]) -> list[Finding]:
    """Name wet pieces in the liquid that is ``shut`` off from the current, and anodes that stand idle."""
    findings = []
    dead = sum(float(r.areas[np.isin(r.tag, plated)].sum()) for r in shut)
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
    before = FIRST_ANODE + len(cell.anodes) + len(cell.shields)
    thieves = range(before, before + len(cell.thieves))
    idle = [number for number, body in enumerate(thieves, 1) if not np.any(rest.tag == body)]
    return findings + [
        Finding(Severity.WARNING, "thief-idle", f"thief {number} has no liquid joining it with the part and an anode")
        for number in idle
    ]


def _carried(like: Panels, cell: Cell, wet: Surface, areas: Floats) -> Surface | None:
    """Return the part's panels of another pose, turned over to this one; None when another surface is wet.

    The same one is wet where every feature is by as much, here ``areas``, and the panels come to lie where the surface
    is: but for what they stand off a curve, which is more the larger they are.
    """
    rotation, shift = placement(cell.part, like.pose)
    own = Surface((like.hung.vertices - shift) @ rotation, like.hung.faces, like.hung.tag)
    moved = own.moved(*placement(cell.part, cell.pose))
    same_areas = np.abs(like.wetted_areas - areas).max() < SAME * areas.sum()
    same_place = np.abs(moved.bounds - wet.bounds).max() < OFF_CURVE * np.ptp(wet.bounds, axis=0).max()
    return moved if same_areas and same_place else None
