"""A DXF file in ASCII as groups, sections, entities and blocks, before anything is drawn.

A group that is missing, repeated or no number refuses the file instead of taking a default, and the file must end
with its EOF.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats
from geom.formats.notes import number
from geom.formats.raw import malformed, shown

Tag = tuple[int, str, int]  # group code, value, line of the file

UNITS = {
    1: 0.0254, 2: 0.3048, 3: 1609.344, 4: 1e-3, 5: 1e-2, 6: 1.0, 7: 1e3, 8: 0.0254e-6, 9: 0.0254e-3, 10: 0.9144,
    11: 1e-10, 12: 1e-9, 13: 1e-6, 14: 0.1, 15: 10.0, 16: 100.0,
}  # fmt: skip
"""Length of one unit of the drawing by its $INSUNITS [m] (the header variables of the DXF reference)."""

LARGEST = 1e12  # of any number
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


@dataclass(frozen=True, eq=False)
class Entity:
    """One thing that is drawn, with its groups and, for an old polyline, its vertices."""

    kind: str
    tags: tuple[Tag, ...]
    vertices: tuple["Entity", ...] = ()

    @property
    def where(self) -> str:
        """The entity as a message names it."""
        line = f" in line {self.tags[0][2] - 2}" if self.tags else ""
        return f"the {shown(self.kind)}{line} of the DXF file"

    def texts(self, code: int) -> list[str]:
        """Return every value of a group."""
        return [value for found, value, _ in self.tags if found == code]

    def text(self, code: int, default: str) -> str:
        """Return the value of a group; it may be missing, and must not be there twice."""
        values = self.texts(code)
        if len(values) > 1:
            raise malformed(f"{self.where} has its group {code} {len(values)} times")
        return values[0] if values else default

    def real(self, code: int, default: float | None = None) -> float:
        """Return a number; without a default it must be there."""
        value = self.text(code, "" if default is None else repr(default))
        if not value:
            raise malformed(f"{self.where} has no group {code}")
        if NUMBER.fullmatch(value) and abs(float(value)) <= LARGEST:
            return float(value)
        return real(value, f"group {code} of {self.where}")

    def whole(self, code: int, default: int | None = None) -> int:
        """Return a whole number."""
        value = self.real(code, None if default is None else float(default))
        if value != int(value):
            raise malformed(f"group {code} of {self.where} is {number(value)}, where a whole number belongs")
        return int(value)

    def point(self, code: int) -> Floats:
        """Return a point (3,); its height may be missing."""
        return np.array([self.real(code), self.real(code + 10), self.real(code + 20, 0.0)])


def real(value: str, where: str) -> float:
    """Return a plain decimal number."""
    text = value.strip()
    if not NUMBER.fullmatch(text):
        raise malformed(f'{where} is "{shown(value)}", which is not a number', "write 12.5, not 12,5")
    if not abs(value_of := float(text)) <= LARGEST:
        raise malformed(f"{where} is {shown(value)}, a number no drawing has")
    return value_of


def decoded(data: bytes) -> str:
    """Return the text of a DXF file; the binary form is refused."""
    if data.startswith(b"AutoCAD Binary DXF"):
        raise malformed("the DXF file is in the binary form, which is not read", "save it as DXF in ASCII")
    if b"\0" in data:
        raise malformed("the DXF file holds bytes that no text has", "save it as DXF in ASCII")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def tags_of(text: str) -> Iterator[Tag]:
    """Yield group codes and values up to the end of the file."""
    lines = re.split(r"\r\n|\n|\r", text)
    for k in range(0, len(lines) - 1, 2):
        word = lines[k].strip()
        if not re.fullmatch(r"-?\d{1,4}", word):
            raise malformed(f'line {k + 1} of the DXF file is "{shown(lines[k])}", where the code of a group belongs')
        code = int(word)
        if code == 999:
            continue
        yield code, lines[k + 1].strip(), k + 2
        if code == 0 and lines[k + 1].strip() == "EOF":
            if any(line.strip("\x1a \t") for line in lines[k + 2 :]):
                raise malformed(f"the DXF file goes on after its end in line {k + 2}")
            return
    raise malformed("the DXF file does not end with EOF: it was cut off")


def sections_of(tags: list[Tag]) -> dict[str, list[Tag]]:
    """Return the tags of each section by its name."""
    sections: dict[str, list[Tag]] = {}
    name: str | None = None
    for k, (code, value, line) in enumerate(tags):
        if code == 0 and value == "SECTION":
            if name is not None or k + 1 >= len(tags) or tags[k + 1][0] != 2:
                raise malformed(f"a section of the DXF file begins out of place in line {line}")
            name = tags[k + 1][1].upper()
            if name in sections:
                raise malformed(f'the DXF file has its section "{shown(name)}" twice')
            sections[name] = []
        elif code == 0 and value == "ENDSEC":
            if name is None:
                raise malformed(f"a section of the DXF file ends out of place in line {line}")
            name = None
        elif name is not None:
            sections[name].append((code, value, line))
        elif not (code == 0 and value == "EOF"):
            raise malformed(f"line {line} of the DXF file stands outside every section")
    if name is not None:
        raise malformed(f'the section "{shown(name)}" of the DXF file does not end')
    if not tags or "ENTITIES" not in sections:
        raise malformed("the DXF file has no section of entities")
    for inside in sections.values():
        del inside[0]  # its name
    return sections


def stated_unit(header: list[Tag]) -> float | None:
    """Return the unit that the header states."""
    at = [k for k, (code, value, _) in enumerate(header) if code == 9 and value.upper() == "$INSUNITS"]
    if not at:
        return None
    if len(at) > 1 or at[0] + 1 >= len(header) or header[at[0] + 1][0] != 70:
        raise malformed("the DXF file does not state its $INSUNITS in one number")
    code = real(header[at[0] + 1][1], "$INSUNITS of the DXF file")
    if code == 0:
        return None
    if code not in UNITS:
        raise malformed(f"the DXF file has $INSUNITS {number(code)}, a unit no part is drawn in")
    return UNITS[int(code)]


def hidden_layers(tables: list[Tag]) -> set[str]:
    """Return the layers that are off, frozen, or never printed."""
    hidden = {"DEFPOINTS"}
    for entity in split(tables):
        if entity.kind == "LAYER" and entity.texts(2):
            color, flags = entity.whole(62, 7), entity.whole(70, 0)
            if color < 0 or flags & 1:
                hidden.add(entity.text(2, "").upper())
    return hidden


def split(tags: list[Tag]) -> Iterator[Entity]:
    """Yield what begins at each group 0."""
    starts = [k for k, tag in enumerate(tags) if tag[0] == 0]
    if tags and (not starts or starts[0] != 0):
        raise malformed(f"line {tags[0][2]} of the DXF file belongs to no entity")
    for begin, end in zip(starts, [*starts, len(tags)][1:], strict=True):
        yield Entity(tags[begin][1].upper(), tuple(tags[begin + 1 : end]))


def entities_of(tags: list[Tag]) -> Iterator[Entity]:
    """Yield entities, an old polyline with its vertices."""
    head: Entity | None = None
    vertices: list[Entity] = []
    for entity in split(tags):
        if entity.kind == "SEQEND":
            if head is not None:
                yield Entity(head.kind, head.tags, tuple(vertices))
            head, vertices = None, []
        elif head is not None:
            if entity.kind != "VERTEX":
                raise malformed(f"{head.where} does not end")
            vertices.append(entity)
        elif entity.kind == "POLYLINE":
            head = entity
        elif entity.kind == "VERTEX":
            raise malformed(f"{entity.where} belongs to no polyline")
        else:
            yield entity
    if head is not None:
        raise malformed(f"{head.where} does not end")


def blocks_of(tags: list[Tag]) -> dict[str, tuple[Entity, tuple[Entity, ...]]]:
    """Return each block: its head, and what is in it."""
    blocks: dict[str, tuple[Entity, tuple[Entity, ...]]] = {}
    starts = [k for k, tag in enumerate(tags) if tag[:2] == (0, "BLOCK")]
    for begin, stop in zip(starts, [*starts, len(tags)][1:], strict=True):
        end = next((k for k in range(begin, stop) if tags[k][:2] == (0, "ENDBLK")), None)
        if end is None:
            raise malformed(f"the block in line {tags[begin][2]} of the DXF file does not end")
        head, *rest = split(tags[begin:end])
        inside = tags[begin + 1 + len(head.tags) : end] if rest else []
        name = head.text(2, "").upper()
        if name in blocks:
            raise malformed(f'the DXF file has its block "{shown(name)}" twice')
        blocks[name] = head, tuple(entities_of(inside))
    return blocks
