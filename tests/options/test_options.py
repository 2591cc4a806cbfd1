"""Holes and what helps them: the rules of the trade beside solved options, and the laws that these must obey."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.small_plan import small_plan

from geom.advice.copies import over_copies
from geom.electrode.laws import Linear, Tafel
from geom.feature import Feature, Kind
from geom.options.recesses import PRIMARY, decay_of, recess_checks, rule_of, slope_at
from geom.options.solved import THICK, Option, Options, options_of, winner
from geom.options.variants import Variant, variants
from geom.plan import Plan


@cache
def solved() -> Options:
    plan = small_plan()
    features = tuple(replace(f, extra_time=max(f.extra_time, 60.0)) if f.kind == "bore" else f for f in plan.features)
    return options_of(plan.cell, plan.current, plan.job.target.thickness, (), features, lambda stage, share: None)


def named(name: str) -> Option:
    (option,) = [option for option in solved().options if name in option.name]
    return option


def test_less_current_is_slower_and_evener() -> None:
    """More polarization against the liquid's resistance evens a deposit: Wagner number (IUPAC 1981)."""
    full, half, quarter = solved().options[:3]
    assert full.time < half.time < quarter.time
    assert full.thickest > half.thickest > quarter.thickest
    assert full.recess_ratio < half.recess_ratio < quarter.recess_ratio


def test_a_wire_inside_brings_the_holes_above_the_faces() -> None:
    assert named("wire inside").recess_ratio > 1.5 > 1.0 > named("as planned").recess_ratio


def test_thieves_even_the_part_and_take_current() -> None:
    assert named("thief").thickest < named("as planned").thickest
    assert named("thief").current > named("as planned").current


def test_every_option_is_solved_or_says_why_not() -> None:
    assert len(solved().options) >= 7
    for option in solved().options:
        assert option.is_possible == (not option.why)
        assert math.isfinite(option.time) or option.why


def test_the_winner_is_the_quickest_of_the_even_ones() -> None:
    made = [
        Option("fast and rough", 1, 1, 10.0, 40e-6, 1.0),
        Option("even", 1, 1, 60.0, 20e-6, 1.0),
        Option("nearly as even", 1, 1, 30.0, 20e-6 * THICK * 0.99, 1.0),
        Option("cannot be", 1, 1, math.inf, 1e-6, 1.0, "no room"),
    ]
    assert winner(made) == 2
    assert winner(made[3:]) is None


def test_an_option_that_does_not_fit_is_told_and_stops_no_other() -> None:
    plan = small_plan()
    near = replace(
        plan.cell, pose=replace(plan.cell.pose, at=(plan.cell.tank.length / 2 - 0.012, 0.0, plan.cell.pose.at[2]))
    )
    found = list(variants(near, tuple(f for f in plan.cell.part.features if f.kind == Kind.BORE)))
    assert all(isinstance(variant, Variant) for variant in found)
    (second,) = [variant for variant in found if "second anode" in variant.name]
    assert second.cell is None
    assert second.why


def checks(plan: Plan) -> dict[str, float]:
    found = recess_checks(over_copies(plan.features), plan.fields[0], plan.deposit.time, plan.thickness["max"])
    return {check.name: check.extra_time for check in found}


def test_every_hole_is_checked_and_nothing_else() -> None:
    plan = small_plan()
    assert set(checks(plan)) == {f.name for f in plan.features if f.kind == "bore"}
    for check in plan.recesses:
        assert check.ratio is not None
        assert check.ratio < 1
        grown = 1 + check.extra_time / plan.deposit.time
        assert check.edges_then == pytest.approx(plan.thickness["max"] * grown, rel=1e-9)


def hole(width: float, depth: float, kind: Kind = Kind.BORE) -> Feature:
    return Feature("bore 1", kind, 1.0, width, depth)


def test_the_depth_over_which_a_deposit_falls_off_is_that_of_a_cable() -> None:
    """sqrt(kappa a R / 2) by hand: 8 S/m, radius 3.25 mm, 0.11 V per decade at 2 A/dm² gives 1.76 mm (rough estimate)."""
    slope = slope_at(Tafel(exchange=1e-3, cathodic_slope=0.11 / math.log(10)), 200.0)
    assert slope == pytest.approx(0.11 / math.log(10) / 200.0, rel=1e-4)
    assert decay_of(hole(6.5e-3, 3e-3), 8.0, slope) == pytest.approx(1.76e-3, rel=0.01)
    assert decay_of(hole(6.5e-3, 3e-3), 8.0, 0.0) == pytest.approx(3.25e-3 / PRIMARY, rel=1e-12)
    assert decay_of(Feature("face", Kind.FACE, 1.0, 0.0, 0.0), 8.0, slope) is None


def test_polarization_of_a_linear_law_is_its_resistance() -> None:
    assert slope_at(Linear(1.3e-4), 123.0) == pytest.approx(1.3e-4, rel=1e-6)
    assert slope_at(None, 123.0) == 0.0


@pytest.mark.parametrize(
    ("kind", "aspect", "word"),
    [("blind-hole", 0.9, "within"), ("blind-hole", 1.1, "beyond"), ("bore", 0.9, "within"), ("bore", 1.1, "beyond")],
)
def test_the_trade_s_rules_of_depth(kind: str, aspect: float, word: str) -> None:
    """Blind holes to one diameter (a shop's rule); recesses to half the width (ASTM B507 practice, from memory)."""
    assert rule_of(kind, aspect).startswith(word)
    assert rule_of(kind, None) == ""
    assert np.isfinite(THICK)
