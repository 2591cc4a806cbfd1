"""The part from both sides as pictures that need no script: shown until the 3-D view runs, and in print."""

import base64
import io

import numpy as np
from matplotlib.image import imsave

from geom.advice.measures import anode_direction
from geom.arrays import Floats
from geom.plan import Plan
from geom.report.figures import COLOURS, MICROMETRE, thickness_scale
from geom.report.painter import both_sides
from geom.report.raster import rastered, shaded
from geom.report.sheet.markup import Markup, tag
from geom.surface.surface import Surface

WIDE, TALL = 520, 400  # pixels of one picture


def stills(plan: Plan) -> Markup:
    """Return the part from the side of the anode and from the far side, in the colours of its thickness."""
    panels = plan.fields[0].panels
    hung = panels.hung
    solid = Surface(hung.vertices, hung.faces[:, [0, 2, 1]], hung.tag)
    bare = np.full(len(panels.bare_feature), np.nan)
    values = np.ma.masked_invalid(np.concatenate([plan.deposit.thickness / MICROMETRE, bare]))
    colours = np.asarray(COLOURS(thickness_scale(plan)(values)))[:, :3]
    known = anode_direction(plan.fields[0]) is not None
    titles = ("anode side", "far side") if known else ("one side", "other side")
    pictures = []
    for title, view in zip(titles, both_sides(plan.fields[0]), strict=True):
        raster = rastered(solid, view, WIDE, TALL)
        source = _source(shaded(raster, solid, colours))
        image = tag("img", src=source, width=WIDE, height=TALL, alt=f"the part by thickness, {title}")
        pictures.append(tag("figure", image, tag("figcaption", title)))
    return tag("div", *pictures, class_="stills")


def _source(image: Floats) -> str:
    """Return an image, rows from below, as a data URI whose ground is transparent."""
    out = io.BytesIO()
    imsave(out, image[::-1], format="png", pil_kwargs={"compress_level": 4})
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode("ascii")
