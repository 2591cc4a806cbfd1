"""Meshes of about a million triangles, and their bytes as STL."""

import manifold3d
import numpy as np

from geom.arrays import Floats, Ints


def million(name: str) -> tuple[Floats, Ints]:
    """Return vertices [mm] and faces of a free shape ("wavy ring") or of a plain part cut fine ("drilled bar")."""
    return wavy_ring(708) if name == "wavy ring" else drilled_bar(0.16)


def wavy_ring(steps: int) -> tuple[Floats, Ints]:
    """A ring of 80 mm with waves along and around, of 2 steps² triangles."""
    angle = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    u, v = np.meshgrid(angle, angle, indexing="ij")
    across, thick = 30 + 2 * np.cos(5 * u), 8 + 0.6 * np.sin(7 * v + 3 * u)
    flat = across + thick * np.cos(v)
    points = np.stack([flat * np.cos(u), flat * np.sin(u), thick * np.sin(v)], axis=-1).reshape(-1, 3)
    a = np.arange(len(points)).reshape(u.shape)
    b, d = np.roll(a, -1, 0), np.roll(a, -1, 1)
    c = np.roll(b, -1, 1)
    return points, np.concatenate([np.stack(t, axis=-1).reshape(-1, 3) for t in ((a, b, c), (a, c, d))])


def drilled_bar(longest: float) -> tuple[Floats, Ints]:
    """A bar 100 x 20 x 6 mm with two bores of 8 mm, cut until no edge is longer [mm]."""
    bar = manifold3d.Manifold.cube([100, 20, 6], True)
    for x in (30, -30):
        bar -= manifold3d.Manifold.cylinder(20, 4, 4, 256, True).translate([x, 0, 0])
    mesh = bar.refine_to_length(longest).to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts, dtype=np.int64)


def stl_bytes(vertices: Floats, faces: Ints) -> bytes:
    """Return a binary STL file."""
    facets = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    facets["corners"] = vertices[faces]
    return bytes(80) + len(faces).to_bytes(4, "little") + facets.tobytes()
