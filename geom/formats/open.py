"""`read_bytes`: the bytes of a file to plain arrays, by the reader that the suffix names."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from geom.errors import PartError
from geom.formats.content import content_of
from geom.formats.raw import USUAL, RawMesh, malformed, shown

if TYPE_CHECKING:
    from geom.formats.drawing import RawDrawing

# suffix -> module and function; imported when called, so that reading STL does not pay for STEP
READERS = {
    ".stl": ("geom.formats.stl", "read_stl"),
    ".obj": ("geom.formats.obj", "read_obj"),
    ".ply": ("geom.formats.ply", "read_ply"),
    ".off": ("geom.formats.off", "read_off"),
    ".3mf": ("geom.formats.threemf", "read_3mf"),
    ".step": ("geom.formats.step", "read_step"),
    ".stp": ("geom.formats.step", "read_step"),
    ".dxf": ("geom.formats.dxf", "read_dxf"),
    ".svg": ("geom.formats.svg", "read_svg"),
}
Reader: TypeAlias = "Callable[[bytes], RawMesh | RawDrawing]"
READ_TWICE = (".stl", ".obj", ".ply", ".off")


def check_suffix(suffix: str) -> None:
    """Refuse a suffix that no reader is for."""
    if suffix not in READERS:
        kinds = ", ".join(READERS)
        raise PartError(
            "part-mesh-suffix",
            f'the suffix of a file names its format: {kinds}; this one ends in "{shown(suffix)}"',
            hint="export the part as STL, or its outline as DXF",
        )


def read_bytes(data: bytes, suffix: str, most_size: int = USUAL.size) -> RawMesh | RawDrawing:
    """Read a file by the format its suffix names, and a second time where trimesh knows that format too.

    Raises
    ------
    PartError
        whatever is wrong with the file; no other exception comes from hostile bytes but `MemoryError`.
    """
    if not data.strip():
        raise malformed("the file is empty")
    try:
        raw = _read(data, suffix, most_size)
    except PartError as error:
        if error.slug == "part-mesh-format":
            _check_content(data, suffix)
        raise
    if suffix in READ_TWICE and isinstance(raw, RawMesh):
        if not len(raw.faces):
            _check_content(data, suffix)
        from geom.formats.second_reading import second_reading

        notes = second_reading(data, suffix, raw)
        return RawMesh(raw.vertices, raw.faces, raw.file_face, (*raw.findings, *notes), raw.unit)
    return raw


def _read(data: bytes, suffix: str, most_size: int) -> RawMesh | RawDrawing:
    """Call the reader; whatever goes wrong inside it is the fault of the file."""
    try:
        if suffix == ".3mf" and most_size > USUAL.size:
            from geom.formats.threemf import read_3mf_up_to

            return called(partial(read_3mf_up_to, factor=most_size / USUAL.size), data)
        return called(_reader(suffix), data)
    except (PartError, MemoryError):
        raise
    except RecursionError:
        raise malformed("the file is nested too deeply to be read") from None
    except Exception as error:  # the border to hostile bytes: no traceback may reach the user
        raise malformed(f"the file cannot be read: {type(error).__name__}: {shown(str(error))}") from error


def called(reader: Reader, data: bytes) -> RawMesh | RawDrawing:
    """Call a reader; let no sign that cannot be printed pass from the file into a message."""
    try:
        with np.errstate(all="ignore"):  # what is not finite is refused by name where the part is made
            return reader(data)
    except PartError as error:
        error.message, error.hint = _printable(error.message), _printable(error.hint)
        raise


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)


def _reader(suffix: str) -> Reader:
    check_suffix(suffix)
    module, name = READERS[suffix]
    try:
        reader: Reader = getattr(importlib.import_module(module), name)
    except ImportError as error:
        raise PartError(
            "part-mesh-suffix",
            f'files that end in "{suffix}" need a library that is not installed: {shown(error.name or str(error))}',
            hint="install it, or export the part as STL",
        ) from error
    return reader


def _check_content(data: bytes, suffix: str) -> None:
    """Refuse a file that is plainly of another format than its suffix says, by the name of what it is."""
    found = content_of(data)
    if found is None or suffix in found.suffixes:
        return
    hint = f"name it {found.suffixes[0]}" if found.suffixes else "export the part again, and look what was saved"
    raise malformed(f"the file ends in {suffix}, but its content is {found.name}", hint)
