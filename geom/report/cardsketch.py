"""The sketch of the card: how the part hangs, from the side and as the anode sees it. Black on white."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyArrowPatch, PathPatch, Rectangle

from geom.advice.measures import anode_direction
from geom.arrays import Floats
from geom.cell.bodies import anode_half, part_solid, wire_solid
from geom.cell.cell import Anode, WireAnode
from geom.plan import Plan
from geom.report.answer import hung
from geom.report.cardpage import face
from geom.report.cardwords import clipped, is_timed, lengths
from geom.report.figures import MILLIMETRE
from geom.report.tankfigure import Side, nearest_gap, outline_path, standing, tank_box, window
from geom.surface.surface import Surface

LIQUID, PART, METAL = "#e9e9e9", "#2b2b2b", "#b9b9b9"
HARDLY = 0.05  # share of the depth of liquid over the part that is too little to draw
LINE: dict[str, Any] = {"color": "black", "solid_capstyle": "butt", "clip_on": False}
SIGN = 2.4  # radius of a pole's sign on the page, in mm
HEAD = 14.0  # room over the tank for hooks and signs, on the page, in mm


@dataclass(frozen=True, eq=False)
class Sketch:
    """One drawing: where it looks, what it shows, in mm of the tank, and how large it is on the page."""

    axes: Axes
    look: Side
    box: Floats  # (2, 2) corners of what is shown [mm]
    scale: float  # mm of the tank for each mm of the page

    @property
    def top(self) -> float:
        """Height of the upper end of what the tank has [mm of the tank]."""
        return float(self.box[1, 1])


def side_of(plan: Plan) -> tuple[Side, Floats | None]:
    """Return the side from which the gap to the anode is seen, and the direction from part to anode."""
    direction = anode_direction(plan.fields[0])
    along_y = direction is not None and abs(direction[1]) > abs(direction[0])
    return (Side(1, 2) if along_y else Side(0, 2)), direction


def sketch_captions(plan: Plan) -> tuple[str, ...]:
    """Return what the signs, letters and patterns of the sketch mean, line by line."""
    cell = plan.cell
    side, direction = side_of(plan)
    solid = part_solid(cell.part, cell.pose)
    gap = nearest_gap(cell, solid, side.across)
    top = cell.tank.depth - solid.bounds[1, 2]
    words = [f"plus: anode{'s' if len(cell.anodes) > 1 else ''}, minus: {hung(plan)}"]
    if gap is not None:
        words.append(f"a = {lengths(gap[1] - gap[0])}")
    if top > HARDLY * cell.tank.depth:
        words.append(f"b = {lengths(top)}")
    lines = ["; ".join(words)]
    if direction is not None:
        lines.append(f"Toward the anode: {clipped(_facing(plan, direction), 40)}")
    kinds = [("striped: shield", cell.shields), ("dotted: thief", cell.thieves)]
    patterns = [words for words, bodies in kinds if bodies]
    return (*lines, ", ".join(patterns)) if patterns else tuple(lines)


def shown_across(plan: Plan) -> tuple[float, float]:
    """Return how far across both drawings what they show reaches [mm of the tank]."""
    side, _ = side_of(plan)
    solid = part_solid(plan.cell.part, plan.cell.pose)
    looks = (side, Side(1 - side.across, 2))
    first, second = (float(np.ptp(window(plan.cell, solid, look)[:, 0])) for look in looks)
    return first, second


def draw_sketches(plan: Plan, places: tuple[Axes, Axes], sizes: tuple[tuple[float, float], ...]) -> None:
    """Draw the part in its tank into both axes, of ``sizes`` mm on the page: from the side, and as anode 1 sees it."""
    cell = plan.cell
    side, _ = side_of(plan)
    solid = part_solid(cell.part, cell.pose)
    looks = (side, Side(1 - side.across, 2))
    boxes = [window(cell, solid, look) for look in looks]
    scale = max(
        float(max(np.ptp(box[:, 0]) / wide, np.ptp(box[:, 1]) / (high - HEAD)))
        for box, (wide, high) in zip(boxes, sizes, strict=True)
    )
    for number, (axes, look, box, (wide, high)) in enumerate(zip(places, looks, boxes, sizes, strict=True)):
        middle = box[:, 0].mean()
        across = (middle - scale * wide / 2, middle + scale * wide / 2)
        # the eye is at the anode: what is to its right depends on which side that is
        axes.set_xlim(*(across[::-1] if number and _is_mirrored(plan, look) else across))
        spare = scale * (high - HEAD) - np.ptp(box[:, 1])
        axes.set_ylim(box[0, 1] - spare / 2, box[0, 1] - spare / 2 + scale * high)
        axes.set_aspect("equal")
        _draw(plan, solid, Sketch(axes, look, box, scale), from_anode=number == 1)


def _is_mirrored(plan: Plan, look: Side) -> bool:
    """Does the axis across the picture run to the left, seen from anode 1? (right hand = forward x up)"""
    along = 1 - look.across
    ahead = plan.cell.pose.at[along] - plan.cell.anodes[0].at[along]
    return bool(ahead > 0) if look.across == 1 else bool(ahead < 0)


def _draw(plan: Plan, solid: Surface, sketch: Sketch, *, from_anode: bool) -> None:
    cell, axes, look = plan.cell, sketch.axes, sketch.look
    low, high = (corner / MILLIMETRE for corner in tank_box(cell.tank))
    left, right, level = low[look.across], high[look.across], high[2]
    axes.add_patch(Rectangle((left, 0), right - left, level, facecolor=LIQUID, edgecolor="none", zorder=0.4))
    brim = level * 1.12
    axes.plot([left, left, right, right], [brim, 0, 0, brim], lw=2.2, solid_joinstyle="miter", zorder=1, **LINE)
    axes.plot([left, right], [level, level], color="black", lw=1.2, ls=(0, (5, 2)), zorder=4)
    for anode in cell.anodes:
        _draw_anode(plan, anode, sketch, in_front=from_anode and anode is cell.anodes[0])
    path = outline_path(solid, look)
    axes.add_patch(PathPatch(path, facecolor=PART, edgecolor="black", lw=0.6, zorder=3))
    for title, _, body in standing(cell):
        hatch, order = ("////", 3.2) if title.startswith("shield") else ("....", 2.9)  # a thief hides no part
        style = {"facecolor": "white", "edgecolor": "black", "lw": 0.8, "hatch": hatch, "zorder": order}
        axes.add_patch(PathPatch(outline_path(body, look), **style))
    _hang(plan, solid, sketch)
    if not from_anode:
        _signs_of_anodes(plan, sketch)
        _mark(plan, solid, sketch)


def _draw_anode(plan: Plan, anode: Anode, sketch: Sketch, *, in_front: bool) -> None:
    axes, look = sketch.axes, sketch.look
    style: dict[str, Any] = {"facecolor": METAL, "edgecolor": "black", "lw": 1.0, "zorder": 2}
    if in_front:  # it would hide the part: its outline alone
        style |= {"facecolor": "none", "ls": (0, (1.5, 1.5)), "zorder": 3.6}
    if isinstance(anode, WireAnode):
        axes.add_patch(PathPatch(outline_path(wire_solid(anode, plan.cell.tank), look), **style))
        return
    centre, half = np.asarray(anode.at) / MILLIMETRE, anode_half(anode) / MILLIMETRE
    corner, size = centre - half, 2 * half
    axes.add_patch(Rectangle((corner[look.across], corner[look.up]), size[look.across], size[look.up], **style))


def _hang(plan: Plan, solid: Surface, sketch: Sketch) -> None:
    """Draw the hooks up to a bar, and on it the sign of the part's pole."""
    axes, across = sketch.axes, sketch.look.across
    copy = np.array([feature.copy for feature in plan.cell.part.features])[solid.tag]
    hooks: dict[float, tuple[float, float]] = {}
    for number in np.unique(copy):
        points = solid.selected(copy == number).vertices / MILLIMETRE
        top = float(points[:, 2].max())
        middle = float(points[points[:, 2] > top - 0.01][:, across].mean())
        key = round(float(points[:, across].mean()), 1)
        if key not in hooks or hooks[key][1] < top:
            hooks[key] = (middle, top)
    bar = sketch.top + 0.62 * HEAD * sketch.scale
    for middle, top in hooks.values():
        axes.plot([middle, middle], [top, bar], lw=1.1, zorder=2.5, **LINE)
    ends = sorted(middle for middle, _ in hooks.values())
    if len(ends) > 1:
        axes.plot([ends[0], ends[-1]], [bar, bar], lw=2.0, zorder=2.5, **LINE)
    middle = (ends[0] + ends[-1]) / 2
    _sign(sketch, middle, bar + 2.6 * sketch.scale, plus=False)
    if is_timed(plan) and any(stage.name == "turned half round" for stage in plan.deposit.stages):
        _turn_mark(sketch, middle, sketch.top + 0.16 * HEAD * sketch.scale)


def _sign(sketch: Sketch, x: float, y: float, *, plus: bool) -> None:
    """Draw a pole: a ring with its sign, black for the part's."""
    axes, radius = sketch.axes, SIGN * sketch.scale
    ink = "black" if plus else "white"
    fill = "white" if plus else "black"
    axes.add_patch(Circle((x, y), radius, facecolor=fill, edgecolor="black", lw=1.2, zorder=6, clip_on=False))
    arm = 0.55 * radius
    style: dict[str, Any] = {**LINE, "color": ink, "lw": 1.8, "zorder": 6.5}
    axes.plot([x - arm, x + arm], [y, y], **style)
    if plus:
        axes.plot([x, x], [y - arm, y + arm], **style)


def _turn_mark(sketch: Sketch, x: float, y: float) -> None:
    """Draw an arrow round the hook: it is turned there."""
    angles = np.radians(np.linspace(60.0, 385.0, 60))
    ring = np.column_stack([x + 5.0 * sketch.scale * np.cos(angles), y + 1.8 * sketch.scale * np.sin(angles)])
    axes = sketch.axes
    axes.plot(ring[:, 0], ring[:, 1], lw=1.6, zorder=2.6, **LINE)
    end = ring[-1] + 2.4 * sketch.scale * np.array([-0.35, 0.94])
    head = FancyArrowPatch(
        tuple(ring[-4]), tuple(end), arrowstyle="-|>", mutation_scale=11, color="black", lw=0, zorder=2.7
    )
    head.set_clip_on(False)
    axes.add_patch(head)


def _signs_of_anodes(plan: Plan, sketch: Sketch) -> None:
    """Draw a lead up from every anode, and the sign of its pole; those that would overlap share one."""
    axes, across = sketch.axes, sketch.look.across
    done: list[float] = []
    y = sketch.top + 0.18 * HEAD * sketch.scale
    for anode in plan.cell.anodes:
        if isinstance(anode, WireAnode):
            upper = max(anode.start, anode.end, key=lambda end: end[2])
            x, top = upper[across] / MILLIMETRE, upper[2] / MILLIMETRE
        else:
            x = anode.at[across] / MILLIMETRE
            top = (anode.at[2] + float(anode_half(anode)[2])) / MILLIMETRE
        axes.plot([x, x], [min(top, y), y], lw=1.1, zorder=1.8, **LINE)
        if all(abs(x - other) > 2.4 * SIGN * sketch.scale for other in done):
            _sign(sketch, x, y, plus=True)
            done.append(x)


def _mark(plan: Plan, solid: Surface, sketch: Sketch) -> None:
    """Draw the gap to the anode (a) and how deep the top of the part hangs (b)."""
    gap = nearest_gap(plan.cell, solid, sketch.look.across)
    if gap is not None:
        start, end, height = (value / MILLIMETRE for value in gap)
        _arrow(sketch, (start, height), (end, height))
        _letter(sketch, (start + end) / 2, height - 0.8 * sketch.scale, "a", align="center", stand="top")
    top, level = solid.bounds[1, 2], plan.cell.tank.depth
    if level - top > HARDLY * level:
        x = solid.bounds[:, sketch.look.across].mean() / MILLIMETRE
        aside = x + (_away(plan, sketch) * max(3.5 * sketch.scale, np.ptp(solid.bounds[:, sketch.look.across]) / 2000))
        _arrow(sketch, (aside, top / MILLIMETRE), (aside, level / MILLIMETRE))
        beyond = aside + _away(plan, sketch) * 1.2 * sketch.scale
        align = "left" if _away(plan, sketch) > 0 else "right"
        _letter(sketch, beyond, (top + level) / 2 / MILLIMETRE, "b", align=align, stand="center")


def _away(plan: Plan, sketch: Sketch) -> float:
    """Return the way along the picture that leads away from the anode."""
    direction = anode_direction(plan.fields[0])
    return 1.0 if direction is None or direction[sketch.look.across] < 0 else -1.0


def _arrow(sketch: Sketch, start: tuple[float, float], end: tuple[float, float]) -> None:
    style: dict[str, Any] = {
        "arrowstyle": "<|-|>",
        "mutation_scale": 6,
        "lw": 0.8,
        "color": "black",
        "shrinkA": 0,
        "shrinkB": 0,
    }
    sketch.axes.add_patch(FancyArrowPatch(start, end, zorder=5, **style))


def _letter(sketch: Sketch, x: float, y: float, letter: str, *, align: str, stand: str) -> None:
    sketch.axes.text(x, y, letter, fontproperties=face(bold=True), fontsize=11, ha=align, va=stand, zorder=6)


def _facing(plan: Plan, direction: Floats) -> str:
    """Return the name of the feature most of which looks at the anode, as first hung."""
    panels = plan.fields[0].panels
    seen = np.maximum(-(panels.part.area_vectors @ direction), 0.0)  # normals point into the metal
    area = np.bincount(panels.feature, seen, len(plan.cell.part.features))
    return plan.cell.part.features[int(np.argmax(area))].name
