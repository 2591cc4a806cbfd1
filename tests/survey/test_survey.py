"""What is told of a part without a solve: trapped air against the wetted area, the tilt to type in, what is wet of what counts."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from helpers.cells import MM
from helpers.hollows import features, tray, upside_down
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.arrays import Floats
from geom.part.build import build_part
from geom.part.masking import masked
from geom.part.masks import Contact
from geom.part.part import Part
from geom.part.shapes import Bar, Hole
from geom.report.survey import survey_document, survey_tree
from geom.surface.solid import box
from geom.surface.surface import Surface
from geom.surface.turning import rotation
from geom.survey import Survey, surveyed
from geom.units import parse


def part_of(solid: Surface) -> Part:
    """A solid as a part: one feature for each tag, with the area of its faces."""
    areas = np.bincount(solid.tag, solid.areas)
    named = tuple(replace(f, area=float(a)) for f, a in zip(features(solid), areas, strict=True))
    return replace(small_plan().cell.part, surface=solid, features=named, area=float(areas.sum()), exact=False)


def downward_tray() -> Part:
    """Mouth down, 40 x 24 x 8 mm inside: all of its inside, tag 1, is against air."""
    return part_of(upside_down(tray(40, 24, 8)))


def rows_of(survey: Survey) -> dict[str, str]:
    size = next(section for section in survey_document(survey).sections if section.title == "Size")
    return {row.label: row.value for row in size.rows}


def finding_of(survey: Survey, code: str) -> str:
    (message,) = [finding.message for finding in survey.findings if finding.code == code]
    return message


def test_what_lies_under_trapped_air_is_told_wherever_it_is_counted():
    survey = surveyed(downward_tray())
    inside = (40 * 24 + 2 * (40 + 24) * 8) * MM**2
    assert_allclose(survey.under_air, [0.0, inside], rtol=5e-3, atol=0)
    assert_allclose(survey.wetted_area, survey.part.area, rtol=1e-12, atol=0)
    assert rows_of(survey)["of it under trapped air, which stays bare"].startswith("19")
    (table,) = [section for section in survey_document(survey).sections if section.title == "Features"]
    assert [line[0] for line in table.table.lines] == ["piece 0", "piece 1 !"]
    assert re.search(r"under trapped air, which stays bare: 19\d\d mm² of piece 1\.", table.sentences[0])
    assert "of piece 1 (still counted in the wetted area)" in finding_of(survey, "trapped-air")
    tree = survey_tree(survey)
    assert_allclose(tree["under_air_mm2"], 1e6 * inside, rtol=5e-3, atol=0)
    assert [feature["under_air_mm2"] > 0 for feature in tree["features"]] == [False, True]


def test_without_trapped_air_nothing_is_marked():
    survey = surveyed(part_of(tray(40, 24, 8)))
    assert not survey.under_air.any()
    assert not any("trapped" in label for label in rows_of(survey))
    (table,) = [section for section in survey_document(survey).sections if section.title == "Features"]
    assert table.sentences == ()


def typed_turn(message: str) -> Floats:
    """The turn that a finding tells to type, as a rotation."""
    (inside,) = re.findall(r"turn = \[([^]]*)\] in \[pose\]", message)
    x, y, z = (parse(word.strip().strip('"'), "angle") for word in inside.split(","))
    return rotation((x, y, z))


@pytest.mark.parametrize(
    "degrees", [(0, 0, 0), (0, 0, 90), (0, 0, 210), (8, 0, 90), (-5, 10, 45)], ids=lambda d: "/".join(map(str, d))
)
def test_the_turn_told_frees_the_air_once_it_is_typed(degrees: tuple[float, float, float]):
    part = part_of(upside_down(tray(60, 40, 2, wall=1)))
    pose = rotation(tuple(math.radians(v) for v in degrees))
    before = surveyed(part, rotation=pose)
    assert before.hanging.tilt is not None
    after = surveyed(part, rotation=typed_turn(finding_of(before, "trapped-air")))
    assert before.hanging.trapped_volume > 8e-8
    assert after.hanging.trapped_volume <= max(0.03 * before.hanging.trapped_volume, 10e-9)


def test_of_a_part_half_out_only_what_is_wet_counts_as_significant():
    """A cube of 40 mm: the ball touches all of it."""
    cube = part_of(box((0, 0, 0), (40 * MM, 40 * MM, 40 * MM)))
    whole, half = surveyed(cube), surveyed(cube, immersed=10 * MM)
    assert_allclose(whole.wetted_touchable, whole.touchable, rtol=1e-12, atol=0)
    assert_allclose(half.wetted_area, (1600 + 4 * 400) * MM**2, rtol=1e-12, atol=0)
    assert_allclose(half.wetted_touchable.sum(), half.wetted_area, rtol=1e-9, atol=0)
    assert_allclose(half.touchable.sum(), whole.touchable.sum(), rtol=1e-9, atol=0)
    assert rows_of(half)["wetted significant surface (a 20 mm ball can touch it)"].startswith("3200 mm²")
    assert rows_of(whole)["significant surface (a 20 mm ball can touch it)"].startswith("9600 mm²")
    assert_allclose(survey_tree(half)["wetted_touchable_area_mm2"], 3200, rtol=1e-9, atol=0)
    assert_allclose(survey_tree(half)["touchable_area_mm2"], 9600, rtol=1e-9, atol=0)


@pytest.mark.parametrize("immersed", [76.3, 80, 90])
def test_wet_and_significant_is_cut_place_by_place(immersed: float):
    """A link hung by its end, the upper one of its holes 8 mm wide, 80 mm above the lower end: the ball is not in it."""
    part = build_part(Bar(100 * MM, 20 * MM, 3 * MM, holes=(Hole(8 * MM, (-30 * MM, 0.0)),)))
    survey = surveyed(part, rotation=rotation((0.0, math.pi / 2, 0.0)), immersed=immersed * MM)
    is_bore = np.array([feature.kind == "bore" for feature in part.features])
    assert survey.wetted[is_bore].sum() > 0
    assert survey.wetted_touchable[is_bore].sum() == 0
    assert_allclose(survey.wetted_touchable[~is_bore], survey.wetted[~is_bore], rtol=0.02, atol=0)
    assert "not significant" in next(
        line[3]
        for section in survey_document(survey).sections
        if section.title == "Features"
        for line in section.table.lines
        if line[1] == "bore"
    )


def test_a_contact_above_the_liquid_keeps_nothing_bare():
    """The bar hangs by its end, a contact of 4 mm on a face 10 mm under its top."""
    link = build_part(Bar(100 * MM, 20 * MM, 3 * MM))
    part = masked(link, [Contact((-40 * MM, 0.0, 1.5 * MM), 4 * MM)])
    turn = rotation((0.0, math.pi / 2, 0.0))
    assert "12.6 mm² under the contact on face A (+z) stay bare" in finding_of(surveyed(part), "contact-stays-bare")
    out = surveyed(part, rotation=turn, immersed=80 * MM)
    assert "contact-stays-bare" not in [finding.code for finding in out.findings]
    cut = surveyed(part, rotation=turn, immersed=90 * MM)
    assert "6.28 mm² under the contact on face A (+z) stay bare, the rest" in finding_of(cut, "contact-stays-bare")
