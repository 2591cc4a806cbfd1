"""Names by which a person finds a feature on the part: what it is, its number and size, and where it is."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from string import ascii_uppercase

import numpy as np

from geom.arrays import Floats
from geom.feature import Feature, Kind
from geom.recognise.piece import Piece

MOST = 60  # features of a part: more make no table that a person reads
COMFORTABLE = 24  # features that a table holds with ease; from there on very small edges are one feature
MANY_EDGES = 13  # very small edges that are too many to tell apart
CRUMB = 3e-3  # share of the area of the part of a very small edge
FEWEST_ALIKE = 3  # pieces of one word and size that may share a feature where there are too many
ORDER = (
    "face", "round side", "end", "edge", "small edge", "rim", "rounded edge", "rounded edges", "chamfer", "corner", "round end", "bore",
    "blind hole", "counterbore", "countersink", "slot", "cutout", "pocket", "groove", "hollow", "inside",
    "inside bend", "outside bend", "fillet", "cone", "ball", "cup", "curved skin",
)  # fmt: skip
LOOKING = ("face", "end", "edge")  # told apart by the way they look rather than by where they are
ALONE = ("round side", "rim", "inside", "rounded edges")  # need no number where there is one
STEP = 1e-3  # of the size of the part: places nearer than this are one place, whatever the triangles
BEYOND = 0.45  # of half the size: from here on a place is near an end, or at a side
CLEAR = 0.35  # share of a direction along an axis from which on it is named


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A piece, or several alike, with what the mesh says of it."""

    piece: Piece
    numbers: tuple[int, ...]  # rows of the pieces
    area: float  # [m²]
    middle: Floats  # (3,) of its bounding box [m]


def shortened(placed: Sequence[Placed]) -> tuple[list[Placed], list[Placed]]:
    """Return at most ``MOST`` features, those alike put together where there are too many, and the rest."""
    kept = _without_crumbs(list(placed))
    alike: dict[tuple[str, str], list[Placed]] = defaultdict(list)
    for item in kept:
        alike[item.piece.word, item.piece.size].append(item)
    sets = [group for group in alike.values() if len(group) >= FEWEST_ALIKE and group[0].piece.size]
    for group in sorted(sets, key=lambda group: -len(group)):
        if len(kept) <= MOST:
            break
        mine = {id(item) for item in group}
        kept = [item for item in kept if id(item) not in mine] + [_together(group)]
    kept.sort(key=lambda item: -item.area)
    return kept[:MOST], kept[MOST:]


def _without_crumbs(placed: list[Placed]) -> list[Placed]:
    """Put very small edges together where a part has many features."""
    total = sum(item.area for item in placed)
    crumbs = [item for item in placed if item.piece.word == "edge" and item.area < CRUMB * total]
    if len(placed) <= COMFORTABLE or len(crumbs) < MANY_EDGES:
        return placed
    mine = {id(item) for item in crumbs}
    return [item for item in placed if id(item) not in mine] + [_together(crumbs, "small edge")]


def _together(group: list[Placed], word: str = "") -> Placed:
    first = group[0]
    piece = replace(first.piece, word=word or first.piece.word, axis=None, facing=None)
    numbers = tuple(number for item in group for number in item.numbers)
    middle = np.mean([item.middle for item in group], axis=0)
    return Placed(piece, numbers, sum(item.area for item in group), middle)


def features_of(placed: Sequence[Placed], bounds: Floats) -> tuple[list[Feature], list[Placed]]:
    """Return the features, and what each is made of in the same order."""
    frame = _Frame(bounds)
    ordered = sorted(placed, key=lambda item: (_rank(item.piece.word), *frame.key(item)))
    counts = Counter(item.piece.word for item in ordered)
    frame.looks = Counter((item.piece.word, frame.look(item.piece)) for item in ordered)
    so_far: Counter[str] = Counter()
    taken: set[str] = set()
    features = []
    for item in ordered:
        word = item.piece.word
        so_far[word] += 1
        name = _unique(frame.name(item, so_far[word], counts[word]), taken)
        taken.add(name)
        features.append(_feature(name, item))
    return features, ordered


def _rank(word: str) -> int:
    return ORDER.index(word) if word in ORDER else len(ORDER)


def _unique(name: str, taken: set[str]) -> str:
    if name not in taken:
        return name
    return next(other for k in range(2, len(taken) + 3) if (other := f"{name}, {k}") not in taken)


def _feature(name: str, item: Placed) -> Feature:
    piece = item.piece
    return Feature(
        name,
        piece.kind,
        item.area,
        piece.width,
        piece.depth,
        radius=piece.radius if piece.kind in (Kind.BEND_INSIDE, Kind.BEND_OUTSIDE) else 0.0,
        axis=None if piece.axis is None else _positive(piece.axis),
        middle=(float(item.middle[0]), float(item.middle[1]), float(item.middle[2])),
    )


def _positive(axis: Floats) -> tuple[float, float, float]:
    """Turn an axis so that its largest component is positive: either way round it is the same axis."""
    largest = int(np.argmax(np.abs(axis) > np.abs(axis).max() - 1e-6))
    x, y, z = (float(v) + 0.0 for v in (axis if axis[largest] > 0 else -axis))
    return x, y, z


class _Frame:
    """The axes of the file, and which of them the part is longest along."""

    def __init__(self, bounds: Floats) -> None:
        self.looks: Counter[tuple[str, str]] = Counter()  # how many of one word look one way
        self.middle = bounds.mean(axis=0)
        self.size = np.maximum(bounds[1] - bounds[0], 1e-12)
        self.step = STEP * float(self.size.max())
        # a size hardly larger than another does not make the longer axis: x before y before z then
        self.axes = [int(k) for k in np.argsort(-np.rint(self.size / (10 * self.step)), kind="stable")]

    def key(self, item: Placed) -> tuple[float, ...]:
        """Return what features of one word are sorted by: faces by area, the rest along the part."""
        place = np.rint(item.middle / self.step)
        along = tuple(float(place[k]) for k in self.axes)
        if item.piece.word == "face":
            facing = item.piece.facing if item.piece.facing is not None else np.zeros(3)
            look = np.rint(facing * 100)
            return (-float(f"{item.area:.2g}"), *(-float(v) for v in look[::-1]), *along)
        return along

    def name(self, item: Placed, number: int, count: int) -> str:
        """Return the name of a piece."""
        piece = item.piece
        size = f" ({piece.size})" if piece.size else ""
        if len(item.numbers) > 1:
            return f"{len(item.numbers)} {_plural(piece.word)}{size}"
        if piece.word in LOOKING:
            told = _letters(number) if piece.word == "face" else str(number)
            several = self.looks[piece.word, self.look(piece)] > 1
            return f"{piece.word} {told} ({self.look(piece)})" + (f", {self._place(item.middle)}" if several else "")
        told = piece.word if count == 1 and piece.word in ALONE else f"{piece.word} {number}"
        place = "" if count == 1 and piece.word in ALONE else f", {self._place(item.middle)}"
        return told + size + place

    def look(self, piece: Piece) -> str:
        """Return the way a piece looks: "+z", "+x-y"."""
        facing = piece.facing
        if facing is None:
            return "curved"
        words = [("+" if v > 0 else "-") + "xyz"[k] for k, v in enumerate(facing) if abs(v) > CLEAR]
        return "".join(words)

    def _place(self, middle: Floats) -> str:
        share = 2 * (middle - self.middle) / self.size
        first, second, third = self.axes
        if abs(share[first]) > BEYOND:
            return f"near the {_signed(first, share)} end"
        for axis in (second, third):
            if abs(share[axis]) > BEYOND:
                return f"at the {_signed(axis, share)} side"
        return "middle"


def _signed(axis: int, share: Floats) -> str:
    return ("+" if share[axis] > 0 else "-") + "xyz"[axis]


def _plural(word: str) -> str:
    return word if word.endswith("s") else word + "s"


def _letters(number: int) -> str:
    """Return A, B, ... Z, AA, AB, ..."""
    letters = ""
    while number:
        number, left = divmod(number - 1, 26)
        letters = ascii_uppercase[left] + letters
    return letters
