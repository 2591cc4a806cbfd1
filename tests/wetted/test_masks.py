"""Stop-off, contacts and plugs: areas by closed form, names that a person finds, refusals that say where."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.errors import PartError
from geom.feature import Feature
from geom.part.build import build_part
from geom.part.contacts import contact_findings
from geom.part.masking import masked
from geom.part.masks import Contact, Mask, Plug, StopOff, StopOffBox, StopOffFacing, StopOffNear
from geom.part.part import Part
from geom.part.rack import Rack, racked
from geom.part.shapes import Bar, Hole, Rod, Tube
from geom.surface.solid import to_manifold

MM = 1e-3
FACETED = 1e-3  # curved faces are flats


def mm(*values: float) -> tuple[float, float, float]:
    x, y, z = (v * MM for v in values)
    return x, y, z


def bar() -> Part:
    return build_part(Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0)),)))


def plain() -> Part:
    return build_part(Bar(100 * MM, 20 * MM, 3 * MM))


def rod() -> Part:
    return build_part(Rod(50 * MM, 10 * MM))


def tube(**more: object) -> Part:
    return build_part(Tube(50 * MM, 22 * MM, 3 * MM, **more))  # type: ignore[arg-type]


def named(part: Part) -> dict[str, Feature]:
    return {feature.name: feature for feature in part.features}


def same_skin(part: Part, before: Part) -> None:
    """The part is closed, its pieces add up to what it was, and each tag has its faces."""
    to_manifold(part.surface)
    assert_allclose(part.area + part.bare_area, before.area, rtol=1e-9, atol=0)
    assert_allclose(part.surface.area, before.surface.area, rtol=1e-9, atol=0)
    assert_allclose(part.surface.volume, before.surface.volume, rtol=1e-9, atol=0)
    assert set(part.surface.tag.tolist()) == set(range(len(part.features)))
    assert len({feature.name for feature in part.features}) == len(part.features)


def test_a_box_takes_what_lies_inside_it():
    part = masked(plain(), [StopOffBox(mm(20, -50, -50), mm(60, 50, 50))])
    same_skin(part, plain())
    assert_allclose(part.bare_area, (2 * 30 * 20 + 2 * 30 * 3 + 20 * 3) * MM**2, rtol=1e-12, atol=0)
    assert named(part)["end +x, stopped off"].bare == "stop-off"
    assert "end +x" not in named(part)
    assert_allclose(named(part)["face A (+z)"].area, 70 * 20 * MM**2, rtol=1e-12, atol=0)


def test_a_box_that_just_reaches_a_face_takes_its_piece_of_that_face_alone():
    part = masked(plain(), [StopOffBox(mm(10, -5, 1.5), mm(30, 5, 9))])
    same_skin(part, plain())
    assert_allclose(part.bare_area, 20 * 10 * MM**2, rtol=1e-12, atol=0)


def test_a_whole_feature_keeps_its_area_by_formula():
    part = masked(bar(), [StopOff(("bore 1", "face B (-z)"))])
    same_skin(part, bar())
    found = named(part)
    assert found["bore 1 (8.0 mm), stopped off"].area == named(bar())["bore 1 (8.0 mm)"].area
    assert found["face B (-z), stopped off"].area == named(bar())["face B (-z)"].area
    assert found["face A (+z)"].area == named(bar())["face A (+z)"].area


def test_a_kind_takes_every_feature_of_it():
    part = masked(plain(), [StopOff(("end",))])
    assert_allclose(part.bare_area, 2 * 20 * 3 * MM**2, rtol=1e-12, atol=0)


def test_a_ball_takes_a_disc_of_a_flat_face():
    part = masked(plain(), [StopOffNear(mm(20, 0, 1.5), 2.5 * MM)])
    same_skin(part, plain())
    assert_allclose(part.bare_area, math.pi * 2.5**2 * MM**2, rtol=2e-4, atol=0)


def test_a_ball_reaches_through_a_sheet_and_a_contact_does_not():
    ball = masked(plain(), [StopOffNear(mm(20, 0, 1.5), 5 * MM)])
    spot = masked(plain(), [Contact(mm(20, 0, 1.5), 10 * MM)])
    assert_allclose(spot.bare_area, math.pi * 25 * MM**2, rtol=4e-4, atol=0)
    assert_allclose(ball.bare_area, math.pi * (25 + 25 - 9) * MM**2, rtol=4e-4, atol=0)
    assert [feature.name for feature in spot.features if feature.bare] == ["face A (+z), contact"]
    whole = np.array([feature.area for feature in spot.features])
    (finding,) = contact_findings(spot.features, whole)
    assert finding.code == "contact-stays-bare"
    assert finding.message.startswith("78.5 mm² under the contact on face A (+z) stay bare; ")


def test_of_a_contact_above_the_liquid_nothing_is_told():
    spot = masked(plain(), [Contact(mm(20, 0, 1.5), 10 * MM)])
    bare = np.array([feature.bare == "contact" for feature in spot.features])
    whole = np.array([feature.area for feature in spot.features])
    assert contact_findings(spot.features, np.where(bare, 0.0, whole)) == []
    (half,) = contact_findings(spot.features, np.where(bare, 0.5, 1.0) * whole)
    assert half.message.startswith("39.3 mm² under the contact on face A (+z) stay bare, the rest of it hangs above")


def test_a_contact_lies_round_the_nearest_place_of_the_surface():
    on, off = (masked(plain(), [Contact(mm(20, 3, z), 4 * MM)]) for z in (1.5, 2.9))
    assert_allclose(off.bare_area, on.bare_area, rtol=1e-9, atol=0)


@pytest.mark.parametrize("aslant", [20.0, 45.0, 70.0])
def test_a_direction_takes_the_arc_of_a_rod_that_looks_there(aslant: float):
    part = masked(rod(), [StopOffFacing((0, 0.6, 0.8), math.radians(aslant))])
    same_skin(part, rod())
    flat = math.pi * 10 * 50 / 96  # 96 flats: each is in or out as a whole
    assert_allclose(part.bare_area / MM**2, math.radians(2 * aslant) * 5 * 50, rtol=0, atol=1.01 * flat)


def test_a_direction_takes_flat_faces_whole():
    part = masked(bar(), [StopOffFacing((0, 0, 1), math.radians(10))])
    assert [feature.name for feature in part.features if feature.bare] == ["face A (+z), stopped off"]


def test_where_masks_overlap_the_first_holds_and_nothing_is_counted_twice():
    masks: list[Mask] = [Contact(mm(0, 0, 1.5), 4 * MM), StopOff(("face A (+z)",)), StopOffNear(mm(0, 0, 1.5), 6 * MM)]
    part = masked(plain(), masks)
    same_skin(part, plain())
    found = named(part)
    assert_allclose(found["face A (+z), contact"].area, math.pi * 4 * MM**2, rtol=4e-4, atol=0)
    assert_allclose(
        found["face A (+z), contact"].area + found["face A (+z), stopped off"].area, 100 * 20 * MM**2, rtol=1e-9, atol=0
    )


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.tuples(st.floats(-20, 40), st.floats(-11.9, 5), st.floats(-3, 1)),
    st.tuples(st.floats(2, 60), st.floats(2, 20), st.floats(0.3, 4)),
    st.tuples(st.floats(-50, 50), st.floats(-10, 10)),
    st.floats(0.5, 9),
)
def test_plated_and_bare_make_the_whole(low, size, at, diameter) -> None:  # type: ignore[no-untyped-def]
    low = (*low[:2], min(low[2], 1.5 - 0.01))
    high = (low[0] + size[0], low[1] + size[1], max(low[2] + size[2], 1.51))  # the upper face passes through the box
    masks: list[Mask] = [Contact(mm(*at, 1.5), diameter * MM), StopOff(("end",)), StopOffBox(mm(*low), mm(*high))]
    if math.hypot(at[0] + 30, at[1]) < 4 - 0.4 * diameter:
        return  # amid the bore no metal is near enough
    same_skin(masked(bar(), masks), bar())


def test_a_plugged_tube_has_the_area_of_its_outside_and_rings():
    part = masked(tube(), [Plug("inside")])
    to_manifold(part.surface)
    assert_allclose(part.area, math.pi * (22 * 50 + 2 * (22**2 - 16**2) / 4) * MM**2, rtol=1e-12, atol=0)
    assert_allclose(part.bare_area, 2 * math.pi * 8**2 * MM**2, rtol=FACETED, atol=0)
    assert_allclose(part.volume, math.pi * 11**2 * 50 * MM**3, rtol=FACETED, atol=0)
    assert_allclose(part.surface.volume, part.volume, rtol=FACETED, atol=0)
    assert [feature.name for feature in part.features if feature.bare] == ["inside, plug 1", "inside, plug 2"]
    assert all(feature.bare in ("", "plug") for feature in part.features)


def test_a_plugged_flattened_tube_is_closed_at_its_cross_holes_too():
    part = masked(tube(flattened=10 * MM, holes=(Hole(4 * MM, (0, 0)),)), [Plug("inside")])
    to_manifold(part.surface)
    assert sum(feature.bare == "plug" for feature in part.features) == 4


def test_a_plugged_bore_is_two_discs():
    part = masked(bar(), [Plug("bore 1")])
    to_manifold(part.surface)
    assert_allclose(part.area, bar().area - math.pi * 8 * 3 * MM**2, rtol=1e-12, atol=0)
    assert_allclose(part.bare_area, 2 * math.pi * 16 * MM**2, rtol=FACETED, atol=0)
    assert_allclose(part.surface.volume, 100 * 20 * 3 * MM**3, rtol=1e-9, atol=0)


def test_each_copy_on_a_rack_is_masked():
    one = masked(bar(), [StopOff(("face A (+z)",))])
    both = racked(one, Rack((1, 2, 1), (0.0, 40 * MM, 0.0)), np.eye(3))
    assert_allclose(both.area, 2 * one.area, rtol=1e-12, atol=0)
    assert_allclose(both.bare_area, 2 * one.bare_area, rtol=1e-12, atol=0)
    assert "face A (+z), stopped off, part 2" in named(both)


def test_no_mask_changes_nothing():
    part = bar()
    assert masked(part, []) is part


@pytest.mark.parametrize(
    ("mask", "slug", "says"),
    [
        (StopOffBox(mm(60, 0, -1), mm(70, 5, 1)), "mask-touches-nothing", "end +x, 15 mm away"),
        (StopOffNear(mm(0, 0, 10), 3 * MM), "mask-touches-nothing", "8.5 mm away"),
        (Contact(mm(0, 0, 10), 3 * MM), "mask-touches-nothing", "face A (+z)"),
        (StopOffFacing((1, 1, 1), 0.1), "mask-touches-nothing", "within 6°"),
        (StopOff(("face C",)), "feature-unknown", 'nearest: "face'),
        (Plug("boar 1"), "feature-unknown", 'nearest: "bore 1'),
        (StopOffNear(mm(0, 0, 0), 1.0), "everything-masked", "nothing is left"),
    ],
)
def test_a_mask_that_cannot_be_is_refused_with_its_place(mask: Mask, slug: str, says: str):
    with pytest.raises(PartError) as refusal:
        masked(bar(), [mask])
    assert refusal.value.slug == slug
    assert says in str(refusal.value)
    assert refusal.value.where
