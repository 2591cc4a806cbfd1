"""DXF and SVG text written by the tests: sound drawings, and what they are made of."""

from collections.abc import Sequence

Pair = tuple[float, float]


def pairs(*items: tuple[int, object]) -> str:
    """Group codes and values as a DXF file writes them."""
    return "".join(f"{code:3d}\n{value}\n" for code, value in items)


def line(start: Pair, end: Pair, layer: str = "0") -> str:
    """A LINE."""
    return pairs((0, "LINE"), (8, layer), (10, start[0]), (20, start[1]), (11, end[0]), (21, end[1]))


def arc(centre: Pair, radius: float, start: float, end: float, layer: str = "0") -> str:
    """An ARC, counter-clockwise between two angles in degrees."""
    return pairs((0, "ARC"), (8, layer), (10, centre[0]), (20, centre[1]), (40, radius), (50, start), (51, end))


def circle(centre: Pair, radius: float, layer: str = "0") -> str:
    """A CIRCLE."""
    return pairs((0, "CIRCLE"), (8, layer), (10, centre[0]), (20, centre[1]), (40, radius))


def polyline(points: Sequence[Sequence[float]], *, closed: bool = True, layer: str = "0") -> str:
    """An LWPOLYLINE of corners (x, y) or (x, y, bulge)."""
    text = pairs((0, "LWPOLYLINE"), (8, layer), (90, len(points)), (70, int(closed)))
    for x, y, *bulge in points:
        text += pairs((10, x), (20, y), *((42, value) for value in bulge))
    return text


def block(name: str, *entities: str) -> str:
    """A block with its base point in the origin."""
    return pairs((0, "BLOCK"), (2, name), (10, 0), (20, 0)) + "".join(entities) + pairs((0, "ENDBLK"))


def insert(name: str, at: Pair = (0.0, 0.0), *more: tuple[int, object]) -> str:
    """An INSERT of a block."""
    return pairs((0, "INSERT"), (8, "0"), (2, name), (10, at[0]), (20, at[1]), *more)


def dxf(*entities: str, unit: int | None = 4, blocks: Sequence[str] = ()) -> bytes:
    """A DXF file; ``unit`` is its $INSUNITS (1 inch, 4 mm), None leaves it out."""
    header = pairs((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015"))
    if unit is not None:
        header += pairs((9, "$INSUNITS"), (70, unit))
    text = header + pairs((0, "ENDSEC"))
    if blocks:
        text += pairs((0, "SECTION"), (2, "BLOCKS")) + "".join(blocks) + pairs((0, "ENDSEC"))
    text += pairs((0, "SECTION"), (2, "ENTITIES")) + "".join(entities) + pairs((0, "ENDSEC"), (0, "EOF"))
    return text.encode()


def svg(*elements: str, size: str = 'width="80mm" height="40mm"', box: str = 'viewBox="0 0 80 40"') -> bytes:
    """An SVG file; its unit is a millimetre unless told otherwise."""
    head = f'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {size} {box}>\n'
    return (head + "\n".join(elements) + "\n</svg>\n").encode()


def rectangle(length: float = 40.0, width: float = 20.0, at: Pair = (0.0, 0.0)) -> list[Pair]:
    """Corners, counter-clockwise."""
    x, y = at
    return [(x, y), (x + length, y), (x + length, y + width), (x, y + width)]


def sound_dxf() -> bytes:
    """A terminal link of a shore-power panel: rounded ends by bulges, two bores, a slot of lines and arcs."""
    outline = [(0, -10), (60, -10, 1.0), (60, 10), (0, 10, 1.0)]
    slot = [
        line((25, -3), (35, -3)),
        arc((35, 0), 3, 270, 90),
        line((35, 3), (25, 3)),
        arc((25, 0), 3, 90, 270),
    ]
    pair = block("bores", circle((0, 0), 4), circle((60, 0), 4))
    return dxf(polyline(outline), *slot, insert("bores"), blocks=[pair])


def sound_svg() -> bytes:
    """The same link as `sound_dxf`, by paths, a circle and a transform."""
    return svg(
        '<path d="M0,-10 h60 a10,10 0 0 1 0,20 H0 A10 10 0 0 1 0 -10 Z"/>',
        '<g transform="translate(30 0)"><path d="M-5 -3 L5 -3 A3 3 0 0 1 5 3 L-5 3 A3 3 0 0 1 -5 -3"/></g>',
        '<circle id="bore" cx="0" cy="0" r="4"/><use href="#bore" x="60"/>',
        box='viewBox="-10 -20 80 40"',
    )
