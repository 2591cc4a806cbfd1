"""Overlapping boxes with flush faces and shared edges and corners: the skin is what a count of squares says."""

import numpy as np
import pytest
from helpers.damage import area, box, codes, corners_of, flipped, mend, shuffled, volume
from scipy import ndimage

from geom.surface.soundness import edge_report

CM = 0.01
Boxes = list[tuple[np.ndarray, np.ndarray]]


def drawn(boxes: Boxes, seed: int = 0) -> np.ndarray:
    """Faces (m, 3, 3) [m] of boxes with whole corners in cm, cut along the one diagonal or the other."""
    flips = np.random.default_rng(seed).integers(0, 2, (len(boxes), 3)) * 2 - 1
    out = []
    for (low, high), flip in zip(boxes, flips, strict=True):
        size = CM * (high - low)
        corners = box(tuple(size), tuple(-size / 2)) * flip
        corners = corners[:, :: int(np.prod(flip))] + CM * (low + high) / 2
        out.append(np.round(corners / CM) * CM)
    return np.concatenate(out)


def random_boxes(seed: int) -> Boxes:
    rng = np.random.default_rng(seed)
    number, side = int(rng.integers(2, 5)), int(rng.integers(2, 5))
    ends = rng.integers(0, side, (number, 2, 3))
    return [(pair.min(axis=0), pair.max(axis=0) + 1) for pair in ends]


def counted(boxes: Boxes) -> list[tuple[int, int]]:
    """Area and volume on a grid, sealed voids filled; two where a void meets the outside along an edge only."""
    grid = np.zeros((6, 6, 6), dtype=np.bool_)
    for (x, y, z), (i, j, k) in boxes:
        grid[x:i, y:j, z:k] = True
    out = []
    for links in (1, 3):
        filled = ndimage.binary_fill_holes(grid, ndimage.generate_binary_structure(3, links))
        padded = np.pad(filled, 1).astype(np.int64)
        out.append((sum(int(np.abs(np.diff(padded, axis=k)).sum()) for k in range(3)), int(filled.sum())))
    return out


def assert_counted(corners: np.ndarray, boxes: Boxes) -> None:
    mesh = mend(corners)
    size, content = area(corners_of(mesh)) / CM**2, volume(corners_of(mesh)) / CM**3
    assert min(max(abs(size / a - 1), abs(content / v - 1)) for a, v in counted(boxes)) < 1e-9
    assert edge_report(np.array(mesh.faces)).is_closed


@pytest.mark.parametrize("first", range(0, 120, 20))
def test_random_boxes_on_a_small_grid_have_the_area_of_their_union(first: int) -> None:
    for seed in range(first, first + 20):
        boxes = random_boxes(seed)
        assert_counted(drawn(boxes, seed), boxes)


@pytest.mark.parametrize("first", range(0, 60, 20))
def test_random_boxes_with_some_faces_turned_have_the_same_union(first: int) -> None:
    for seed in range(first, first + 20):
        boxes = random_boxes(seed)
        if any(((a > c) & (b < d)).all() for a, b in boxes for c, d in boxes):
            continue  # in faces wound both ways that is a void
        corners = drawn(boxes, seed)
        over = np.random.default_rng(seed).random(len(corners)) < 0.3
        assert_counted(flipped(corners, over), boxes)


def test_two_boxes_of_an_angle_that_share_an_edge_are_joined() -> None:
    boxes = [(np.array([0, 0, 0]), np.array([6, 4, 1])), (np.array([0, 0, 0]), np.array([1, 4, 4]))]
    mesh = mend(drawn(boxes))
    assert codes(mesh) == ["repair-united"]
    assert mesh.bodies == 1
    assert area(corners_of(mesh)) / CM**2 == pytest.approx(counted(boxes)[0][0], rel=1e-12)


def test_union_that_rounding_would_fold_onto_itself_is_joined_in_another_order() -> None:
    """The modeller, given these in this order, leaves two faces of 0.46 cm² on each other, a step of rounding apart."""
    ends = [((3, 2, 0), (4, 4, 4)), ((0, 1, 1), (3, 3, 3)), ((0, 0, 2), (4, 2, 3)), ((1, 0, 2), (3, 2, 4))]
    boxes = [(np.array(low), np.array(high)) for low, high in ends]
    corners = [box(tuple(CM * (high - low)), tuple(CM * low)) for low, high in boxes]
    for seed in (226, 227, 228):
        assert_counted(shuffled(np.round(np.concatenate(corners) / CM) * CM, seed), boxes)
