"""What a run does to the bath: conservation of charge, mass and heat, and the trade's limits."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from helpers.cells import COARSE, reference
from numpy.testing import assert_allclose

from geom.advice.bath_use import USES, BathUse, bath_use, bath_use_findings, estimated_loss
from geom.bem.problem import Current
from geom.bench.records import MakeUp, Room
from geom.cell.cell import BoxTank, JarTank, Tank
from geom.chemistry import Range
from geom.deposit import Deposit, plate
from geom.electrode.laws import Linear
from geom.field import Field, solve_field

HOUR = 3600.0
LITRE = 1e-3
ROOM = Room(293.15, None, 15.0)
LAW = Linear(2e-4)


@cache
def field(amperes: float = 2.0) -> Field:
    """The reference cell at a current: watts nickel at 55 °C in 4.5 L."""
    return solve_field(reference(LAW, COARSE), Current(amperes))


def run(times: tuple[float, ...] = (HOUR,), amperes: tuple[float, ...] = (2.0,)) -> Deposit:
    """The deposit after poses that differ in current alone."""
    fields = tuple(field(a) for a in amperes)
    return plate(fields, times, ("a", "b", "c")[: len(times)], np.ones(fields[0].panels.part_count, dtype=bool))


def used(
    deposit: Deposit | None = None,
    *,
    room: Room = ROOM,
    volume: float = 4.5 * LITRE,
    make_up: MakeUp | None = None,
    dissolving: float = 1.0,
    of: Field | None = None,
    per_kelvin: float | None = None,
) -> BathUse:
    return bath_use(
        of or field(),
        run() if deposit is None else deposit,
        volume=volume,
        room=room,
        room_is_given=False,
        per_kelvin=per_kelvin,
        make_up=make_up,
        dissolving=dissolving,
    )


def cold(room: Room = ROOM) -> Field:
    """The same with the bath as warm as the air: no heater."""
    plain = field()
    bath = replace(plain.cell.bath, temperature=room.temperature)
    return replace(plain, cell=replace(plain.cell, bath=bath))


def test_metal_given_less_metal_deposited_is_what_the_efficiency_leaves() -> None:
    """2 Ah of nickel at 1.095 g/Ah (handbook figure): all of it leaves the anode, the share of the bath's efficiency plates."""
    found, share = used(), field().cell.bath.efficiency
    assert share < 1.0
    assert_allclose(1e3 * found.dissolved, 2.19, rtol=1e-3, atol=0)
    assert_allclose(found.deposited, share * found.dissolved, rtol=2e-3, atol=0)
    assert_allclose(1e3 * found.net, 2.19 * (1 - share), rtol=0.05, atol=0)
    assert_allclose(found.strength * 4.5 * LITRE, found.net, rtol=1e-9, atol=0)
    assert_allclose(found.after_uses, USES * found.strength, rtol=1e-9, atol=0)


def test_the_charge_makes_metal_or_hydrogen() -> None:
    """2 Ah less what deposits, at 0.4564 L/Ah (ideal gas at 25 °C, two electrons a molecule)."""
    found = used()
    in_metal = found.deposited / (58.6934e-3 / (2 * 96485.332)) / HOUR
    assert_allclose(1e3 * found.hydrogen, (2.0 - in_metal) * 0.4564, rtol=1e-3, atol=0)


def test_an_inert_anode_gives_no_metal_and_the_bath_loses_what_is_deposited() -> None:
    found = used(dissolving=0.0)
    assert found.dissolved == 0.0
    assert found.net == -found.deposited < 0.0
    assert found.strength < 0.0


def test_the_heat_is_that_of_all_poses_by_voltage_and_current() -> None:
    two = run((HOUR, 0.5 * HOUR), (2.0, 4.0))
    joules = 2.0 * field(2.0).voltage * HOUR + 4.0 * field(4.0).voltage * 0.5 * HOUR
    warm = used(two, of=cold()).warming
    assert_allclose(warm.power * warm.time, joules, rtol=1e-9, atol=0)
    assert_allclose(warm.stored + warm.lost, joules, rtol=1e-9, atol=0)


def test_a_bath_as_warm_as_the_air_rises_by_the_exponential_of_its_loss() -> None:
    """2 A in 4.5 L with a stated loss of 1 W/K: C = 4.2 x 4.5 kJ/K."""
    room = Room(293.15, Range(1.0, 1.0, 1.0), 15.0)
    found = used(of=cold(), room=room, per_kelvin=0.02)
    power = 2.0 * field().voltage
    rise = power * (1.0 - math.exp(-HOUR / (4.2e6 * 4.5e-3)))
    assert_allclose(found.warming.rise.typical, rise, rtol=1e-9, atol=0)
    assert found.drift is not None
    assert_allclose(found.drift, 0.02 * rise, rtol=1e-9, atol=0)


def test_a_hot_bath_is_held_by_the_current_before_it_is_warmed_by_it() -> None:
    """At 55 °C over air of 20 °C and 1 W/K the heater gives 35 W; the few watts of the current only spare it."""
    found = used(room=Room(293.15, Range(1.0, 1.0, 1.0), 15.0))
    assert 0.0 < found.warming.power < 35.0
    assert found.warming.net == found.warming.rise.high == 0.0


@pytest.mark.parametrize(
    ("tank", "wall", "surface"),
    [
        (BoxTank(0.2, 0.1, 0.15), 2 * 0.3 * 0.15 + 0.02, 0.02),
        (JarTank(0.1, 0.127), math.pi * 0.1 * 0.127 + math.pi / 400, math.pi / 400),
    ],
)
def test_a_tank_loses_by_its_walls_its_floor_and_more_by_its_surface(tank: Tank, wall: float, surface: float) -> None:
    """10 and 25 W/(m² K): an estimate, no source."""
    assert_allclose(estimated_loss(tank).typical, 10.0 * wall + 25.0 * surface, rtol=1e-9, atol=0)


def test_the_loss_of_an_open_litre_lies_about_where_the_bench_puts_it() -> None:
    """0.6 to 0.8 W/K for a glass beaker of 1 L in still air: common practice, no source."""
    loss = estimated_loss(JarTank(0.1, 0.127))
    assert loss.low < 0.6 < loss.typical < 0.8 < loss.high


def test_loading_is_amperes_a_litre_and_litres_a_square_decimetre() -> None:
    found = used(volume=2.0 * LITRE)
    assert_allclose(found.loading / 1e3, 1.0, rtol=1e-9, atol=0)
    area_dm2 = 100.0 * field().wetted_area
    assert_allclose(10.0 * found.volume_per_area, 2.0 / area_dm2, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    ("volume", "codes"),
    [(2.0 * LITRE, []), (1.9 * LITRE, ["bath-loaded"]), (0.4 * LITRE, ["bath-loaded", "bath-small"])],
)
def test_over_one_ampere_a_litre_and_under_a_litre_a_square_decimetre_are_told(volume: float, codes: list[str]) -> None:
    """Common practice, no source; the bar has 0.46 dm²."""
    assert 0.4e-2 < field().wetted_area < 0.5e-2
    assert [f.code for f in bath_use_findings(used(volume=volume), 15.0)] == codes


@pytest.mark.parametrize(("over", "codes"), [(0.99, ["bath-warms"]), (1.01, [])])
def test_a_rise_over_what_is_put_up_with_is_told(over: float, codes: list[str]) -> None:
    found = used(of=cold(), room=replace(ROOM, loss=Range(0.5, 1.0, 2.0)))
    assert [f.code for f in bath_use_findings(found, over * found.warming.rise.typical)] == codes


def test_making_up_is_told_where_it_is_asked_for() -> None:
    """4.5 L from 1 to 5.9 g/L at 2 A: 22.05 g over 1.095 g/Ah, 1.3 to 2 times as much in practice."""
    assert used().making is None
    made = used(make_up=MakeUp(1.0, 5.9, 2.0)).making
    assert made is not None
    assert made.time is not None
    assert_allclose(made.least_charge / HOUR, 22.05 / 1.095, rtol=1e-3, atol=0)
    assert_allclose((made.time.low, made.time.high), np.array([1.3, 2.0]) * made.least_charge / 2.0, rtol=1e-9, atol=0)


def test_without_a_time_the_power_is_that_of_the_field() -> None:
    found = used(run((0.0,)))
    assert_allclose(found.warming.power, 2.0 * field().voltage, rtol=1e-9, atol=0)
    assert found.warming.rise.high == found.net == 0.0
