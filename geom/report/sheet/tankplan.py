"""The tank from above, to scale, as SVG."""

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import anode_solid, part_solid, slab_solid, thief_solid
from geom.plan import Plan
from geom.report.figures import MILLIMETRE, round_length
from geom.report.sheet.markup import Markup, number, tag
from geom.report.tankfigure import ABOVE, mm, nearest_gap, side_title, silhouette, window
from geom.surface.surface import Surface

SHOWN = 340.0  # px of width that the drawing has at least
TYPE = 12.5  # px
MOST_FACES = 5000  # of a part that is drawn as given; of more, the panels are


def tank_drawing(plan: Plan, outline: list[list[float]]) -> Markup:
    """Return the tank with anodes, shields, thieves and the part as first hung; ``outline`` of the tank in mm."""
    cell = plan.cell
    whole = part_solid(cell.part, cell.pose)
    part = whole if len(whole.faces) <= MOST_FACES else plan.fields[0].panels.hung
    (left, low), (right, high) = window(cell, whole, ABOVE)
    wide, tall = float(right - left), float(high - low)
    unit = wide / SHOWN
    foot = 24 * unit
    bodies = [
        *((f"anode {k}", "anode-body", anode_solid(one, cell.tank)) for k, one in enumerate(cell.anodes, 1)),
        *((f"shield {k}", "shield-body", slab_solid(one, cell.tank)) for k, one in enumerate(cell.shields, 1)),
        *((f"thief {k}", "thief-body", thief_solid(one, cell.tank)) for k, one in enumerate(cell.thieves, 1)),
    ]
    tank = "M" + "L".join(f"{number(x, 2)} {number(-y, 2)}" for x, y in outline) + "Z"
    pieces = [
        tag("path", d=tank, class_="liquid", stroke_width=2 * unit),
        *(_shape(solid, kind, name) for name, kind, solid in bodies),
        _shape(part, "part-body", "part" if cell.part.copies == 1 else "parts on the rack"),
        *_names(bodies, (left, right, low, high), unit),
        *_numbers(plan, whole, unit),
        *_gap(plan, whole, unit),
        *_scale(left, -low, wide, unit),
    ]
    box = f"{number(left)} {number(-high)} {number(wide)} {number(tall + foot)}"
    title = side_title(cell.tank, ABOVE)
    svg = tag("svg", *pieces, viewBox=box, role="img", aria_label=f"The tank {title}")
    named = "part" if cell.part.copies == 1 else "parts by number"
    words = f"The tank {title}, liquid {mm(cell.tank.depth)} deep; {named} as first hung, all to scale."
    return tag("figure", svg, tag("figcaption", words), class_="chart tank")


def _shape(solid: Surface, kind: str, name: str) -> Markup:
    rings = [ring for piece in silhouette(solid, ABOVE) for ring in (piece.exterior, *piece.interiors)]
    lines = (np.asarray(ring.coords)[:-1] for ring in rings)
    path = "".join("M" + "L".join(f"{number(x, 2)} {number(-y, 2)}" for x, y in line) + "Z" for line in lines)
    return tag("path", tag("title", name), d=path, class_=kind, fill_rule="evenodd") if path else Markup()


def _names(
    bodies: list[tuple[str, str, Surface]], frame: tuple[float, float, float, float], unit: float
) -> list[Markup]:
    """Return the names of anodes, shields and thieves beside them, on the side where the middle of the tank is."""
    left, right, _, _ = frame
    pieces = []
    for name, _, solid in bodies:
        (x0, y0, _), (x1, y1, _) = solid.bounds / MILLIMETRE
        x, y = float(x0 + x1) / 2, float(y0 + y1) / 2
        upright = (y1 - y0) > 3 * (x1 - x0) and (y1 - y0) > 50 * unit
        if upright:
            beside = float(x1) + 13 * unit if x < (left + right) / 2 else float(x0) - 4 * unit
            turned = f"rotate(-90 {number(beside)} {number(-y)})"
            pieces.append(
                tag("text", name, x=beside, y=-y, transform=turned, font_size=TYPE * unit, text_anchor="middle")
            )
        else:
            below = -float(y0) + 14 * unit if y > 0 else -float(y1) - 4 * unit
            pieces.append(tag("text", name, x=x, y=below, font_size=TYPE * unit, text_anchor="middle"))
    return pieces


def _numbers(plan: Plan, whole: Surface, unit: float) -> list[Markup]:
    """Return the number of each part on a rack, those behind one another together."""
    copy = np.array([feature.copy for feature in plan.cell.part.features])[whole.tag]
    places: dict[tuple[float, float], list[int]] = {}
    for one in (int(k) for k in np.unique(copy) if k > 0):
        middle = whole.selected(copy == one).bounds.mean(axis=0) / MILLIMETRE
        places.setdefault((round(float(middle[0]), 1), round(float(middle[1]), 1)), []).append(one)
    pieces = []
    for (x, y), numbers in places.items():
        words = ", ".join(map(str, numbers)) if len(numbers) < 4 else f"{numbers[0]} to {numbers[-1]}"
        pieces.append(
            tag(
                "text",
                words,
                x=x + 7 * unit,
                y=-y + 5 * unit,
                font_size=TYPE * unit,
                class_="over",
                stroke_width=3 * unit,
            )
        )
    return pieces


def _gap(plan: Plan, whole: Surface, unit: float) -> list[Markup]:
    """Return the free stretch between part and nearest anode with its length."""
    found = [(axis, gap) for axis in (0, 1) if (gap := nearest_gap(plan.cell, whole, axis)) is not None]
    if not found:
        return []
    axis, (start, end, _) = min(found, key=lambda one: one[1][1] - one[1][0])
    other = float(whole.bounds[:, 1 - axis].mean()) / MILLIMETRE
    a, b = (_flat(axis, value / MILLIMETRE, other) for value in (start, end))
    x, y = (a + b) / 2
    line = tag(
        "line",
        x1=float(a[0]),
        x2=float(b[0]),
        y1=float(-a[1]),
        y2=float(-b[1]),
        class_="scale",
        stroke_width=1.5 * unit,
    )
    words = mm(end - start)
    beside = (float(x), float(-y - 5 * unit)) if axis == 0 else (float(x + 6 * unit), float(-y + 4 * unit))
    told = tag(
        "text",
        words,
        x=beside[0],
        y=beside[1],
        font_size=TYPE * unit,
        class_="over",
        stroke_width=3 * unit,
        text_anchor="middle" if axis == 0 else "start",
    )
    return [line, told]


def _flat(axis: int, along: float, other: float) -> Floats:
    return np.array([along, other] if axis == 0 else [other, along])


def _scale(left: float, bottom: float, wide: float, unit: float) -> list[Markup]:
    bar = round_length(0.25 * wide)
    x, y = float(left) + 6 * unit, float(bottom) + 6 * unit
    return [
        tag("line", x1=x, x2=x + bar, y1=y, y2=y, class_="scale", stroke_width=2.5 * unit),
        tag("text", f"{bar:g} mm", x=x, y=y + 14 * unit, font_size=TYPE * unit),
    ]
