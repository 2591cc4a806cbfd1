"""From where an error stands in a composed job to the answer that it is about."""

import re
from collections.abc import Sequence

from geom.job.answers import PARTS
from geom.job.locate import dotted, locate

_KEY = re.compile(r"(?:^|[\s,\[])((?:title|tables|part|bath|tank|anode|pose|supply|target)\b[\w.\[\]]*)")
_LINE = re.compile(r"\bline (\d+)\b")
# the first of the beginnings that fits; an answer that was not given hands on to the next, and at last to the part
_ANSWERS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("part.holes", ("hole",)),
    ("part.unit", ("unit", "part")),
    ("part.mesh", ("part",)),
    ("part.drawing", ("part",)),
    ("part.thickness", ("bar", "rod", "thickness")),
    ("part", PARTS),
    ("bath.temperature", ("temperature", "bath")),
    ("bath.stirred", ("stirred", "bath")),
    ("bath", ("bath",)),
    ("tank", ("tank", "pose")),
    ("anode.at", ("distance", "tank", "anode")),
    ("anode", ("anode", "distance", "tank")),
    ("pose.turn", ("pose",)),
    ("pose", ("tank", "pose", "distance")),
    ("supply.max_voltage", ("volts",)),
    ("supply.max_current", ("amps",)),
    ("supply", ("volts", "amps")),
    ("target.current", ("current",)),
    ("target", ("target",)),
    ("title", ("title", "part")),
    ("tables", ("tables",)),
)
OF_A_FILE = ("unit", "thickness")  # may be asked for though they were not given


def answer_at(where: str, text: str, answered: Sequence[str]) -> str | None:
    """Return the name of the answer that ``where`` of an error is about, in a job of this text; None: none of them."""
    first = where.partition("\n")[0]
    key = _key_of(first, text)
    if key is None:
        from geom.job.files import DRAWING_SUFFIXES, MESH_SUFFIXES

        return "part" if first.strip().lower().endswith((*MESH_SUFFIXES, *DRAWING_SUFFIXES)) else None
    plain = re.sub(r"\[\d+\]", "", key)
    found = next((names for start, names in _ANSWERS if plain == start or plain.startswith(f"{start}.")), ())
    for name in found:
        if name in (*answered, "tables") or ("part" in answered and name in OF_A_FILE):
            return name
    part = next((name for name in PARTS if name in answered), None)
    return part or (found[0] if found else None)


def _key_of(first: str, text: str) -> str | None:
    """Return the key that is named, or the one that stands in the line that is."""
    line = _LINE.search(first)
    after = first[line.end() :] if line else first
    if line is None and "[[anode]]" in first:
        return "anode.at" if "[pose]" in first else "anode"
    named = _KEY.search(after)
    if named:
        return named[1].rstrip("]").rstrip("[") if named[1].count("]") > named[1].count("[") else named[1]
    if line is None:
        return None
    source = locate(text, "job")
    number = int(line[1])
    there = [path for path, place in source.places.items() if source.line_of(place.key_start) == number]
    return dotted(max(there, key=len)) if there else None
