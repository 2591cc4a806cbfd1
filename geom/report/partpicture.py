"""Pictures of a part by itself: its features by kind and number, and the places of a defect."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from scipy.ndimage import distance_transform_edt

from geom.arrays import Bools, Floats
from geom.feature import Feature, Kind
from geom.report.amounts import area
from geom.report.figures import DOTS_PER_INCH, MILLIMETRE, WIDTH_IN, blank, round_length
from geom.report.painter import tilted_view
from geom.report.raster import FINER, Raster, rastered, shaded
from geom.report.tree import printable
from geom.surface.surface import Surface
from geom.units import show

COLOUR_OF_KIND = {
    Kind.FACE: "#9ecae1",
    Kind.EDGE: "#fdd49e",
    Kind.END: "#d9d9d9",
    Kind.BORE: "#d55e00",
    Kind.BLIND_HOLE: "#cc79a7",
    Kind.SLOT: "#e69f00",
    Kind.INSIDE: "#009e73",
    Kind.RECESS: "#b2a3d4",
    Kind.BEND_INSIDE: "#0072b2",
    Kind.BEND_OUTSIDE: "#56b4e9",
    Kind.SKIN: "#c7e9c0",
}
BARE_COLOUR = "#555555"
DEFECT_COLOUR = "#c2185b"
VIEW_IN = 4.35  # width and height of one view
MOST_LISTED = 32
LONGEST = 46  # letters of a name in the list
APART = (24.0, 20.0)  # pixels across and up that two numbers keep from each other
LEAST_SPOT = 7.0  # pixels from the number to the border of its feature, else it is not drawn there


def part_picture(features: Sequence[Feature], surface: Surface) -> Figure:
    """Return a part from two opposite sides, its features coloured by kind and numbered, with a list of them."""
    listed = listed_features(features)
    lines = -(-len(listed) // 2)
    figure, views = _two_views(surface, 0.35 + 0.185 * lines + 0.45)
    colours = _rgb([BARE_COLOUR if f.bare else COLOUR_OF_KIND[f.kind] for f in features])[surface.tag]
    for axes, raster in views:
        axes.imshow(shaded(raster, surface, colours), origin="lower")
        _numbers(axes, raster, surface, listed)
    _list(figure, features, listed)
    _legend(figure, features)
    return figure


def defect_picture(surface: Surface, marks: Sequence[Sequence[float]]) -> Figure:
    """Return the faces of a file from two sides, both of their sides drawn, with the places of a defect marked."""
    figure, views = _two_views(_both_sides(surface), 0.5)
    points = np.asarray(marks, dtype=np.float64).reshape(-1, 3)
    size = float(np.linalg.norm(np.ptp(surface.bounds, axis=0)))
    for axes, raster in views:
        axes.imshow(shaded(raster, _both_sides(surface), np.full((2 * len(surface.faces), 3), 0.8)), origin="lower")
        hidden = raster.is_hidden(points, 0.02 * size)
        column, row = raster.place(points).T
        axes.plot(column[~hidden], row[~hidden], ls="", marker="o", ms=8, mfc="none", mec=DEFECT_COLOUR, mew=2)
        axes.plot(column[hidden], row[hidden], ls="", marker="o", ms=6, mfc="none", mec=DEFECT_COLOUR, mew=0.8)
    figure.text(0.5, 0.02, "rings: places of the defect; thin ones lie behind", ha="center", fontsize=10)
    return figure


def listed_features(features: Sequence[Feature]) -> list[int]:
    """Return the features to number: all holes, slots and bends first, then the largest of the rest, in their order."""
    plain = (Kind.FACE, Kind.EDGE, Kind.END, Kind.SKIN)
    order = sorted(range(len(features)), key=lambda k: (features[k].kind in plain, -features[k].area))
    return sorted(order[:MOST_LISTED])


def _two_views(surface: Surface, below_in: float) -> tuple[Figure, list[tuple[Axes, Raster]]]:
    """Return a figure with two views of a surface from opposite sides, and room below."""
    toward = _broadest(surface)
    views = [tilted_view(toward), tilted_view(-toward)]
    wide = (WIDTH_IN - 0.2) / 2
    sizes = np.array([np.ptp(view.flat(surface.vertices), axis=0) for view in views]).max(axis=0)
    high = float(np.clip(wide * sizes[1] / max(float(sizes[0]), 1e-12), 1.2, VIEW_IN))
    title = 0.3
    height = below_in + high + title
    figure = blank(height)
    pixels = int(wide * DOTS_PER_INCH), int(high * DOTS_PER_INCH)
    drawn = []
    for number, view in enumerate(views):
        left = (0.05 + number * (wide + 0.1)) / WIDTH_IN
        axes = figure.add_axes((left, below_in / height, wide / WIDTH_IN, high / height))
        axes.set_axis_off()
        axes.set_title(f"seen from {_words(view.axes[2])}", fontsize=10)
        drawn.append((axes, rastered(surface, view, *pixels)))
    _scale_bar(figure, drawn[0][1], below_in / height)
    return figure, drawn


def _scale_bar(figure: Figure, raster: Raster, top: float) -> None:
    """Draw a bar of a round length at the right under the views; lengths in the plane of the picture are true to it."""
    wide = FINER * DOTS_PER_INCH * WIDTH_IN  # of the whole figure in fine pixels
    length = round_length(0.12 * wide / raster.scale / MILLIMETRE) * MILLIMETRE
    share = length * raster.scale / wide
    figure.add_artist(Line2D([0.97 - share, 0.97], [top - 0.012] * 2, color="black", lw=2.5))
    figure.text(0.97 - share / 2, top - 0.02, show(length, "mm"), ha="center", va="top", fontsize=8)


def _broadest(surface: Surface) -> Floats:
    """Return the direction of the part's own axes from which most of it is seen, z last: tables look down on flat parts."""
    seen = np.abs(surface.area_vectors).sum(axis=0)
    direction = np.zeros(3)
    direction[int(np.argmax(seen * np.array([1.0, 1.0, 1.0 + 1e-6])))] = 1.0
    return direction


def _words(eye: Floats) -> str:
    axis = int(np.argmax(np.abs(eye)))
    return ("+" if eye[axis] > 0 else "-") + "xyz"[axis]


def _rgb(colours: Sequence[str]) -> Floats:
    from matplotlib.colors import to_rgb

    return np.array([to_rgb(colour) for colour in colours])


def _both_sides(surface: Surface) -> Surface:
    """Return the surface with every face a second time the other way round: an open one is seen from both sides."""
    faces = np.concatenate([surface.faces, surface.faces[:, ::-1]])
    return Surface(surface.vertices, faces, np.tile(surface.tag, 2))


def _numbers(axes: Axes, raster: Raster, surface: Surface, listed: Sequence[int]) -> None:
    """Write the number of each listed feature where most of it is seen round about."""
    seen = np.where(raster.face >= 0, surface.tag[np.maximum(raster.face, 0)], -1)[::FINER, ::FINER]
    spots = [(number, *_middle(seen == feature)) for number, feature in enumerate(listed, 1)]
    taken: list[tuple[float, float]] = []
    for number, column, row, depth in sorted(spots, key=lambda spot: -spot[3]):
        if depth < LEAST_SPOT / 2 or any(abs(column - x) < APART[0] and abs(row - y) < APART[1] for x, y in taken):
            continue
        taken.append((column, row))
        box = {"boxstyle": "circle,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.85}
        axes.text(column, row, str(number), ha="center", va="center", fontsize=7.5, bbox=box)


def _middle(mask: Bools) -> tuple[float, float, float]:
    """Return the column and row deepest inside a mask, and how far that is from its border in pixels."""
    if not mask.any():
        return 0.0, 0.0, 0.0
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    part = mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    depth = distance_transform_edt(np.pad(part, 1))[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(depth)), depth.shape)
    return float(columns[0] + column), float(rows[0] + row), float(depth[row, column])


def _list(figure: Figure, features: Sequence[Feature], listed: Sequence[int]) -> None:
    """Write number, name and area of each listed feature, in two columns under the views."""
    height = figure.get_size_inches()[1]
    lines = -(-len(listed) // 2)
    for number, feature in enumerate(listed, 1):
        column, line = divmod(number - 1, lines)
        name = printable(features[feature].name)
        name = name if len(name) <= LONGEST else name[: LONGEST - 1] + "…"
        text = f"{number}  {name}: {area(features[feature].area)}"
        y = (0.33 + 0.185 * (lines - line)) / height
        figure.text(0.02 + 0.5 * column, y, text, fontsize=7.5, va="top", parse_math=False)
    left_out = len(features) - len(listed)
    if left_out:
        figure.text(0.98, 0.02, f"{left_out} more, smaller features are not numbered", ha="right", fontsize=7.5)


def _legend(figure: Figure, features: Sequence[Feature]) -> None:
    kinds = [kind for kind in COLOUR_OF_KIND if any(f.kind == kind and not f.bare for f in features)]
    handles = [Patch(color=COLOUR_OF_KIND[kind], label=str(kind)) for kind in kinds]
    if any(feature.bare for feature in features):
        handles.append(Patch(color=BARE_COLOUR, label="not plated"))
    figure.legend(
        handles=handles, loc="lower left", ncols=len(handles), frameon=False, fontsize=7.5, bbox_to_anchor=(0.01, 0.0)
    )
