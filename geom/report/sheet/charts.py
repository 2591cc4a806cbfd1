"""Charts of the report whose width follows the page: histogram of the thickness, limits, bands."""

import numpy as np

from geom.doubt.bands import Bands
from geom.plan import Plan
from geom.report.amounts import amount, current
from geom.report.bands import between
from geom.report.figures import MICROMETRE
from geom.report.sheet.markup import Markup, joined, percent, tag

BINS = 24
HIGH = 190  # px of the tallest bar
FOOT = 46  # px below the bars
TOP = 34  # px above them, for the marks
TAIL = 0.98  # of the area that is binned evenly; the rest is one last bar
CAP = 3.0  # times the least limit up to which bars are drawn to scale


def histogram_of(plan: Plan) -> tuple[list[tuple[float, float, float]], float]:
    """Return bars (from µm, to µm, share of the area) of the thickness after the schedule, and the mean in µm.

    Shares add up to 1. The last bar goes on to the thickest place.
    """
    deposit = plan.deposit
    values = deposit.quarters.reshape(-1) / MICROMETRE
    areas = np.repeat(deposit.true_areas / 4, 4)
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(areas[order]) / areas.sum()
    low, high = float(values[order[0]]), float(values[order[np.searchsorted(reached, TAIL)]])
    step = _round_step(max(high - low, 0.02 * high, 1e-6) / BINS)
    edges = step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)
    place = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(edges) - 1)
    shares = np.bincount(place, areas, len(edges)) / areas.sum()
    ends = [*edges[1:], max(float(values.max()), float(edges[-1]))]
    bars = [(float(a), float(b), float(s)) for a, b, s in zip(edges, ends, shares, strict=True)]
    while bars[-1][2] <= 0:
        bars.pop()
    return bars, plan.thickness["mean"] / MICROMETRE


def _round_step(least: float) -> float:
    power = 10.0 ** np.floor(np.log10(least))
    return float(next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= least * (1 - 1e-9)))


def histogram(plan: Plan) -> Markup:
    """Return how much of the area has which thickness, with target and mean marked."""
    if not np.all(np.isfinite(plan.deposit.quarters)):
        return Markup()
    bars, mean = histogram_of(plan)
    target = plan.job.target.thickness / MICROMETRE
    tallest = max(share for _, _, share in bars)
    wide = 1.0 / (len(bars) + 1)  # the half bar at each side is room for the last label
    first, step = bars[0][0], bars[0][1] - bars[0][0]

    def across(value: float) -> float:
        return min(max((value - first) / step, 0.0), len(bars)) * wide + wide / 2

    drawn = [
        tag(
            "rect",
            tag("title", f"{a:.3g} to {b:.3g} µm: {100 * share:.1f} % of the area"),
            x=percent(number * wide + wide / 2 + 0.06 * wide),
            y=TOP + HIGH * (1 - share / tallest),
            width=percent(0.88 * wide),
            height=HIGH * share / tallest,
            class_="bar last" if number == len(bars) - 1 and b - a > 1.5 * step else "bar",
        )
        for number, (a, b, share) in enumerate(bars)
    ]
    floor = tag("line", x1="0", x2="100%", y1=TOP + HIGH, y2=TOP + HIGH, class_="axis")
    marks = [
        _mark(across(target), f"target {target:.3g} µm", 0, "target"),
        _mark(across(mean), f"mean {mean:.3g} µm", 1, "mean"),
    ]
    pieces = [*drawn, floor, *_ticks(bars, wide), *marks]
    told = f"Thickness by share of the area: target {target:.3g} µm, mean {mean:.3g} µm"
    svg = tag("svg", *pieces, width="100%", height=TOP + HIGH + FOOT, role="img", aria_label=told)
    notes = f"Each bar is the share of the wetted area that got this thickness; the tallest is {100 * tallest:.1f} %."
    if bars[-1][1] - bars[-1][0] > 1.5 * step:
        notes += f" The last bar is all above {bars[-1][0]:.3g} µm."
    return tag("figure", svg, tag("figcaption", notes), class_="chart")


def _mark(share: float, words: str, row: int, kind: str) -> Markup:
    right = share > 0.6
    return joined(
        [
            tag("line", x1=percent(share), x2=percent(share), y1=4 + 15 * row, y2=TOP + HIGH, class_=f"mark {kind}"),
            tag(
                "text",
                words,
                x=percent(share),
                dx=-5 if right else 5,
                y=14 + 15 * row,
                text_anchor="end" if right else "start",
                class_=f"mark-word {kind}",
            ),
        ]
    )


def _ticks(bars: list[tuple[float, float, float]], wide: float) -> list[Markup]:
    stride = max(1, -(-len(bars) // 5))
    pieces = [
        tag("text", f"{a:.3g}", x=percent(k * wide + wide / 2), y=TOP + HIGH + 17, text_anchor="middle")
        for k, (a, _, _) in enumerate(bars)
        if k % stride == 0
    ]
    return [*pieces, tag("text", "thickness, µm", x="50%", y=TOP + HIGH + 38, text_anchor="middle")]


def limits_chart(plan: Plan) -> Markup:
    """Return every limit as a bar of the current it allows, the binding one marked, and the current that is set."""
    finite = [limit for limit in plan.limits if np.isfinite(limit.value)]
    if not finite:
        return Markup()
    least = min(plan.current, *(limit.value for limit in finite))
    most = min(max(plan.current, *(limit.value for limit in finite)), CAP * max(least, plan.current / CAP * 1.2))
    whole = 1.08 * most
    lines = [
        _bar_line(
            limit.name,
            f"{current(limit.value)}{', binds' if limit.binds else ''}",
            min(limit.value, whole) / whole,
            plan.current / whole,
            "bar binds" if limit.binds else "bar",
            cut=limit.value > whole,
        )
        for limit in sorted(finite, key=lambda limit: limit.value)
    ]
    note = f"How much current each allows; the line is the current to set, {current(plan.current)}."
    if any(limit.value > whole for limit in finite):
        note += " A bar with an open end goes on."
    return tag("figure", tag("div", *lines, class_="bars"), tag("figcaption", note), class_="chart")


def _bar_line(name: str, value: str, share: float, mark: float, kind: str, *, cut: bool) -> Markup:
    pieces = [tag("rect", x="0", y=2, width=percent(share), height=14, class_=kind)]
    if cut:
        pieces += [tag("line", x1=percent(at), x2=percent(at), y1=0, y2=18, class_="gap") for at in (0.94, 0.96)]
    pieces.append(tag("line", x1=percent(mark), x2=percent(mark), y1=0, y2=18, class_="mark set"))
    words = tag("div", tag("span", name), tag("b", value), class_="bar-words")
    return tag("div", words, tag("svg", *pieces, width="100%", height=18, aria_hidden="true"), class_="bar-line")


def bands_chart(found: Bands | None) -> Markup:
    """Return each band as a range about the plan's own figure, all on one scale of percent."""
    if found is None or not found.inputs:
        return Markup()
    named = {name: band for name, band in found.of.items() if band.typical > 0 and np.isfinite(band.high)}
    if not named:
        return Markup()
    low = min(0.9, *(band.low / band.typical for band in named.values()))
    high = max(1.1, *(band.high / band.typical for band in named.values()))

    def across(share: float) -> float:
        return 0.02 + 0.96 * (share - low) / (high - low)

    lines = []
    for name, band in named.items():
        a, b = across(band.low / band.typical), across(band.high / band.typical)
        pieces = [
            tag("line", x1=percent(across(1.0)), x2=percent(across(1.0)), y1=0, y2=18, class_="mark set"),
            tag("rect", x=percent(a), y=4, width=percent(max(b - a, 0.006)), height=10, rx=3, class_="bar range"),
        ]
        words = tag("div", tag("span", name), tag("b", between(name, band)), class_="bar-words")
        svg = tag("svg", *pieces, width="100%", height=18, aria_hidden="true")
        lines.append(tag("div", words, svg, class_="bar-line"))
    ends = f"from {amount(low - 1, '%', 2)} to {amount(high - 1, '%', 2)}".replace("-", "−")
    note = (
        f"Each bar is where the figure lies in {100 * found.level:.0f} of 100 cases, against the plan's own (the line); "
        f"the picture runs {ends} of it."
    )
    return tag("figure", tag("div", *lines, class_="bars"), tag("figcaption", note), class_="chart")
