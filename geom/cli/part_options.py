"""From the words of a command line to a part: a job file, a mesh or a drawing, with unit, thickness and limits."""

from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING

from geom.errors import JobError

if TYPE_CHECKING:  # at run time these are read only when the command runs
    from geom.formats.raw import Limits
    from geom.part.part import Part

DRAWINGS = (".dxf", ".svg")


@dataclass(frozen=True, slots=True)
class Asked:
    """What a command line says about a file."""

    unit: str | None = None
    strict: bool = False
    thickness: str | None = None
    most_size: str | None = None
    most_memory: str | None = None
    most_time: str | None = None


ASKED = tuple(field.name for field in fields(Asked))


def part_of_file(path: Path, asked: Asked) -> "Part":
    """Return the part in a mesh or drawing.

    Raises
    ------
    JobError
        where an option is no amount, or one is missing.
    PartError
        where the file holds no part.
    """
    from geom.part.build import build_part
    from geom.part.shapes import Drawing, MeshFile

    unit = stated_unit(asked)
    thickness = _amount("--thickness", asked.thickness, "length")
    limits = limits_of(asked)
    if path.suffix.lower() not in DRAWINGS:
        return build_part(MeshFile(path, unit, asked.strict, thickness or 0.0, limits))
    if thickness is None:
        raise JobError(
            "drawing-thickness-missing",
            "a drawing is flat: the thickness of the metal must be stated",
            where=str(path),
            hint='say for example --thickness "2 mm"',
        )
    return build_part(Drawing(path, unit, thickness, limits=limits))


def limits_of(asked: Asked) -> "Limits":
    """Return what reading the file may take; sizes are parsed in MB."""
    from dataclasses import replace

    from geom.formats.raw import USUAL

    size = _amount("--most-size", asked.most_size, "file size")
    memory = _amount("--most-memory", asked.most_memory, "file size")
    seconds = _amount("--most-time", asked.most_time, "time")
    return replace(
        USUAL,
        size=USUAL.size if size is None else int(1e6 * size),
        memory=USUAL.memory if memory is None else int(1e6 * memory),
        seconds=USUAL.seconds if seconds is None else seconds,
    )


def stated_unit(asked: Asked) -> float | None:
    """Return the length of one unit of the file as the command line states it [m]."""
    if asked.unit is None:
        return None
    from geom.units import UnitError, unit_factor

    try:
        return unit_factor(asked.unit, "length")
    except UnitError as error:
        raise JobError("mesh-unit-unknown", str(error), where="--unit", hint="mm, cm, m, in or ft") from None


def _amount(option: str, text: str | None, dimension: str) -> float | None:
    if text is None:
        return None
    from geom.units import UnitError, parse

    try:
        value = parse(text, dimension)
    except UnitError as error:
        raise JobError("option-amount", str(error), where=option, hint="a number with its unit, in quotes") from None
    if not value > 0:
        raise JobError("option-amount", f"{text} is not more than zero", where=option)
    return value


def immersion(text: str | None) -> float | None:
    """Return how deep the lowest point hangs below the liquid surface [m]; None: all is under."""
    return _amount("--immersed", text, "length")
