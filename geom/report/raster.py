"""A surface as an image: hidden faces hidden exactly, however many there are."""

from dataclasses import dataclass

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.report import raster_kernels as kernels
from geom.report.painter import View
from geom.surface.surface import Surface

FINER = 2  # pixels are drawn so many times finer each way, and averaged
MARGIN = 0.03  # of the picture left free on each side
DARKEST = 0.62  # light on faces seen edge-on
LINE_LIGHT = 0.35  # light left where a line is drawn
CREASE = np.cos(np.radians(25.0))  # faces that turn by more have a line between them


@dataclass(frozen=True, eq=False)
class Raster:
    """What is seen in each pixel of one view; row 0 is the lowest."""

    face: Ints  # (rows, columns) face, -1 for none
    depth: Floats  # (rows, columns) nearness to the eye [m], -inf for none
    scale: float  # pixels a metre
    origin: Floats  # (2,) where on the picture pixel (0, 0) begins [m]
    view: View

    def place(self, points: Floats) -> Floats:
        """Return (n, 2) column and row of points (n, 3) [m] in the averaged image."""
        return np.asarray((self.view.flat(points) - self.origin) * self.scale / FINER)

    def is_hidden(self, points: Floats, slack: float) -> Bools:
        """Return (n,) whether something lies over each point by more than ``slack`` [m]."""
        column, row = (self.place(points) * FINER).astype(np.int64).T
        rows, columns = self.face.shape
        inside = (column >= 0) & (column < columns) & (row >= 0) & (row < rows)
        over = np.full(len(points), -np.inf)
        over[inside] = self.depth[row[inside], column[inside]]
        return np.asarray(over > self.view.depth(points) + slack)


def rastered(surface: Surface, view: View, columns: int, rows: int) -> Raster:
    """Return what is seen of a closed surface, normals outward, in a picture of so many (averaged) pixels."""
    flat = view.flat(surface.vertices)
    low, high = flat.min(axis=0), flat.max(axis=0)
    room = FINER * np.array([columns, rows]) * (1 - 2 * MARGIN)
    scale = float((room / np.maximum(high - low, 1e-12)).min())
    origin = (low + high) / 2 - FINER * np.array([columns, rows]) / (2 * scale)
    corners = np.concatenate([(flat - origin) * scale, view.depth(surface.vertices)[:, None]], axis=1)[surface.faces]
    owner = np.full((FINER * rows, FINER * columns), -1, dtype=np.int64)
    depth = np.full(owner.shape, -np.inf)
    kernels.fill(np.ascontiguousarray(corners), view.depth(surface.normals) > 0, owner, depth)
    return Raster(owner, depth, scale, origin, view)


def shaded(raster: Raster, surface: Surface, colours: Floats) -> Floats:
    """Return (rows, columns, 4) the image, each face (m, 3) in its colour, with lines at borders and creases.

    Where nothing is seen it lets the ground through, so that it may be drawn on white and on black.
    """
    seen = raster.face >= 0
    face = np.where(seen, raster.face, 0)
    light = DARKEST + (1 - DARKEST) * np.clip(raster.view.depth(surface.normals), 0.0, 1.0)
    image = (colours * light[:, None])[face] * seen[..., None]
    line = _lines(raster, surface)
    image[line] *= LINE_LIGHT
    cover = np.where(seen, 1.0, np.where(line, 1.0 - LINE_LIGHT, 0.0))  # a line beside the part darkens the ground
    rows, columns = raster.face.shape
    blocks = np.dstack([image, cover]).reshape(rows // FINER, FINER, columns // FINER, FINER, 4).mean(axis=(1, 3))
    blocks[..., :3] /= np.maximum(blocks[..., 3:], 1e-6)
    return np.asarray(np.clip(blocks, 0.0, 1.0))


def _lines(raster: Raster, surface: Surface) -> Bools:
    """Return (rows, columns) where a line stands: at the rim, between tags, at creases and steps in depth."""
    face, tag, normals = raster.face, surface.tag, surface.normals
    line = np.zeros(face.shape, dtype=np.bool_)
    # of depth between neighbouring pixels, over that of the steeper face: a rim within the part [m]
    toward = np.clip(raster.view.depth(normals), 0.02, 1.0)
    slope = np.sqrt(1.0 - toward**2) / toward
    for axis in (0, 1):
        one, two = (face[:-1], face[1:]) if axis == 0 else (face[:, :-1], face[:, 1:])
        near, far = (raster.depth[:-1], raster.depth[1:]) if axis == 0 else (raster.depth[:, :-1], raster.depth[:, 1:])
        both = (one >= 0) & (two >= 0)
        differ = (one >= 0) != (two >= 0)
        a, b = one[both], two[both]
        turned = np.einsum("ij,ij->i", normals[a], normals[b]) < CREASE
        step = (6.0 + 2.0 * np.maximum(slope[a], slope[b])) / raster.scale
        differ[both] = (tag[a] != tag[b]) | turned | (np.abs(near[both] - far[both]) > step)
        target = line[:-1] if axis == 0 else line[:, :-1]
        target |= differ
    return line
