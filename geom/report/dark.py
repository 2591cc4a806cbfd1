"""A figure for a dark page: its ink turned light, its white ground dark; what has a colour that means something keeps it."""

from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.colors import to_hex, to_rgb, to_rgba
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import FancyBboxPatch, Patch
from matplotlib.spines import Spine
from matplotlib.text import Annotation, Text

from geom.report.figures import TARGET_COLOUR
from geom.report.tankfigure import LIQUID

GROUND = "#14191d"
INK = "#e8e6df"
FAINT = "#39434b"  # lines that only guide the eye
WATER = "#1d3242"
TURNED = {TARGET_COLOUR: "#ff7aa8", LIQUID: WATER}  # colours that mean something, as they are seen on dark
GREY = 0.05  # colours whose channels differ by less are ink or paper, not a colour
DIM = 0.6  # ink that is darker than this is turned
PALE = 0.9  # from here on it is paper


def darkened(figure: Figure) -> Figure:
    """Turn a figure's ink and paper over, in place, and return it."""
    figure.set_facecolor(GROUND)
    for artist in figure.findobj():
        _turn(artist)
    return figure


def _turn(artist: Artist) -> None:
    if isinstance(artist, Text):
        artist.set_color(_ink(artist.get_color()))
        box = artist.get_bbox_patch()
        if box is not None:
            box.set_facecolor(_paper(box.get_facecolor()))
        if isinstance(artist, Annotation) and artist.arrow_patch is not None:
            artist.arrow_patch.set_color(_ink(artist.arrow_patch.get_edgecolor()))
    elif isinstance(artist, Line2D):
        artist.set_color(_ink(artist.get_color()))
    elif isinstance(artist, Spine):
        artist.set_edgecolor(_ink(artist.get_edgecolor()))
    elif isinstance(artist, Axes):
        artist.set_facecolor(_paper(artist.get_facecolor()))
    elif isinstance(artist, Axis):
        artist.set_tick_params(color=INK, labelcolor=INK)
    elif isinstance(artist, Patch) and not isinstance(artist, FancyBboxPatch):
        artist.set_edgecolor(_ink(artist.get_edgecolor()))
        artist.set_facecolor(_paper(artist.get_facecolor()))


def _ink(colour: Any) -> Any:
    """Return dark ink light, and grey lines faint; a colour that means something as it is seen on dark."""
    if (known := TURNED.get(to_hex(colour))) is not None:
        return known
    red, green, blue, alpha = to_rgba(colour)
    if max(red, green, blue) - min(red, green, blue) >= GREY or red >= PALE:
        return colour
    return (*to_rgb(INK if red <= DIM else FAINT), alpha)


def _paper(colour: Any) -> Any:
    """Return white paper dark, and pale water; anything else as it is."""
    red, green, blue, alpha = to_rgba(colour)
    if (known := TURNED.get(to_hex(colour))) is not None:
        return (*to_rgb(known), alpha)
    return (*to_rgb(GROUND), alpha) if min(red, green, blue) > 1 - GREY else colour
