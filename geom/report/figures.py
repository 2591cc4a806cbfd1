"""Figures of a plan: the part by thickness, the features, the tank. No text of the user's goes into them."""

import io
import textwrap

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from geom.advice.copies import over_copies
from geom.advice.measures import anode_direction
from geom.advice.words import FeatureResult
from geom.arrays import Floats
from geom.plan import Plan
from geom.report.painter import View, both_sides, paint
from geom.units import show, unit_factor

MICROMETRE = unit_factor("um", "length")
MILLIMETRE = unit_factor("mm", "length")

BARE_COLOUR = "#b3b3b3"  # of what carries no current
COLOURS = matplotlib.colormaps["viridis"].with_extremes(bad=BARE_COLOUR)
WIDTH_IN = 9.0  # of every figure
DOTS_PER_INCH = 150
TARGET_COLOUR = "#c2185b"
BAR_COLOUR = "#4c78a8"
MOST_FEATURES = 30  # shown as bars; more are not read
LONGEST_NAME = 34  # letters in one line


def png(figure: Figure) -> bytes:
    """Return the figure as a PNG file; the same figure gives the same bytes."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None}, pil_kwargs={"compress_level": 4})
    return out.getvalue()


def blank(height_in: float) -> Figure:
    """Return an empty figure of the usual width on its own canvas, without any global state."""
    figure = Figure(figsize=(WIDTH_IN, height_in), dpi=DOTS_PER_INCH, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def part_figure(plan: Plan) -> Figure:
    """Return the part from both sides, coloured by its thickness after the whole schedule; what is bare is grey."""
    field = plan.fields[0]
    part, views = field.panels.hung, both_sides(field)
    bare = np.full(len(field.panels.bare_feature), np.nan)
    thickness = np.concatenate([plan.deposit.thickness / MICROMETRE, bare])
    sizes = np.array([np.ptp(view.flat(part.vertices), axis=0) for view in views]) / MILLIMETRE
    frame = sizes.max(axis=0) * 1.06
    stacked = bool(frame[0] > 1.5 * frame[1])  # long parts above one another, else side by side
    figure, places, bar_place = _part_layout(frame, stacked=stacked)
    scale = thickness_scale(plan)
    known = anode_direction(field) is not None
    titles = ("side toward the anode", "side away from the anode") if known else ("one side", "other side")
    for place, view, title in zip(places, views, titles, strict=True):
        axes = figure.add_axes(place)
        paint(axes, part, thickness, view, colours=COLOURS, scale=scale)
        axes.set_title(title, fontsize=11)
        _frame(axes, view, part.vertices, frame * MILLIMETRE)
    _scale_bar(figure.axes[1 if stacked else 0], round_length(float(frame.max()) / 6) * MILLIMETRE)
    _colour_bar(figure, bar_place, scale, plan.job.target.thickness / MICROMETRE)
    if len(bare):
        figure.axes[-1].annotate(
            "grey: bare", (0.5, 0.0), (0, -18), "axes fraction", "offset points", ha="center", va="top", fontsize=9
        )
    return figure


def thickness_scale(plan: Plan) -> Normalize:
    """Return the colour range in µm: all but the extreme hundredths of the area, and the target."""
    target = plan.job.target.thickness
    low, high = min(plan.thickness["p1"], target), max(plan.thickness["p99"], target)
    pad = 0.01 * high if high - low < 0.01 * high else 0.0  # an even deposit: rounding is no pattern
    return Normalize((low - pad) / MICROMETRE, (high + pad) / MICROMETRE, clip=True)


Place = tuple[float, float, float, float]


def _part_layout(frame: Floats, *, stacked: bool) -> tuple[Figure, tuple[Place, Place], Place]:
    """Return the figure, the places of both views and that of the colour bar, as shares of the figure."""
    left, right, top, bottom, title, gap = 0.15, 1.25, 0.1, 0.45, 0.35, 0.15  # inches
    room = WIDTH_IN - left - right
    across = 1 if stacked else 2
    wide = (room - (across - 1) * gap) / across
    high = float(np.clip(wide * frame[1] / frame[0], 1.3, 6.0))
    rows = 2 if stacked else 1
    height = top + rows * (title + high) + bottom
    figure = blank(height)
    places = [
        (
            (left + (0 if stacked else k) * (wide + gap)) / WIDTH_IN,
            (bottom + ((1 - k) * (high + title) if stacked else 0)) / height,
            wide / WIDTH_IN,
            high / height,
        )
        for k in range(2)
    ]
    words = 0.45  # above the colour bar
    tall = min(height - bottom - top - words, 4.0)
    middle = (bottom + height - top - words) / 2
    bar = ((WIDTH_IN - right + 0.2) / WIDTH_IN, (middle - tall / 2) / height, 0.17 / WIDTH_IN, tall / height)
    return figure, (places[0], places[1]), bar


def _frame(axes: Axes, view: View, vertices: Floats, frame: Floats) -> None:
    """Show the same stretch of space in every view, so that their scales agree."""
    flat = view.flat(vertices)
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    axes.set_xlim(middle[0] - frame[0] / 2, middle[0] + frame[0] / 2)
    axes.set_ylim(middle[1] - frame[1] / 2, middle[1] + frame[1] / 2)
    axes.set_aspect("equal")
    axes.set_axis_off()


def round_length(longest: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20 … that is not over ``longest``."""
    power = 10.0 ** np.floor(np.log10(longest))
    return float(max(step * power for step in (1.0, 2.0, 5.0) if step * power <= longest * (1 + 1e-9)))


def _scale_bar(axes: Axes, length: float) -> None:
    """Draw a bar of that length [m] under the view; lengths in the plane of the picture are true to it."""
    middle = sum(axes.get_xlim()) / 2
    ends = [middle - length / 2, middle + length / 2]
    across = axes.get_xaxis_transform()
    axes.plot(ends, [-0.03, -0.03], color="black", lw=2.5, transform=across, clip_on=False)
    axes.annotate(
        show(length, "mm"), (middle, -0.03), (0, -4), across, "offset points", ha="center", va="top", fontsize=9
    )


def _colour_bar(figure: Figure, place: Place, scale: Normalize, target_um: float) -> None:
    axes = figure.add_axes(place)
    bar = figure.colorbar(ScalarMappable(scale, COLOURS), cax=axes, extend="both", extendfrac=0.03)
    low, high = axes.get_ylim()
    ticks = np.asarray(MaxNLocator(8).tick_values(low, high))
    away = np.abs(ticks - target_um) > 0.05 * (high - low)  # the target's own label stands there
    bar.set_ticks(ticks[away & (ticks >= low) & (ticks <= high)].tolist())
    axes.tick_params(labelsize=9)
    axes.set_title("thickness\nµm", fontsize=10)
    axes.axhline(target_um, color=TARGET_COLOUR, lw=2.5)
    axes.annotate(
        f"{target_um:.3g} target",
        (1.0, target_um),
        xycoords=("axes fraction", "data"),
        xytext=(7, 0),
        textcoords="offset points",
        va="center",
        fontsize=9,
        color=TARGET_COLOUR,
    )


def features_figure(plan: Plan) -> Figure:
    """Return a bar for each feature: its mean thickness, with its least local thickness marked."""
    results, left_out = shown_features(over_copies(plan.features))
    names = [textwrap.fill(result.name, LONGEST_NAME, break_long_words=True) for result in results]
    room = np.array([1 + 0.55 * name.count("\n") for name in names])  # a name of several lines needs more
    figure = blank(1.3 + 0.3 * float(room.sum()))
    figure.set_layout_engine("constrained")
    axes = figure.add_subplot()
    rows = np.cumsum(room) - room / 2
    mean = np.array([result.thickness for result in results]) / MICROMETRE
    least = np.array([result.least_thickness for result in results]) / MICROMETRE
    target = plan.job.target.thickness / MICROMETRE
    colours = [BAR_COLOUR if result.significant else "#b8c9dc" for result in results]
    axes.barh(rows, mean, height=0.62, color=colours)
    axes.plot(least, rows, ls="", marker="D", ms=5, color="black", mec="white", mew=0.7)
    axes.axvline(target, color=TARGET_COLOUR, lw=1.5, ls="--")
    _values(axes, rows, mean, np.maximum(mean, least))
    axes.set_yticks(rows, names, parse_math=False)
    axes.set_ylim(float(room.sum()) + 0.1, -0.1)
    axes.set_xlim(0, 1.1 * max(mean.max(), least.max(), target))
    axes.set_xlabel("thickness, µm" + (f"   ({left_out} features that get more are left out)" if left_out else ""))
    axes.spines[["top", "right"]].set_visible(False)
    figure.legend(handles=_feature_legend(results, target), loc="outside upper center", ncols=4, frameon=False)
    return figure


def _values(axes: Axes, rows: Floats, values: Floats, ends: Floats) -> None:
    """Write each value behind the end of its bar, over the line of the target."""
    for row, value, end in zip(rows, values, ends, strict=True):
        axes.annotate(
            f"{value:.3g}",
            (end, row),
            xytext=(7, 0),
            textcoords="offset points",
            va="center",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )


def shown_features(features: tuple[FeatureResult, ...]) -> tuple[list[FeatureResult], int]:
    """Return the features to show, in their order, and how many are left out: those that get most."""
    thinnest = sorted(range(len(features)), key=lambda k: features[k].least_thickness)[:MOST_FEATURES]
    return [features[k] for k in sorted(thinnest)], len(features) - len(thinnest)


def _feature_legend(results: list[FeatureResult], target_um: float) -> list[Patch | Line2D]:
    handles: list[Patch | Line2D] = []
    if any(result.significant for result in results):
        handles.append(Patch(color=BAR_COLOUR, label="mean, mostly significant"))
    if not all(result.significant for result in results):
        handles.append(Patch(color="#b8c9dc", label="mean, mostly not significant"))
    handles.append(Line2D([], [], ls="", marker="D", ms=5, color="black", label="least local"))
    handles.append(Line2D([], [], color=TARGET_COLOUR, ls="--", label=f"target {target_um:.3g} µm"))
    return handles
