"""Parts given by dimensions, written as STL, turned any way and read again, give back their own features.

Every kind must come back as itself, as often as it was, with one exception: all sides of an outline are edges to the
builder, while a mesh that is longer than wide has ends.
"""

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from helpers.typed_parts import MM, TYPED, turn, written
from numpy.testing import assert_allclose

from geom.feature import Feature, Kind
from geom.part.build import build_part
from geom.part.files import read_mesh
from geom.part.part import Part
from geom.part.shapes import Angle, Channel, Offset, Outline

SEEDS = {name: seed for seed, name in enumerate(TYPED)}


def kind_of(feature: Feature, part: Part) -> Kind:
    is_outline = part.title.startswith("outline")
    return Kind.EDGE if is_outline and feature.kind is Kind.END else feature.kind


def counts(part: Part, like: Part) -> Counter[Kind]:
    return Counter(kind_of(feature, like) for feature in part.features)


def sizes(part: Part, kind: Kind, what: str) -> list[float]:
    return sorted(getattr(feature, what) for feature in part.features if feature.kind is kind)


@pytest.fixture(scope="module")
def pairs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Part, Part]]:
    """Each part, and what is read of its file."""
    folder = tmp_path_factory.mktemp("typed")
    found = {}
    for name, shape in TYPED.items():
        part = build_part(shape)
        path: Path = written(part.surface, turn(SEEDS[name]), folder)
        found[name] = part, read_mesh(path, MM)
    return found


def test_there_are_parts_enough_and_of_every_shape() -> None:
    assert len(TYPED) >= 30
    assert len({type(shape) for shape in TYPED.values()}) == 8


@pytest.mark.parametrize("name", TYPED)
def test_every_feature_comes_back_as_its_own_kind(name: str, pairs: dict[str, tuple[Part, Part]]) -> None:
    part, read = pairs[name]
    assert counts(read, part) == counts(part, part), [feature.name for feature in read.features]


@pytest.mark.parametrize("name", TYPED)
def test_widths_and_depths_come_back_within_two_per_cent(name: str, pairs: dict[str, tuple[Part, Part]]) -> None:
    part, read = pairs[name]
    for kind in (Kind.BORE, Kind.SLOT, Kind.INSIDE):
        for what in ("width", "depth"):
            assert_allclose(sizes(read, kind, what), sizes(part, kind, what), rtol=0.02, atol=0)


@pytest.mark.parametrize("name", [n for n, s in TYPED.items() if isinstance(s, (Angle, Channel, Offset))])
def test_bends_have_their_radii(name: str, pairs: dict[str, tuple[Part, Part]]) -> None:
    shape, (_, read) = TYPED[name], pairs[name]
    assert isinstance(shape, (Angle, Channel, Offset))
    inside, outside = (sizes(read, kind, "radius") for kind in (Kind.BEND_INSIDE, Kind.BEND_OUTSIDE))
    if inside:
        assert_allclose(inside, shape.inside_radius, rtol=0.02, atol=0)
    assert_allclose(outside, shape.inside_radius + shape.thickness, rtol=0.02, atol=0)
    across = next(f.axis for f in read.features if f.kind is Kind.BEND_OUTSIDE)
    assert across is not None
    wanted = turn(SEEDS[name]) @ ([1, 0, 0] if isinstance(shape, Channel) else [0, 1, 0])
    assert_allclose(abs(np.dot(across, wanted)), 1, rtol=1e-5, atol=0)


@pytest.mark.parametrize("name", TYPED)
def test_no_area_is_lost_and_each_kind_has_its_share(name: str, pairs: dict[str, tuple[Part, Part]]) -> None:
    part, read = pairs[name]
    assert_allclose(sum(f.area for f in read.features), part.surface.area, rtol=1e-6, atol=0)
    assert_allclose(read.area, part.surface.area, rtol=1e-6, atol=0)
    own = np.bincount(read.surface.tag, read.surface.areas, len(read.features))
    assert_allclose([f.area for f in read.features], own, rtol=1e-9, atol=0)
    # where a bend goes straight over into its opposite, the two flats that meet lie in one plane
    share = 0.05 if name == "offset bar of two bends in one" else 5e-3
    for kind in counts(part, part):
        area = sum(f.area for f in read.features if kind_of(f, part) is kind)
        assert_allclose(area, sum(f.area for f in part.features if f.kind is kind), rtol=share, atol=0)


@pytest.mark.parametrize("name", TYPED)
def test_names_are_unlike_and_short(name: str, pairs: dict[str, tuple[Part, Part]]) -> None:
    _, read = pairs[name]
    names = [feature.name for feature in read.features]
    assert len(set(names)) == len(names)
    assert max(map(len, names)) <= 60
    assert all(feature.middle is not None for feature in read.features)


@pytest.mark.parametrize("name", [n for n, s in TYPED.items() if not isinstance(s, Outline)])
def test_the_least_size_is_that_of_the_dimensions(name: str, pairs: dict[str, tuple[Part, Part]]) -> None:
    part, read = pairs[name]
    assert_allclose(read.smallest, part.smallest, rtol=0.02, atol=0)
