"""A folder of assembled operators, each under the content it was assembled from: made once, read in any later run.

A file is one header line of JSON, with the name, kind and shape of every array and the checksum of all of them, and
then the arrays. It is written beside its place and moved there when it is whole, so that a reader sees all of it or
nothing. Whatever is cut short, damaged, of another version or not ours is passed over and written anew; nothing in a
file is ever run, as a pickle would be.
"""

import hashlib
import json
import os
import tempfile
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

import numpy as np

import geom
from geom.arrays import Ints
from geom.bem import block_kernels, blocks, compressed, tree
from geom.bem.operators import COMPRESS_FROM, Operators, Triangles

FORMAT = 1
SUFFIX = ".operators"
MOST_BYTES = 2_000_000_000
"""Of all files of a folder together; the one that was not used for longest goes first."""
SETTINGS = (
    FORMAT,
    geom.__version__,
    np.__version__,
    compressed.NEARNESS,
    compressed.CROSS_ACCURACY,
    block_kernels.MOST_RANK,
    tree.LEAF,
    blocks.LEAF,
)
RECORDS = {
    c.__name__: c
    for c in (
        Operators,
        compressed.Group,
        compressed.Layers,
        compressed._Full,
        compressed._Thin,
        tree.Tree,
        blocks.Blocks,
    )
}
DTYPES = {"float32": np.float32, "float64": np.float64}
HEAD = 128  # bytes of the first line
ALIGNED = 64  # bytes: where each array begins, as the compiled loops want it


class _Unsound(Exception):
    """A file that is not to be trusted."""


def key_of(
    panels: Triangles,
    electrode_panels: Ints,
    *,
    body: Ints | None,
    mates: Ints | None = None,
    enclosed: bool = True,
    dtype: type = np.float32,
    compress_from: int = COMPRESS_FROM,
) -> str:
    """Return the name of the operators of these panels: a digest of all that `assemble` works from."""
    digest = hashlib.sha256(repr((SETTINGS, enclosed, np.dtype(dtype).str, compress_from, body is None)).encode())
    none = np.zeros(0, dtype=np.int64)
    for array in (panels.corners, electrode_panels, none if body is None else body, none if mates is None else mates):
        own = np.ascontiguousarray(array, dtype=np.float64 if np.asarray(array).dtype.kind == "f" else np.int64)
        digest.update(repr(own.shape).encode())
        digest.update(own.tobytes())
    return digest.hexdigest()


def kept(folder: Path, key: str, make: Callable[[], Operators], *, most_bytes: int = MOST_BYTES) -> Operators:
    """Return the operators stored under ``key``, or those made now, stored for the next time.

    A folder that cannot be written costs the saving, never the answer.
    """
    found = load(folder, key)
    if found is None:
        found = make()
        try:
            save(folder, key, found)
            trim(folder, most_bytes)
        except OSError:
            pass
    return found


def save(folder: Path, key: str, found: Operators) -> None:
    """Write operators under ``key``; whoever writes last stays."""
    folder.mkdir(parents=True, exist_ok=True)
    arrays: list[np.ndarray[Any, Any]] = []
    places: dict[int, int] = {}
    record = _described(found, arrays, places)
    body = [np.ascontiguousarray(array) for array in arrays]
    header = {
        "key": key,
        "arrays": [[array.dtype.str, list(array.shape)] for array in body],
        "record": record,
    }
    parts: list[Any] = [json.dumps(header, separators=(",", ":")).encode() + b"\n"]
    at = HEAD + len(parts[0])
    for array in body:
        parts += [bytes(-at % ALIGNED), array.reshape(-1).view(np.uint8).data]
        at += -at % ALIGNED + array.nbytes
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part)
    handle, name = tempfile.mkstemp(suffix=".part", dir=folder)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(f"geom operators {FORMAT} {digest.hexdigest()} {len(parts[0])}".ljust(HEAD - 1).encode() + b"\n")
            for part in parts:
                file.write(part)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, folder / f"{key}{SUFFIX}")
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def load(folder: Path, key: str) -> Operators | None:
    """Return the operators under ``key``, None where there are none or the file is not sound."""
    path = folder / f"{key}{SUFFIX}"
    try:
        found = _read(np.fromfile(path, dtype=np.uint8), key)
        os.utime(path)
    except (OSError, ValueError, KeyError, TypeError, IndexError, RecursionError, _Unsound):
        return None
    return found


def trim(folder: Path, most_bytes: int) -> None:
    """Remove files until the folder holds no more than ``most_bytes``, the longest unused first; and remnants."""
    seen = []
    for path in folder.iterdir():
        if path.suffix not in (SUFFIX, ".part"):
            continue
        try:
            state = path.stat()
        except FileNotFoundError:  # another process was faster
            continue
        seen.append((path.suffix == SUFFIX, state.st_mtime, state.st_size, path))
    newest = max((time for _, time, _, _ in seen), default=0.0)
    total = 0
    for whole, time, size, path in sorted(seen, key=lambda entry: -entry[1]):
        if not whole:
            if newest - time > 3600.0:  # of a process that died: a living one needs seconds
                path.unlink(missing_ok=True)
            continue
        total += size
        if total > most_bytes and time < newest:
            path.unlink(missing_ok=True)


def _described(value: Any, arrays: list[np.ndarray[Any, Any]], places: dict[int, int]) -> Any:
    """Return a value in words of JSON; arrays go to the list, each once, and are named by their place."""
    if isinstance(value, np.ndarray):
        if id(value) not in places:
            places[id(value)] = len(arrays)
            arrays.append(value)
        return {"array": places[id(value)]}
    if is_dataclass(value) and not isinstance(value, type):
        own = {field.name: _described(getattr(value, field.name), arrays, places) for field in fields(value)}
        return {"of": type(value).__name__, "values": own}
    if isinstance(value, tuple):
        return [_described(item, arrays, places) for item in value]
    if isinstance(value, type):
        return {"dtype": np.dtype(value).name}
    if isinstance(value, (bool, int)):
        return value
    raise TypeError(f"no place in the store for {type(value).__name__}")


def _read(raw: "np.ndarray[Any, np.dtype[np.uint8]]", key: str) -> Operators:
    """Return the operators in a file; raise where anything is not as it was written."""
    words = raw[:HEAD].tobytes().split()
    if len(raw) < HEAD or len(words) != 5 or words[:3] != [b"geom", b"operators", str(FORMAT).encode()]:
        raise _Unsound("not ours, or of another version")
    at = HEAD + int(words[4])
    if hashlib.sha256(raw[HEAD:].data).hexdigest().encode() != words[3]:
        raise _Unsound("cut short or damaged")
    header = json.loads(raw[HEAD:at].tobytes())
    if header["key"] != key:
        raise _Unsound("another's")
    arrays = []
    for kind, shape in header["arrays"]:
        dtype, count = np.dtype(kind), int(np.prod(shape, dtype=np.int64))
        at += -at % ALIGNED
        end = at + count * dtype.itemsize
        if dtype.kind not in "biuf" or end > len(raw):
            raise _Unsound("no room for an array")
        arrays.append(raw[at:end].view(dtype).reshape(shape))
        at = end
    if at != len(raw):
        raise _Unsound("more than was written")
    made = _made(header["record"], arrays)
    if not isinstance(made, Operators):
        raise _Unsound("something else")
    return made


def _made(words: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    """Return what `_described` put in words."""
    if isinstance(words, list):
        return tuple(_made(item, arrays) for item in words)
    if not isinstance(words, dict):
        return words
    if "array" in words:
        return arrays[words["array"]]
    if "dtype" in words:
        return DTYPES[words["dtype"]]
    record = RECORDS[words["of"]]
    if set(words["values"]) != {field.name for field in fields(record)}:
        raise _Unsound("other fields")
    return record(**{name: _made(value, arrays) for name, value in words["values"].items()})
