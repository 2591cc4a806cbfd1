"""Records of arrays, numbers and words to bytes and back, for the pipe between the guard and its child.

One frame: the letters ``GEOM``, the length of the head, the head in JSON, then the bytes of every array in
turn. Nothing in it can run: no pickle, and records are built by name from the modules of this folder only.
"""

import dataclasses
import importlib
import json
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from geom.findings import Finding, Severity

MAGIC = b"GEOM"
LARGEST_HEAD = 50_000_000  # bytes
KINDS = {"<f8": np.float64, "<i8": np.int64, "|b1": np.bool_}
NO_MEMORY = 77  # exit code of a child that had no memory left for its answer
HOME = "geom.formats."  # records come from here


class BadFrame(Exception):
    """The bytes are no frame, or end before it does."""


def framed(value: object) -> Iterator[bytes | memoryview]:
    """Yield the pieces of the frame of ``value``: None, bool, int, float, str, array, tuple, dict or record."""
    arrays: list[np.ndarray[Any, Any]] = []
    head = json.dumps(_plain(value, arrays)).encode()
    yield MAGIC + len(head).to_bytes(8, "little")
    yield head
    for array in arrays:
        if array.size:
            yield array.reshape(-1).view(np.uint8).data


def _plain(value: object, arrays: list[np.ndarray[Any, Any]]) -> object:
    if value is None or isinstance(value, bool | str):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, int | float | np.integer | np.floating):
        return value if isinstance(value, int | float) else value.item()
    if isinstance(value, np.ndarray):
        arrays.append(_settled(value))
        return {"array": arrays[-1].dtype.str, "shape": list(value.shape)}
    if isinstance(value, Finding):
        return {"finding": [str(value.severity), value.code, value.message]}
    if isinstance(value, tuple | list):
        return [_plain(item, arrays) for item in value]
    if isinstance(value, dict):
        return {"dict": {str(key): _plain(item, arrays) for key, item in value.items()}}
    if dataclasses.is_dataclass(value) and type(value).__module__.startswith(HOME):
        fields = {field.name: _plain(getattr(value, field.name), arrays) for field in dataclasses.fields(value)}
        return {"record": [type(value).__module__, type(value).__name__], "fields": fields}
    raise TypeError(f"a {type(value).__name__} does not pass the pipe")


def _settled(array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    kind = {"f": "<f8", "i": "<i8", "u": "<i8", "b": "|b1"}.get(array.dtype.kind)
    if kind is None:
        raise TypeError(f"an array of {array.dtype} does not pass the pipe")
    return np.ascontiguousarray(array, dtype=kind)


def unframed(read: Callable[[int], bytearray], most: int) -> Any:
    """Rebuild the value of one frame; ``read(n)`` returns n bytes or raises, ``most`` bounds all arrays [bytes]."""
    if bytes(read(len(MAGIC))) != MAGIC:
        raise BadFrame("no frame")
    size = int.from_bytes(read(8), "little")
    if size > LARGEST_HEAD:
        raise BadFrame("head too long")
    try:
        head = json.loads(bytes(read(size)))
        left = [most]
        return _value(head, lambda kind, shape: _array(read, kind, shape, left))
    except (ValueError, KeyError, TypeError, AttributeError, ImportError, RecursionError) as error:
        raise BadFrame(str(error)) from error


def _array(read: Callable[[int], bytearray], kind: str, shape: list[int], left: list[int]) -> Any:
    if not all(isinstance(n, int) and n >= 0 for n in shape):
        raise BadFrame("shape")
    size = math.prod(shape) * np.dtype(KINDS[kind]).itemsize
    left[0] -= size
    if left[0] < 0:
        raise BadFrame("arrays too large")
    return np.frombuffer(read(size), dtype=KINDS[kind]).reshape(shape)


def _value(head: Any, array: Callable[[str, list[int]], Any]) -> Any:
    if isinstance(head, list):
        return tuple(_value(item, array) for item in head)
    if not isinstance(head, dict):
        return head
    if "array" in head:
        return array(head["array"], head["shape"])
    if "finding" in head:
        severity, code, message = (str(word) for word in head["finding"])
        return Finding(Severity(severity), code, message)
    if "dict" in head:
        return {key: _value(item, array) for key, item in head["dict"].items()}
    module, name = head["record"]
    if not module.startswith(HOME) or not module.removeprefix(HOME).isidentifier():
        raise BadFrame("a record from elsewhere")
    record = getattr(importlib.import_module(module), name)
    if not (isinstance(record, type) and dataclasses.is_dataclass(record)):
        raise BadFrame("no record")
    return record(**{key: _value(item, array) for key, item in head["fields"].items()})
