"""`plan_html`: the whole report as one file, put together from its pieces."""

import json
import re
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from matplotlib.colors import to_hex

from geom.advice.measures import anode_direction
from geom.plan import Plan
from geom.report.content import document
from geom.report.figures import COLOURS, thickness_scale
from geom.report.scene import AMPERE_PER_DM2, scene_of
from geom.report.sheet.body import contents, sections_html
from geom.report.sheet.charts import bands_chart, histogram, limits_chart
from geom.report.sheet.cutfigure import cuts_figure
from geom.report.sheet.head import answer_block
from geom.report.sheet.legend import legends
from geom.report.sheet.markup import Markup, tag
from geom.report.sheet.stills import stills
from geom.report.sheet.tankplan import tank_drawing
from geom.report.tree import Document

FOLDED = (
    "What is not known, feature by feature",
    "Ways to split the time",
    "Where the numbers come from",
    "Checks of the calculation",
    "Numerical error",
)
"""Sections that are opened when asked for."""

ABOVE = "Before you plate"
"""The section that stands with the answer."""

STEPS = 24
"""Colours of the map that the drawing gets; between them it goes evenly."""

POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:"
"""What the browser may do with the file: run what is in it, load nothing."""


def plan_html(plan: Plan) -> str:
    """Return the report of a plan as one HTML file: nothing is loaded, the same plan gives the same text."""
    tree = document(plan)
    scene = scene_of(plan)
    sections = tuple(section for section in tree.sections if section.title != ABOVE)
    main = tag(
        "main",
        _header(plan, tree),
        answer_block(plan, tree),
        _seen(plan, scene),
        contents(sections),
        sections_html(sections, _pictures(plan, scene), FOLDED),
    )
    body = tag("body", main, _data("scene", scene), _data("looks", looks(plan)), _drawing_script(), _script("sheet.js"))
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=POLICY),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("title", f"Plan: {tree.title}"),
        Markup(f"<style>{_asset('sheet.css')}</style>"),
    )
    return f"<!doctype html>\n{tag('html', head, body, lang='en')}\n"


def looks(plan: Plan) -> dict[str, Any]:
    """Return how the drawing colours the part: the map, its ends for each figure, the way to the anode."""
    scale, mean = thickness_scale(plan), plan.fields[0].mean_current_density / AMPERE_PER_DM2
    low, high = mean * plan.ratio["p1"], mean * plan.ratio["p99"]
    toward = anode_direction(plan.fields[0])
    ends = np.nan_to_num([scale.vmin, scale.vmax, low, high], posinf=1.0)
    return {
        "ramp": [to_hex(COLOURS(k / (STEPS - 1))) for k in range(STEPS)],
        "thickness": [float(f"{v:.4g}") for v in ends[:2]],
        "current": [float(f"{v:.4g}") for v in ends[2:]],
        "anode": None if toward is None else [round(float(v), 4) for v in toward],
    }


def _header(plan: Plan, tree: Document) -> Markup:
    return tag("header", tag("p", "Plating plan", class_="kind"), tag("h1", tree.title), tag("p", plan.cell.part.title))


def _pictures(plan: Plan, scene: dict[str, Any]) -> dict[str, Markup]:
    """Return the picture of each section that has one, by the section's title."""
    return {
        "Thickness over the part, after the whole schedule": histogram(plan),
        "What is not known, and what it does": bands_chart(plan.bands),
        "Holes and bends": cuts_figure(plan),
        "Limits on the current": limits_chart(plan),
        "Set-up": tank_drawing(plan, scene["tank"]["outline"]),
    }


def _seen(plan: Plan, scene: dict[str, Any]) -> Markup:
    """Return the part: still pictures at first and in print, the drawing that can be turned once it runs."""
    ways = (("thickness", "Thickness"), ("current", "Current density"), ("state", "Within the bath's range"))
    choice = [
        tag("label", tag("input", type="radio", name="by", value=by, checked=by == "thickness"), f" {words}")
        for by, words in ways
    ]
    sides = [
        tag("button", words, type="button", data_side=side)
        for side, words in (("near", "Anode side"), ("far", "Far side"))
    ]
    tools = tag(
        "div",
        tag("fieldset", tag("legend", "Colour by", class_="unseen"), *choice),
        tag("div", *sides, class_="sides"),
        class_="tools live-only",
    )
    captions = tag("div", tag("span", class_="side-word"), tag("span", class_="side-word"), class_="captions live-only")
    drawing = tag(
        "div", id_="drawing", class_="live-only", role="img", aria_label="The part in three dimensions, to be turned"
    )
    hint = tag(
        "p", "Drag to turn it; point at a place for its thickness, current density and name.", class_="hint live-only"
    )
    pieces = [
        tag("h2", "The part"),
        tools,
        tag("div", captions, drawing, stills(plan), class_="stage-box"),
        *legends(plan, scene),
        hint,
    ]
    return tag("section", *pieces, class_="seen", id_="the-part")


def _data(name: str, tree: Any) -> Markup:
    """Return a tree as JSON inside the page; no text in it can end the element."""
    words = json.dumps(tree, separators=(",", ":"), allow_nan=False)
    for letter, code in (("<", "\\u003c"), (">", "\\u003e"), ("&", "\\u0026")):
        words = words.replace(letter, code)
    return Markup(f'<script type="application/json" id="{name}">{words}</script>')


@cache
def _drawing_script() -> Markup:
    """Return the drawing library: the JavaScript in the package plotly, which is never imported."""
    code = (files("plotly") / "package_data" / "plotly.min.js").read_text(encoding="utf-8")
    return Markup(f"<script>{_ending_none(code)}</script>")


def _script(name: str) -> Markup:
    return Markup(f"<script>{_ending_none(_asset(name))}</script>")


def _ending_none(code: str) -> str:
    """Return JavaScript that cannot end its element, nor begin a comment that hides the end."""
    return re.sub(r"<(?=/script|!--)", r"\\x3c", code, flags=re.IGNORECASE)


@cache
def _asset(name: str) -> str:
    return (files("geom.report.sheet") / name).read_text(encoding="utf-8")
