"""How fast an error falls with the panel size."""

from collections.abc import Sequence

import numpy as np


def observed_order(sizes: Sequence[float], errors: Sequence[float]) -> float:
    """Slope of log(error) on log(size) by least squares, over three meshes or more."""
    if len(sizes) < 3:
        raise ValueError("an order seen on fewer than three meshes proves nothing")
    slope = np.polyfit(np.log(sizes), np.log(np.abs(errors)), 1)[0]
    return float(slope)
