"""Plain JSON text: numbers without noise, no NaN, no broken letters, the same bytes for the same tree."""

import json
import math
from collections.abc import Mapping
from typing import Any

SCHEMA_VERSION = "1"
"""Version of the documents; keys may be added under the same version, never taken away."""

DIGITS = 10
"""Significant digits of a number: more would be the noise of adding up in floats."""


def dumped(tree: Any, long: Mapping[str, Mapping[str, Any]] | None = None) -> str:
    """Return JSON text of a tree; numbers that are not finite become null.

    ``long``: further records by key, which end the text, each of their long lists on a line of its own.
    """
    text = json.dumps(_plain(tree), indent=1, ensure_ascii=False, allow_nan=False)
    for key, record in (long or {}).items():
        rows = ",\n".join(f"  {_line(name)}: {_line(values)}" for name, values in record.items())
        text = f"{text[:-2]},\n {_line(key)}: {{\n{rows}\n }}\n}}"
    return text + "\n"


def _line(value: Any) -> str:
    return json.dumps(_plain(value), ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def _plain(value: Any) -> Any:
    """Return a tree of Python's own types alone; anything that is no number, text, list or record is a mistake."""
    if isinstance(value, dict):
        return {_whole(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, str):
        return _whole(value)
    if hasattr(value, "item"):  # a number of numpy's
        value = value.item()
    if value is None or isinstance(value, bool | int):
        return value
    if not isinstance(value, float):
        raise TypeError(f"no place in a JSON document for {value!r}")
    return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None


def _whole(text: str) -> str:
    """Return the text with "?" for halves of letters, which names of files may hold and no encoding takes."""
    return text.encode("utf-8", "replace").decode("utf-8")
