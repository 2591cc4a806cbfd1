"""What a file plainly is, told by its first bytes whatever its name."""

import re
from dataclasses import dataclass

from geom.formats.words import is_utf_16

LOOK = 4096  # bytes looked at


@dataclass(frozen=True, slots=True)
class Content:
    """A kind of file: its name in words, and the suffixes it may carry here (none: no reader is for it)."""

    name: str
    suffixes: tuple[str, ...] = ()


MAGIC: tuple[tuple[bytes, Content], ...] = (
    (b"PK\x03\x04", Content("a zip archive (3MF files are such)", (".3mf",))),
    (b"PK\x05\x06", Content("an empty zip archive")),
    (b"\x89PNG", Content("a picture (PNG)")),
    (b"\xff\xd8\xff", Content("a picture (JPEG)")),
    (b"GIF8", Content("a picture (GIF)")),
    (b"BM", Content("a picture (BMP)")),
    (b"II*\0", Content("a picture (TIFF)")),
    (b"MM\0*", Content("a picture (TIFF)")),
    (b"%PDF", Content("a PDF document")),
    (b"\x1f\x8b", Content("compressed (gzip)")),
    (b"7z\xbc\xaf", Content("compressed (7z)")),
    (b"Rar!", Content("compressed (RAR)")),
    (b"BZh", Content("compressed (bzip2)")),
    (b"\xfd7zXZ", Content("compressed (xz)")),
    (b"glTF", Content("a glTF model")),
    (b"\x7fELF", Content("a program")),
    (b"MZ", Content("a program")),
    (b"\xd0\xcf\x11\xe0", Content("an old office or CAD document (OLE)")),
    (b"AC10", Content("a DWG drawing")),
    (b"Kaydara FBX", Content("an FBX model")),
    (b"version https://git-lfs", Content("a pointer of Git LFS, not the file itself")),
    (b"ISO-10303-21", Content("STEP", (".step", ".stp"))),
    (b"AutoCAD Binary DXF", Content("a binary DXF drawing", (".dxf",))),
)
TEXT: tuple[tuple[bytes, Content], ...] = (
    (rb"\s*(<\?xml[^>]*>\s*)?(<!--.*?-->\s*)*<(!doctype\s+)?svg", Content("an SVG drawing", (".svg",))),
    (rb"\s*(<!--.*?-->\s*)*<(!doctype\s+html|html|head|body)", Content("a web page (HTML)")),
    (rb"\s*<\?xml", Content("XML")),
    (rb"\s*\{", Content("JSON or the like")),
    (rb"\s*ISO-10303-21", Content("STEP", (".step", ".stp"))),
    (rb"ply\s", Content("PLY", (".ply",))),
    (rb"\s*(ST)?C?N?4?n?OFF\s", Content("OFF", (".off",))),
    (rb"\s*solid\b.*?\bfacet\b", Content("ASCII STL", (".stl",))),
    (rb"\s*0\s*\r?\n\s*SECTION", Content("a DXF drawing", (".dxf",))),
    (
        rb"(\s*#[^\n]*\n)*(\s*(o|g|s|mtllib|usemtl)\s[^\n]*\n)*\s*v\s+[-+.\d]+\s+[-+.\d]+",
        Content("OBJ", (".obj",)),
    ),
)
UTF_16_WORDS = Content("text in UTF-16; mesh files are plain ASCII or UTF-8")


def content_of(data: bytes) -> Content | None:
    """Return what a file plainly is, or None where its first bytes do not tell."""
    head = data[:LOOK]
    for magic, content in MAGIC:
        if head.startswith(magic):
            return content
    if is_utf_16(head):
        return UTF_16_WORDS
    text = head.removeprefix(b"\xef\xbb\xbf")
    for pattern, content in TEXT:
        if re.match(pattern, text, flags=re.IGNORECASE | re.DOTALL):
            return content
    return None
