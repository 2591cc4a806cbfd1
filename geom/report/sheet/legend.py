"""What the colours of the part mean: one legend for each way to colour it, with units."""

from typing import Any

import numpy as np
from matplotlib.colors import to_hex

from geom.plan import Plan
from geom.report.figures import COLOURS, thickness_scale
from geom.report.scene import AMPERE_PER_DM2
from geom.report.sheet.markup import Markup, percent, tag

STATE_COLOURS = ("#8b8794", "#4f9fe0", "#2f8f6b", "#d9541e")
"""Bare, under the range, within, over: apart in lightness and hue for eyes that take red for green too."""

STOPS = 12
BAR = 16  # px


def legends(plan: Plan, scene: dict[str, Any]) -> tuple[Markup, Markup, Markup]:
    """Return the legends of thickness, current density and state; the script shows the one that is asked for."""
    scale, mean = thickness_scale(plan), plan.fields[0].mean_current_density / AMPERE_PER_DM2
    bare = bool(any(scene["part"]["bare"]))
    thick = _ramp(
        "thickness",
        "thickness, µm",
        (float(scale.vmin or 0), float(scale.vmax or 1)),
        scene["target_um"],
        "target",
        bare,
    )
    low, high = (mean * plan.ratio[name] for name in ("p1", "p99"))
    density = _ramp("current", "current density, A/dm², as first hung", (low, high), mean, "mean", bare)
    return thick, density, _states(scene)


def _ramp(by: str, head: str, ends: tuple[float, float], marked: float, word: str, bare: bool) -> Markup:
    low, high = ends if all(np.isfinite(ends)) and ends[1] > ends[0] else (0.0, 1.0)
    stops = [
        tag("stop", offset=percent(k / (STOPS - 1)), stop_color=to_hex(COLOURS(k / (STOPS - 1)))) for k in range(STOPS)
    ]
    name = f"ramp-{by}"
    share = min(max((marked - low) / (high - low), 0.0), 1.0)
    pieces = [
        tag("defs", tag("linearGradient", *stops, id_=name)),
        tag("rect", x="0", y=20, width="100%", height=BAR, fill=f"url(#{name})"),
        tag("line", x1=percent(share), x2=percent(share), y1=16, y2=22 + BAR, class_="mark target"),
        tag(
            "text",
            f"{marked:.3g} {word}",
            x=percent(share),
            y=12,
            text_anchor=_anchor(share),
            class_="mark-word target",
        ),
    ]
    for k in range(5):
        at = k / 4
        value = low + at * (high - low)
        pieces.append(tag("text", f"{value:.3g}", x=percent(at), y=36 + BAR, text_anchor=_anchor(at)))
    svg = tag("svg", *pieces, width="100%", height=42 + BAR, role="img", aria_label=f"Colours of {head}")
    note = f"{head}; beyond the ends the colour stays" + ("; grey: bare" if bare else "")
    return tag("div", svg, tag("p", note), class_="legend", data_by=by)


def _anchor(share: float) -> str:
    return "start" if share < 0.08 else "end" if share > 0.92 else "middle"


def _states(scene: dict[str, Any]) -> Markup:
    low, high = scene["range_A_per_dm2"]
    words = (
        "bare: next to nothing deposits",
        f"under {low:g} A/dm²: dull or thin",
        f"within {low:g} to {high:g} A/dm²",
        f"over {high:g} A/dm²: burns if it lasts",
    )
    inner = []
    for colour, text in zip(STATE_COLOURS, words, strict=True):
        square = tag("svg", tag("rect", width=14, height=14, fill=colour), width=14, height=14, aria_hidden="true")
        inner.append(tag("li", square, f" {text}"))
    return tag(
        "div", tag("ul", *inner), tag("p", "the bath's range, as first hung"), class_="legend states", data_by="state"
    )
