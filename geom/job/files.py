"""The [part] section for a part in a file: a mesh, or a flat drawing with its thickness and bends."""

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, model_validator

from geom.formats.raw import USUAL, Limits
from geom.job.fields import (
    Length,
    MeshUnit,
    Mistake,
    Point2,
    Section,
    Span,
    Text,
    a_list,
    complain,
    complain_of,
    quantity,
    quoted,
    table,
)
from geom.job.parts import PartKeys
from geom.part.shapes import BendLine, Drawing, MeshFile

UNIT_INSIDE = (".3mf", ".step", ".stp")
MESH_SUFFIXES = (".stl", ".obj", ".ply", ".off", *UNIT_INSIDE)
DRAWING_SUFFIXES = (".dxf", ".svg")
MOST_BENDS = 50
MEGABYTE = 1_000_000
LEAST_BEND, MOST_BEND = math.radians(1.0), math.radians(170.0)

FileSize = Annotated[float, quantity("file size", Span("MB", 0.001, 1e5))]  # [MB]
Memory = Annotated[float, quantity("file size", Span("MB", 100.0, 1e6))]  # [MB]
Seconds = Annotated[float, quantity("time", Span("s", 1.0, 3600.0))]
InsideRadius = Annotated[float, quantity("length", Span("mm", 5e-5, 1.0))]
KFactor = Annotated[float, quantity("fraction", Span("%", 0.2, 0.6))]

_angle = quantity("angle", Span("deg", -MOST_BEND, MOST_BEND)).func


def _bend_angle(value: object) -> float:
    """Return an angle up or down that bends at all."""
    angle: float = _angle(value)
    if abs(angle) < LEAST_BEND:
        complain("job-range", f"{quoted(value)} is next to flat; 1 to 170 deg is expected, negative to bend down")
    return angle


def _yes_or_no(value: object) -> object:
    if not isinstance(value, bool):
        complain("job-type", f"{quoted(value)} stands where true or false is expected, without quotes")
    return value


class FileKeys(PartKeys):
    """What any part in a file may say: what reading it may take."""

    most_size: FileSize | None = None
    most_memory: Memory | None = None
    most_time: Seconds | None = None

    @property
    def limits(self) -> Limits:
        """The limits of reading, what is left out as usual."""
        return Limits(
            USUAL.size if self.most_size is None else round(self.most_size * MEGABYTE),
            USUAL.memory if self.most_memory is None else round(self.most_memory * MEGABYTE),
            USUAL.seconds if self.most_time is None else self.most_time,
        )

    def record(self, folder: Path) -> MeshFile | Drawing:
        """Return the domain's record; ``folder`` is where the path of the file starts."""
        raise NotImplementedError


class MeshKeys(FileKeys):
    """A mesh file, with the unit its numbers are in."""

    mesh: Text
    unit: MeshUnit | None = None
    strict: Annotated[bool, BeforeValidator(_yes_or_no)] = False
    thickness: Length | None = None

    @model_validator(mode="after")
    def _check(self) -> "MeshKeys":
        name = self.mesh.casefold()
        if not name.endswith(MESH_SUFFIXES):
            text = f"{quoted(self.mesh)} is not a mesh file of a kind read here ({', '.join(MESH_SUFFIXES)})"
            hint = 'a flat drawing is named by "drawing"' if name.endswith(DRAWING_SUFFIXES) else ""
            complain_of([Mistake(("mesh",), "job-mesh-format", text, hint)])
        if self.unit is None and not name.endswith(UNIT_INSIDE):
            text = '"unit" is missing; files of this format do not state the unit of their numbers'
            complain_of([Mistake(("unit",), "job-key-missing", text, 'unit = "mm", if millimetres were drawn')])
        return self

    def record(self, folder: Path) -> MeshFile:
        """Return the domain's record."""
        return MeshFile(folder / self.mesh, self.unit, self.strict, self.thickness or 0.0, self.limits)


class BendKeys(Section):
    """A line of a drawing about which its metal is bent."""

    start: Point2
    end: Point2
    angle: Annotated[float, BeforeValidator(_bend_angle)]
    inside_radius: InsideRadius
    k_factor: KFactor = 0.5

    @model_validator(mode="after")
    def _check(self) -> "BendKeys":
        if self.start == self.end:
            complain_of([Mistake(("end",), "job-range", "start and end are the same place: the line has no length")])
        return self

    def record(self) -> BendLine:
        """Return the domain's record."""
        return BendLine(self.start, self.end, self.angle, self.inside_radius, self.k_factor)


class DrawingKeys(FileKeys):
    """A flat drawing, extruded and bent."""

    drawing: Text
    thickness: Length
    unit: MeshUnit | None = None
    bends: Annotated[tuple[Annotated[BendKeys, table(BendKeys)], ...], a_list] = ()

    @model_validator(mode="after")
    def _check(self) -> "DrawingKeys":
        complain_of(list(self._mistakes()))
        return self

    def _mistakes(self) -> Iterator[Mistake]:
        name = self.drawing.casefold()
        if not name.endswith(DRAWING_SUFFIXES):
            text = f"{quoted(self.drawing)} is not a drawing of a kind read here ({', '.join(DRAWING_SUFFIXES)})"
            hint = 'a mesh is named by "mesh"' if name.endswith(MESH_SUFFIXES) else "export the outline as DXF"
            yield Mistake(("drawing",), "job-mesh-format", text, hint)
        if len(self.bends) > MOST_BENDS:
            yield Mistake(("bends",), "job-range", f"{len(self.bends)} bends; at most {MOST_BENDS} can be given")

    def record(self, folder: Path) -> Drawing:
        """Return the domain's record."""
        bends = tuple(bend.record() for bend in self.bends)
        return Drawing(folder / self.drawing, self.unit, self.thickness, bends, self.limits)
