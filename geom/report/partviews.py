"""A part from two opposite corners, so that every outside face is seen in one of the two, with its axes and a scale."""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from geom.arrays import Bools, Floats
from geom.report.figures import DOTS_PER_INCH, MILLIMETRE, WIDTH_IN, blank, round_length
from geom.report.painter import View, tilted_view
from geom.report.raster import FINER, Raster, rastered
from geom.surface.surface import Surface
from geom.units import show

VIEW_IN = 4.35  # width and height of one view
TITLE_IN = 0.3
LITTLE = 0.08  # a share of the way to the eye below which an axis is not named
CROSS = 70  # pixels, width and height of the square that the axes cross stands in
ARM = 30.0  # pixels of an arrow of the cross that lies in the picture
INK = "0.25"
WATER_COLOUR = "#1565c0"
PALER = 0.55  # how far what is above the liquid goes to white


@dataclass(frozen=True, eq=False)
class Waterline:
    """Where the liquid stands on a part, in the frame of the part."""

    up: Floats  # (3,) unit vector
    level: float  # of the liquid surface along ``up`` [m]


@dataclass(frozen=True, eq=False)
class Picture:
    """One of the two views on its axes, in pixels; row 0 is the lowest."""

    axes: Axes
    raster: Raster
    cross: tuple[float, float]  # lower left corner of the square that the axes cross stands in


def two_views(surface: Surface, below_in: float) -> tuple[Figure, tuple[Picture, Picture]]:
    """Return a figure with two views of a surface from opposite corners, and room of so many inches below."""
    first = tilted_view(_broadest(surface))
    wide = (WIDTH_IN - 0.2) / 2
    size = np.ptp(first.flat(surface.vertices), axis=0)
    high = float(np.clip(wide * size[1] / max(float(size[0]), 1e-12), 1.2, VIEW_IN))
    height = below_in + high + TITLE_IN
    figure = blank(height)
    pictures = []
    for number, view in enumerate((first, opposite(first))):
        left = (0.05 + number * (wide + 0.1)) / WIDTH_IN
        axes = figure.add_axes((left, below_in / height, wide / WIDTH_IN, high / height))
        axes.set_axis_off()
        axes.set_title(f"seen from {eye_words(view)}", fontsize=10)
        raster = rastered(surface, view, int(wide * DOTS_PER_INCH), int(high * DOTS_PER_INCH))
        pictures.append(Picture(axes, raster, _free_corner(raster.face[::FINER, ::FINER] >= 0)))
    _scale_bar(figure, pictures[0].raster, below_in / height)
    return figure, (pictures[0], pictures[1])


def opposite(view: View) -> View:
    """Return the view from the opposite side, from below where the other is from above; up stays up."""
    right, up, eye = view.axes
    return View(np.stack([-right, up, -eye]))


def eye_words(view: View) -> str:
    """Return where the eye is in words of the part's own axes: most of the way first."""
    eye = view.axes[2]
    names = [("+" if eye[k] > 0 else "-") + "xyz"[k] for k in np.argsort(-np.abs(eye)) if abs(eye[k]) > LITTLE]
    return names[0] + (f", a little from {' and '.join(names[1:])}" if names[1:] else "")


def draw_cross(picture: Picture) -> None:
    """Draw the directions of x, y and z in the free corner of a view."""
    tips = ARM * picture.raster.view.axes[:2].T
    start = np.array(picture.cross) + CROSS / 2 - (tips.max(axis=0, initial=0) + tips.min(axis=0, initial=0)) / 2
    for name, tip in zip("xyz", tips, strict=True):
        length = float(np.linalg.norm(tip))
        arrow = {"arrowstyle": "-|>", "color": INK, "lw": 1.1, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 6}
        picture.axes.annotate("", start + tip, start, arrowprops=arrow)
        # an arrow that points at the eye has its letter beside it all the same
        away = tip / length if length > 1.0 else np.array([-1.0, -1.0])
        place = start + tip + 7.0 * away
        picture.axes.text(float(place[0]), float(place[1]), name, ha="center", va="center", fontsize=7.5, color=INK)


def with_water(image: Floats, raster: Raster, water: Waterline) -> Floats:
    """Return the image (rows, columns, 4) with what is above the liquid paler, and a line where the liquid stands."""
    height = _heights(raster, water)
    seen, dry = np.isfinite(height), height > 0.1 * FINER / raster.scale  # a level face at the line is wet
    out = image.copy()
    out[seen & dry, :3] = (1 - PALER) * image[seen & dry, :3] + PALER
    line = np.zeros(seen.shape, dtype=np.bool_)
    near = 6.0 * FINER / raster.scale  # further apart, two pixels are on faces at different depths
    for one, two in ((np.s_[:-1], np.s_[1:]), (np.s_[:, :-1], np.s_[:, 1:])):
        apart = np.abs(
            np.where(seen[one] & seen[two], height[one], 0.0) - np.where(seen[one] & seen[two], height[two], 0.0)
        )
        crossed = seen[one] & seen[two] & (dry[one] != dry[two]) & (apart < near)
        line[one] |= crossed
        line[two] |= crossed
    out[line] = (*_rgb(WATER_COLOUR), 1.0)
    return out


def _heights(raster: Raster, water: Waterline) -> Floats:
    """Return (rows, columns) how high what is seen is above the liquid surface [m]; nan where nothing is seen."""
    face, depth = raster.face[::FINER, ::FINER], raster.depth[::FINER, ::FINER]
    rows, columns = face.shape
    right, up, eye = raster.view.axes @ water.up
    x = raster.origin[0] + (FINER * np.arange(columns) + 0.5) / raster.scale
    y = raster.origin[1] + (FINER * np.arange(rows) + 0.5) / raster.scale
    seen = face >= 0
    height = right * x[None, :] + up * y[:, None] + eye * np.where(seen, depth, 0.0) - water.level
    return np.where(seen, height, np.nan)


def _rgb(colour: str) -> Floats:
    from matplotlib.colors import to_rgb

    return np.array(to_rgb(colour))


def _free_corner(covered: Bools) -> tuple[float, float]:
    """Return the lower left corner of the square in a corner of the picture that the least of the part lies in."""
    rows, columns = covered.shape
    corners = [(0, 0), (columns - CROSS, 0), (0, rows - CROSS), (columns - CROSS, rows - CROSS)]
    return min(((float(x), float(y)) for x, y in corners), key=lambda c: _count(covered, c))


def _count(covered: Bools, corner: tuple[float, float]) -> int:
    x, y = int(corner[0]), int(corner[1])
    return int(covered[max(y, 0) : y + CROSS, max(x, 0) : x + CROSS].sum())


def _scale_bar(figure: Figure, raster: Raster, top: float) -> None:
    """Draw a bar of a round length at the right under the views; lengths in the plane of both pictures are true to it."""
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
