"""Every figure of the report has its numerical error behind it, and the report says how it ended."""

import re
from dataclasses import replace

import pytest
from helpers.fake_plan import controlled, with_words
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan

from geom.advice.current import AT_VOLTS
from geom.advice.figures import CURRENT, HOTTEST, MEAN_OF, THINNEST, VOLTAGE
from geom.advice.sureness import of_edge_to_face, of_features, of_front_to_back
from geom.doubt.bands import TIME
from geom.plan import Plan
from geom.report.amounts import percent
from geom.report.bands import between
from geom.report.content import document
from geom.report.jsonfile import plan_tree
from geom.report.text import as_text
from geom.report.tree import Document, Section

KNOWN = {VOLTAGE: 0.011, CURRENT: 0.02, THINNEST: 0.023, HOTTEST: 0.034, "p1": 0.041, "p10": 0.042, "p50": 0.043}
KNOWN |= {"p90": 0.044, "p99": 0.045}


def unsure(plan: Plan, spent: str = "", wanted: float = 0.05) -> Plan:
    """Return a plan whose figures have errors that can be told apart."""
    features = {MEAN_OF + f.name: 0.001 * (k + 4) for k, f in enumerate(plan.features)}
    errors = {**KNOWN, **features}
    accuracy = replace(plan.accuracy, wanted=wanted, errors=errors, counted=frozenset(KNOWN), panels=(1200, 3400))
    return replace(plan, accuracy=replace(accuracy, spent=spent))


def shown(plan: Plan, title: str) -> Section:
    (found,) = [section for section in document(plan).sections if section.title == title]
    return found


def row(plan: Plan, title: str, start: str) -> str:
    (value,) = [row.value for row in shown(plan, title).rows if row.label.startswith(start)]
    return value


THICKNESS = "Thickness over the part, after the whole schedule"


@pytest.mark.parametrize(
    ("title", "label", "error"),
    [
        ("Amounts", "time for the whole schedule", "2.3 %"),
        ("Amounts", "time without turning", "2.3 %"),
        (THICKNESS, "hottest edge", "3.4 %"),
        (THICKNESS, "least local thickness", "2.3 %"),
    ],
)
def test_a_figure_has_its_error_behind_it(title: str, label: str, error: str) -> None:
    assert row(unsure(small_plan()), title, label).split(";")[0].endswith(f" ± {error}")


def test_the_answer_has_no_numerical_error_and_no_smaller_doubt_than_the_bands() -> None:
    plan = unsure(small_plan())
    answer = document(plan).answer
    assert "±" not in " ".join(answer)
    setting, timing, *_ = answer
    assert plan.bands is not None
    assert f"V ({between(VOLTAGE, plan.bands.of[VOLTAGE])}) between anode and part" in setting
    assert f"{between(TIME, plan.bands.of[TIME])} until the target)" in timing
    assert row(plan, "Amounts", "voltage").split(",")[0].endswith(" ± 1.1 %")
    assert row(plan, "Amounts", "voltage").endswith(f"; {between(VOLTAGE, plan.bands.of[VOLTAGE])} in 90 of 100 cases")


def test_a_voltage_that_is_fixed_has_no_error_and_the_current_has() -> None:
    plan = unsure(controlled(voltage=2.5))
    assert "2.5 V (your voltage)" in document(plan).answer[0]
    assert re.search(r"min ± 4\.3 %", row(plan, "Amounts", "time for the whole"))  # that of the current is added
    assert row(plan, THICKNESS, "mean").endswith(" ± 2.0 %")
    for label in ("charge", "metal deposited", "anode metal dissolved", "mean current density"):
        assert row(plan, "Amounts", label).split(";")[0].endswith(" ± 2.0 %")
    assert row(plan, "Numerical error", "current") == "2.0 %"
    assert not any(r.label == "voltage" for r in shown(plan, "Numerical error").rows)


def test_a_mean_that_follows_from_current_and_time_alone_has_no_error() -> None:
    assert "±" not in row(unsure(small_plan()), THICKNESS, "mean")
    assert "±" not in row(unsure(small_plan()), "Amounts", "mean current density")


def test_percentiles_have_a_line_of_errors() -> None:
    lines = shown(unsure(small_plan()), THICKNESS).table.lines
    assert lines[-1] == ("± numerical error", "", "4.1 %", "4.2 %", "4.3 %", "4.4 %", "4.5 %", "")


def test_every_feature_has_its_error() -> None:
    plan = unsure(small_plan())
    table = shown(plan, "Feature by feature").table
    assert table.heads[-1] == "±"
    assert [line[-1] for line in table.lines] == [f"{0.4 + 0.1 * k:.1f} %" for k in range(len(plan.features))]


def test_ratios_have_the_error_of_both_their_means() -> None:
    plan = unsure(small_plan())
    for label, error in (
        ("toward the anode", of_front_to_back(plan.features, plan.accuracy)),
        ("edges / broad faces", of_edge_to_face(plan.features, plan.accuracy)),
    ):
        assert row(plan, THICKNESS, label).split(";")[0].endswith(f" ± {percent(error)}")


def test_limits_that_a_field_decides_have_its_error() -> None:
    plan = unsure(rack_plan())
    least = min(limit.value for limit in plan.limits)
    near = tuple(replace(limit, value=least) if limit.name == AT_VOLTS else limit for limit in plan.limits)
    table = shown(replace(plan, limits=near), "Limits on the current").table
    errors = {line[0]: line[2] for line in table.lines}
    assert table.heads[2] == "±"
    assert errors.pop("bright range of the bath, at the hottest strip") == "3.4 %"
    assert errors.pop("supply voltage") == "3.1 %"
    assert set(errors.values()) == {""}


def test_parts_on_a_rack_and_the_features_of_all_of_them_have_their_error() -> None:
    plan = unsure(rack_plan())
    table = shown(plan, "Part by part").table
    wanted = [percent(of_features([f for f in plan.features if f.copy == k], plan.accuracy)) for k in (1, 2, 3)]
    assert table.heads[-1] == "±"
    assert [line[-1] for line in table.lines] == wanted
    together = shown(plan, "Feature by feature").table.lines
    worst = {
        f.name_alone: max(plan.accuracy.errors[MEAN_OF + g.name] for g in plan.features if g.name_alone == f.name_alone)
        for f in plan.features
    }
    assert [line[-1] for line in together] == [percent(error) for error in worst.values()]


def test_a_feature_of_which_no_error_is_known_shows_none() -> None:
    table = shown(with_words("renamed"), "Feature by feature").table
    assert {line[-1] for line in table.lines} == {""}
    tree = plan_tree(with_words("renamed"))
    assert {feature["numerical_error"] for feature in tree["features"]} == {None}


def test_the_report_says_what_was_asked_what_was_used_and_that_it_was_reached() -> None:
    plan = unsure(small_plan())
    assert row(plan, "Numerical error", "asked") == "5 %: reached"
    assert row(plan, "Numerical error", "levels") == "2: 1200, then 3400 panels"


def test_the_report_says_what_is_left_and_which_budget_was_spent() -> None:
    told = row(unsure(small_plan(), spent="16000 panels", wanted=0.02), "Numerical error", "asked")
    assert (
        told == "2 %: NOT reached, 4.5 % left of percentile p99; the next finer panels would be over the 16000 allowed"
    )


def test_json_has_the_error_of_each_feature_copy_and_ratio() -> None:
    plan = unsure(rack_plan())
    tree = plan_tree(plan)
    assert [f["numerical_error"] for f in tree["features"]] == [
        plan.accuracy.errors[MEAN_OF + f.name] for f in plan.features
    ]
    for part in tree["rack"]["parts"]:
        own = [f for f in plan.features if f.copy == part["number"]]
        assert part["numerical_error"] == of_features(own, plan.accuracy)
    assert tree["numerical_error"]["edge_to_face"] == of_edge_to_face(plan.features, plan.accuracy)
    assert tree["numerical_error"]["front_to_back"] == of_front_to_back(plan.features, plan.accuracy)
    assert tree["numerical_error"]["of"] == plan.accuracy.errors
    levels = tree["numerical_error"]["panels"]
    assert tree["numerical_error"]["coarser_by"] == (1.7 if len(levels) == 2 else 1.6)  # decision 0009


def test_an_error_stays_on_the_line_of_its_figure() -> None:
    words = "x" * 88
    assert as_text(Document("t", (f"{words} 12.5 µm ± 0.9 % more",), ())).splitlines()[3:] == [
        words,
        "12.5 µm ± 0.9 % more",
    ]
