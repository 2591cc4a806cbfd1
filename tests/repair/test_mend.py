"""Parts of ours, spoiled as files spoil them, come back with their area, and the report names what was done."""

import contextlib

import numpy as np
import pytest
import trimesh
from helpers.damage import (
    SHAPES,
    area,
    areas,
    box,
    codes,
    corners_of,
    flipped,
    halved,
    mend,
    shuffled,
    sound,
    volume,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from geom.errors import PartError
from geom.findings import Severity

NAMES = st.sampled_from([*SHAPES, "box"])
SEEDS = st.integers(0, 10**6)
some = settings(max_examples=12, deadline=None, derandomize=True)


@pytest.mark.parametrize("name", [*SHAPES, "box"])
def test_sound_part_comes_back_unchanged_whatever_the_order_of_faces_and_corners(name: str) -> None:
    corners = shuffled(sound(name), 3)
    mesh = mend(corners, strict=True)
    assert mesh.changes == ()
    assert mesh.bodies == 1
    assert_array_equal(mesh.source, np.arange(len(corners)))
    assert_array_equal(corners_of(mesh), corners)
    assert len(mesh.vertices) == len(np.unique(corners.reshape(-1, 3), axis=0))


@some
@given(name=NAMES, seed=SEEDS, share=st.floats(0.01, 0.99))
def test_flipped_faces_are_turned_back_to_the_sound_part_to_the_face(name: str, seed: int, share: float) -> None:
    corners = sound(name)
    which = np.random.default_rng(seed).random(len(corners)) < share
    mesh = mend(flipped(corners, which))
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    back = corners_of(mesh)
    assert_array_equal(mesh.source, np.arange(len(corners)))
    assert (np.einsum("ij,ij->i", np.cross(back[:, 1] - back[:, 0], back[:, 2] - back[:, 0]), normals) > 0).all()
    assert_allclose(area(back), area(corners), rtol=1e-9, atol=0)
    assert_allclose(volume(back), volume(corners), rtol=1e-9, atol=0)
    told = [change for change in mesh.changes if change.code == "repair-winding"]
    assert [change.area for change in told] == [0.0] * int(0 < which.sum() < len(corners))


@some
@given(name=NAMES, seed=SEEDS, over=st.booleans(), mixed=st.booleans())
def test_faces_given_twice_count_once(name: str, seed: int, over: bool, mixed: bool) -> None:
    rng = np.random.default_rng(seed)
    corners = sound(name)
    given_ = flipped(corners, rng.random(len(corners)) < 0.5) if mixed else corners
    again = given_[rng.integers(0, len(corners), rng.integers(1, 2 * len(corners)))]
    mesh = mend(shuffled(np.concatenate([given_, again[:, ::-1] if over else again]), seed))
    assert_allclose(area(corners_of(mesh)), area(corners), rtol=1e-9, atol=0)
    assert_allclose(volume(corners_of(mesh)), volume(corners), rtol=1e-9, atol=0)
    told = next(change for change in mesh.changes if change.code == "repair-double")
    assert told.faces == len(again)
    assert_allclose(-told.area, area(again), rtol=1e-9, atol=0)


@pytest.mark.parametrize("over", [False, True])
def test_whole_body_given_twice_counts_once(over: bool) -> None:
    corners = sound("link")
    mesh = mend(np.concatenate([corners, corners[:, ::-1] if over else corners]))
    assert_allclose(area(corners_of(mesh)), area(corners), rtol=1e-9, atol=0)
    assert codes(mesh) == ["repair-double"]
    assert mesh.bodies == 1


@some
@given(name=NAMES, seed=SEEDS, number=st.integers(1, 6), fine=st.booleans())
def test_removed_faces_never_give_an_area_off_by_a_thousandth_without_a_word(
    name: str, seed: int, number: int, fine: bool
) -> None:
    corners = halved(sound(name)) if fine else sound(name)
    gone = np.random.default_rng(seed).choice(len(corners), number, replace=False)
    with contextlib.suppress(PartError):  # a refusal is an answer too
        mesh = mend(np.delete(corners, gone, axis=0))
        told = next(change for change in mesh.changes if change.code == "repair-hole-filled")
        assert told.severity is Severity.WARNING
        assert_allclose(told.area, areas(corners_of(mesh))[mesh.source < 0].sum(), rtol=1e-9, atol=0)
        assert_allclose(area(corners_of(mesh)), area(corners), rtol=1e-3, atol=0)


@some
@given(name=NAMES, seed=SEEDS)
def test_cracks_of_a_micrometre_are_closed_and_their_width_is_told(name: str, seed: int) -> None:
    corners = sound(name)
    width = 4e-7 if name in ("washer", "box") else 1e-6  # a washer is 20 mm wide only
    mesh = mend(corners + np.random.default_rng(seed).uniform(-width, width, corners.shape))
    assert_allclose(area(corners_of(mesh)), area(corners), rtol=1e-3, atol=0)
    assert codes(mesh) == ["repair-welded"]
    assert " mm apart joined" in mesh.changes[0].message


@pytest.mark.parametrize("name", ["box", "washer", "channel"])
def test_cracks_of_a_tenth_of_a_millimetre_are_not_closed(name: str) -> None:
    corners = sound(name)
    with pytest.raises(PartError) as caught:
        mend(corners + np.random.default_rng(4).uniform(-1e-4, 1e-4, corners.shape))
    assert caught.value.slug == "part-mesh-open"
    assert 0 < len(caught.value.marks) <= 200


@some
@given(name=NAMES, seed=SEEDS, share=st.floats(0.05, 0.95))
def test_corners_on_a_neighbours_edge_are_mended(name: str, seed: int, share: float) -> None:
    corners = sound(name)
    which = np.random.default_rng(seed).random(len(corners)) < share
    mesh = mend(np.concatenate([corners[~which], halved(corners[which])]))
    assert_allclose(area(corners_of(mesh)), area(corners), rtol=1e-6, atol=0)
    assert_allclose(volume(corners_of(mesh)), volume(corners), rtol=1e-6, atol=0)


@some
@given(name=NAMES, seed=SEEDS, scale=st.sampled_from([1e-2, 0.1, 10.0, 100.0]))
def test_area_of_a_mended_part_keeps_under_turning_moving_and_finer_faces_and_scales(
    name: str, seed: int, scale: float
) -> None:
    rng = np.random.default_rng(seed)
    corners = flipped(sound(name), rng.random(len(sound(name))) < 0.3)
    corners = np.concatenate([corners, corners[:3]])
    whole = area(corners_of(mend(corners)))
    turn = trimesh.transformations.random_rotation_matrix(rng.random(3))[:3, :3]
    moved = corners @ turn.T + rng.uniform(-0.3, 0.3, 3)
    assert_allclose(area(corners_of(mend(moved))), whole, rtol=1e-9, atol=0)
    assert_allclose(area(corners_of(mend(halved(corners)))), whole, rtol=1e-9, atol=0)
    scaled = mend(corners * scale)
    assert_allclose(area(corners_of(scaled)), whole * scale**2, rtol=1e-12, atol=0)


@pytest.mark.parametrize(
    ("code", "spoil"),
    [
        ("repair-winding", lambda c: flipped(c, np.arange(len(c)) == 2)),
        ("repair-double", lambda c: np.concatenate([c, c[:1]])),
        ("repair-hole-filled", lambda c: c[1:]),
        ("part-void", lambda c: np.concatenate([c, 0.5 * c[:, ::-1] + 0.5 * c.mean(axis=(0, 1))])),
    ],
)
def test_strict_refuses_what_else_would_be_mended(code: str, spoil) -> None:  # type: ignore[no-untyped-def]
    corners = spoil(sound("box"))
    assert code in codes(mend(corners))
    with pytest.raises(PartError, match=code) as caught:
        mend(corners, strict=True)
    assert caught.value.slug == "part-mesh-strict"
    assert len(caught.value.marks) == 1


def test_strict_passes_faces_without_area() -> None:
    corners = np.concatenate([sound("box"), np.zeros((2, 3, 3))])
    mesh = mend(corners, strict=True)
    assert codes(mesh) == ["repair-degenerate"]
    assert mesh.changes[0].severity is Severity.NOTE


def test_needles_that_close_the_skin_stay_and_those_that_close_nothing_go() -> None:
    corners = box()
    a, b, c = corners[0]
    middle = (a + b) / 2
    beside = [[a, middle, c], [middle, b, c]]
    needle = np.array([[a, b, middle]])
    closing = mend(np.concatenate([corners[1:], beside, needle]))
    assert codes(closing) == []
    assert len(closing.faces) == 14
    hanging = mend(np.concatenate([corners, needle]))
    assert codes(hanging) == ["repair-degenerate"]
    assert len(hanging.faces) == 12
    assert_allclose(area(corners_of(closing)), area(corners), rtol=1e-12, atol=0)


def test_line_and_nothing_are_refused() -> None:
    line = np.array([[(0, 0, 0), (1, 0, 0), (2, 0, 0)], [(0, 0, 0), (2, 0, 0), (1, 0, 0)]]) * 1e-2
    for corners in (line, np.zeros((3, 3, 3))):
        with pytest.raises(PartError, match="no face of the mesh has an area") as caught:
            mend(corners)
        assert caught.value.slug == "part-mesh-flat"


def test_body_through_itself_is_refused_with_its_faces() -> None:
    outline = np.array([[0, 0], [0.04, 0.03], [0.04, 0], [0, 0.02]])  # two of its sides cross
    low, high = np.insert(outline, 2, 0.0, axis=1), np.insert(outline, 2, 0.01, axis=1)
    sides = []
    for k in range(4):
        a, b, c, d = low[k], low[(k + 1) % 4], high[(k + 1) % 4], high[k]
        sides += [[a, b, c], [a, c, d]]
    lids = [
        [high[0], high[1], high[2]],
        [high[0], high[2], high[3]],
        [low[2], low[1], low[0]],
        [low[3], low[2], low[0]],
    ]
    with pytest.raises(PartError) as caught:
        mend(np.array(sides + lids))
    assert caught.value.slug == "part-mesh-crossing"
    assert "first face" in caught.value.message
    assert len(caught.value.marks) > 0
