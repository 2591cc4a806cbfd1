"""Numbers on the features of a part, none over another: on the feature where there is room, else beside it with a line."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt

from geom.arrays import Bools, Floats
from geom.report.partviews import CROSS, INK, Picture
from geom.report.raster import FINER
from geom.surface.surface import Surface

APART = (24.0, 20.0)  # pixels across and up that two numbers keep from each other
ROOM = 3.5  # pixels from the number to the border of its feature, else it stands beside it
LEAST_SEEN = 8  # pixels; a feature of less counts as not seen
REACHES = (
    24.0,
    34.0,
    46.0,
    60.0,
    80.0,
    105.0,
    135.0,
    170.0,
    210.0,
    260.0,
)  # pixels from a feature to a number beside it
ROUND = 24  # directions that are tried
ON_OTHERS = 45.0  # pixels that a number goes further to stand on nothing else
CROSSING = 400.0  # and for its line to run under no other number
COVERS = 12.0  # pixels round a number that it hides
BORDER = 10  # pixels from a number to the border of the picture


@dataclass(frozen=True, eq=False)
class Spot:
    """Where a feature is best seen in one view."""

    number: int
    place: Floats  # (2,) column and row
    depth: float  # pixels to its border
    seen: int  # pixels


def draw_numbers(pictures: Sequence[Picture], surface: Surface, listed: Sequence[int]) -> set[int]:
    """Write the number of each listed feature where most of it is seen; return the numbers seen in no view."""
    tags = [_tags(picture, surface) for picture in pictures]
    spots = [_spots(image, listed) for image in tags]
    taken = [_on_features(picture, found) for picture, found in zip(pictures, spots, strict=True)]
    done = {number for places in taken for number in places}
    left: set[int] = set()
    for number in range(1, len(listed) + 1):
        best = max(range(len(pictures)), key=lambda k: spots[k][number - 1].seen)
        spot = spots[best][number - 1]
        if spot.seen < LEAST_SEEN:
            left.add(number)
        elif number not in done:
            small = [s.place for s in spots[best] if s.number != number and s.seen >= LEAST_SEEN and s.depth < COVERS]
            _beside(number, tags[best], listed[number - 1], taken[best], small, pictures[best])
    return left


def _tags(picture: Picture, surface: Surface) -> Floats:
    """Return (rows, columns) the feature seen in each pixel, -1 for none."""
    face = picture.raster.face[::FINER, ::FINER]
    return np.where(face >= 0, surface.tag[np.maximum(face, 0)], -1)


def _spots(tags: Floats, listed: Sequence[int]) -> list[Spot]:
    found = []
    for number, feature in enumerate(listed, 1):
        mask = np.asarray(tags == feature)
        column, row, depth = _middle(mask)
        found.append(Spot(number, np.array([column, row]), depth, int(mask.sum())))
    return found


def _on_features(picture: Picture, spots: Sequence[Spot]) -> dict[int, Floats]:
    """Write the numbers that have room on their features; return where they stand."""
    taken: dict[int, Floats] = {}
    for spot in sorted(spots, key=lambda spot: -spot.depth):
        if spot.depth >= ROOM and _is_free(spot.place, list(taken.values()), picture.cross):
            taken[spot.number] = spot.place
            _number(picture, spot.number, spot.place)
    return taken


def _is_free(place: Floats, taken: Sequence[Floats], cross: tuple[float, float]) -> bool:
    if np.all(np.abs(place - (np.array(cross) + CROSS / 2)) < CROSS / 2 + 8):
        return False
    return all(np.any(np.abs(place - other) >= APART) for other in taken)


def _beside(
    number: int,
    tags: Floats,
    feature: int,
    taken: dict[int, Floats],
    small: Sequence[Floats],
    picture: Picture,
) -> None:
    """Write a number beside its feature, with a line to it that runs under no other number, and over no small feature."""
    others = list(taken.values())
    mask = np.asarray(tags == feature)
    rows, columns = np.nonzero(mask)
    clear = np.ones(len(rows), dtype=np.bool_)
    for other in others:
        clear &= np.hypot(columns - other[0], rows - other[1]) > COVERS
    if clear.any():
        mask[rows[~clear], columns[~clear]] = False
    start = np.array(_middle(mask)[:2])
    places = _places(start, tags.shape, others, picture.cross)
    if not len(places):
        return
    under = tags[places[:, 1].astype(np.int64), places[:, 0].astype(np.int64)]
    cost = np.linalg.norm(places - start, axis=1) + np.where((under == -1) | (under == feature), 0.0, ON_OTHERS)
    cost += [CROSSING * any(_from_line(other, start, place) < COVERS for other in others) for place in places]
    cost += [CROSSING * any(float(np.hypot(*(spot - place))) < COVERS for spot in small) for place in places]
    place = places[int(np.argmin(cost))]
    taken[number] = place
    _line(picture, start, place)
    _number(picture, number, place)


def _places(start: Floats, shape: tuple[int, ...], taken: Sequence[Floats], cross: tuple[float, float]) -> Floats:
    """Return (n, 2) the places round about that are in the picture and free."""
    angles = 2 * np.pi * np.arange(ROUND) / ROUND
    round_about = np.column_stack([np.cos(angles), np.sin(angles)])
    places = np.concatenate([start + reach * round_about for reach in REACHES])
    inside = np.all((places >= BORDER) & (places < np.array([shape[1], shape[0]]) - BORDER), axis=1)
    return places[[bool(ok) and _is_free(place, taken, cross) for ok, place in zip(inside, places, strict=True)]]


def _from_line(point: Floats, start: Floats, end: Floats) -> float:
    """Return how far a point is from a line between two others."""
    along = end - start
    share = np.clip((point - start) @ along / (along @ along), 0.0, 1.0)
    return float(np.linalg.norm(point - start - share * along))


def _number(picture: Picture, number: int, place: Floats) -> None:
    box = {"boxstyle": "circle,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.85}
    picture.axes.text(
        float(place[0]), float(place[1]), str(number), ha="center", va="center", fontsize=7.5, bbox=box, zorder=5
    )


def _line(picture: Picture, start: Floats, end: Floats) -> None:
    across, up = np.column_stack([start, end])
    picture.axes.plot(across, up, color="white", lw=2.2, zorder=3, scalex=False, scaley=False)
    picture.axes.plot(across, up, color=INK, lw=0.8, zorder=4, scalex=False, scaley=False)
    picture.axes.plot(*start, ls="", marker="o", ms=2.5, color=INK, zorder=4, scalex=False, scaley=False)


def _middle(mask: Bools) -> tuple[float, float, float]:
    """Return the column and row deepest inside a mask, and how far that is from its border in pixels."""
    if not mask.any():
        return 0.0, 0.0, 0.0
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    part = mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    depth = distance_transform_edt(np.pad(part, 1))[1:-1, 1:-1]
    rows_deep, columns_deep = np.nonzero(depth >= depth.max() - 0.5)  # along a strip all of them: the middle one
    off = np.hypot(rows_deep - rows_deep.mean(), columns_deep - columns_deep.mean())
    row, column = rows_deep[np.argmin(off)], columns_deep[np.argmin(off)]
    return float(columns[0] + column), float(rows[0] + row), float(depth[row, column])
