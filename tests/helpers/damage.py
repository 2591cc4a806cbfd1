"""Sound parts of ours, and the ways in which their faces get spoiled on the way through files."""

from functools import cache

import numpy as np
import trimesh

from geom.part.build import build_part
from geom.part.shapes import Bar, Channel, Hole, Offset, Tube, Washer
from geom.repair.change import Mended
from geom.repair.mend import mended

SHAPES = {
    "link": Offset(0.1, 0.02, 0.003, 0.01, 0.003, holes=(Hole(0.008, (-0.035, 0)), Hole(0.006, (0.035, 0)))),
    "bar": Bar(0.06, 0.02, 0.005, 0.001, (Hole(0.008, (0.01, 0)),)),
    "washer": Washer(0.02, 0.008, 0.002),
    "tube": Tube(0.05, 0.012, 0.001),
    "channel": Channel(0.08, 0.03, 0.02, 0.002, 0.003),
}


@cache
def sound(name: str) -> np.ndarray:
    """Corners (m, 3, 3) of the faces of a part, a little turned and moved, in single precision [m]."""
    surface = build_part(SHAPES[name]).surface if name in SHAPES else None
    corners = np.array(surface.corners if surface is not None else box())
    turn = trimesh.transformations.euler_matrix(0.3, -0.2, 0.5)[:3, :3]
    corners = np.round((corners @ turn.T + [0.03, 0.01, 0.02]) / 1e-6, 3) * 1e-6  # as a file in nanometres has it
    corners.flags.writeable = False
    return corners


def box(
    size: tuple[float, float, float] = (0.04, 0.02, 0.004), at: tuple[float, float, float] = (0, 0, 0)
) -> np.ndarray:
    """Corners (12, 3, 3) of the faces of a box with one corner at ``at`` [m]."""
    mesh = trimesh.creation.box(size)
    return np.array(mesh.triangles) + np.array(size) / 2 + np.array(at)


def area(corners: np.ndarray) -> float:
    """Sum of the areas of faces (m, 3, 3) [m²]."""
    return float(areas(corners).sum())


def areas(corners: np.ndarray) -> np.ndarray:
    return np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2


def volume(corners: np.ndarray) -> float:
    return float(np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))) / 6


def mend(corners: np.ndarray, *, strict: bool = False, thickness: float = 0.0) -> Mended:
    """Mend loose faces (m, 3, 3)."""
    faces = np.arange(3 * len(corners)).reshape(-1, 3)
    return mended(corners.reshape(-1, 3), faces, np.arange(len(corners)), strict=strict, thickness=thickness)


def corners_of(mesh: Mended) -> np.ndarray:
    return np.array(mesh.vertices[mesh.faces])


def codes(mesh: Mended) -> list[str]:
    """What was changed, then what was found."""
    return [told.code for told in (*mesh.changes, *mesh.findings)]


def flipped(corners: np.ndarray, which: np.ndarray) -> np.ndarray:
    """Faces (m, 3, 3) with some turned over."""
    out = corners.copy()
    out[which] = out[which, ::-1]
    return out


def halved(corners: np.ndarray) -> np.ndarray:
    """Each face cut in four at the middles of its sides."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    return np.concatenate([np.stack(rows, axis=1) for rows in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])


def shuffled(corners: np.ndarray, seed: int) -> np.ndarray:
    """The faces in another order, each begun at another corner."""
    rng = np.random.default_rng(seed)
    out = corners[rng.permutation(len(corners))]
    turns = rng.integers(0, 3, len(out))
    return np.take_along_axis(out, ((np.arange(3) + turns[:, None]) % 3)[:, :, None].repeat(3, axis=2), axis=1)


def voxels(cubes: list[tuple[int, int, int]]) -> np.ndarray:
    """The skin of cubes of 10 mm: every square between a cube and none."""
    filled, corners = set(cubes), []
    for cube in cubes:
        for axis in range(3):
            for sign in (-1, 1):
                beside = list(cube)
                beside[axis] += sign
                if tuple(beside) in filled:
                    continue
                u, v = np.eye(3)[(axis + 1) % 3], np.eye(3)[(axis + 2) % 3]
                start = np.array(cube, dtype=float) + (np.eye(3)[axis] if sign > 0 else 0)
                square = [start, start + u, start + u + v, start + v][::sign]
                corners += [[square[0], square[1], square[2]], [square[0], square[2], square[3]]]
    return 0.01 * np.array(corners)
