"""One model part of a 3MF file: its unit, its objects and its build, as the file has them.

Elements of the core specification are taken strictly: an unknown one, or one out of its place, is refused. Elements of
other namespaces are passed over and their namespaces noted, for the caller to judge what they would have changed.
"""

import re
from array import array
from dataclasses import dataclass, field
from xml.parsers import expat

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.formats.package import parse_xml
from geom.formats.raw import malformed, shown

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
SLICE = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
UNITS = {"micron": 1e-6, "millimeter": 1e-3, "centimeter": 1e-2, "inch": 0.0254, "foot": 0.3048, "meter": 1.0}
KINDS = ("model", "solidsupport", "support", "surface", "other")
LARGEST_NUMBER = 1e100  # so that products of three stay numbers
LARGEST_INDEX = 2**31 - 1

# what may stand inside what; leaves of no weight for the shape have no row
CHILDREN: dict[str, tuple[str, ...]] = {
    "": ("model",),
    "model": ("metadata", "resources", "build"),
    "resources": ("object", "basematerials"),
    "basematerials": ("base",),
    "object": ("mesh", "components", "metadatagroup"),
    "metadatagroup": ("metadata",),
    "mesh": ("vertices", "triangles"),
    "components": ("component",),
    "build": ("item",),
    "item": ("metadatagroup",),
}
ONCE = ("resources", "build", "mesh", "components", "vertices", "triangles")  # in what they stand in

VERTEX, TRIANGLE = f"{CORE} vertex", f"{CORE} triangle"
LEAVES = {"vertex": (("x", "y", "z"), "vertices"), "triangle": (("v1", "v2", "v3"), "triangles")}
NONE_SEEN: set[str] = set()  # in a leaf: nothing may stand there, so nothing is ever added
CHUNK = 30_000  # words that are turned into numbers at a time

_number = re.compile(r"\s*[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?\s*").fullmatch
_numbers = re.compile(r"(?:[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)? )*").fullmatch
_index = re.compile(r"\s*\+?0*([0-9]{1,10})\s*").fullmatch
_indices = re.compile(r"(?:[0-9]{1,9} )*").fullmatch


@dataclass(frozen=True, slots=True, eq=False)
class Use:
    """One use of an object: by a component, or by an item of the build."""

    number: int  # of the object
    path: str  # of the part it is in; empty: this one
    matrix: Floats  # (4, 3): a point is (x, y, z, 1) @ matrix
    is_made: bool = True  # unless an item is marked as not to be printed


@dataclass(slots=True, eq=False)
class Solid:
    """An object of the file: a mesh, or components, or of a kind that only an extension knows."""

    number: int
    name: str
    kind: str
    vertices: Floats  # (n, 3) in the unit of the part
    triangles: Ints  # (m, 3)
    uses: list[Use] = field(default_factory=list)
    is_mesh: bool = False
    is_assembly: bool = False
    is_coarse: bool = False  # its mesh is marked as a stand-in for slices
    foreign: set[str] = field(default_factory=set)  # names of elements in it that are not core, with namespace

    @property
    def words(self) -> str:
        """The object as a person would look for it."""
        return f'object {self.number} "{shown(self.name)}"' if self.name else f"object {self.number}"


@dataclass(slots=True, eq=False)
class ModelPart:
    """What one model part holds."""

    unit: str = "millimeter"  # the default of the core specification
    solids: dict[int, Solid] = field(default_factory=dict)
    items: list[Use] = field(default_factory=list)
    required: tuple[str, ...] = ()  # namespaces


def read_model_part(content: bytes, name: str) -> ModelPart:
    """Read one model part by the name it has in the archive."""
    reader = _Reader(name)
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartNamespaceDeclHandler = reader.declare
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parse_xml(parser, content, name)
    return reader.part


class _Reader:
    """Takes the elements in the order of the file."""

    def __init__(self, name: str) -> None:
        self.part = ModelPart()
        self._name = name
        self._prefixes: dict[str, str] = {}
        self._path = [""]
        self._seen: list[set[str]] = [set()]
        self._foreign = 0  # how deep inside an element of another namespace
        self._solid: Solid | None = None
        self._points = array("d")
        self._point_words: list[str] = []
        self._corners = array("q")
        self._corner_words: list[str] = []

    def declare(self, prefix: str | None, namespace: str) -> None:
        """Remember what a prefix stands for; only those of the outermost element count for its lists."""
        if len(self._path) == 1:
            self._prefixes[prefix or ""] = namespace

    def start(self, full: str, attributes: dict[str, str]) -> None:
        """Take the beginning of an element."""
        if full in (VERTEX, TRIANGLE) and not self._foreign:
            self._leaf(full, attributes)
            return
        namespace, _, name = full.rpartition(" ")
        if self._foreign or (namespace != CORE and len(self._path) > 1):
            if self._solid is not None and not self._foreign:
                self._solid.foreign.add(full)
            self._foreign += 1
            return
        above = self._path[-1]
        if namespace != CORE:
            raise self._wrong(f'is no 3MF model: it begins with "{shown(name)}" of "{shown(namespace[-40:])}"')
        if name not in CHILDREN.get(above, ()):
            inside = f'inside "{above}"' if above else "at the top"
            raise self._wrong(f'has an element "{shown(name)}" {inside}, where none such may be')
        if name in ONCE and name in self._seen[-1]:
            raise self._wrong(f'has "{name}" twice in one "{above}"')
        self._seen[-1].add(name)
        self._path.append(name)
        self._seen.append(set())
        match name:
            case "model":
                self._model(attributes)
            case "object":
                self._object(attributes)
            case "component" | "item":
                self._use(name, attributes)
            case "mesh" | "components" if self._solid is not None:
                self._solid.is_mesh |= name == "mesh"
                self._solid.is_assembly |= name == "components"

    def _leaf(self, full: str, attributes: dict[str, str]) -> None:
        """Take a corner or a triangle; apart from the other elements because a mesh is made of them."""
        name = full[len(CORE) + 1 :]
        keys, above = LEAVES[name]
        if self._path[-1] != above:
            raise self._wrong(f'has a "{name}" outside of "{above}"')
        self._path.append(name)
        self._seen.append(NONE_SEEN)
        collected = self._point_words if full == VERTEX else self._corner_words
        try:
            collected.extend([attributes[key] for key in keys])
        except KeyError as missing:
            raise self._wrong(f'has a "{name}" without "{missing.args[0]}"') from None
        if len(collected) >= CHUNK:
            self._take_words()

    def end(self, full: str) -> None:
        """Take the end of an element."""
        if self._foreign:
            self._foreign -= 1
            return
        name = self._path.pop()
        self._seen.pop()
        if name == "mesh" and self._solid is not None:
            self._mesh(self._solid)
        elif name == "object":
            self._solid = None

    def _model(self, attributes: dict[str, str]) -> None:
        self.part.unit = attributes.get("unit", self.part.unit)
        if self.part.unit not in UNITS:
            words = f'states its unit as "{shown(self.part.unit)}"; 3MF has {", ".join(UNITS)}'
            raise self._wrong(words)
        required = []
        for prefix in attributes.get("requiredextensions", "").split():
            if prefix not in self._prefixes:
                raise self._wrong(f'requires an extension "{shown(prefix)}" that it does not declare')
            required.append(self._prefixes[prefix])
        self.part.required = tuple(required)

    def _object(self, attributes: dict[str, str]) -> None:
        number, kind = self._whole(attributes, "id"), attributes.get("type", "model")
        if kind not in KINDS:
            raise self._wrong(f'has object {number} of the type "{shown(kind)}"; 3MF has {", ".join(KINDS)}')
        if number in self.part.solids:
            raise self._wrong(f"has two objects of the number {number}")
        none: Floats = np.zeros((0, 3))
        self._solid = Solid(number, attributes.get("name", ""), kind, none, none.astype(np.int64))
        self._solid.is_coarse = attributes.get(f"{SLICE} meshresolution", "fullres") != "fullres"
        self.part.solids[number] = self._solid

    def _use(self, name: str, attributes: dict[str, str]) -> None:
        number = self._whole(attributes, "objectid")
        path = attributes.get(f"{PRODUCTION} path", "")
        matrix = self._matrix(attributes.get("transform"), f"{name} of object {number}")
        is_made = attributes.get("printable", "1") not in ("0", "false")
        use = Use(number, path, matrix, is_made)
        if name == "item":
            self.part.items.append(use)
        elif self._solid is not None:
            self._solid.uses.append(use)

    def _matrix(self, text: str | None, where: str) -> Floats:
        """Return the matrix (4, 3) of a transform; it must keep a solid a solid."""
        if text is None:
            return np.eye(4, 3)
        words = text.split()
        if len(words) != 12:
            raise self._wrong(f"has a transform of {len(words)} numbers at the {where}; it takes 12")
        matrix = np.array(self._numbers(words)).reshape(4, 3)
        stretch = np.linalg.svd(matrix[:3], compute_uv=False)
        if not stretch[2] > 1e-9 * stretch[0]:
            raise self._wrong(f"has a transform that flattens what it moves, at the {where}")
        return matrix

    def _mesh(self, solid: Solid) -> None:
        """Hand the corners that were collected to the object they belong to."""
        self._take_words()
        solid.vertices = np.array(self._points, dtype=np.float64).reshape(-1, 3)
        solid.triangles = np.array(self._corners, dtype=np.int64).reshape(-1, 3)
        self._points, self._corners = array("d"), array("q")
        beyond = np.flatnonzero((solid.triangles >= len(solid.vertices)).any(axis=1))
        if len(beyond):
            corner, count = solid.triangles[beyond[0]].max(), len(solid.vertices)
            words = f"has {solid.words} with a triangle of corner {corner}; its corners are 0 to {count - 1}"
            raise self._wrong(f"{words} (triangle {beyond[0]})")

    def _take_words(self) -> None:
        """Turn the words collected so far into numbers; one by one only where they are not all plain."""
        self._points.extend(self._numbers(self._point_words))
        words = self._corner_words
        # a word with a blank inside would pass as two; the count of them tells
        plain = _indices(text := " ".join((*words, ""))) and text.count(" ") == len(words)
        self._corners.extend(map(int, words) if plain else [self._counted(word) for word in words])
        self._point_words, self._corner_words = [], []

    def _numbers(self, words: list[str]) -> list[float]:
        if _numbers(text := " ".join((*words, ""))) and text.count(" ") == len(words):
            values = [float(word) for word in words]
            if not values or max(map(abs, values)) <= LARGEST_NUMBER:
                return values
        values = []
        for word in words:
            value = float(word) if _number(word) else float("inf")
            if abs(value) > LARGEST_NUMBER:
                raise self._wrong(f'has "{shown(word)}" where a number belongs', "write 12.5, not 12,5")
            values.append(value)
        return values

    def _of(self, attributes: dict[str, str], key: str) -> str:
        if key not in attributes:
            raise self._wrong(f'has a "{self._path[-1]}" without "{key}"')
        return attributes[key]

    def _whole(self, attributes: dict[str, str], key: str) -> int:
        return self._counted(self._of(attributes, key))

    def _counted(self, word: str) -> int:
        found = _index(word)
        if not found or int(found[1]) > LARGEST_INDEX:
            raise self._wrong(f'has "{shown(word)}" where the number of an object or corner belongs')
        return int(found[1])

    def _wrong(self, words: str, hint: str = "") -> PartError:
        return malformed(f'the part "{shown(self._name)}" of the 3MF file {words}', hint)
