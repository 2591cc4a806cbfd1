"""Cautions and the steps before plating, as sections and as plain data."""

from dataclasses import replace

import pytest
from helpers.small_plan import small_plan

from geom.bench.records import Bench, Substrate
from geom.plan import Plan
from geom.report.cautions import (
    CALCULATION,
    cautions_section,
    cautions_tree,
    preparation_section,
    preparation_tree,
    set_up_of,
    steps_of,
    steps_tree,
)


def with_bench(bench: Bench) -> Plan:
    """Return the small plan with another bench."""
    plan = small_plan()
    return replace(plan, job=replace(plan.job, bench=bench))


def test_every_caution_names_its_source_and_the_last_defers_to_law_and_practice() -> None:
    section = cautions_section(small_plan())
    *told, calculation, last = section.sentences
    assert calculation == CALCULATION
    assert "local codes" in last
    assert "licensed practice" in last
    assert all(line.endswith("]") and "[" in line for line in told)
    tree = cautions_tree(small_plan())
    assert [entry["text"] for entry in tree[:-1]] == [line.rpartition(" [")[0] for line in told]
    assert tree[-1]["text"] == last
    assert all(entry["source"] and entry["basis"] and entry["trust"] for entry in tree)


def test_the_cautions_of_a_plan_go_by_its_bath_voltage_and_bench() -> None:
    plan = small_plan()
    bench = Bench(substrate=Substrate("brass", None), ventilated=True, anode_materials=("graphite",))
    plan = replace(plan, job=replace(plan.job, bench=bench, supply=replace(plan.job.supply, max_voltage=90.0)))
    setup = set_up_of(plan)
    assert (setup.bath, setup.metal, setup.substrate) == ("watts-nickel", "Ni", "brass")
    assert setup.voltage == plan.fields[0].voltage
    assert setup.current_density == plan.fields[0].mean_current_density
    keys = [entry["key"] for entry in cautions_tree(plan)]
    assert keys[:2] == ["inert-anode-in-chloride", "over-60-V"]
    assert [entry["grave"] for entry in cautions_tree(plan)][:3] == [True, True, False]
    assert "copper-base" in keys
    assert "not-ventilated" not in keys
    assert "not-ventilated" in [entry["key"] for entry in cautions_tree(small_plan())]


def test_a_bath_of_ones_own_has_the_cautions_of_the_bath_it_is_like() -> None:
    plan = small_plan()
    like = replace(plan.cell.bath, name="tank-nine", family="acetate-nickel")
    own = replace(plan, cell=replace(plan.cell, bath=like))
    plain = replace(plan, cell=replace(plan.cell, bath=replace(like, name="acetate-nickel", family="")))
    told = [entry["key"] for entry in cautions_tree(own)]
    assert told == [entry["key"] for entry in cautions_tree(plain)]
    assert told != [entry["key"] for entry in cautions_tree(plan)]


def test_without_a_substrate_there_are_no_steps() -> None:
    section = preparation_section(small_plan())
    assert (section.sentences, section.rows) == ((), ())
    assert preparation_tree(small_plan()) is None


def test_the_steps_of_a_substrate_are_told_in_order_with_the_bake_last() -> None:
    steel = Substrate("high-strength-steel", 1350e6)
    section = preparation_section(with_bench(Bench(substrate=steel)))
    assert section.title == "Before plating: high-strength steel"
    assert [row.label for row in section.rows] == [f"step {k}" for k in range(1, 6)] + ["after plating"]
    assert "190 °C to 220 °C for at least 14 h" in section.rows[-1].value  # ASTM B850 (seen)
    tree = preparation_tree(with_bench(Bench(substrate=steel)))
    assert tree is not None
    assert tree["strength_N_mm2"] == pytest.approx(1350.0, rel=1e-12)
    assert tree["steps"] == [row.value for row in section.rows[:-1]]
    assert tree["bake"]["time_min"] == 14 * 60
    assert (tree["bake"]["low_C"], tree["bake"]["high_C"]) == pytest.approx((190.0, 220.0), rel=1e-12)


def test_a_strike_that_is_stated_is_shown() -> None:
    stainless = Substrate("stainless-steel", None, "Wood's nickel")
    assert any(row.label == "strike stated" and row.value == "Wood's nickel" for row in steps_of(stainless).rows)
    tree = steps_tree(stainless)
    assert tree is not None
    assert (tree["strike"], tree["bake"]) == ("Wood's nickel", None)
