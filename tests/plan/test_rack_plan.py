"""A whole plan of several parts, a shield, thieves and inner wires: limits, schedule, deposit, words."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.rack_plan import ROW, rack_plan
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.advice.copies import copy_results, over_copies, rack_advice, thickness_ratio
from geom.advice.current import current_with_thieves
from geom.deposit import significant_panels, touched_by_ball
from geom.electrode.faraday import mass_of_charge
from geom.errors import PartError
from geom.field import prepare, solve_field
from geom.job.read import parse_job
from geom.plan import Current, rehung_job
from geom.report.content import document
from geom.report.jsonfile import plan_tree
from geom.report.text import as_text


def test_the_current_to_set_is_that_into_part_and_thieves():
    plan = rack_plan()
    first = plan.fields[0]
    assert_allclose(plan.current, first.current + sum(first.thief_currents), rtol=1e-6, atol=0)
    assert sum(first.thief_currents) > 0.1 * plan.current
    assert_allclose([stage.current for stage in plan.deposit.stages], plan.current, rtol=1e-4, atol=0)


def test_the_usual_density_is_met_by_the_part_and_the_thieves_come_on_top():
    plan = rack_plan()
    prepared = prepare(plan.cell, plan.fields[0].panels)
    wanted = 0.5
    total = current_with_thieves(prepared, wanted)
    assert_allclose(solve_field(prepared, Current(total)).current, wanted, rtol=5e-3, atol=0)
    (usual,) = [limit for limit in plan.limits if limit.name.startswith("usual")]
    typical = plan.cell.bath.current_density.typical * plan.fields[0].wetted_area
    assert usual.value > 1.1 * typical
    assert "thieves" in usual.basis


def test_without_thieves_the_limits_are_those_of_the_part_alone():
    field = small_plan().fields[0]
    assert current_with_thieves(prepare(field.cell, field.panels), 0.5) == 0.5


def test_charge_is_that_of_the_supply_and_each_mass_is_of_its_share():
    plan, metal = rack_plan(), rack_plan().cell.bath.metal
    deposit, efficiency = plan.deposit, plan.cell.bath.efficiency
    assert_allclose(deposit.charge, plan.current * plan.time, rtol=1e-4, atol=0)
    assert_allclose(deposit.mass, mass_of_charge(deposit.charge - deposit.thief_charge, metal) * efficiency, rtol=1e-6)
    assert_allclose(deposit.thief_mass, mass_of_charge(deposit.thief_charge, metal) * efficiency, rtol=1e-9, atol=0)
    assert_allclose(deposit.anode_mass, mass_of_charge(deposit.charge, metal), rtol=1e-9, atol=0)


def test_each_copy_has_its_current_and_its_place():
    plan = rack_plan()
    assert_allclose(sum(copy.current for copy in plan.copies), plan.fields[0].current, rtol=1e-9, atol=0)
    places = np.array([copy.at for copy in plan.copies]) * 1e3
    assert_allclose(places, [(15, y, 42) for y in (-30, 0, 30)], rtol=0, atol=0.05)
    shares = [copy.current_density_ratio for copy in plan.copies]
    assert_allclose(np.mean(shares), 1.0, rtol=5e-3, atol=0)
    mean = np.mean([copy.thickness for copy in plan.copies])
    assert_allclose(mean, plan.thickness["mean"], rtol=5e-3, atol=0)


def test_a_part_that_hangs_alone_has_no_copies():
    plan = small_plan()
    assert plan.copies == ()
    assert copy_results(plan.fields[0], plan.deposit) == ()
    assert rack_advice(()) == []
    assert over_copies(plan.features) == plan.features
    assert "Part by part" not in as_text(document(plan))


def test_features_of_all_copies_are_taken_together_for_reading():
    plan = rack_plan()
    together = {feature.name: feature for feature in over_copies(plan.features)}
    assert set(together) == {feature.name_alone for feature in plan.features}
    own = [feature for feature in plan.features if feature.name_alone == "end +x"]
    assert len(own) == 3
    found = together["end +x"]
    assert_allclose(found.area, 3 * 120e-6, rtol=1e-9, atol=0)
    assert_allclose(found.thickness, np.mean([feature.thickness for feature in own]), rtol=1e-9, atol=0)
    assert found.least_thickness == min(feature.least_thickness for feature in own)
    assert found.extra_time == max(feature.extra_time for feature in own)


def test_a_name_means_the_feature_of_every_copy_and_a_number_that_of_one():
    plan = rack_plan()
    chosen = {
        plan.cell.part.features[k].name for k in np.unique(plan.fields[0].panels.feature[plan.deposit.significant])
    }
    assert chosen == {"face B (-z), part 2", *(f"face A (+z), part {k}" for k in (1, 2, 3))}
    with pytest.raises(PartError) as caught:
        significant_panels(plan.cell.part, plan.fields[0].panels, ["face B (-z), part 4"])
    assert caught.value.slug == "feature-unknown"
    assert "face A (+z)" in caught.value.hint
    assert "part 3" not in caught.value.hint.split("features:")[1]


def test_a_ball_touches_each_copy_as_if_it_hung_alone():
    part, panels = rack_plan().cell.part, rack_plan().fields[0].panels
    copy = np.array([feature.copy for feature in part.features])[panels.feature]
    edge = np.array([feature.name_alone == "long edge +y" for feature in part.features])
    middle = edge[panels.feature] & (copy == 2)
    as_one = replace(part, features=tuple(replace(feature, copy=0) for feature in part.features))
    assert np.all(touched_by_ball(panels, part)[middle])
    assert not np.any(
        touched_by_ball(panels, as_one)[middle]
    )  # 10 mm from the next link, no ball of 20 mm goes between


def test_the_wires_are_so_thin_that_what_they_bear_sets_the_current():
    (bound,) = [limit for limit in rack_plan().limits if limit.binds]
    assert bound.name == "anode current density"
    assert any(f"anode {k} (wire" in bound.basis for k in (2, 3, 4))
    assert max(rack_plan().fields[0].anode_densities) <= 1.02 * 300.0
    assert not any(f.code == "anode-over-range" for plan in (rack_plan(), small_plan()) for f in plan.findings)


def test_the_advice_tells_the_copies_apart_or_calls_them_alike():
    copies = rack_plan().copies
    assert any(advice.code.startswith("rack-") for advice in rack_plan().advice)
    alike = tuple(replace(copy, thickness=10e-6) for copy in copies)
    (even,) = rack_advice(alike)
    assert even.code == "rack-even"
    (uneven,) = rack_advice((replace(alike[0], thickness=15e-6), *alike[1:]))
    assert uneven.code == "rack-uneven"
    assert "part 1 gets most (15.0 µm" in uneven.text
    assert "1.50 times" in uneven.text
    assert thickness_ratio(alike) == 1.0
    assert thickness_ratio(()) is None


def test_the_text_says_what_goes_where():
    text = as_text(document(rack_plan()))
    for words in (
        "into the rack and",
        "Part by part",
        "Anodes and thieves",
        "part and thieves, out of the anodes",
        "3 parts: 3 along y, 30 mm from centre to centre",
        "along bore 1, part 2",
        "strip 4 mm (x) x 4 mm (y) x 60 mm (z)",
        "turned (0, 20, 0)°",
        "metal deposited on the thieves",
        "urn the rack",
    ):
        assert words in text.replace("\n  ", " ").replace("  ", " "), words
    assert text.count("ASSUMED: none given: no polarization") == 4  # the sheet, and the wire in each link


def test_the_document_lists_every_body():
    tree = plan_tree(rack_plan())
    assert [anode["shape"] for anode in tree["set_up"]["anodes"]] == ["sheet", "wire", "wire", "wire"]
    assert [anode.get("through") for anode in tree["set_up"]["anodes"]][1:] == [f"bore 1, part {k}" for k in (1, 2, 3)]
    assert [thief["shape"] for thief in tree["set_up"]["thieves"]] == ["wire", "strip"]
    assert len(tree["set_up"]["shields"]) == 1
    assert [part["number"] for part in tree["rack"]["parts"]] == [1, 2, 3]
    assert {feature["part"] for feature in tree["features"]} == {1, 2, 3}
    assert plan_tree(small_plan())["rack"] is None
    assert_allclose(
        tree["recommendation"]["part_current_A"] + sum(tree["balance"]["thieves_A"]),
        tree["recommendation"]["current_A"],
        rtol=1e-6,
        atol=0,
    )


def test_a_rack_hung_the_other_way_keeps_its_numbers_and_wires():
    plan, job = rack_plan(), parse_job(ROW)
    x, y, z = plan.cell.pose.turn
    half_turn = replace(plan.cell.pose, turn=(x, y, z + np.pi))
    turned = rehung_job(job, plan.cell, half_turn, is_half_turned=True)
    assert turned.anodes == job.anodes
    assert turned.rack is not None
    assert_allclose(turned.rack.places[0], -np.array(job.rack.places[0] if job.rack else 0), rtol=0, atol=1e-15)
