"""A part drawn without perspective: panels turned, culled, sorted from far to near and coloured."""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import Colormap, Normalize

from geom.advice.measures import anode_direction
from geom.arrays import Floats, Ints
from geom.field import Field
from geom.surface.surface import Surface

TILT = np.tan(np.radians(25.0))  # how far the eye is raised
ASIDE = np.tan(np.radians(20.0))  # and moved aside, so that edges are seen
DARKEST = 0.8  # light on panels seen edge-on: a deeper shade would be read as another thickness
FINEST = 1.5e-2  # panels are split until their edges are below this share of the part's size


@dataclass(frozen=True, eq=False)
class View:
    """The directions of right, up and toward the eye, as rows of an orthonormal (3, 3) matrix."""

    axes: Floats

    def flat(self, points: Floats) -> Floats:
        """Return (..., 2) where points (..., 3) fall on the picture [m]."""
        return np.asarray(points @ self.axes[:2].T)

    def depth(self, points: Floats) -> Floats:
        """Return (...,) how near points (..., 3) are to the eye [m]."""
        return np.asarray(points @ self.axes[2])


def both_sides(field: Field) -> tuple[View, View]:
    """Return the views of the side toward the anode and of the side away from it."""
    direction = anode_direction(field)
    toward = broadest_direction(field.panels.part) if direction is None else direction
    return tilted_view(toward), tilted_view(-toward)


def tilted_view(toward: Floats) -> View:
    """Return the view from the direction ``toward`` (3,), raised and moved aside; up is the tank's z."""
    up = np.array([0.0, 0.0, 1.0]) if abs(toward[2]) < 0.8 else np.array([0.0, 1.0, 0.0])
    side = np.cross(up, toward)
    eye = toward + TILT * up + ASIDE * side / np.linalg.norm(side)
    eye = eye / np.linalg.norm(eye)
    right = np.cross(up, eye)
    right = right / np.linalg.norm(right)
    return View(np.stack([right, np.cross(eye, right), eye]))


def broadest_direction(part: Surface) -> Floats:
    """Return the level direction from which most of the part is seen; it is turned to the side of +x or +y."""
    angles = np.radians(np.arange(0.0, 180.0, 5.0))
    directions = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(len(angles))])
    seen = np.abs(part.area_vectors @ directions.T).sum(axis=0)
    # of equal ones the first: rounding must not choose the picture
    return np.asarray(directions[np.argmax(seen > seen.max() * (1 - 1e-6))])


def split(corners: Floats, longest: float) -> tuple[Floats, Ints]:
    """Return triangles (m, 3, 3) cut in four until no edge is over ``longest`` [m], and whose piece each is."""
    owner = np.arange(len(corners))
    done, owners = [], []
    while len(corners):
        edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
        small = edges <= longest
        done.append(corners[small])
        owners.append(owner[small])
        a, b, c = np.moveaxis(corners[~small], 1, 0)
        ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
        pieces = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
        corners = np.concatenate([np.stack(piece, axis=1) for piece in pieces])
        owner = np.tile(owner[~small], 4)
    return np.concatenate(done), np.concatenate(owners)


def paint(axes: Axes, part: Surface, values: Floats, view: View, *, colours: Colormap, scale: Normalize) -> None:
    """Draw the part into ``axes``, coloured by ``values`` (m,); panel normals point into the metal [m]."""
    facing = -view.depth(part.normals)
    seen = np.flatnonzero(facing > 0)
    size = float(np.linalg.norm(np.ptp(part.bounds, axis=0)))
    # panels of unlike size cannot be sorted by their centres
    corners, owner = split(part.corners[seen], FINEST * size)
    order = np.argsort(view.depth(corners.mean(axis=1)), kind="stable")
    corners, owner = corners[order], seen[owner[order]]
    colour = colours(scale(values[owner]))
    colour[:, :3] *= (DARKEST + (1 - DARKEST) * facing[owner])[:, None]
    flat = view.flat(corners)
    # edges in the panel's own colour close the hairlines between neighbours
    axes.add_collection(PolyCollection(list(flat), facecolors=colour, edgecolors=colour, linewidths=0.4))
