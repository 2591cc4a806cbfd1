"""Pictures of a part by itself: what is seen, what is numbered, where the eye and the liquid are."""

from itertools import combinations

import numpy as np
import pytest
from helpers.hollows import block, cup, shifted, upside_down, without
from matplotlib.figure import Figure
from matplotlib.text import Text

from geom.arrays import Floats
from geom.feature import Feature, Kind
from geom.report.painter import tilted_view
from geom.report.partpicture import part_picture
from geom.report.partviews import WATER_COLOUR, Waterline, eye_words, opposite, two_views, with_water
from geom.surface.solid import box
from geom.surface.surface import Surface


def by_side(surface: Surface) -> Surface:
    """Return a box with a tag for each of its six sides."""
    sides = np.round(surface.normals).astype(np.int64) @ np.array([1, 2, 3])
    return Surface(surface.vertices, surface.faces, np.searchsorted(np.unique(sides), sides))


def featured(surface: Surface) -> list[Feature]:
    count = int(surface.tag.max()) + 1
    areas = np.bincount(surface.tag, surface.areas, count)
    return [Feature(f"piece {k}", Kind.FACE, float(area), 0.0, 0.0) for k, area in enumerate(areas)]


def written(figure: Figure) -> list[list[Text]]:
    """Return the numbers written in each of the two views."""
    return [[text for text in axes.texts if text.get_text().isdigit()] for axes in figure.axes]


def numbers(figure: Figure) -> set[int]:
    return {int(text.get_text()) for texts in written(figure) for text in texts}


def rows(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.texts]


@pytest.mark.parametrize("size", [(60, 40, 20), (20, 60, 40), (40, 20, 60), (5, 60, 60), (90, 4, 4)])
def test_every_outside_face_has_its_number_in_one_of_the_two_views(size: tuple[float, float, float]) -> None:
    plate = by_side(box((0, 0, 0), tuple(1e-3 * v for v in size)))
    figure = part_picture(featured(plate), plate)
    assert numbers(figure) == {1, 2, 3, 4, 5, 6}
    assert not any("not seen" in row for row in rows(figure))


def test_a_cup_open_downwards_shows_its_hollow_from_below() -> None:
    down = upside_down(cup(40.0, 25.0))
    figure = part_picture(featured(down), down)
    hollow = int(down.tag.max()) + 1
    first, second = ({text.get_text() for text in texts} for texts in written(figure))
    assert str(hollow) not in first
    assert str(hollow) in second


def test_what_no_view_shows_is_listed_as_not_seen() -> None:
    hidden = without(block((0, 0, 0), (20, 20, 20)), block((5, 5, 5), (15, 15, 15), 1))
    figure = part_picture(featured(hidden), hidden)
    assert numbers(figure) == {1}
    assert (
        [row for row in rows(figure) if "not seen" in row] == [row for row in rows(figure) if "piece 1 " in row] != []
    )


def test_numbers_keep_apart_however_many_there_are() -> None:
    """Thirty pins beside one another, each a feature narrower than a number."""
    pins = [block((3 * k, 0, 0), (3 * k + 1, 1, 20), k) for k in range(30)]
    together = Surface(
        np.concatenate([pin.vertices for pin in pins]),
        np.concatenate([pin.faces + 8 * k for k, pin in enumerate(pins)]),
        np.repeat(np.arange(30), 12),
    )
    figure = part_picture(featured(together), together)
    for texts in written(figure):
        boxes = [text.get_window_extent() for text in texts]
        assert not [1 for one, two in combinations(boxes, 2) if one.overlaps(two)]
    assert numbers(figure) == set(range(1, 31))


def test_the_second_eye_is_opposite_the_first_and_up_stays_up() -> None:
    view = tilted_view(np.array([1.0, 0.0, 0.0]))
    other = opposite(view)
    np.testing.assert_allclose(other.axes[2], -view.axes[2], rtol=1e-12, atol=0)
    np.testing.assert_allclose(np.linalg.det(other.axes), 1.0, rtol=1e-12, atol=0)
    assert view.axes[1][2] > 0.5
    assert other.axes[1][2] > 0.5
    assert eye_words(view) == "+x, a little from +z and +y"
    assert eye_words(other) == "-x, a little from -z and -y"


def test_what_is_above_the_liquid_is_paler_with_a_line_between() -> None:
    """A block turned in its file: up is its y; a third of it is in the liquid."""
    solid = shifted(block((0, 0, 0), (20, 30, 20)), (5, 7, 9))
    _, pictures = two_views(solid, 0.5)
    level = 1e-3 * (7 + 10)
    raster = pictures[0].raster
    shape = (raster.face.shape[0] // 2, raster.face.shape[1] // 2, 4)
    image = with_water(np.zeros(shape), raster, Waterline(np.array([0.0, 1.0, 0.0]), level))
    blue = np.array([int(WATER_COLOUR[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    assert int(np.all(np.abs(image[..., :3] - blue) < 1e-9, axis=2).sum()) > 100
    for height, paler in ((level - 2e-3, False), (level + 2e-3, True)):
        corner = np.array([[25e-3, height, 29e-3]]) if raster.view.axes[2][0] > 0 else np.array([[5e-3, height, 29e-3]])
        inward = corner + (np.array([[15e-3, height, 19e-3]]) - corner) * 1e-2
        column, row = raster.place(inward)[0].astype(int)
        assert bool(_patch(image, column, row)[..., :3].max() > 0.5) is paler


def _patch(image: Floats, column: int, row: int) -> Floats:
    return image[row - 1 : row + 2, column - 1 : column + 2]


def test_a_level_face_in_the_liquid_surface_has_no_specks() -> None:
    solid = shifted(block((0, 0, 0), (20, 30, 20)), (0.1, 0.7, 0.3))
    _, pictures = two_views(solid, 0.5)
    raster = pictures[0].raster
    shape = (raster.face.shape[0] // 2, raster.face.shape[1] // 2, 4)
    top = float(solid.bounds[1, 2])
    assert with_water(np.zeros(shape), raster, Waterline(np.array([0.0, 0.0, 1.0]), top)).max() == 0.0
