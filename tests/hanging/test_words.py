"""Findings, report and JSON of what a part holds."""

from dataclasses import replace

import pytest
from helpers.fake_plan import holding
from helpers.hollows import features, held, tray, turned, upside_down
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.advice.copies import over_copies
from geom.advice.features import with_air
from geom.advice.words import air_advice, recess_advice
from geom.cell.bodies import part_solid
from geom.cell.cell import Cell
from geom.findings import Severity
from geom.hanging.hanging import Hanging, hanging_of, hung
from geom.hanging.words import hanging_findings, millilitres
from geom.report.content import document
from geom.report.hanging import hanging_section, hanging_tree
from geom.report.jsonfile import plan_tree

NOTHING = Hanging((), (), (), (), None, 1e-4)


def hanging() -> Hanging:
    found = holding().hanging
    assert found is not None
    return found


def test_nothing_held_finds_nothing():
    assert hanging_findings(NOTHING, 1e-2) == []


def test_air_bath_and_hydrogen_each_have_their_finding():
    found = {f.code: f for f in hanging_findings(hanging(), 1e-2)}
    assert list(found) == ["trapped-air", "narrow-way-out", "bath-carried-out", "narrow-blind-hole", "level-underside"]
    assert found["trapped-air"].severity == Severity.WARNING
    assert {f.severity for code, f in found.items() if code != "trapped-air"} == {Severity.NOTE}


def test_trapped_air_tells_volume_area_feature_and_tilt():
    found = hanging()
    (finding,) = [f for f in hanging_findings(found, 1e-2) if f.code == "trapped-air"]
    name = found.trapped[0].features[0][0]
    for words in (
        "about 45 mL of air",
        f"6000 mm² of {name}",
        "tilting it 25° about an axis between x and y",
        "+x -y side up",
    ):
        assert words in finding.message
    assert 'turn = ["28.6 deg", "0 deg", "85.9 deg"] in [pose]' in finding.message
    assert "still counted in the wetted area" in finding.message


def test_bath_that_the_tilt_does_not_free_asks_for_a_drain_hole():
    (finding,) = [f for f in hanging_findings(hanging(), 1e-2) if f.code == "bath-carried-out"]
    assert "about 2 mL of bath" in finding.message
    assert "a drain hole at the bottom" in finding.message


@pytest.mark.parametrize(("area", "severity"), [(6.5e-3, Severity.NOTE), (5.5e-3, Severity.WARNING)])
def test_much_bath_for_the_area_is_a_warning(area: float, severity: Severity):
    """0.33 L/m² and over, as handbooks give for cup-shaped work (after Soderberg, from memory): 2 mL on 61 cm²."""
    (finding,) = [f for f in hanging_findings(hanging(), area) if f.code == "bath-carried-out"]
    assert finding.severity == severity


def test_without_a_tilt_that_helps_a_vent_hole_is_named():
    (finding,) = hanging_findings(replace(NOTHING, trapped=hanging().trapped[:1]), 1e-2)
    assert "no tilt up to 45° frees the air" in finding.message
    assert "vent hole at the top" in finding.message
    assert "ASTM B507" in finding.message


def test_an_underside_against_trapped_air_is_told_there_alone():
    (finding,) = [f for f in hanging_findings(hanging(), 1e-2) if f.code == "level-underside"]
    names = [u.feature for u in hanging().undersides]
    assert names[1] in finding.message
    assert names[0] not in finding.message


@pytest.mark.parametrize(("volume", "words"), [(45.04e-6, "45 mL"), (1.26e-6, "1.3 mL"), (3.2e-9, "0.0032 mL")])
def test_millilitres_have_two_digits(volume: float, words: str):
    assert millilitres(volume) == words


def test_the_report_has_a_section_on_hanging():
    titles = {section.title: section for section in document(holding()).sections}
    rows = {row.label: row.value for row in titles["Hanging"].rows}
    assert rows["air that stays under one part"] == "45 mL"
    assert "frees the air" in rows["least tilt that helps"]
    table = titles["Hanging"].table
    assert table is not None
    assert [line[0] for line in table.lines] == ["air", "air ?", "bath"]


def test_a_plan_marks_what_lies_under_trapped_air_wherever_it_has_a_figure():
    """The air lies against two features; no more of the one than it has."""
    plan = holding()
    sections = {section.title: section for section in document(plan).sections}
    table = sections["Feature by feature"]
    first, second = (feature.name for feature in plan.cell.part.features[:2])
    marked = [line[0] for line in table.table.lines if line[0].endswith("!")]
    assert [name.removesuffix(" !").removesuffix(" *") for name in marked] == [first, second]
    (note,) = [note for note in table.sentences if note.startswith("!")]
    assert f"100 mm² of {second}. The solve takes it for wet" in note
    whole = next(feature.area for feature in plan.features if feature.name == first)
    assert_allclose(sum(feature.under_air for feature in plan.features), whole + 1e-4, rtol=1e-9)
    rows = {row.label.strip(): row.value for row in sections["Amounts"].rows}
    assert rows["of it under trapped air, which stays bare"].startswith(f"{1e6 * (whole + 1e-4):.4g} mm²")
    tree = plan_tree(plan)
    assert_allclose(tree["part"]["under_air_mm2"], 1e6 * whole + 100, rtol=1e-9)
    assert [feature["under_air_mm2"] > 0 for feature in tree["features"]][:3] == [True, True, False]


def test_advice_says_whose_figures_hold_only_where_bath_reaches():
    (large,) = air_advice((replace(small_plan().features[0], under_air=1.23456e-3),))
    assert "first: 1230 mm² of" in large.text
    (advice,) = air_advice(holding().features)
    assert f"100 mm² of {holding().cell.part.features[1].name} lie under trapped air" in advice.text
    assert air_advice(small_plan().features) == []
    bore = next(feature for feature in small_plan().features if feature.kind == "bore")
    (wet,), (under,) = (recess_advice((feature,), 8e-6) for feature in (bore, replace(bore, under_air=1e-5)))
    assert "only where bath reaches" in under.text
    assert "only where bath reaches" not in wet.text


def test_on_a_rack_the_air_of_each_part_is_told_and_that_of_all_together():
    plan = rack_plan()
    name = plan.features[0].name_alone
    told = [feature for feature in with_air(plan.features, {name: 1e-5}) if feature.under_air > 0]
    assert [feature.copy for feature in told] == [1, 2, 3]
    together = {feature.name: feature.under_air for feature in over_copies(with_air(plan.features, {name: 1e-5}))}
    assert_allclose(together.pop(name), 3e-5, rtol=1e-9)
    assert not any(together.values())


def test_a_plan_that_was_not_looked_at_has_no_section():
    assert hanging_section(None).sentences == ()
    assert hanging_tree(None) is None


def test_the_small_plan_says_that_nothing_is_held():
    (section,) = [s for s in document(small_plan()).sections if s.title == "Hanging"]
    assert section.sentences == ("As first hung the part holds no air under it and carries no cup of bath out.",)


def tray_in_cell() -> Cell:
    """The small plan's cell with a tray, mouth down, for a part."""
    cell = small_plan().cell
    solid = upside_down(tray(40, 24, 8))
    part = replace(cell.part, surface=solid, features=tuple(features(solid)))
    return replace(cell, part=part, pose=replace(cell.pose, turn=(0.0, 0.0, 0.0)))


def test_the_cell_knows_how_its_part_hangs():
    cell = tray_in_cell()
    found = hanging_of(cell)
    assert_allclose(1e9 * found.trapped_volume, 40 * 24 * 8, rtol=0.01)
    over = hanging_of(replace(cell, pose=replace(cell.pose, turn=(3.14159265, 0.0, 0.0))))
    assert over.trapped == ()
    assert_allclose(over.cup_volume, found.trapped_volume, rtol=0.01)


def test_half_a_turn_about_the_vertical_changes_nothing():
    cell = tray_in_cell()
    one = hanging_of(replace(cell, pose=replace(cell.pose, turn=(0.3, 0.2, 0.0)))).trapped_volume
    other = hanging_of(replace(cell, pose=replace(cell.pose, turn=(0.3, 0.2, 3.14159265)))).trapped_volume
    assert_allclose(one, other, rtol=0.01)


def test_of_a_rack_one_part_is_looked_at():
    cell = rack_plan().cell
    solid = part_solid(cell.part, cell.pose)
    alone = hanging_of(cell)
    assert {u.feature for u in alone.undersides} == {"end +x"}
    assert len(hung(solid, cell.part.features, None).undersides) == 3


def test_json_has_one_record_for_each_pocket():
    tree = hanging_tree(held(turned(tray(40, 24, 8), "x", 10)))
    assert tree is not None
    (pocket,) = tree["pockets"]
    assert (pocket["holds"], pocket["sure"], pocket["stays_dry"]) == ("bath", True, False)
    assert_allclose(tree["carried_out_mm3"], pocket["volume_mm3"], rtol=1e-12)
    assert pocket["features"][0]["name"] == "piece 1"


def test_what_is_to_stay_bare_is_not_told_to_stay_bare():
    solid = upside_down(tray(40, 24, 8))
    body, hollow = features(solid)
    masked = [body, replace(hollow, bare="stop-off")]
    (pocket,) = hung(solid, masked, None, tilts=False).trapped
    assert pocket.features == ()
    assert hung(solid, masked, None, tilts=False).undersides == ()
    (finding,) = hanging_findings(replace(NOTHING, trapped=(pocket,)), 1e-2)
    assert "keeps bare" not in finding.message
