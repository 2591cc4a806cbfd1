"""How large the panels of a cell are to be: small at edges, on curves, in narrow places; larger to meet the budget."""

from dataclasses import dataclass, replace

import numpy as np

from geom.arrays import Bools
from geom.cell.bodies import tank_solid
from geom.cell.cell import Tank
from geom.surface.boxtree import box_tree
from geom.surface.remesh import SHARP, half_edge_twins
from geom.surface.sizing import (
    EdgeSet,
    GradedSize,
    SizeSource,
    along,
    bending,
    curving,
    demand,
    kept_edges,
    patch_widths,
    sampled,
    scattered,
    size_source,
)
from geom.surface.soundness import smooth_groups
from geom.surface.surface import Surface

GROWTH = 0.35  # edge length gained for each metre away from an edge
EDGE_SIZE = 1.0e-3  # panel edge at the sharp edges of a part of the usual size [m]
FACE_SIZE = 5.0e-3  # panel edge in the middle of its broad faces [m]
ROUND = 0.3  # chord of a curved face of the part, in radii: 21 round a circle
ROUND_ANODE = 0.4  # the same for anodes
ROUND_MOST = 0.45  # longest chord of a round rim at any scale, in radii: a hole of 14 sides is true to 2 %
WALL_SIZE = 1.5e-3  # panel edge on a wall where an electrode meets it [m]
GAP_SHARE = 0.7  # panels are no larger than this share of a gap of liquid that they face
THIN_SHARE = 3.0  # nor than this many thicknesses of the metal behind them
NARROW, NARROW_REST = 1.5, 2.5  # nor, along the edges of a narrow face, than so many of its widths: part, others
LEAST_SHARE = 0.3  # of the panel edge: no gap or wall asks for less
REST_FIRST = 1.3  # how much more than the part's the panels of walls and anodes are enlarged to meet the budget
MOST_SCALE = 5.0  # beyond that the budget gives way: panels wider than the gaps between bodies lose the balance
FLOOR = 1e-6  # no panel edge is asked to be smaller [m]
BUDGET = 7000  # panels of one cell; beyond it every size is enlarged alike


@dataclass(frozen=True, slots=True)
class MeshOptions:
    """How finely to mesh: panel edge at sharp edges and amid faces [m], and the most panels."""

    edge_size: float = EDGE_SIZE
    face_size: float = FACE_SIZE
    budget: int = BUDGET
    scale: float = 1.0  # by how much all panels are enlarged to begin with


def scales_for(budget: int, sizes: list[GradedSize], bodies: list[Surface], begin: float = 1.0) -> tuple[float, float]:
    """Return by how much the sizes of the part and of the rest are enlarged: by ``begin``, or more to stay within the budget.

    Walls and anodes give way first: the plan is about the part.
    """
    part, rest, before = begin, begin, np.inf
    demands = [demand(body, size) for body, size in zip(bodies, sizes, strict=True)]
    for _ in range(20):
        counts = [wish.faces(rest if k else part) for k, wish in enumerate(demands)]
        over = sum(counts) / budget
        if over <= 1 or sum(counts) > 0.99 * before:  # what is insisted on is not to be had for less
            break
        before = sum(counts)
        if rest < REST_FIRST * part and sum(counts[1:]) > 0.15 * budget:
            rest *= max(1.05, min(over, 2.0) ** 0.6)
        else:
            part *= max(1.05, over**0.6)
            rest = max(rest, part)
    return min(part, max(begin, MOST_SCALE)), min(rest, max(begin, MOST_SCALE))


def scaled_sizes(
    sizes: list[GradedSize], bodies: list[Surface], edges: EdgeSet, scale: float, rest_scale: float
) -> list[GradedSize]:
    """Return the sizes enlarged: of the part by ``scale``, of the rest by ``rest_scale``.

    Where the part passes through the liquid surface or stands on a wall, the panels there are as fine as the part's.
    """
    part, *rest = (replace(size, scale=rest_scale if k else scale) for k, size in enumerate(sizes))
    rim = edges.tags[:, 1] < 0
    if np.any(rim):
        points = along(edges.start[rim], edges.end[rim], 0.5 * float(part(edges.start[rim]).min()))[0]
        rest[0] = replace(rest[0], firm=(size_source(points, part(points), GROWTH),))
    return [part, *rest]


def _by_sides(surface: Surface) -> Surface:
    """Return the surface with a tag for each of its smooth sides."""
    twin = half_edge_twins(surface.faces)
    half = np.flatnonzero(np.arange(len(twin)) < twin)
    groups = smooth_groups(np.stack([half, twin[half]], axis=1), surface.normals, float(np.arccos(SHARP)))
    return Surface(surface.vertices, surface.faces, groups)


def _thin_source(surface: Surface, least: float, most: float) -> list[SizeSource]:
    """Return what thin walls of metal ask of their surface: panels no larger than a few thicknesses."""
    places, _, faces = sampled(surface)
    through = box_tree(surface.corners).along_rays(places, surface.normals[faces], 1e-9, most / THIN_SHARE)
    near = np.isfinite(through)
    return [size_source(places[near], np.maximum(THIN_SHARE * through[near], least), GROWTH)] if np.any(near) else []


def _gap_source(bodies: list[Surface], least: float, most: float) -> list[SizeSource]:
    """Return what narrow gaps of liquid ask of both their sides: panels no larger than a share of the gap.

    Gaps are looked for straight out of every surface but the walls, the second of ``bodies``.
    """
    tree = box_tree(np.concatenate([body.corners for body in bodies]))
    points, sizes = [np.zeros((0, 3))], [np.zeros(0)]
    for body in (bodies[0], *bodies[2:]):
        places, _, faces = sampled(body)
        ways = -body.normals[faces]  # into the liquid
        across = tree.along_rays(places, ways, 1e-9, most / GAP_SHARE)
        near = np.isfinite(across)
        points += [places[near], places[near] + across[near, None] * ways[near]]
        sizes += 2 * [np.maximum(GAP_SHARE * across[near], least)]
    every = np.concatenate(points)
    return [size_source(every, np.concatenate(sizes), GROWTH)] if len(every) else []


def _shape_sources(
    wet: Surface,
    edges: EdgeSet,
    options: MeshOptions,
    around: float = ROUND,
    narrowest: float = NARROW,
    plated: Bools | None = None,
) -> tuple[list[SizeSource], list[SizeSource]]:
    """Return what a shape asks for, small at sharp edges, narrow faces and tight curves; and what it insists on.

    ``plated`` (tags,) tells what carries current: at the border to what does not, current crowds as at an edge.
    """
    widths = patch_widths(wet, edges)
    longest = float(np.ptp(wet.bounds, axis=0).max())
    wanted = min(options.edge_size, longest / 30)
    narrow = np.where(edges.tags >= 0, widths[np.maximum(edges.tags, 0)], np.inf).min(axis=1)
    at_edge = np.minimum(wanted, narrowest * narrow)
    sources, firm = [], []
    outside = (edges.bulge != 0) | (edges.tags[:, 1] < 0)
    if plated is not None:
        outside |= plated[edges.tags[:, 0]] != plated[edges.tags[:, 1]]
    if np.any(outside):
        points, which = along(edges.start[outside], edges.end[outside], wanted / 2)
        sources.append(size_source(points, at_edge[outside][which], GROWTH))
    middles, radius = bending(wet)
    if len(middles):
        # chords of 0.3 radii lose 0.4 % of a curved face; roundings near the panel size get longer ones, up to 3 %
        edge = options.edge_size
        chord = np.stack([around * radius, np.minimum(0.5 * radius, 0.5 * edge), np.minimum(0.8 * radius, 0.3 * edge)])
        sources.append(size_source(middles, chord.max(axis=0), GROWTH))
    rims, radius = curving(edges)
    wide = radius > options.edge_size
    if np.any(wide):
        firm.append(size_source(rims[wide], max(ROUND_MOST, 1.5 * around) * radius[wide], GROWTH))
    return sources, firm


def wanted_sizes(
    tank: Tank, bodies: list[Surface], edges: EdgeSet, options: MeshOptions, plated: Bools | None = None
) -> list[GradedSize]:
    """Return the size field of each body: the part first, then walls and the others in the order of their tags.

    ``plated`` (features,) tells which features of the part carry current; by default all.
    """
    wet, others = bodies[0], bodies[2:]
    least = LEAST_SHARE * options.edge_size
    gaps = _gap_source(bodies, least, options.face_size)
    own, firm = _shape_sources(wet, edges, options, plated=plated)
    thin = _thin_source(wet, least, options.face_size)
    sizes = [GradedSize((*own, *thin, *gaps), options.face_size, FLOOR, firm=tuple(firm))]
    tank_cap = 0.2 * float(np.ptp(tank_solid(tank).bounds, axis=0).min())
    around = [
        size_source(scattered(body, max(2 * options.edge_size, float(np.sqrt(body.area / 4e3)))), WALL_SIZE, 0.6)
        for body in (wet, *others)
    ]
    sizes.append(GradedSize((*around, *gaps), tank_cap, FLOOR))
    larger = replace(options, edge_size=2.5 * options.edge_size)
    for other in others:
        sides = _by_sides(other)
        shape, firm = _shape_sources(sides, kept_edges(sides), larger, ROUND_ANODE, NARROW_REST)
        sizes.append(GradedSize((*shape, *gaps), 2.5 * options.face_size, FLOOR, firm=tuple(firm)))
    return sizes
