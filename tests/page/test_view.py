"""The page shows the plan's own figures: those of plan.json, as it rounds them."""

import json
import math
from dataclasses import replace

import pytest
from helpers.small_plan import small_plan

from geom.page.answers import dumped
from geom.page.view import plain, rounded, view_of
from geom.report.jsonfile import as_json


@pytest.fixture(scope="module")
def plan():
    return small_plan()


@pytest.fixture(scope="module")
def view(plan):
    return view_of(plan)


def test_it_is_json(view):
    assert json.loads(dumped(view)) == json.loads(json.dumps(view))


def test_its_figures_are_those_of_the_plan(plan, view):
    numbers = view["numbers"]
    assert numbers["current_A"] == pytest.approx(plan.current, rel=5e-3, abs=0)
    assert numbers["voltage_V"] == pytest.approx(plan.voltage, rel=5e-2, abs=0)
    assert numbers["thinnest_um"] == pytest.approx(1e6 * plan.minimum_local_thickness, rel=5e-3, abs=0)
    assert numbers["thickest_um"] == pytest.approx(1e6 * plan.thickness["max"], rel=5e-3, abs=0)
    assert numbers["wetted_area_mm2"] == pytest.approx(1e6 * plan.wetted_area, rel=5e-4, abs=0)
    assert numbers["minutes"] == pytest.approx(plan.time / 60, rel=5e-2, abs=0)
    assert sum(numbers["shares"].values()) == pytest.approx(1.0, rel=5e-3, abs=0)


def test_its_findings_and_features_are_those_of_plan_json(plan, view):
    tree = json.loads(as_json(plan))
    assert [one["slug"] for one in view["findings"]] == [one["code"] for one in tree["findings"]]
    assert {one["name"] for one in view["features"] if not one["bare"]} == {one["name"] for one in tree["features"]}


def test_the_answer_is_that_of_the_report(plan, view):
    from geom.report.content import document

    tree = document(plan)
    assert view["answer"] == list(tree.answer)
    assert [one["title"] for one in view["sections"]] == [one.title for one in tree.sections]


def test_a_hostile_title_is_text_without_control_characters(plan):
    title = "<img src=x onerror=alert(1)>\x1b[2J\u202e=1+1"
    view = view_of(replace(plan, job=replace(plan.job, title=title)))
    assert "\x1b" not in json.dumps(view, ensure_ascii=False)
    assert "\u202e" not in json.dumps(view, ensure_ascii=False)
    assert "<img src=x onerror=alert(1)>" in view["title"]  # the page shows it as text alone


def test_numbers_that_are_not_finite_are_null():
    assert plain({"a": [math.nan, math.inf, 1.5, 2, True, None, "x\0"]}) == {
        "a": [None, None, 1.5, 2, True, None, "x?"]
    }


@pytest.mark.parametrize(
    ("value", "digits", "shown"), [(1.2345, 3, 1.23), (0.0, 3, 0.0), (-0.0, 3, 0.0), (99950, 3, 1e5)]
)
def test_a_figure_has_so_many_digits(value: float, digits: int, shown: float):
    assert rounded(value, digits) == shown
