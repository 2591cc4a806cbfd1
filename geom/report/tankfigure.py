"""The tank drawn to scale, from above and from the side, with the anodes and the part as first hung."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Patch, PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.ticker import MultipleLocator

from geom.advice.measures import anode_direction
from geom.arrays import Floats
from geom.cell.bodies import anode_half, part_solid, slab_solid, thief_solid, wire_solid
from geom.cell.cell import Anode, Cell, JarTank, RodAnode, Tank, WireAnode
from geom.plan import Plan
from geom.report.figures import MILLIMETRE, WIDTH_IN, blank, round_length
from geom.surface.surface import Surface
from geom.units import show

LIQUID, WALL, ANODE, PART = "#eaf3fb", "#444444", "#9a9a9a", "#c77b30"
SHIELD: dict[str, Any] = {
    "facecolor": "#f7f3dc",
    "edgecolor": "#6b6330",
    "lw": 0.8,
    "hatch": "////",
    "zorder": 3.2,
}
THIEF: dict[str, Any] = {"facecolor": "#8f6bb3", "edgecolor": "#4b2f6b", "lw": 0.8, "zorder": 2.9}  # under the part
LABEL: dict[str, Any] = {
    "textcoords": "offset points",
    "fontsize": 9,
    "zorder": 6,
    "bbox": {"facecolor": LIQUID, "edgecolor": "none", "pad": 0.8},
}
WIDEST_IN = 3.4  # of one drawing
TALLEST_IN = 5.0
SLIVER = 0.02  # least area of a piece or hole that is drawn [mm²]
EDGE_ON = 1e-9  # a face that looks at the eye by less throws no shadow
FREEBOARD = 0.12  # wall drawn above the liquid, as a share of its depth: the job does not say how much


@dataclass(frozen=True, slots=True)
class Side:
    """A way of looking at the tank: which axis of the tank runs across the picture and which up it."""

    across: int
    up: int


ABOVE = Side(0, 1)


def tank_figure(plan: Plan) -> Figure:
    """Return the tank to scale from above and from the side on which the gap to the anode is seen."""
    cell = plan.cell
    direction = anode_direction(plan.fields[0])
    along_y = direction is not None and abs(direction[1]) > abs(direction[0])
    side = Side(1, 2) if along_y else Side(0, 2)
    solid = part_solid(cell.part, cell.pose)
    windows = [window(cell, solid, look) for look in (ABOVE, side)]
    across = max(np.ptp(w[:, 0]) for w in windows)
    tall = max(np.ptp(w[:, 1]) for w in windows)
    inches = min(WIDEST_IN / across, TALLEST_IN / tall)  # for each mm
    legend = _legend(cell)
    rows = -(-len(legend) // 4)
    below = 0.8 + 0.25 * rows
    height = inches * tall + below + 0.45
    figure = blank(height)
    for k, (look, box) in enumerate(zip((ABOVE, side), windows, strict=True)):
        wide, high = np.ptp(box, axis=0) * inches
        left = (0.25 + 0.5 * k) * WIDTH_IN + 0.2 - wide / 2
        axes = figure.add_axes((left / WIDTH_IN, below / height, wide / WIDTH_IN, high / height))
        _axes_in_mm(axes, look, box, round_length(float(max(across, tall)) / 4))
        draw_side(axes, cell, solid, look)
    figure.legend(handles=legend, loc="lower center", ncols=4 if rows == 1 else 3, frameon=False)
    return figure


def window(cell: Cell, solid: Surface, look: Side) -> Floats:
    """Return (2, 2) the corners of what is shown, in mm: tank, anodes, shields, thieves, part and a margin."""
    low, high = tank_box(cell.tank)
    high[2] *= 1 + FREEBOARD
    boxes = [solid.bounds, *(body.bounds for _, _, body in standing(cell))]
    lows, highs = [low, *(box[0] for box in boxes)], [high, *(box[1] for box in boxes)]
    for anode in cell.anodes:
        half = anode_half(anode)
        lows.append(np.asarray(anode.at) - half)
        highs.append(np.asarray(anode.at) + half)
    chosen = [look.across, look.up]
    box = np.stack([np.min(lows, axis=0)[chosen], np.max(highs, axis=0)[chosen]]) / MILLIMETRE
    margin = 0.04 * float(np.ptp(box, axis=0).max())
    return np.asarray(box + np.array([[-margin], [margin]]))


def tank_box(tank: Tank) -> tuple[Floats, Floats]:
    """Return the lowest and highest corner of the liquid [m]."""
    length, width = (tank.diameter, tank.diameter) if isinstance(tank, JarTank) else (tank.length, tank.width)
    return np.array([-length / 2, -width / 2, 0.0]), np.array([length / 2, width / 2, tank.depth])


def draw_side(axes: Axes, cell: Cell, solid: Surface, look: Side) -> None:
    """Draw liquid, walls, anodes and part into axes whose unit is the mm."""
    _draw_tank(axes, cell.tank, look)
    for anode in cell.anodes:
        _draw_anode(axes, anode, cell.tank, look)
    axes.add_patch(PathPatch(outline_path(solid, look), facecolor=PART, edgecolor="#6d3f10", lw=0.7, zorder=3))
    for _, style, body in standing(cell):
        axes.add_patch(PathPatch(outline_path(body, look), **style))
    _name_standing(axes, cell, look)
    _number_copies(axes, cell, solid, look)
    if look is not ABOVE:
        _mark_gap(axes, cell, solid, look)
        _mark_depth(axes, cell.tank, solid, look)
    axes.set_title(side_title(cell.tank, look), fontsize=11)


def _axes_in_mm(axes: Axes, look: Side, box: Floats, step: float) -> None:
    """Have the axes show what is in ``box`` (2, 2), with a mark at every ``step``."""
    axes.set_xlabel(f"{'xyz'[look.across]}, mm")
    axes.set_ylabel(f"{'xyz'[look.up]}, mm")
    axes.set_xlim(*box[:, 0])
    axes.set_ylim(*box[:, 1])
    axes.set_aspect("equal")
    for axis, extent in zip((axes.xaxis, axes.yaxis), np.ptp(box, axis=0), strict=True):
        axis.set_major_locator(MultipleLocator(min(step, round_length(float(extent) / 2))))
    axes.tick_params(labelsize=9)
    axes.spines[["top", "right", "left", "bottom"]].set_visible(False)
    axes.grid(color="#d5d5d5", lw=0.5)
    axes.set_axisbelow(True)


def side_title(tank: Tank, look: Side) -> str:
    """Return the heading of one drawing, with the size of the tank that is seen in it."""
    if look is not ABOVE:
        return f"from the side: liquid {mm(tank.depth)} deep"
    if isinstance(tank, JarTank):
        return f"from above: diameter {mm(tank.diameter)}"
    return f"from above: {mm(tank.length)} × {mm(tank.width)}"


def mm(length: float) -> str:
    """Return a length [m] in mm, no finer than to a tenth of a mm."""
    return show(length, "mm", 2 if length < 0.01 else 3 if length < 0.1 else 4)


def _draw_tank(axes: Axes, tank: Tank, look: Side) -> None:
    low, high = (corner / MILLIMETRE for corner in tank_box(tank))
    x, y, wide, tall = (
        low[look.across],
        low[look.up],
        high[look.across] - low[look.across],
        high[look.up] - low[look.up],
    )
    if look is ABOVE and isinstance(tank, JarTank):
        axes.add_patch(Circle((0.0, 0.0), wide / 2, facecolor=LIQUID, edgecolor=WALL, lw=1.8, zorder=0.4))
        return
    axes.add_patch(Rectangle((x, y), wide, tall, facecolor=LIQUID, edgecolor="none", zorder=0.4))
    if look is ABOVE:
        axes.add_patch(Rectangle((x, y), wide, tall, facecolor="none", edgecolor=WALL, lw=1.8))
        return
    brim = tall * (1 + FREEBOARD)
    axes.plot([x, x, x + wide, x + wide], [brim, 0.0, 0.0, brim], color=WALL, lw=1.8, solid_joinstyle="miter")
    axes.plot([x, x + wide], [tall, tall], color="#2b7bba", lw=1.2, ls="--", zorder=4)


def standing(cell: Cell) -> list[tuple[str, dict[str, Any], Surface]]:
    """Return name, style and solid of each shield and thief."""
    shields = [(f"shield {k}", SHIELD, slab_solid(body, cell.tank)) for k, body in enumerate(cell.shields, 1)]
    thieves = [(f"thief {k}", THIEF, thief_solid(body, cell.tank)) for k, body in enumerate(cell.thieves, 1)]
    return [*shields, *thieves]


def _name_standing(axes: Axes, cell: Cell, look: Side) -> None:
    """Name shields under their lower ends, where no part is, and thieves beside; what is in one place shares a name."""
    names: dict[tuple[str, float, float], list[str]] = {}
    for title, _, body in standing(cell):
        kind, number = title.split(" ")
        up = body.bounds[0, look.up] if kind == "shield" else body.bounds[:, look.up].mean()
        across = body.bounds[:, look.across].mean()
        spot = (kind, round(across / MILLIMETRE, 1), round(up / MILLIMETRE, 1))
        names.setdefault(spot, []).append(number)
    for (kind, *place), numbers in names.items():
        words = f"{kind} {', '.join(numbers)}"
        if kind == "shield":
            axes.annotate(words, (place[0], place[1]), (0, -3), ha="center", va="top", **{**LABEL, "fontsize": 7})
        else:
            axes.annotate(words, (place[0], place[1]), (4, 4), **{**LABEL, "fontsize": 7})


def _number_copies(axes: Axes, cell: Cell, solid: Surface, look: Side) -> None:
    """Write the number of each part on a rack beside it; those that stand behind one another share a label."""
    copy = np.array([feature.copy for feature in cell.part.features])[solid.tag]
    places: dict[tuple[float, float], list[int]] = {}
    for number in (int(k) for k in np.unique(copy) if k > 0):
        low, high = solid.selected(copy == number).bounds / MILLIMETRE
        beside, middle = float(high[look.across]), float((low + high)[look.up]) / 2
        spot = (round(beside, 1), round(middle, 1))
        places.setdefault(spot, []).append(number)
    for spot, numbers in places.items():
        words = ", ".join(map(str, numbers)) if len(numbers) < 4 else f"{numbers[0]} to {numbers[-1]}"
        axes.annotate(words, spot, (3, 0), ha="left", va="center", **{**LABEL, "fontsize": 7})


def _draw_anode(axes: Axes, anode: Anode, tank: Tank, look: Side) -> None:
    centre, half = np.asarray(anode.at) / MILLIMETRE, anode_half(anode) / MILLIMETRE
    style: dict[str, Any] = {"facecolor": ANODE, "edgecolor": "#333333", "lw": 0.8, "zorder": 2}
    if isinstance(anode, WireAnode):  # over the part: it may run through it
        axes.add_patch(PathPatch(outline_path(wire_solid(anode, tank), look), **{**style, "zorder": 3.4}))
        return
    if look is ABOVE and isinstance(anode, RodAnode):
        axes.add_patch(Circle((centre[0], centre[1]), half[0], **style))
        return
    corner = centre - half
    size = 2 * half
    axes.add_patch(Rectangle((corner[look.across], corner[look.up]), size[look.across], size[look.up], **style))


def nearest_gap(cell: Cell, solid: Surface, axis: int) -> tuple[float, float, float] | None:
    """Return start, end and height of the free stretch along ``axis`` between part and nearest anode [m].

    None where no anode faces the part along that axis.
    """
    (part_low, part_high), gaps = solid.bounds, []
    others = [k for k in range(3) if k != axis]
    for anode in cell.anodes:
        low, high = np.asarray(anode.at) - anode_half(anode), np.asarray(anode.at) + anode_half(anode)
        bottom, top = np.maximum(low, part_low), np.minimum(high, part_high)
        if np.all(bottom[others] < top[others]) and bottom[axis] > top[axis]:
            gaps.append((float(top[axis]), float(bottom[axis]), _height_at(solid, axis, low, high)))
    return min(gaps, key=lambda gap: gap[1] - gap[0], default=None)


def _height_at(solid: Surface, axis: int, low: Floats, high: Floats) -> float:
    """Return a height at which the part comes nearest to an anode between ``low`` and ``high`` [m]."""
    side = 1 if low[axis] > solid.bounds[1, axis] - 1e-9 else 0
    nearest = np.abs(solid.vertices[:, axis] - solid.bounds[side, axis]) < 1e-5
    z = np.clip(solid.vertices[nearest, 2], low[2], high[2])
    return float(z.min() + 0.3 * (z.max() - z.min()))


def _mark_gap(axes: Axes, cell: Cell, solid: Surface, look: Side) -> None:
    gap = nearest_gap(cell, solid, look.across)
    if gap is None:
        return
    start, end, height = (value / MILLIMETRE for value in gap)
    _arrow(axes, (start, height), (end, height))
    words = mm(gap[1] - gap[0])
    low, high = solid.bounds[:, look.across] / MILLIMETRE
    if end - start > 0.25 * (axes.get_xlim()[1] - axes.get_xlim()[0]):
        axes.annotate(words, ((start + end) / 2, height), (0, -4), ha="center", va="top", **LABEL)
    elif end > (low + high) / 2:  # no room in the gap: beyond the part, where the anode is not
        axes.annotate(words, (low, height), (-4, 0), ha="right", va="center", **LABEL)
    else:
        axes.annotate(words, (high, height), (4, 0), ha="left", va="center", **LABEL)


def _mark_depth(axes: Axes, tank: Tank, solid: Surface, look: Side) -> None:
    """Mark how far the top of the part is below the liquid level."""
    top, level = solid.bounds[1, 2], tank.depth
    if level - top < 0.05 * level:
        return
    highest = solid.vertices[:, 2] > top - 1e-5
    middle = float(solid.vertices[highest, look.across].mean()) / MILLIMETRE
    _arrow(axes, (middle, top / MILLIMETRE), (middle, level / MILLIMETRE))
    place = (middle, (top + level) / 2 / MILLIMETRE)
    axes.annotate(mm(level - top), place, (5, 0), ha="left", va="center", **LABEL)


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    style: dict[str, Any] = {
        "arrowstyle": "<|-|>,head_length=0.3,head_width=0.12",
        "lw": 0.8,
        "color": "black",
        "shrinkA": 0,
        "shrinkB": 0,
    }
    axes.annotate("", start, end, arrowprops=style, zorder=5)


def silhouette(solid: Surface, look: Side) -> list[shapely.Polygon]:
    """Return the shadow of a solid as polygons in mm, without the slivers that rounding leaves between triangles."""
    # those that look at the eye cover all the others; their corners are shared and stay as they are, as a grid
    # would part them by more than a line is wide
    toward = solid.normals[:, 3 - look.across - look.up] > EDGE_ON
    flat = solid.corners[toward][:, :, [look.across, look.up]] / MILLIMETRE
    shadow = shapely.union_all(shapely.polygons(flat))
    return [
        shapely.Polygon(piece.exterior, [ring for ring in piece.interiors if shapely.Polygon(ring).area > SLIVER])
        for piece in shapely.get_parts(shadow)
        if piece.area > SLIVER
    ]


def outline_path(solid: Surface, look: Side) -> Path:
    """Return the shadow of a solid as a path in mm, holes as holes."""
    paths = []
    for polygon in silhouette(solid, look):
        for ring in (polygon.exterior, *polygon.interiors):
            paths.append(Path(np.asarray(ring.coords), closed=True))
    return Path.make_compound_path(*paths)


def _legend(cell: Cell) -> list[Patch | Line2D]:
    hung = "part, as first hung" if cell.part.copies == 1 else "parts by number, as first hung"
    return [
        Patch(facecolor=PART, edgecolor="#6d3f10", label=hung),
        Patch(facecolor=ANODE, edgecolor="#333333", label="anode"),
        *([Patch(label="shield", **SHIELD)] if cell.shields else []),
        *([Patch(label="thief", **THIEF)] if cell.thieves else []),
        Line2D([], [], color="#2b7bba", ls="--", lw=1.2, label="liquid level"),
        Line2D([], [], color=WALL, lw=1.8, label="wall (height not to scale)"),
    ]
