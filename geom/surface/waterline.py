"""How much of each face lies below a level, exactly."""

import numpy as np

from geom.arrays import Floats
from geom.surface.cutters import CLOSE, HalfSpace
from geom.surface.splitting import Split, split
from geom.surface.surface import Surface


def area_below(surface: Surface, level: float) -> Floats:
    """Return (m,) area of each face below the height ``level`` along z [m²].

    A plane cuts the corner off a triangle; along each edge from that corner the share that is cut is known, and
    the area of the corner is the product of the two shares.
    """
    height = np.sort(surface.corners[:, :, 2], axis=1) - level
    low, middle, high = height.T
    share = np.zeros(len(height))
    share[high <= 0] = 1.0
    one = (low < 0) & (middle >= 0) & (high > 0)  # the lowest corner alone is under
    share[one] = low[one] / (low[one] - middle[one]) * low[one] / (low[one] - high[one])
    two = (middle < 0) & (high > 0)  # the highest alone is out
    share[two] = 1.0 - high[two] / (high[two] - low[two]) * high[two] / (high[two] - middle[two])
    return np.asarray(share * surface.areas)


def cut_at(surface: Surface, level: float) -> Split:
    """Return the surface cut at the height ``level`` along z; inside is what lies below."""
    slack = CLOSE * float(np.ptp(surface.bounds, axis=0).max())
    low, high = (f(surface.corners[:, :, 2], axis=1) for f in (np.min, np.max))
    across = (low < level) & (high > level)  # the others need no look at each of their edges
    cut = split(surface, HalfSpace((0.0, 0.0, 1.0), level, slack), across)
    return Split(cut.surface, cut.source, np.where(across[cut.source], cut.inside, (high <= level)[cut.source]))
