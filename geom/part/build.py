"""`build_part`: from a `Shape` to a `Part`."""

from collections.abc import Callable
from typing import Any

from geom.errors import PartError
from geom.part.part import Part
from geom.part.shapes import Angle, Bar, Channel, Drawing, MeshFile, Offset, Outline, Rod, Shape, Tube, Washer

FAITHFUL = 1.5e-3  # most that facets may change area or volume, as a share


def build_part(shape: Shape) -> Part:
    """Return the part that a shape describes.

    Area, volume and features of a shape given by dimensions are by formula; its surface is made of flat
    faces that come within 0.1 % of them.

    Raises
    ------
    PartError
        where the dimensions cannot be, or the mesh is not a closed solid.
    """
    part = _builders()[type(shape)](shape)
    if part.exact:
        _check_faithful(part)
    return part


def _builders() -> dict[type, Callable[[Any], Part]]:
    """Return who builds what; imported late, because the geometry libraries take time to load."""
    from geom.part.bent import build_angle, build_channel, build_offset
    from geom.part.drawing import build_drawing
    from geom.part.files import read_mesh
    from geom.part.flat import build_bar, build_outline, build_washer
    from geom.part.round import build_rod, build_tube

    return {
        Bar: build_bar,
        Rod: build_rod,
        Tube: build_tube,
        Washer: build_washer,
        Angle: build_angle,
        Channel: build_channel,
        Offset: build_offset,
        Outline: build_outline,
        Drawing: build_drawing,
        MeshFile: lambda mesh: read_mesh(
            mesh.path, mesh.unit, strict=mesh.strict, thickness=mesh.thickness, limits=mesh.limits
        ),
    }


def _check_faithful(part: Part) -> None:
    """Refuse a surface that has strayed from its own formulas: a fault of this program, never passed on."""
    for what, mesh, formula in (
        ("area", part.surface.area, part.area),
        ("volume", part.surface.volume, part.volume),
    ):
        if not abs(mesh - formula) <= FAITHFUL * formula:
            raise PartError(
                "part-not-faithful",
                f"the {what} of the triangles of the {part.title} differs from the formula by "
                f"{abs(mesh / formula - 1):.2%}",
                hint="this is a fault of the program: please report the dimensions",
            )
