"""3MF archives for tests: sound ones by default, any piece of them replaced by what a test wants."""

import io
import zipfile
from collections.abc import Sequence
from itertools import product

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
MODEL_TYPE = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
START = "3D/3dmodel.model"
SIZES = (20.0, 30.0, 4.0)  # of the usual box
BOX_AREA = 2 * (20 * 30 + 30 * 4 + 4 * 20)
BOX_VOLUME = 20 * 30 * 4
BOX_FACES = (
    *((0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1)),
    *((2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)),
)


def mesh(sizes: Sequence[float] = SIZES, extra: str = "") -> str:
    """A box as a mesh element."""
    corners = product(*((0.0, size) for size in sizes))
    vertices = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in corners)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in BOX_FACES)
    return f"<mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles>{extra}</mesh>"


def box(number: int = 1, attributes: str = "", sizes: Sequence[float] = SIZES) -> str:
    """An object that is a box."""
    return f'<object id="{number}" {attributes}>{mesh(sizes)}</object>'


def group(number: int, *components: str) -> str:
    """An object made of components."""
    return f'<object id="{number}"><components>{"".join(components)}</components></object>'


def component(number: int, transform: str = "", attributes: str = "") -> str:
    return f'<component objectid="{number}" {_transform(transform)} {attributes}/>'


def item(number: int = 1, transform: str = "", attributes: str = "") -> str:
    return f'<item objectid="{number}" {_transform(transform)} {attributes}/>'


def _transform(text: str) -> str:
    return f'transform="{text}"' if text else ""


def model(objects: str | None = None, build: str | None = None, attributes: str = 'unit="millimeter"') -> str:
    """A model part: one box, made once, unless told otherwise."""
    objects = box() if objects is None else objects
    build = item() if build is None else build
    head = f'<?xml version="1.0" encoding="UTF-8"?><model xmlns="{CORE}" xmlns:p="{PRODUCTION}" {attributes}>'
    return f"{head}<resources>{objects}</resources><build>{build}</build></model>"


def relationships(target: str = f"/{START}", kind: str = MODEL_TYPE, more: str = "") -> str:
    head = '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    return f'{head}<Relationship Target="{target}" Id="rel0" Type="{kind}"/>{more}</Relationships>'


def archive(
    content: str | bytes | None = None, *, links: str | None = None, parts: dict[str, str | bytes] | None = None
) -> bytes:
    """A whole 3MF file."""
    entries: dict[str, str | bytes] = {
        "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>',
        "_rels/.rels": relationships() if links is None else links,
        START: model() if content is None else content,
        **(parts or {}),
    }
    return zipped(list(entries.items()))


def zipped(entries: Sequence[tuple[str, str | bytes]]) -> bytes:
    """A ZIP archive of entries, which may repeat."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in entries:
            file.writestr(zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return buffer.getvalue()
