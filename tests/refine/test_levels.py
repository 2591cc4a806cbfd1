"""Levels of panels: figures as sure as asked, errors that cover the truth, budgets that are kept and told."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.small_plan import LINK
from helpers.validation import record

from geom.advice.accuracy import Accuracy, wishes
from geom.advice.current import Limit
from geom.advice.figures import MEAN_OF, figures
from geom.bem.problem import Current
from geom.cell.build import build_cell
from geom.cell.cell import Cell
from geom.feature import Kind
from geom.field import Field, Prepared, prepare, solve_field
from geom.job.job import Demand
from geom.job.read import parse_job
from geom.panel_sizes import MeshOptions
from geom.panels import mesh_cell
from geom.part.build import build_part
from geom.refine import Level, refined

AMPERES = 1.0


@cache
def cell() -> Cell:
    job = parse_job(LINK)
    return build_cell(build_part(job.shape), job.bath, tank=None, anodes=None, pose=None)


def one_ampere(prepared: Prepared, _: Level | None) -> tuple[tuple[Limit, ...], Current, Field]:
    control = Current(AMPERES)
    return (), control, solve_field(prepared, control, tolerance=1e-3, balance=1.0)


@cache
def level(accuracy: float, panels: int = 16_000) -> tuple[Level, Accuracy]:
    return refined(cell(), Demand(accuracy, panels), one_ampere, (), lambda stage, share: None)


@cache
def truth() -> dict[str, float]:
    """Figures on panels six tenths of the usual size, with finer ones still at the rims of the bores."""
    asked = wishes(level(0.03)[0].field, 0.004, 4000)
    panels = mesh_cell(cell(), MeshOptions(scale=0.6, budget=40_000), asked=asked)
    field = solve_field(prepare(cell(), panels), Current(AMPERES), tolerance=1e-4)
    return dict(figures(field, (), 1e-3))


@pytest.mark.parametrize("accuracy", [0.05, 0.03])
def test_the_errors_told_cover_what_much_finer_panels_give(accuracy: float) -> None:
    """Nine in ten figures lie within the error told for them, and none is off by more than twice it and 1 %."""
    found, sure = level(accuracy)
    figures_here = figures(found.field, (), 1e-3)
    off = {name: abs(value / truth()[name] - 1) for name, value in figures_here.items()}
    inside = [off[name] <= sure.errors[name] + 1e-6 for name in off]
    for name in ("voltage", "thinnest", "hottest", "p99", MEAN_OF + "bore 1 (8.0 mm)"):
        record(
            "levels", f"asked {100 * accuracy:.0f} %", name, figures_here[name], truth()[name], panels=sure.panels[-1]
        )
    assert np.mean(inside) >= 0.9, {name: (off[name], sure.errors[name]) for name in off}
    assert max(off[name] - 2 * sure.errors[name] for name in off) < 0.01


def test_finer_figures_take_more_panels_and_meet_what_was_asked() -> None:
    quick, usual = level(0.2), level(0.03)
    assert quick[1].panels[-1] < usual[1].panels[-1]
    for _, sure in (quick, usual):
        assert sure.reached
        assert sure.spent == ""
        assert sure.worst[1] <= sure.wanted
        assert list(sure.panels) == sorted(sure.panels)


def test_a_budget_that_is_spent_is_told() -> None:
    found, sure = level(0.004, 2500)
    assert not sure.reached
    assert sure.spent == "2500 panels"
    assert len(found.field.panels.body) < 1.5 * 2500


def test_no_time_ends_after_two_levels() -> None:
    demand = Demand(0.012, 16_000, seconds=0.01)
    _, sure = refined(cell(), demand, one_ampere, (), lambda stage, share: None)
    assert len(sure.panels) == 2
    assert sure.spent == "0 s"


def test_panels_are_asked_for_in_hollow_places_only_and_within_the_number_allowed() -> None:
    field = level(0.05)[0].field
    (source,) = wishes(field, 0.001, 1e9)
    tree_points = np.asarray(source.tree.data)
    part = field.panels.part
    hollow = [k for k, f in enumerate(field.cell.part.features) if f.kind == Kind.BORE]
    own = part.centroids[np.isin(part.tag, hollow)]
    gap = np.linalg.norm(tree_points[:, None] - own[None], axis=2).min(axis=1)
    assert gap.max() == 0.0
    (few,) = wishes(field, 0.001, 50)
    assert np.all(few.size >= source.size)
    assert wishes(field, 0.9, 1e9) == ()


def test_each_level_tells_its_stage() -> None:
    told: list[float] = []
    refined(cell(), Demand(0.05, 3000), one_ampere, (), lambda stage, share: told.append(share))
    assert told == sorted(told)
    assert len(told) >= 2


def test_an_accuracy_names_its_worst_figure() -> None:
    _, sure = level(0.05)
    name, error = sure.worst
    assert error == max(sure.errors[n] for n in sure.counted)
    assert name in sure.counted
    worse = replace(sure, errors={**sure.errors, "voltage": 0.5})
    assert worse.worst == ("voltage", 0.5)
    assert not worse.reached
