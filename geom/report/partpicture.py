"""Pictures of a part by itself: its features by kind and number, and the places of a defect."""

from collections.abc import Sequence, Set

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from geom.arrays import Floats
from geom.feature import Feature, Kind
from geom.report.amounts import area
from geom.report.partnumbers import draw_numbers
from geom.report.partviews import WATER_COLOUR, Waterline, draw_cross, two_views, with_water
from geom.report.raster import shaded
from geom.report.tree import printable
from geom.surface.surface import Surface

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
MOST_LISTED = 32
LONGEST = 46  # letters of a name in the list


def part_picture(features: Sequence[Feature], surface: Surface, water: Waterline | None = None) -> Figure:
    """Return a part from two opposite corners, its features coloured by kind and numbered, with a list of them.

    What is above the liquid is drawn paler where ``water`` says how high it stands.
    """
    listed = listed_features(features)
    lines = -(-len(listed) // 2)
    figure, pictures = two_views(surface, 0.35 + 0.185 * lines + 0.45)
    colours = _rgb([BARE_COLOUR if f.bare else COLOUR_OF_KIND[f.kind] for f in features])[surface.tag]
    for picture in pictures:
        image = shaded(picture.raster, surface, colours)
        image = image if water is None else with_water(image, picture.raster, water)
        picture.axes.imshow(image, origin="lower")
        draw_cross(picture)
    unseen = draw_numbers(pictures, surface, listed)
    _list(figure, features, listed, unseen)
    _legend(figure, features, water)
    return figure


def defect_picture(surface: Surface, marks: Sequence[Sequence[float]]) -> Figure:
    """Return the faces of a file from two sides, both of their sides drawn, with the places of a defect marked."""
    doubled = _both_sides(surface)
    figure, pictures = two_views(doubled, 0.5)
    points = np.asarray(marks, dtype=np.float64).reshape(-1, 3)
    size = float(np.linalg.norm(np.ptp(surface.bounds, axis=0)))
    for axes, raster in ((picture.axes, picture.raster) for picture in pictures):
        axes.imshow(shaded(raster, doubled, np.full((len(doubled.faces), 3), 0.8)), origin="lower")
        hidden = raster.is_hidden(points, 0.02 * size)
        column, row = raster.place(points).T
        axes.plot(column[~hidden], row[~hidden], ls="", marker="o", ms=8, mfc="none", mec=DEFECT_COLOUR, mew=2)
        axes.plot(column[hidden], row[hidden], ls="", marker="o", ms=6, mfc="none", mec=DEFECT_COLOUR, mew=0.8)
    for picture in pictures:
        draw_cross(picture)
    figure.text(0.5, 0.02, "rings: places of the defect; thin ones lie behind", ha="center", fontsize=10)
    return figure


def listed_features(features: Sequence[Feature]) -> list[int]:
    """Return the features to number: all holes, slots and bends first, then the largest of the rest, in their order."""
    plain = (Kind.FACE, Kind.EDGE, Kind.END, Kind.SKIN)
    order = sorted(range(len(features)), key=lambda k: (features[k].kind in plain, -features[k].area))
    return sorted(order[:MOST_LISTED])


def _rgb(colours: Sequence[str]) -> Floats:
    from matplotlib.colors import to_rgb

    return np.array([to_rgb(colour) for colour in colours])


def _both_sides(surface: Surface) -> Surface:
    """Return the surface with every face a second time the other way round: an open one is seen from both sides."""
    faces = np.concatenate([surface.faces, surface.faces[:, ::-1]])
    return Surface(surface.vertices, faces, np.tile(surface.tag, 2))


def _list(figure: Figure, features: Sequence[Feature], listed: Sequence[int], unseen: Set[int]) -> None:
    """Write number, name and area of each listed feature, in two columns under the views."""
    height = figure.get_size_inches()[1]
    lines = -(-len(listed) // 2)
    for number, feature in enumerate(listed, 1):
        column, line = divmod(number - 1, lines)
        name = printable(features[feature].name)
        name = name if len(name) <= LONGEST else name[: LONGEST - 1] + "…"
        name += " (not seen)" if number in unseen else ""
        text = f"{number}  {name}: {area(features[feature].area)}"
        y = (0.33 + 0.185 * (lines - line)) / height
        figure.text(0.02 + 0.5 * column, y, text, fontsize=7.5, va="top", parse_math=False)
    left_out = len(features) - len(listed)
    if left_out:
        figure.text(0.98, 0.02, f"{left_out} more, smaller features are not numbered", ha="right", fontsize=7.5)


def _legend(figure: Figure, features: Sequence[Feature], water: Waterline | None) -> None:
    kinds = [kind for kind in COLOUR_OF_KIND if any(f.kind == kind and not f.bare for f in features)]
    handles: list[Patch | Line2D] = [Patch(color=COLOUR_OF_KIND[kind], label=str(kind)) for kind in kinds]
    if any(feature.bare for feature in features):
        handles.append(Patch(color=BARE_COLOUR, label="not plated"))
    if water is not None:
        handles.append(Line2D([], [], color=WATER_COLOUR, lw=2, label="liquid surface; paler: above it"))
    figure.legend(
        handles=handles, loc="lower left", ncols=len(handles), frameon=False, fontsize=7.5, bbox_to_anchor=(0.01, 0.0)
    )
