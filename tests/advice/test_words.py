"""What each feature gets and the sentences about it: extra time, turning, the thin place, the edges."""

from dataclasses import replace

import numpy as np
import pytest
from helpers.flows import on_the_link
from helpers.small_plan import small_plan
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.advice.features import extra_time, feature_results
from geom.advice.measures import Strip
from geom.advice.schedule import Schedule
from geom.advice.words import FeatureResult, edge_advice, plan_advice, recess_advice, thin_place, turning_advice
from geom.deposit import plate

TARGET = 8e-6


def everywhere() -> np.ndarray:
    return np.ones(small_plan().fields[0].panels.part_count, dtype=np.bool_)


@given(st.floats(1e-7, 1e-4), st.floats(1e-7, 1e-4), st.floats(1.0, 1e5))
def test_after_the_extra_time_the_place_has_the_target(thickness: float, target: float, time: float) -> None:
    extra = extra_time(thickness, target, time)
    if thickness >= target:
        assert extra == 0
    else:
        assert_allclose(thickness * (time + extra) / time, target, rtol=2e-6, atol=0)


def test_a_place_without_metal_never_gets_it() -> None:
    assert extra_time(0.0, TARGET, 60.0) == float("inf")


def test_results_of_features_add_up_to_the_part() -> None:
    plan = small_plan()
    first, areas = plan.fields[0], np.array([f.area for f in plan.features])
    ratios = np.array([f.current_density_ratio for f in plan.features])
    assert_allclose(areas.sum(), plan.cell.part.area, rtol=1e-9, atol=0)  # both by formula
    assert_allclose(areas.sum(), first.wetted_area, rtol=5e-3, atol=0)  # the panels cut the round holes short
    assert_allclose(ratios @ areas / areas.sum(), 1.0, rtol=5e-3, atol=0)
    thickness = np.array([f.thickness for f in plan.features])
    assert_allclose(thickness @ areas / areas.sum(), plan.thickness["mean"], rtol=5e-3, atol=0)
    assert [f.name for f in plan.features] == [f.name for f in plan.cell.part.features]
    for feature in plan.features:
        assert feature.least_thickness <= feature.thickness * (1 + 1e-9)


def test_a_feature_counts_when_half_of_it_does() -> None:
    plan = small_plan()
    first, part = plan.fields[0], plan.cell.part
    chosen = first.panels.feature == 0
    deposit = plate([first], [600.0], ["as hung"], chosen)
    results = feature_results(part, first, deposit, TARGET)
    assert [f.significant for f in results] == [k == 0 for k in range(len(results))]


def recess(least: float, extra: float, kind: str = "bore") -> FeatureResult:
    return FeatureResult(f"{kind} 1", kind, 1e-4, 0.5, 1.5 * least, least, extra, False)


@pytest.mark.parametrize("kind", ["bore", "slot", "inside", "bend-inside"])
@pytest.mark.parametrize(
    ("least", "extra", "code", "words"),
    [
        (9e-6, 0.0, "recess-enough", "No extra time needed, 8 µm or more all over: "),
        (
            4e-6,
            600.0,
            "recess-extra",
            "1, 10 min (mean 6.0 µm, thinnest 4.0 µm). Time beyond the plan, to reach 8 µm there",
        ),
        (1e-7, 1e6, "recess-bare", "Practically bare: "),
        (0.0, float("inf"), "recess-bare", "Practically bare: "),
    ],
)
def test_every_recess_has_its_sentence(kind: str, least: float, extra: float, code: str, words: str) -> None:
    (advice,) = recess_advice((recess(least, extra, kind),), TARGET)
    assert advice.code == code
    assert words in advice.text
    assert f"{kind} 1" in advice.text
    assert f"(mean {1.5e6 * least:.1f} µm, thinnest {1e6 * least:.1f} µm)" in advice.text


def test_recesses_of_one_answer_share_a_sentence_and_each_is_named_once() -> None:
    features = tuple(replace(recess(4e-6, 600.0), name=f"bore {k}") for k in (1, 2, 3))
    both = recess_advice((*features, replace(recess(9e-6, 0.0), name="bore 4")), TARGET)
    assert [advice.code for advice in both] == ["recess-extra", "recess-enough"]
    for k in (1, 2, 3):
        assert both[0].text.count(f"bore {k}") == 1
    assert "bore 4" not in both[0].text


def test_faces_and_edges_are_no_recess() -> None:
    assert recess_advice((recess(1e-7, 1e6, "face"), recess(1e-7, 1e6, "edge")), TARGET) == []


def test_turning_says_when_how_long_and_why() -> None:
    text = turning_advice(Schedule(600.0, 300.0, 1800.0, 900.0), 2.5).text
    assert "after 10 min, then plate 5.0 min more: 15 min in all instead of 30 min without turning." in text
    assert "The side toward the anode gets 2.5 times what the far side gets." in text
    assert turning_advice(Schedule(600.0, 300.0, 1800.0, 900.0), None).code == "turn"
    assert turning_advice(Schedule(600.0, 0.0, 600.0, 590.0), 1.1).code == "no-turn"
    assert turning_advice(Schedule(600.0, 0.0, 600.0, None), None).code == "turn-not-possible"


def test_nickel_is_turned_under_current() -> None:
    plan = small_plan()
    turned = Schedule(600.0, 300.0, 1800.0, 900.0)
    arguments = (plan.fields[0], plan.deposit, turned, plan.features, plan.hottest_strip, 2.0, TARGET)
    assert [a.code for a in plan_advice(*arguments)][:2] == ["turn", "turn-live"]
    metal = replace(plan.cell.bath.metal, symbol="Cu")
    copper = replace(plan.cell, bath=replace(plan.cell.bath, metal=metal))
    first = replace(plan.fields[0], cell=copper)
    assert [a.code for a in plan_advice(first, *arguments[1:])][1] == "turn-wet"


def test_the_thin_place_is_named_and_lies_on_the_significant_surface() -> None:
    panels = small_plan().fields[0].panels
    part = small_plan().cell.part
    bore, face = (next(k for k, f in enumerate(part.features) if f.kind == kind) for kind in ("bore", "face"))
    flow = np.full(panels.part_count, 100.0)
    flow[panels.feature == bore] = 1.0
    flow[panels.feature == face] = 10.0
    field = on_the_link(flow)
    for chosen, name in ((everywhere(), bore), (panels.feature != bore, face)):
        text = thin_place(field, plate([field], [600.0], ["as hung"], chosen)).text
        assert text.startswith(f"Thinnest on the significant surface: {part.features[name].name}, near (")


def test_hot_edges_are_above_or_within_the_range() -> None:
    assert edge_advice(None, 300.0, 500.0) is None
    assert (
        "2.0 times the mean: within the bath's bright range (up to 5 A/dm²)"
        in edge_advice(Strip(1e-3, 400.0), 200.0, 500.0).text
    )
    assert "above the bath's bright range" in edge_advice(Strip(1e-3, 600.0), 200.0, 500.0).text
