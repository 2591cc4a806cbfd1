"""Cuts through holes and bends as SVG, what lies on the metal drawn many times too thick."""

import numpy as np

from geom.arrays import Floats
from geom.plan import Plan
from geom.report.figures import COLOURS, MICROMETRE, MILLIMETRE, round_length, thickness_scale
from geom.report.sheet.cuts import Cut, cuts_of, inside, joints
from geom.report.sheet.markup import Markup, joined, number, tag

SHOWN = 320.0  # px of width that a drawing has at least: type is sized for it
TYPE = 12.0  # px
THICK = 0.07  # of the window, what most of the deposit is drawn thick
CLEAR = 0.3  # of the clear width, what it takes at most from each side
SMOOTH = 0.999  # cosine from which no wedge is needed between neighbours


def cuts_figure(plan: Plan) -> Markup:
    """Return the cuts side by side; nothing where the part has no hole and no bend."""
    if not np.all(np.isfinite(plan.deposit.thickness)):
        return Markup()
    drawn = [_drawing(cut, plan) for cut in cuts_of(plan)]
    if not drawn:
        return Markup()
    words = (
        "Cut through the middle of each, those that get least: grey is metal, the coloured coat is the deposit, in the colours of the "
        "map above. It is drawn as many times too thick as each picture says."
    )
    return tag("figure", tag("div", *drawn, class_="cuts"), tag("figcaption", words), class_="chart")


def exaggeration(cut: Cut) -> float:
    """Return how many times too thick the deposit is drawn: 1, 2, 5, 10, 20 …"""
    lies = cut.thickness[inside(cut) & np.isfinite(cut.thickness)]
    usual = float(np.quantile(lies, 0.8)) if len(lies) else 0.0
    if not usual > 0:
        return 1.0
    room = min(THICK * float(np.ptp(cut.window, axis=0).max()), CLEAR * cut.width)
    return max(round_length(room / usual), 1.0)


def _drawing(cut: Cut, plan: Plan) -> Markup:
    times = exaggeration(cut)
    low, high = cut.window / MILLIMETRE
    most = max(float((high - low).max()), 1e-6)
    coat = times * float(np.nanmax(cut.thickness[inside(cut)], initial=0.0)) / MILLIMETRE
    low, high = low - min(coat, 0.15 * most), high + min(coat, 0.15 * most)
    wide, tall = (float(v) for v in high - low)
    wide, low = max(wide, 0.75 * tall), low - np.array([max(0.75 * tall - wide, 0.0) / 2, 0.0])
    unit = wide / SHOWN  # mm for a px
    foot = 26 * unit
    box = f"{number(low[0])} {number(-high[1])} {number(wide)} {number(tall + foot)}"
    clip = f"cut-{abs(hash_of(cut.name))}"
    window = tag("rect", x=float(low[0]), y=float(-high[1]), width=wide, height=tall)
    inner = [_metal(cut), *_coat(cut, plan, times), *_bare(cut, unit)]
    scene = tag("g", *inner, clip_path=f"url(#{clip})")
    pieces = [tag("defs", tag("clipPath", window, id_=clip)), scene, *_foot(cut, low, wide, unit)]
    told = f"Cut through {cut.name}, deposit drawn {times:.0f} times too thick"
    svg = tag("svg", *pieces, viewBox=box, role="img", aria_label=told)
    words = [tag("b", cut.name), f"deposit drawn {times:,.0f} times too thick".replace(",", " ")]
    return tag("figure", svg, tag("figcaption", words[0], ", ", words[1]), class_="cut")


def hash_of(name: str) -> int:
    """Return a number for a name that is the same in every process."""
    return sum((place + 1) * ord(letter) for place, letter in enumerate(name))


def _path(points: Floats) -> str:
    return "M" + "L".join(f"{number(x, 3)} {number(-y, 3)}" for x, y in points) + "Z"


def _metal(cut: Cut) -> Markup:
    return tag("path", d="".join(_path(loop / MILLIMETRE) for loop in cut.loops), class_="metal", fill_rule="evenodd")


def _coat(cut: Cut, plan: Plan, times: float) -> list[Markup]:
    """Return the deposit as pieces, each in the colour of its thickness."""
    scale = thickness_scale(plan)
    shown = inside(cut) & np.isfinite(cut.thickness)
    ends, tips = cut.ends / MILLIMETRE, _tips(cut, times) / MILLIMETRE
    colours = [_hex(COLOURS(float(scale(value / MICROMETRE)))) for value in np.nan_to_num(cut.thickness)]
    pieces = [
        tag(
            "path",
            d=_path(np.array([ends[k, 0], ends[k, 1], tips[k, 1], tips[k, 0]])),
            fill=colours[k],
            stroke=colours[k],
        )
        for k in np.flatnonzero(shown)
    ]
    for (one, end_one), (two, end_two) in joints(cut):
        if not (shown[one] and shown[two]) or cut.outward[one] @ cut.outward[two] > SMOOTH:
            continue
        between = cut.outward[one] + cut.outward[two]
        length = float(np.linalg.norm(between))
        if length < 0.2:
            continue
        reach = times * max(cut.height[one, end_one], cut.height[two, end_two]) / MILLIMETRE
        corner = ends[one, end_one]
        outer = corner + reach * between / length * min(2 / length, 1.25)
        wedge = np.array([corner, tips[one, end_one], outer, tips[two, end_two]])
        pieces.append(tag("path", d=_path(wedge), fill=colours[one], stroke=colours[one]))
    return [tag("g", *pieces, class_="coat")]


def _tips(cut: Cut, times: float) -> Floats:
    return np.asarray(cut.ends + times * cut.height[:, :, None] * cut.outward[:, None, :])


def _hex(colour: tuple[float, ...]) -> str:
    return "#" + "".join(f"{round(255 * v):02x}" for v in colour[:3])


def _bare(cut: Cut, unit: float) -> list[Markup]:
    """Return a dashed line along what stays bare."""
    rows = np.flatnonzero(inside(cut) & ~np.isfinite(cut.thickness))
    if not len(rows):
        return []
    line = "".join(
        f"M{number(a[0], 3)} {number(-a[1], 3)}L{number(b[0], 3)} {number(-b[1], 3)}"
        for a, b in cut.ends[rows] / MILLIMETRE
    )
    return [tag("path", d=line, class_="bare-line", stroke_width=2.5 * unit, fill="none")]


def _foot(cut: Cut, low: Floats, wide: float, unit: float) -> list[Markup]:
    """Return the scale, and which way the anode is, below the drawing."""
    top = float(-low[1])
    bar = round_length(0.3 * wide)
    x, y = float(low[0]) + 6 * unit, top + 20 * unit
    size = TYPE * unit
    pieces = [
        tag("line", x1=x, x2=x + bar, y1=y - size * 1.05, y2=y - size * 1.05, class_="scale", stroke_width=2.5 * unit),
        tag("text", f"{bar:g} mm", x=x, y=y + 4 * unit, font_size=size),
    ]
    way = cut.to_anode
    if way is not None and float(np.linalg.norm(way)) > 0.5:
        k = int(np.argmax(np.abs(way)))
        words = (("← anode", "anode →"), ("↓ anode", "↑ anode"))[k][int(way[k] > 0)]
        pieces.append(
            tag("text", words, x=float(low[0]) + wide - 6 * unit, y=y + 4 * unit, font_size=size, text_anchor="end")
        )
    return [joined(pieces)]
