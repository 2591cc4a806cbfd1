"""3MF files: what the build of the model makes, every instance expanded, in the unit the model states.

Conventions follow the 3MF core specification 1.3 and the production extension 1.1: a row of three coordinates and a
one is multiplied by a matrix of four rows and three columns; an object without an item in the build is not made; the
type of an object counts where its mesh is; only the first model part may refer to another.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from geom.arrays import Floats, Ints
from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats.model_part import PRODUCTION, SLICE, UNITS, ModelPart, Solid, Use, read_model_part
from geom.formats.package import RAISE, Inflation, Package
from geom.formats.raw import RawMesh, malformed, shown

USUAL_INFLATION = Inflation()
MATERIALS = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
TRIANGLE_SETS = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07"
HARMLESS = (PRODUCTION, MATERIALS, TRIANGLE_SETS)  # extensions that leave the mesh as it is
SUPPORTS = ("support", "solidsupport")

# where slicers note which pieces of a mesh are no material, and how they write it; from the files they save
SLICER_NOTES = ("metadata/slic3r_pe_model.config", "metadata/model_settings.config")
NO_MATERIAL = re.compile(
    rb"""key=["']volume_type["']\s+value=["'](?!ModelPart)\w+"""
    rb"""|key=["']modifier["']\s+value=["']1["']"""
    rb"""|subtype=["'](?!normal_part)\w+"""
)


@dataclass(frozen=True, slots=True)
class _Key:
    """An object of the file: the part it is in, and its number there."""

    part: str
    number: int


@dataclass(frozen=True, slots=True)
class _Weight:
    """What an object comes to when it is expanded."""

    faces: int
    instances: int
    depth: int


def read_3mf(data: bytes, most: Inflation = USUAL_INFLATION) -> RawMesh:
    """Read what the build of a 3MF file makes.

    Parameters
    ----------
    data : the whole file
    most : what the archive may inflate to, and what the model may expand to

    Returns
    -------
    mesh : one set of faces, a piece for every instance in the order of the build. ``file_face`` counts the triangles
        of the file itself, object after object in the order of the parts read, so instances of one object share them;
        ``unit`` is the unit that the model states [m].
    """
    package = Package(data, most)
    _check_slicer_notes(package)
    model = _Model(package, most)
    return model.expanded()


def read_3mf_up_to(data: bytes, factor: float) -> RawMesh:
    """Read a 3MF file with all limits raised by a factor, as whoever allows a larger file does."""
    return read_3mf(data, USUAL_INFLATION.times(factor))


def _check_slicer_notes(package: Package) -> None:
    """Refuse a project of a slicer whose mesh holds pieces that are no material."""
    for name in package.names():
        if name in SLICER_NOTES and NO_MATERIAL.search(package.part(name)):
            raise PartError(
                "part-3mf-kind",
                "the 3MF file is a project of a slicer, with pieces in its mesh that only modify or are cut away",
                hint="export the part itself as STL or 3MF, without modifiers and negative volumes",
            )


class _Model:
    """The parts of a model, and the way from the build to triangles."""

    def __init__(self, package: Package, most: Inflation) -> None:
        self._package, self._most = package, most
        self._root = package.start()
        self._parts: dict[str, ModelPart] = {}
        self._first: dict[_Key, int] = {}  # the number of the first triangle of each object
        self._weights: dict[_Key, _Weight] = {}
        self._open: set[_Key] = set()  # objects being weighed
        self._left_out: dict[str, list[str]] = {}  # why, and what
        self._skipped: set[_Key] = set()  # objects of items that are not to be made
        self._read_parts()

    def expanded(self) -> RawMesh:
        """Return the triangles of all items."""
        items = self._items()
        total = [self._weigh(self._key(self._root, item), 1) for item in items]
        faces, instances = sum(w.faces for w in total), sum(w.instances for w in total)
        if faces > self._most.faces or instances > self._most.instances:
            words = f"the 3MF file expands to {faces:.3g} faces in {instances:.3g} instances of its objects"
            limit = f"{self._most.faces:.3g} faces and {self._most.instances:.3g} instances are the most"
            raise PartError(
                "part-3mf-limit", f"{words}; {limit}", hint=f"export the part once, not a whole build; or {RAISE}"
            )
        self._note_unused()
        if not faces:
            raise PartError("part-mesh-empty", "the build of the 3MF file makes no mesh", hint=self._why_empty())
        placed = [one for item in items for one in self._instances(self._key(self._root, item), item.matrix)]
        vertices, triangles, source = self._joined(placed)
        unit = UNITS[self._parts[self._root].unit]
        return RawMesh(vertices, triangles, source, self._findings(len(items)), unit)

    def _read_parts(self) -> None:
        """Read the first part and those it refers to, in the order it does."""
        root = self._read(self._root)
        uses = [use for solid in root.solids.values() for use in solid.uses] + root.items
        for name in dict.fromkeys(self._package.named(use.path) for use in uses if use.path):
            if name in self._parts:
                continue
            part = self._read(name)
            if part.unit != root.unit:
                words = f"is in {part.unit}, the model that refers to it in {root.unit}"
                raise malformed(f'the part "{shown(name)}" of the 3MF file {words}; which counts is not defined')
            if any(use.path for solid in part.solids.values() for use in solid.uses):
                raise malformed(f'the part "{shown(name)}" of the 3MF file refers to a third part, which it may not')

    def _read(self, name: str) -> ModelPart:
        part = read_model_part(self._package.part(name), name)
        for namespace in part.required:
            if namespace not in HARMLESS:
                raise _unsupported("the 3MF file", f"requires the extension {_short(namespace)}")
        self._parts[name] = part
        at = sum(len(solid.triangles) for one in self._parts.values() for solid in one.solids.values())
        for number, solid in reversed(part.solids.items()):
            at -= len(solid.triangles)
            self._first[_Key(name, number)] = at
        return part

    def _items(self) -> list[Use]:
        root = self._parts[self._root]
        for item in root.items:
            if not item.is_made:
                key = self._key(self._root, item)
                self._skipped.add(key)
                self._leave_out("marked as not to be printed", self._solid(key).words)
        return [item for item in root.items if item.is_made]

    def _key(self, part: str, use: Use) -> _Key:
        """Return the object that a use in ``part`` means."""
        name = self._package.named(use.path) if use.path else part
        if use.number not in self._parts[name].solids:
            raise malformed(f'the 3MF file uses object {use.number} of the part "{shown(name)}", which has none such')
        return _Key(name, use.number)

    def _solid(self, key: _Key) -> Solid:
        return self._parts[key.part].solids[key.number]

    def _weigh(self, key: _Key, level: int) -> _Weight:
        """Count what an object expands to, once for each, and check it; no instance is made yet."""
        solid = self._solid(key)
        known = self._weights.get(key)
        if known is None:
            if key in self._open:
                raise malformed(f"{solid.words} of the 3MF file is a component of itself")
            if level > self._most.depth:
                raise self._too_deep()
            self._open.add(key)
            inner = [self._weigh(self._key(key.part, use), level + 1) for use in solid.uses]
            self._open.discard(key)
            faces = len(solid.triangles) if self._is_made(solid) else 0
            known = _Weight(
                faces + sum(weight.faces for weight in inner),
                1 + sum(weight.instances for weight in inner),
                1 + max((weight.depth for weight in inner), default=0),
            )
            self._weights[key] = known
        if level - 1 + known.depth > self._most.depth:
            raise self._too_deep()
        return known

    def _too_deep(self) -> PartError:
        words = f"objects of the 3MF file lie more than {self._most.depth} deep in each other"
        return PartError("part-3mf-limit", words, hint="export the part as one mesh")

    def _is_made(self, solid: Solid) -> bool:
        """Return whether the mesh of an object is material of the part; refuse what cannot be told."""
        _check_shape(solid)
        if solid.is_assembly:
            return False
        if solid.kind in SUPPORTS:
            self._leave_out("support for printing", solid.words)
        elif solid.kind != "model":
            raise PartError(
                "part-3mf-kind",
                f'{solid.words} in the build of the 3MF file is of the type "{solid.kind}", which is no solid',
                hint="export it as a solid, or leave it out of the build",
            )
        return solid.kind == "model"

    def _leave_out(self, why: str, what: str) -> None:
        self._left_out.setdefault(why, []).append(what)

    def _note_unused(self) -> None:
        for name, part in self._parts.items():
            for number, solid in part.solids.items():
                if _Key(name, number) not in self._weights.keys() | self._skipped:
                    self._leave_out("not in the build", solid.words)

    def _why_empty(self) -> str:
        lists = [f"{_some(names)}: {why}" for why, names in self._left_out.items()]
        return "; ".join(lists) or "export the solid itself, with a build"

    def _instances(self, key: _Key, matrix: Floats) -> Iterator[tuple[_Key, Floats]]:
        """Yield every mesh below an object with the matrix that places it."""
        solid = self._solid(key)
        if solid.is_mesh and solid.kind == "model" and len(solid.triangles):
            yield key, matrix
        for use in solid.uses:
            yield from self._instances(self._key(key.part, use), _after(use.matrix, matrix))

    def _joined(self, placed: list[tuple[_Key, Floats]]) -> tuple[Floats, Ints, Ints]:
        """Return vertices, faces and the triangles of the file they are."""
        vertices, faces, source, count = [], [], [], 0
        for key, matrix in placed:
            solid = self._solid(key)
            with np.errstate(over="ignore", invalid="ignore"):
                points = solid.vertices @ matrix[:3] + matrix[3]
            if not np.isfinite(points).all():
                raise malformed(f"{solid.words} of the 3MF file is moved to where numbers end")
            is_mirrored = np.linalg.slogdet(matrix[:3])[0] < 0
            triangles = solid.triangles[:, ::-1] if is_mirrored else solid.triangles
            vertices.append(points)
            faces.append(triangles + count)
            source.append(np.arange(len(triangles)) + self._first[key])
            count += len(points)
        return np.concatenate(vertices), np.concatenate(faces), np.concatenate(source)

    def _findings(self, items: int) -> tuple[Finding, ...]:
        findings = []
        for why, names in self._left_out.items():
            words = f"left out of the 3MF file, {why}: {_some(names)}"
            findings.append(Finding(Severity.WARNING, "part-3mf-left-out", words))
        foreign = {full.rpartition(" ")[0] for key in self._weights for full in self._solid(key).foreign}
        unknown = sorted(namespace for namespace in foreign if namespace not in (*HARMLESS, SLICE))
        if unknown:
            words = f"extensions of the 3MF file were passed over: {', '.join(map(_short, unknown))}"
            findings.append(Finding(Severity.WARNING, "part-3mf-extra", f"{words}; the plain mesh was taken"))
        if items > 1:
            words = f"the build of the 3MF file makes {items} items; they were taken together, where they stand"
            findings.append(Finding(Severity.NOTE, "part-3mf-items", words))
        return tuple(findings)


def _check_shape(solid: Solid) -> None:
    """Refuse an object whose shape is not, or not only, in its mesh or its components."""
    lattice = [full for full in solid.foreign if "/beamlattice/" in full]
    if lattice:
        raise _unsupported(f"{solid.words} of the 3MF file", "is a beam lattice")
    if solid.is_coarse:
        raise _unsupported(f"{solid.words} of the 3MF file", "has a coarse mesh only, and its shape in slices")
    if solid.is_mesh and solid.is_assembly:
        raise malformed(f"{solid.words} of the 3MF file has both a mesh and components")
    if not (solid.is_mesh or solid.is_assembly):
        if not solid.foreign:
            raise malformed(f"{solid.words} of the 3MF file has neither a mesh nor components")
        names = ", ".join(sorted({_short(full.rpartition(" ")[0]) for full in solid.foreign}))
        raise _unsupported(f"{solid.words} of the 3MF file", f"has its shape in an extension ({names})")


def _unsupported(what: str, words: str) -> PartError:
    hint = "export the part as a plain mesh: 3MF without extensions, or STL"
    return PartError("part-3mf-extension", f"{what} {words}, which is not supported", hint=hint)


def _short(namespace: str) -> str:
    """Return the word of a namespace that names the extension."""
    found = re.search(r"/3dmanufacturing/([\w/-]*?)/?\d{4}", namespace)
    return f'"{shown(found[1] if found else namespace)}"'


def _some(names: list[str]) -> str:
    """Name the first few."""
    head = ", ".join(names[:4])
    return head if len(names) <= 4 else f"{head} and {len(names) - 4} more"


def _after(inner: Floats, outer: Floats) -> Floats:
    """Return the matrix (4, 3) that does ``inner`` first, then ``outer``."""
    with np.errstate(over="ignore", invalid="ignore"):  # the points that come of it are checked
        product = inner @ outer[:3]
        product[3] += outer[3]
    return np.asarray(product, dtype=np.float64)
