"""What the supply must give: parts of the voltage, wires, resistors and drift, by hand and against fields solved anew."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.cells import COARSE, reference
from numpy.testing import assert_allclose

from geom.advice.supply import CONTACT, Supplying, electrode_parts, electrode_stiffness, supply_findings, supplying
from geom.bem.problem import Current, Voltage
from geom.bench.records import Hook, Lead
from geom.electrode.laws import Law, Linear, Tafel
from geom.field import Field, Prepared, solve_field
from geom.findings import Severity
from geom.job.job import Supply
from geom.tables.read import growth_per_kelvin
from geom.tables.stock import wire_rule

NOTHING = Supply(None, None)
LAW = Linear(2e-4)
TAFEL = Tafel(exchange=1.0, cathodic_slope=0.05)
MM2 = 1e-6


@cache
def warmed(law: Law | None, times: float = 1.0) -> Prepared:
    """The reference cell with so many times its conductivity."""
    plain = reference(law, COARSE)
    bath = replace(plain.cell.bath, conductivity=times * plain.cell.bath.conductivity)
    return replace(plain, cell=replace(plain.cell, bath=bath))


@cache
def field(law: Law | None, amperes: float = 1.0, times: float = 1.0) -> Field:
    """The reference cell at a current."""
    return solve_field(warmed(law, times), Current(amperes))


def needed(
    of: Field,
    supply: Supply = NOTHING,
    *,
    hook: Hook | None = None,
    lead: Lead | None = None,
    per_kelvin: float | None = None,
) -> Supplying:
    """What the supply must give, with what a voltage drives solved anew."""
    law = of.cell.bath.law
    return supplying(
        of,
        supply,
        hook=None if hook is None else (hook, wire_rule(hook.metal)),
        lead=None if lead is None else (lead, wire_rule(lead.metal)),
        per_kelvin=per_kelvin,
        current_at=lambda volts: solve_field(warmed(law), Voltage(volts)).total_current,
    )


def test_without_polarization_all_the_voltage_is_ohmic() -> None:
    found = needed(field(None))
    assert_allclose(found.ohmic, found.cell, rtol=1e-9, atol=0)
    assert abs(found.cathode) + abs(found.anode) < 1e-9 * found.cell


def test_twice_the_conductivity_halves_the_ohmic_part_of_a_cell_without_polarization() -> None:
    one, two = needed(field(None)), needed(field(None, times=2.0))
    assert_allclose(one.ohmic / two.ohmic, 2.0, rtol=1e-6, atol=0)


def test_the_drop_at_the_part_is_that_of_its_law_weighed_by_current() -> None:
    of = field(LAW)
    found = needed(of)
    assert (found.cathode, found.anode) == electrode_parts(of)
    assert abs(found.anode) < 1e-9
    j, area = of.at_centroids, of.areas
    assert_allclose(electrode_parts(of)[0], 2e-4 * float(j**2 @ area) / of.current, rtol=0.01, atol=0)


def test_an_anode_that_polarizes_takes_its_part_of_the_voltage() -> None:
    """A linear law of 1e-3 ohm m² on a sheet: r i²/I over its skin, and no more ohmic drop for it."""
    plain = warmed(None)
    anodes = tuple(replace(anode, law=Linear(1e-3)) for anode in plain.cell.anodes)
    of = solve_field(replace(plain, cell=replace(plain.cell, anodes=anodes)), Current(1.0))
    out, area = of.anode_current_density, of.panels.surface.areas
    cathode, anode = electrode_parts(of)
    assert_allclose(anode, 1e-3 * float(out**2 @ area) / of.total_current, rtol=0.02, atol=0)
    assert abs(cathode) < 1e-9
    # ohmic heat can only be least where nothing but the liquid chooses the way (Thomson)
    assert of.voltage - anode >= 0.999 * field(None).voltage


def test_the_parts_and_the_wires_add_up_to_what_is_needed() -> None:
    """1.5 m of copper of 1 mm²: 17.24 mohm a metre (IACS), 25.9 mV at 1 A."""
    lead = Lead("copper", 2.0 * np.sqrt(MM2 / np.pi), 1.5)
    found = needed(field(LAW), hook=Hook("copper", 1e-3, 2), lead=lead)
    hooks, wire = found.conductors
    assert_allclose(wire.drop, 1.5 * 17.24e-3, rtol=0.01, atol=0)
    assert_allclose(hooks.drop, CONTACT / 2, rtol=1e-9, atol=0)
    total = found.ohmic + found.cathode + found.anode + hooks.drop + wire.drop
    assert_allclose(found.needed, total, rtol=1e-12, atol=0)
    assert_allclose(found.power, 1.0 * total, rtol=1e-9, atol=0)


def test_a_hook_shares_its_current_and_is_rated_by_its_section() -> None:
    """Two hooks of 1 mm copper: 1000 A/in² = 1.55 A/mm² (Metal Finishing Guidebook) lets 2 x 1.217 A through."""
    found = needed(field(LAW), hook=Hook("copper", 1e-3, 2))
    (hooks,) = found.conductors
    assert_allclose(hooks.current, 0.5, rtol=1e-9, atol=0)
    assert_allclose(hooks.load / 1e6, 0.5 / (np.pi / 4), rtol=1e-9, atol=0)
    assert_allclose(hooks.allows, 2 * 1.55 * np.pi / 4, rtol=0.005, atol=0)
    assert_allclose(hooks.least.diameter, np.sqrt(4 * 0.5 / 1.55 / np.pi) * 1e-3, rtol=0.005, atol=0)


@pytest.mark.parametrize(
    ("volts", "amperes", "can"),
    [
        (None, None, None),
        (99.0, None, True),
        (0.01, None, False),
        (None, 0.5, False),
        (99.0, 1.0, True),
        (99.0, 0.9, False),
    ],
)
def test_a_supply_can_hold_what_it_states(volts: float | None, amperes: float | None, can: bool | None) -> None:
    assert needed(field(LAW), Supply(volts, amperes)).can is can


def test_a_supply_that_is_just_enough_for_the_cell_is_too_weak_for_cell_and_lead() -> None:
    of = field(LAW)
    lead = Lead("copper", 0.5e-3, 3.0)
    assert needed(of, Supply(of.voltage, None)).can
    assert not needed(of, Supply(of.voltage, None), lead=lead).can


def test_a_bare_brick_drives_what_is_solved_at_its_voltage_and_a_resistor_brings_it_back() -> None:
    """With the resistor bought in series the cell, solved at that current, and the resistor share the brick's voltage."""
    of = field(LAW)
    found = needed(of, Supply(12.0, None, "fixed-voltage"))
    brick = found.brick
    assert brick is not None
    assert brick.current is not None
    assert brick.over is not None
    assert brick.settles_at is not None
    assert_allclose(brick.over, brick.current / of.total_current, rtol=1e-9, atol=0)
    assert brick.over > 2
    assert brick.resistor is not None
    assert brick.bought is not None
    assert_allclose(of.voltage + of.total_current * brick.resistor, 12.0, rtol=1e-9, atol=0)
    assert brick.bought >= brick.resistor
    at_bought = solve_field(warmed(LAW), Current(brick.settles_at)).voltage + brick.settles_at * brick.bought
    assert_allclose(at_bought, 12.0, rtol=0.02, atol=0)
    assert brick.power is not None
    assert_allclose(brick.power, brick.settles_at**2 * brick.bought, rtol=1e-12, atol=0)
    assert brick.rating == 2.0 * brick.power


def test_nine_volts_too_many_at_half_an_ampere_take_eighteen_ohms_and_ten_watts() -> None:
    """By hand: 9 V / 0.5 A = 18 ohm, a value of E12; 4.5 W in it, bought for twice that."""
    of = field(None, 0.5)
    brick = needed(of, Supply(of.voltage + 9.0, None, "fixed-voltage")).brick
    assert brick is not None
    assert brick.resistor is not None
    assert brick.gap_factor is not None
    assert_allclose((brick.resistor, brick.bought, brick.rating), (18.0, 18.0, 9.0), rtol=1e-6, atol=0)
    assert_allclose(brick.settles_at, 0.5, rtol=1e-6, atol=0)
    # without polarization a voltage drives as many times the current as the gap would have to grow
    assert_allclose(brick.gap_factor, brick.over, rtol=1e-3, atol=0)


@pytest.mark.parametrize("times", [1.05, 1.3, 2.7, 8.0])
def test_with_the_resistor_bought_a_cell_without_polarization_settles_where_both_share_the_voltage(
    times: float,
) -> None:
    """An ohmic cell and a resistor in series: I = V / (R_cell + R)."""
    of = field(None)
    brick = needed(of, Supply(times * of.voltage, None, "fixed-voltage")).brick
    assert brick is not None
    assert brick.bought is not None
    assert_allclose(
        brick.settles_at, times * of.voltage / (of.voltage / of.total_current + brick.bought), rtol=1e-6, atol=0
    )


def test_a_brick_too_weak_for_the_plan_asks_for_no_resistor() -> None:
    brick = needed(field(LAW), Supply(0.05, None, "fixed-voltage")).brick
    assert brick is not None
    assert brick.resistor is brick.bought is brick.rating is brick.gap_factor is None
    assert brick.over is not None
    assert brick.over < 1


def test_a_supply_that_can_be_set_is_no_brick() -> None:
    assert needed(field(LAW), Supply(12.0, 3.0, "constant-voltage")).brick is None


@pytest.mark.parametrize(("law", "amperes"), [(None, 1.0), (LAW, 1.0), (TAFEL, 1.0), (TAFEL, 0.1), (Linear(2e-3), 1.0)])
def test_the_drift_at_constant_voltage_is_that_of_the_cell_solved_warmer(law: Law | None, amperes: float) -> None:
    """Conductivity 1 % up at the same voltage: exact without polarization, else by how all that gives way shares it."""
    of = field(law, amperes)
    found = needed(of, per_kelvin=0.01)
    assert found.drift is not None
    warm = solve_field(warmed(law, 1.01), Voltage(of.voltage)).total_current
    assert_allclose(found.drift, warm / of.total_current - 1.0, rtol=0.002 if law is None else 0.03, atol=0)


@pytest.mark.parametrize(("law", "stiff"), [(None, 0.0), (TAFEL, 0.05)])
def test_electrodes_stiffen_by_nothing_or_by_the_slope_of_tafel(law: Law | None, stiff: float) -> None:
    assert_allclose(electrode_stiffness(field(law)), stiff, rtol=0.01, atol=1e-12)


def test_an_anode_that_polarizes_stiffens_the_cell_by_its_drop() -> None:
    plain = warmed(None)
    anodes = tuple(replace(anode, law=Linear(1e-3)) for anode in plain.cell.anodes)
    of = solve_field(replace(plain, cell=replace(plain.cell, anodes=anodes)), Current(1.0))
    assert_allclose(electrode_stiffness(of), electrode_parts(of)[1], rtol=0.01, atol=0)


def test_a_resistance_in_the_lead_damps_the_drift() -> None:
    thin = Lead("copper", 0.3e-3, 5.0)
    plain, damped = needed(field(None), per_kelvin=0.02), needed(field(None), lead=thin, per_kelvin=0.02)
    assert plain.drift is not None
    assert damped.drift is not None
    assert_allclose(damped.drift / plain.drift, plain.needed / damped.needed, rtol=1e-9, atol=0)


def test_conductivity_of_a_warm_bath_grows_by_a_smaller_share() -> None:
    """2 %/K of that at 20 °C (salt solutions, from memory) is 2 / 1.7 % of that at 55 °C."""
    cold, warm = (growth_per_kelvin("watts-nickel", 273.15 + t) for t in (20.0, 55.0))
    assert_allclose((cold, warm), (0.02, 0.02 / 1.7), rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("diameter_mm", "codes"),
    [(1.0, []), (0.60, ["conductor-warm"]), (0.40, ["conductor-hot"])],
)
def test_copper_past_three_and_six_amperes_a_square_millimetre_is_told(diameter_mm: float, codes: list[str]) -> None:
    """1 A through 0.785, 0.283 and 0.126 mm²: 1.3, 3.5 and 8 A/mm² (cautions: common practice, no source)."""
    found = supply_findings(needed(field(LAW), hook=Hook("copper", 1e-3 * diameter_mm)))
    assert [f.code for f in found] == codes
    if codes == ["conductor-hot"]:
        assert found[0].severity == Severity.STOP


def test_a_brick_straight_across_the_cell_is_warned_of() -> None:
    strong = needed(field(LAW), Supply(12.0, None, "fixed-voltage"))
    weak = needed(field(LAW), Supply(0.05, None, "fixed-voltage"))
    assert [f.code for f in supply_findings(strong)] == ["bare-supply"]
    assert supply_findings(weak) == []
