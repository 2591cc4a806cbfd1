"""Write clamp.stl: a cable clamp with a saddle, two ears, a slot and two lugs, all of it ours.

Run it from any folder: ``python make_mesh.py``. The file is committed, so the sample works without it.
"""

from pathlib import Path

import shapely
import trimesh
from shapely.geometry import LineString, Point, box
from shapely.ops import unary_union

WIDTH = 16.0  # mm, along z before it is turned
SADDLE_OUTSIDE, SADDLE_INSIDE = 11.0, 8.0  # mm, radii of the half ring that holds the cable
EAR = 24.0  # mm, from the middle to the end of each ear
STRIP = SADDLE_OUTSIDE - SADDLE_INSIDE
SEGMENTS = 24  # to a quarter turn


def profile() -> shapely.Polygon:
    """Return the side view: half a ring with an ear at each foot [mm]."""
    ring = Point(0, 0).buffer(SADDLE_OUTSIDE, SEGMENTS).difference(Point(0, 0).buffer(SADDLE_INSIDE, SEGMENTS))
    upper = ring.intersection(box(-20, 0, 20, 20))
    ears = [box(SADDLE_INSIDE, 0, EAR, STRIP), box(-EAR, 0, -SADDLE_INSIDE, STRIP)]
    rough = unary_union([upper, *ears])
    return rough.buffer(-0.4, SEGMENTS).buffer(0.8, SEGMENTS).buffer(-0.4, SEGMENTS)  # corners broken


def punched(body: trimesh.Trimesh, outline: shapely.Polygon) -> trimesh.Trimesh:
    """Return the body with an outline of the x-z plane taken out of it along y, which is where a drill goes."""
    tool = trimesh.creation.extrude_polygon(outline, height=60.0)
    turn = trimesh.transformations.rotation_matrix(1.5707963267948966, [1.0, 0.0, 0.0])
    tool.apply_transform(turn)  # x, y, z -> x, -z, y: along -y
    tool.apply_translation([0.0, 30.0, 0.0])
    return trimesh.boolean.difference([body, tool], engine="manifold")


def clamp() -> trimesh.Trimesh:
    """Return the clamp [mm]."""
    body = trimesh.creation.extrude_polygon(profile(), height=WIDTH)
    middle = (SADDLE_OUTSIDE + EAR) / 2
    body = punched(body, Point(-middle, WIDTH / 2).buffer(2.6, SEGMENTS))
    slot = LineString([(middle - 2.0, WIDTH / 2), (middle + 2.0, WIDTH / 2)]).buffer(2.6, SEGMENTS)
    body = punched(body, slot)
    return punched(body, box(-1.5, 4.0, 1.5, WIDTH - 4.0))  # a drain slot at the top of the saddle


if __name__ == "__main__":
    mesh = clamp()
    if not mesh.is_volume:
        raise SystemExit("the clamp is not a closed solid")
    Path(__file__).with_name("clamp.stl").write_bytes(mesh.export(file_type="stl"))
