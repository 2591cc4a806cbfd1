"""The solver gives no number that it cannot stand for: unsolved equations, wrong patches, starts from elsewhere."""

from collections.abc import Sequence
from functools import cache, partial

import numpy as np
import pytest
from helpers.electrodes import rows
from helpers.meshes import box_in_box
from numpy.testing import assert_allclose

import geom.bem.solve as solver
from geom.arrays import Ints
from geom.bem.krylov import gmres
from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundaryLaw, BoundarySolution, Current, ElectrodePatch, Voltage
from geom.electrode.laws import ButlerVolmer, Linear, Tafel
from geom.errors import SolveError

PART, ANODES, WALL = [*range(6)], [6, 7], [8]
SURFACE = box_in_box(2, 0.04, 0.15)
ONE_AMPERE = Current(1.0)
LAWS: dict[str, BoundaryLaw | None] = {
    "none": None,
    "linear": Linear(1e-3),
    "tafel": Tafel(exchange=1e-3, cathodic_slope=0.048),
    "butler-volmer": ButlerVolmer(exchange=1.0, cathodic_slope=0.05, anodic_slope=0.03),
}


def panels(tags: Sequence[int]) -> Ints:
    return rows(SURFACE, tags)


@cache
def operators() -> Operators:
    return assemble(SURFACE, panels([*PART, *ANODES]))


def solved(
    law: BoundaryLaw | None = None,
    control: Voltage | Current = ONE_AMPERE,
    *,
    cathode: Sequence[int] = PART,
    anode: Sequence[int] = ANODES,
    conductivity: float = 8.0,
    start: BoundarySolution | None = None,
) -> BoundarySolution:
    return solver.solve(
        operators(),
        anodes=[ElectrodePatch(panels(anode), None)],
        cathodes=[ElectrodePatch(panels(cathode), law)],
        conductivity=conductivity,
        control=control,
        start=start,
    )


@cache
def cold(name: str, control: Voltage | Current = ONE_AMPERE) -> BoundarySolution:
    """One of the laws, begun from nothing."""
    return solved(LAWS[name], control)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_an_iteration_that_stops_early_gives_an_error_and_no_current(
    law: BoundaryLaw | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The electrode laws alone would be met to the last digit after a single Krylov vector."""
    monkeypatch.setattr(solver, "gmres", partial(gmres, most=1))
    with pytest.raises(SolveError) as caught:
        solved(law, Voltage(1.0))
    assert caught.value.slug == "solve-not-converged"
    assert caught.value.residuals
    assert caught.value.hint


def test_an_iteration_that_needs_a_second_start_gets_it(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = solved(LAWS["linear"])
    monkeypatch.setattr(solver, "gmres", partial(gmres, most=12))
    assert_allclose(solved(LAWS["linear"]).voltage, whole.voltage, rtol=1e-4, atol=0)


@pytest.mark.parametrize("before", LAWS)
@pytest.mark.parametrize("after", LAWS)
@pytest.mark.parametrize("control", [Current(2.0), Voltage(1.0)], ids=["current", "voltage"])
def test_a_start_from_another_law_changes_nothing_but_the_work(
    before: str, after: str, control: Voltage | Current
) -> None:
    fresh = cold(after, control)
    warm = solved(LAWS[after], control, start=cold(before))
    assert_allclose(warm.voltage, fresh.voltage, rtol=1e-4, atol=0)
    assert_allclose(warm.cathode_current, fresh.cathode_current, rtol=1e-4, atol=0)
    spread = np.linalg.norm(warm.current_density - fresh.current_density)
    assert spread < 1e-3 * np.linalg.norm(fresh.current_density)
    assert warm.iterations <= 1.3 * fresh.iterations  # not a long wait on rounding noise


def test_a_start_from_the_same_law_saves_work() -> None:
    for name, law in LAWS.items():
        fresh = solved(law, Current(1.2))
        assert solved(law, Current(1.2), start=cold(name)).iterations < 0.9 * fresh.iterations


@pytest.mark.parametrize(
    ("cathode", "anode"),
    [(PART, ANODES[:1]), ([*PART, *WALL], ANODES), (PART, [*ANODES, 0]), (PART[:5], ANODES)],
    ids=["anode left out", "insulator", "panel of both", "cathode left out"],
)
def test_patches_that_are_not_the_electrodes_are_refused(cathode: Sequence[int], anode: Sequence[int]) -> None:
    """A panel left out would pass for an anode at zero volt, an insulator for the last electrode panel."""
    with pytest.raises(ValueError, match="electrode panels"):
        solved(cathode=cathode, anode=anode)


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_quantities_that_cannot_be_are_refused(value: float) -> None:
    for control in (Voltage(value), Current(value)):
        with pytest.raises(ValueError, match="positive"):
            solved(control=control)
    with pytest.raises(ValueError, match="positive"):
        solved(conductivity=value)


def test_a_cell_without_cathode_is_refused() -> None:
    with pytest.raises(ValueError, match="cathode"):
        solver.solve(
            operators(),
            anodes=[ElectrodePatch(panels([*PART, *ANODES]), None)],
            cathodes=[],
            conductivity=8.0,
            control=Voltage(1.0),
        )
