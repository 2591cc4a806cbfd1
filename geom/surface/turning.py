"""Turns about the axes of the tank, one after another."""

import numpy as np

from geom.arrays import Floats


def rotation(turn: tuple[float, float, float]) -> Floats:
    """Return the (3, 3) matrix of turns about x, then y, then z [rad]: Rz @ Ry @ Rx."""
    (cx, cy, cz), (sx, sy, sz) = np.cos(turn), np.sin(turn)
    about_x = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    about_z = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return np.asarray(about_z @ about_y @ about_x, dtype=np.float64)
