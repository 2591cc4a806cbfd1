"""A part in a job file: by dimensions, from a mesh or from a drawing."""

from typing import Any

from pydantic import BeforeValidator

from geom.job.fields import Mistake, complain_of, table, variant
from geom.job.files import DrawingKeys, MeshKeys
from geom.job.parts import SHAPES

_read_shape: Any = variant("shape", dict(SHAPES)).func
_READ_FILE: dict[str, Any] = {"mesh": table(MeshKeys).func, "drawing": table(DrawingKeys).func}


def _part(value: object) -> object:
    """Return the keys of a part by dimensions, of a mesh or of a drawing, whichever is given."""
    if not isinstance(value, dict):
        return _read_shape(value)
    given = [key for key in ("shape", *_READ_FILE) if key in value]
    if len(given) > 1:
        text = f"{' and '.join(given)} are both given; a part has dimensions, a mesh file or a drawing"
        complain_of([Mistake((given[1],), "job-keys-exclude", text, "leave one out")])
    if given:
        return _READ_FILE.get(given[0], _read_shape)(value)
    text = f'"shape" is missing; it is one of: {", ".join(SHAPES)}'
    hint = 'a mesh is given by "mesh" and "unit" instead, a flat drawing by "drawing" and "thickness"'
    complain_of([Mistake(("shape",), "job-key-missing", text, hint)])
    raise AssertionError("unreachable")


any_part: Any = BeforeValidator(_part)
"""The type of a key that holds a part."""
