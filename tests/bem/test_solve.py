"""The boundary solver on one small cell: laws of physics, every electrode law, both controls, honest failure."""

import math
from functools import cache

import numpy as np
import pytest
from helpers.electrodes import facing, rows
from helpers.meshes import box_in_box
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from geom.bem.operators import Operators, assemble
from geom.bem.problem import BoundaryLaw, BoundarySolution, Current, ElectrodePatch, Voltage
from geom.bem.solve import solve
from geom.electrode.laws import ButlerVolmer, Limited, Linear, Mirrored, Tafel
from geom.errors import SolveError
from geom.surface.surface import Surface

PART = range(6)
LEFT, RIGHT = [6], [7]
KAPPA = 20.0  # about that of a nickel bath [S/m]
BUTLER_VOLMER = ButlerVolmer(exchange=1.0, cathodic_slope=0.052, anodic_slope=0.026)
LAWS = {
    "linear": Linear(1e-3),
    "tafel": Tafel(exchange=0.1, cathodic_slope=0.05),
    "butler-volmer": BUTLER_VOLMER,
    "limited": Limited(BUTLER_VOLMER, 4000.0),
}

few = settings(max_examples=8, deadline=None, derandomize=True)


@cache
def cell(scale: float = 1.0) -> Surface:
    """A cube of 40 mm in the middle of a cubic tank of 150 mm whose two walls in x may be anodes."""
    return box_in_box(3, 0.04 * scale, 0.15 * scale)


@cache
def operators() -> Operators:
    surface = cell()
    return assemble(surface, rows(surface, [*PART, *LEFT, *RIGHT]))


def solved(
    law: BoundaryLaw | None,
    control: Voltage | Current,
    *,
    conductivity: float = KAPPA,
    anode_law: BoundaryLaw | None = None,
    tolerance: float = 1e-5,
) -> BoundarySolution:
    """The cube against both walls."""
    surface = cell()
    return solve(
        operators(),
        anodes=[ElectrodePatch(rows(surface, [*LEFT, *RIGHT]), anode_law)],
        cathodes=[ElectrodePatch(rows(surface, PART), law)],
        conductivity=conductivity,
        control=control,
        tolerance=tolerance,
    )


def cathode_area() -> float:
    return float(cell().areas[rows(cell(), PART)].sum())


@few
@given(st.floats(1e-3, 1e3))
def test_without_a_nonlinear_law_the_current_follows_the_voltage(volts: float) -> None:
    for law in (None, Linear(1e-3)):
        once = solved(law, Voltage(1.0))
        assert_allclose(solved(law, Voltage(volts)).cathode_current, volts * once.cathode_current, rtol=2e-4, atol=0)


@few
@given(st.floats(1e-2, 1e3))
def test_the_primary_current_follows_the_conductivity(kappa: float) -> None:
    once = solved(None, Voltage(1.0), conductivity=1.0).cathode_current
    assert_allclose(solved(None, Voltage(1.0), conductivity=kappa).cathode_current, kappa * once, rtol=2e-4, atol=0)


@pytest.mark.parametrize("scale", [0.02, 0.3, 12.0])
def test_the_primary_current_follows_the_size_of_the_cell(scale: float) -> None:
    once = facing(cell(), anode=LEFT, cathode=PART).cathode_current
    scaled = facing(cell(scale), anode=LEFT, cathode=PART).cathode_current
    assert_allclose(scaled, scale * once, rtol=1e-4, atol=0)


def test_the_secondary_distribution_depends_on_the_wagner_number_alone() -> None:
    """Size, conductivity and resistance changed together at the same kappa R / length: the same shares."""
    one = facing(cell(), anode=LEFT, cathode=PART, conductivity=10.0, law=Linear(1e-3))
    two = facing(cell(3.0), anode=LEFT, cathode=PART, conductivity=2.0, law=Linear(15e-3))
    here = rows(cell(), PART)
    shares = [s.current_density[here] / np.abs(s.current_density[here]).mean() for s in (one, two)]
    assert_allclose(shares[0], shares[1], rtol=2e-3, atol=0)


def test_moving_and_turning_the_cell_changes_nothing() -> None:
    c, s = math.cos(0.7), math.sin(0.7)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    moved = facing(cell().moved(turn, np.array([3.0, -2.0, 5.0])), anode=LEFT, cathode=PART, law=Linear(1e-3))
    here = facing(cell(), anode=LEFT, cathode=PART, law=Linear(1e-3))
    assert_allclose(moved.cathode_current, here.cathode_current, rtol=1e-4, atol=0)


def test_a_cell_with_mirror_symmetry_has_a_mirrored_field() -> None:
    surface, found = cell(), solved(Linear(1e-3), Voltage(1.0))
    sides = [found.current_density[rows(surface, [k])] @ surface.areas[rows(surface, [k])] for k in PART]
    assert_allclose(sides[0], sides[1], rtol=1e-3, atol=0)
    assert_allclose(sides[2:], sides[2], rtol=1e-3, atol=0)
    assert sides[0] > 1.02 * sides[2]


def test_what_leaves_the_anodes_enters_the_cathode() -> None:
    for law in (None, *LAWS.values()):
        found = solved(law, Voltage(2.0))
        assert_allclose(found.anode_current, found.cathode_current, rtol=5e-3, atol=0)


def test_more_anode_gives_more_current_and_more_polarization_less() -> None:
    one = facing(cell(), anode=LEFT, cathode=PART).cathode_current
    assert facing(cell(), anode=[*LEFT, *RIGHT], cathode=PART).cathode_current > 1.3 * one
    assert facing(cell(), anode=LEFT, cathode=PART, law=Linear(1e-2)).cathode_current < 0.99 * one


def test_two_electrodes_may_change_places() -> None:
    surface = cell()
    there = facing(surface, anode=LEFT, cathode=PART).cathode_current
    back = facing(surface, anode=PART, cathode=LEFT).cathode_current
    assert_allclose(there, back, rtol=1e-2, atol=0)


def test_a_third_electrode_takes_the_same_share_either_way() -> None:
    """Reciprocity: current into the top wall when the left one is driven, and the other way round."""
    surface = cell()
    left, top, part = rows(surface, LEFT), rows(surface, [11]), rows(surface, PART)
    own = assemble(surface, np.concatenate([part, left, top]))

    def transfer(driven: np.ndarray, heard: np.ndarray) -> float:
        others = [ElectrodePatch(p, None) for p in (part, left, top) if p is not driven]
        found = solve(
            own,
            anodes=[ElectrodePatch(driven, None)],
            cathodes=others,
            conductivity=1.0,
            control=Voltage(1.0),
        )
        return float(found.current_density[heard] @ surface.areas[heard])

    assert_allclose(transfer(left, top), transfer(top, left), rtol=1e-2, atol=0)
    assert transfer(left, top) > 0


def test_a_small_wagner_number_gives_the_primary_field_and_a_large_one_an_even_field() -> None:
    here = rows(cell(), PART)
    areas = cell().areas[here]

    def shares(resistance: float) -> np.ndarray:
        density = solved(Linear(resistance), Voltage(1.0)).current_density[here]
        return density / (density @ areas / areas.sum())

    primary = solved(None, Voltage(1.0)).current_density[here]
    primary = primary / (primary @ areas / areas.sum())
    length = 0.04
    assert_allclose(shares(1e-6 * length / KAPPA), primary, rtol=1e-2, atol=0)
    assert_allclose(shares(1e3 * length / KAPPA), 1.0, rtol=1e-2, atol=0)
    spread = [np.ptp(shares(wagner * length / KAPPA)) for wagner in (0.01, 0.1, 1.0, 10.0)]
    assert np.all(np.diff(spread) < 0)


def test_the_power_put_in_is_spent_in_the_liquid_and_at_the_surfaces() -> None:
    """V I = sum of -phi i over the boundary (heat in the liquid) + sum of i u (interfaces); laws both sides."""
    anode_law = Mirrored(Linear(5e-4))
    found = solved(LAWS["tafel"], Current(4.0), anode_law=anode_law)
    surface = cell()
    flow = found.current_density * surface.areas
    in_liquid = -float(found.potential @ flow)
    here, there = rows(surface, PART), rows(surface, [*LEFT, *RIGHT])
    at_cathode = float(LAWS["tafel"].drop(found.current_density[here]) @ flow[here])
    at_anode = float(anode_law.drop(found.current_density[there]) @ flow[there])
    assert_allclose(found.voltage * found.cathode_current, in_liquid + at_cathode + at_anode, rtol=5e-3, atol=0)
    assert min(in_liquid, at_cathode, at_anode) > 0


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("share", [0.01, 0.1, 1.0, 10.0])
def test_every_law_is_met_at_a_given_current(name: str, share: float) -> None:
    """A hundredth to ten times 200 A/m² in the mean."""
    law, total = LAWS[name], share * 200.0 * cathode_area()
    found = solved(law, Current(total))
    here = rows(cell(), PART)
    assert_allclose(found.cathode_current, total, rtol=1e-6, atol=0)
    drop = found.potential[here] + found.voltage
    miss = cell().areas[here] @ np.abs(law.current(drop) - found.current_density[here])
    assert miss < 1e-3 * total
    assert np.all(found.current_density[here] > 0)


@pytest.mark.parametrize("name", LAWS)
@pytest.mark.parametrize("share", [0.01, 1.0, 10.0])
def test_the_voltage_found_for_a_current_gives_that_current_back(name: str, share: float) -> None:
    total = share * 200.0 * cathode_area()
    volts = solved(LAWS[name], Current(total)).voltage
    assert_allclose(solved(LAWS[name], Voltage(volts)).cathode_current, total, rtol=1e-3, atol=0)


@pytest.mark.parametrize("name", LAWS)
def test_more_voltage_gives_more_current(name: str) -> None:
    found = [solved(LAWS[name], Voltage(v)).cathode_current for v in (0.3, 1.0, 3.0)]
    assert np.all(np.diff(found) > 0)


def test_a_current_over_the_limiting_current_has_no_solution() -> None:
    law = Limited(BUTLER_VOLMER, 300.0)
    with pytest.raises(SolveError) as caught:
        solved(law, Current(330.0 * cathode_area()))
    assert caught.value.slug == "solve-not-converged"
    assert len(caught.value.residuals) > 0
    assert "limiting" in caught.value.hint


def test_a_current_just_under_the_limiting_current_is_spread_evenly() -> None:
    law = Limited(BUTLER_VOLMER, 300.0)
    found = solved(law, Current(285.0 * cathode_area()))
    density = found.current_density[rows(cell(), PART)]
    assert density.max() < 300.0
    assert density.min() > 220.0


@pytest.mark.parametrize("volts", [3.0, 10.0, 60.0])
def test_a_high_voltage_drives_a_limited_cathode_to_its_limiting_current(volts: float) -> None:
    found = solved(Limited(BUTLER_VOLMER, 300.0), Voltage(volts))
    assert_allclose(found.cathode_current, 300.0 * cathode_area(), rtol=1e-4, atol=0)
    assert len(found.residuals) <= 15


def test_the_residuals_tell_of_a_converged_newton() -> None:
    found = solved(LAWS["tafel"], Current(4.0))
    assert found.residuals[-1] < 1e-5
    assert len(found.residuals) <= 12
    assert found.iterations > 0
