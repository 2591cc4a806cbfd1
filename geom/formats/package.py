"""The archive around a 3MF model: a ZIP file of named parts, opened in memory and nothing of it written anywhere.

What an archive says of itself is held against limits before anything is inflated, and inflating stops at the size
that was said. The part to begin with is the one that the relationships of the package name; it is not guessed.
"""

import io
import posixpath
import re
import struct
import zipfile
import zlib
from dataclasses import dataclass, replace
from xml.parsers import expat

from geom.errors import PartError
from geom.formats.raw import malformed, shown

RELATIONSHIPS = "_rels/.rels"
RELATIONSHIP = "http://schemas.openxmlformats.org/package/2006/relationships Relationship"
MODEL = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
KEYS = "http://schemas.microsoft.com/3dmanufacturing/2019/04/keystore"  # of the Secure Content extension
END = b"PK\5\6"  # begins the record that ends an archive
END_SIZE = 22  # bytes of that record, before its comment
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)  # no other is allowed in a package
LARGEST_NAME = 512
RAISE = "if the file is to be trusted, raise the limits with its size (--most-size; most_size under [part])"


@dataclass(frozen=True, slots=True)
class Inflation:
    """What an archive may grow to; each can be raised by whoever trusts the file."""

    ratio: float = 100.0  # inflated size to size in the archive, of a part and of the whole
    harmless: int = 100_000  # parts up to this size may have any ratio [bytes]
    total: int = 512_000_000  # of all parts together [bytes]
    parts: int = 10_000
    faces: int = 10_000_000  # of the model, every instance of an object counted
    instances: int = 100_000  # of objects
    depth: int = 64  # of objects within objects

    def times(self, factor: float) -> "Inflation":
        """Return limits that are wider by a factor, all but the depth."""
        return replace(
            self,
            ratio=self.ratio * factor,
            total=round(self.total * factor),
            parts=round(self.parts * factor),
            faces=round(self.faces * factor),
            instances=round(self.instances * factor),
        )


class Package:
    """The parts of an archive by name; names differ in more than upper and lower case."""

    def __init__(self, data: bytes, most: Inflation) -> None:
        self._archive = _opened(data)
        self._parts: dict[str, zipfile.ZipInfo] = {}
        entries = self._archive.infolist()
        if len(entries) > most.parts:
            raise _too_much(f"the 3MF archive holds {len(entries)} parts; {most.parts} is the most")
        _check_growth(entries, len(data), most)
        for entry in entries:
            name = _checked_name(entry)
            if name.lower() in self._parts:
                raise malformed(f'the 3MF archive holds the part "{shown(name)}" twice')
            self._parts[name.lower()] = entry

    def named(self, path: str, base: str = "/") -> str:
        """Return the name of the part that ``path`` means, seen from the folder ``base``."""
        name = posixpath.normpath(posixpath.join(base, path)).lstrip("/").lower()
        if name.startswith("..") or "\\" in name or name not in self._parts:
            raise malformed(f'the 3MF archive has no part "{shown(path)}", which it refers to')
        return name

    def names(self) -> list[str]:
        """Return the names of all parts, in lower case."""
        return list(self._parts)

    def part(self, name: str) -> bytes:
        """Inflate one part; its length and its checksum must be those of the archive."""
        entry = self._parts[name]
        try:
            with self._archive.open(entry) as file:
                content = file.read(entry.file_size)  # no more than was said is inflated
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
            reason = shown(str(error)) or type(error).__name__
            raise malformed(f'the part "{shown(name)}" of the 3MF archive is damaged: {reason}') from None
        if len(content) != entry.file_size:
            raise malformed(f'the part "{shown(name)}" of the 3MF archive is shorter than the archive says')
        return content

    def start(self) -> str:
        """Return the name of the part that the relationships of the package name as its model."""
        if RELATIONSHIPS not in self._parts:
            raise malformed("the 3MF archive has no relationships (_rels/.rels), which say where its model is")
        found = _relationships(self.part(RELATIONSHIPS))
        if any(kind == KEYS for kind, _, _ in found):
            raise PartError(
                "part-3mf-extension",
                "the 3MF file is encrypted (Secure Content extension)",
                hint="save it again without encryption",
            )
        models = [(target, mode) for kind, target, mode in found if kind == MODEL]
        if len(models) != 1:
            raise malformed(f"the relationships of the 3MF archive name {len(models)} models; they must name one")
        target, mode = models[0]
        if mode == "External":
            raise malformed(f'the model of the 3MF file is outside it, at "{shown(target)}"')
        return self.named(target)


def _too_much(message: str) -> PartError:
    return PartError("part-3mf-limit", message, hint=RAISE)


def _opened(data: bytes) -> zipfile.ZipFile:
    """Open the archive; it must fill the file from the first byte to the last."""
    if not data.startswith(b"PK\3\4"):
        raise malformed(f'a 3MF file is a ZIP archive and begins "PK"; this one begins "{_head(data)}"')
    end = data.rfind(END)
    if end < 0 or len(data) < end + END_SIZE:
        raise malformed("the 3MF archive is cut short: its directory is missing")
    comment = int.from_bytes(data[end + END_SIZE - 2 : end + END_SIZE], "little")
    if end + END_SIZE + comment != len(data):
        raise malformed("the 3MF archive does not end where its directory says")
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, struct.error, ValueError, OverflowError, NotImplementedError, EOFError) as error:
        raise malformed(f"the 3MF archive cannot be opened: {shown(str(error))}") from None


def _head(data: bytes) -> str:
    return shown(data[:8].decode("latin-1"))


def _check_growth(entries: list[zipfile.ZipInfo], size: int, most: Inflation) -> None:
    """Compare the sizes an archive states, before anything of it is inflated."""
    total = sum(entry.file_size for entry in entries)
    if total > most.total:
        words = f"the 3MF archive would inflate to {total / 1e6:.0f} MB; {most.total / 1e6:.0f} MB is the most"
        raise _too_much(words)
    if total > most.harmless and total > most.ratio * size:
        raise _too_much(_growth("the 3MF archive", total, size, most))
    for entry in entries:
        if entry.file_size > most.harmless and entry.file_size > most.ratio * entry.compress_size:
            name = f'the part "{shown(entry.filename)}" of the 3MF archive'
            raise _too_much(_growth(name, entry.file_size, entry.compress_size, most))


def _growth(name: str, large: int, small: int, most: Inflation) -> str:
    return f"{name} would inflate from {small} to {large} bytes, more than {most.ratio:g} to 1, as no real model does"


def _checked_name(entry: zipfile.ZipInfo) -> str:
    """Return the name of an entry, which must stay inside the package and be readable."""
    name = entry.orig_filename
    steps = name.split("/")
    outside = name.startswith("/") or ".." in steps or "\\" in name or re.match(r"[A-Za-z]:", name)
    if outside or "\0" in name or not name or len(name) > LARGEST_NAME:
        raise malformed(f'the 3MF archive holds a part by the name of "{shown(name)}", which no package may')
    if entry.flag_bits & 0x1:
        raise malformed(f'the part "{shown(name)}" of the 3MF archive is encrypted')
    if entry.compress_type not in METHODS:
        raise malformed(f'the part "{shown(name)}" of the 3MF archive is packed in a way that 3MF does not have')
    return name


def parse_xml(parser: expat.XMLParserType, content: bytes, name: str) -> None:
    """Run a parser over a part; types and entities of a document's own are refused before they are used."""

    def refused(*_: object) -> None:
        raise malformed(f'the part "{shown(name)}" of the 3MF file declares a document type or entities')

    parser.StartDoctypeDeclHandler = refused
    parser.EntityDeclHandler = refused
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        raise malformed(f'the part "{shown(name)}" of the 3MF file is no sound XML: {shown(str(error))}') from None
    except (LookupError, UnicodeError) as error:
        raise malformed(
            f'the part "{shown(name)}" of the 3MF file has an unknown encoding: {shown(str(error))}'
        ) from None


def _relationships(content: bytes) -> list[tuple[str, str, str]]:
    """Return the type, the target and the mode of every relationship."""
    found: list[tuple[str, str, str]] = []

    def start(name: str, attributes: dict[str, str]) -> None:
        if name == RELATIONSHIP:
            of = attributes.get
            found.append((of("Type", ""), of("Target", ""), of("TargetMode", "Internal")))

    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = start
    parse_xml(parser, content, RELATIONSHIPS)
    return found
