"""How far points lie from the plain surfaces that a face of a STEP file may have."""

from typing import Any

import numpy as np

from geom.arrays import Floats


def distances(surface: dict[str, Any], points: Floats) -> Floats:
    """Return the signed distance (n,) of points (n, 3) from a surface, in its frame [m]; zero for a kind not known."""
    match surface["type"]:
        case "plane":
            away = (points - _vector(surface["origin"])) @ _vector(surface["normal"])
        case "sphere":
            away = np.linalg.norm(points - _vector(surface["center"]), axis=1) - surface["radius"]
        case "cylinder":
            _, radius = _about(surface, "origin", points)
            away = radius - surface["radius"]
        case "cone":
            height, radius = _about(surface, "apex", points)
            angle = surface["semi_angle"]
            away = radius * np.cos(angle) - np.abs(height * np.sin(angle))
        case "torus":
            height, radius = _about(surface, "center", points)
            away = np.hypot(radius - surface["major_radius"], height) - surface["minor_radius"]
        case _:
            away = np.zeros(len(points))
    return np.asarray(away, dtype=np.float64)


def _vector(values: list[float]) -> Floats:
    return np.array(values, dtype=np.float64)


def _about(surface: dict[str, Any], place: str, points: Floats) -> tuple[Floats, Floats]:
    """Return the height along the axis and the distance from it."""
    axis = _vector(surface["axis"])
    away = points - _vector(surface[place])
    height = away @ axis
    return height, np.linalg.norm(away - height[:, None] * axis, axis=1)
