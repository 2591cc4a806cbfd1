"""How much of each feature lies under the liquid, without a solve."""

import numpy as np

from geom.arrays import Floats
from geom.cell.bodies import part_solid
from geom.cell.cell import Cell
from geom.surface.waterline import area_below


def wetted_areas(cell: Cell) -> Floats:
    """Return (features,) what is under the liquid surface of each feature of the part as it hangs [m²].

    By formula where the part has dimensions, times the share of its facets that is cut off at the waterline. Liquid
    that no current reaches counts as liquid.
    """
    solid, count = part_solid(cell.part, cell.pose), len(cell.part.features)
    below = np.bincount(solid.tag, weights=area_below(solid, cell.tank.depth), minlength=count)
    facets = np.bincount(solid.tag, weights=solid.areas, minlength=count)
    whole = np.array([feature.area for feature in cell.part.features])
    return np.asarray(whole * np.divide(below, facets, out=np.zeros(count), where=facets > 0))
