"""How fast an error falls with the panel size."""

from collections.abc import Sequence

import numpy as np


def observed_order(sizes: Sequence[float], errors: Sequence[float]) -> float:
    """Slope of log(error) on log(size) by least squares, over three meshes or more."""
    if len(sizes) < 3:
        raise ValueError("an order seen on fewer than three meshes proves nothing")
    slope = np.polyfit(np.log(sizes), np.log(np.abs(errors)), 1)[0]
    return float(slope)


def extrapolated(sizes: Sequence[float], values: Sequence[float], order: float = 2.0) -> float:
    """The value at size zero of one that nears it as the panel size to a known order, from the last two meshes."""
    gain = (sizes[-2] / sizes[-1]) ** order - 1.0
    return float(values[-1] + (values[-1] - values[-2]) / gain)
