"""docs/worked-examples.md: each example worked again by the program, and its figures those of the page."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.cells import MM, UPRIGHT, bath

from geom.advice.programme import Asked, best_times, least_times
from geom.bem.problem import Current
from geom.bench.heat import HEAT_CAPACITY, warming
from geom.bench.records import Substrate
from geom.bench.strength import making
from geom.bench.wires import least_wire, next_e12, section
from geom.cell.cell import BoxTank, Cell, Pose, SheetAnode
from geom.chemistry import Range
from geom.electrode.faraday import mass_of_charge, time_for_thickness
from geom.errors import GeomError
from geom.field import prepare, solve_field
from geom.panels import MeshOptions, mesh_cell
from geom.part.build import build_part
from geom.part.shapes import Bar
from geom.runlog.efficiency import weighed
from geom.runlog.run import Run
from geom.tables.read import metal
from geom.tables.stock import wire_rule
from geom.tables.substrates import bake

PAGE = (Path(__file__).parents[2] / "docs" / "worked-examples.md").read_text(encoding="utf-8")
SECTIONS = dict(re.findall(r"^## (\d+)\. (.*?)(?=^## |\Z)", PAGE, flags=re.MULTILINE | re.DOTALL))


def on_page(number: int, *figures: str) -> None:
    """Hold that the example of that number gives these figures as its results."""
    results = re.findall(r"\*\*(.+?)\*\*", SECTIONS[str(number)], flags=re.DOTALL)
    assert tuple(results) == figures


def test_charge_for_a_thickness() -> None:
    """S. F. Rudy, Clarifying facts about nickel plating, finishingandcoating.com: 0.17 Ah, 10 min, 0.18 g."""
    on_page(1, "0.171 A·h", "0.178 g")
    seconds = time_for_thickness(2e-6, 100.0, metal("Ni"), 0.95)
    assert seconds / 3600 == pytest.approx(0.171, abs=0.0005)
    assert mass_of_charge(seconds, metal("Ni"), 0.95) == pytest.approx(0.178e-3, abs=0.5e-6)


def test_efficiency_by_weighing() -> None:
    on_page(2, "94.4 %")
    nickel = metal("Ni")
    run = Run("2026-05-09", "watts-nickel", 0.9, None, 2400.0, 0.1, 0.10062, 1e-5, 1.0, mass_of_charge(1.0, nickel))
    found = weighed(run, 1)
    assert found is not None
    assert found.efficiency == pytest.approx(0.944, abs=0.0005)
    assert found.error == pytest.approx(0.006, abs=0.0005)


def test_voltage_across_a_gap() -> None:
    """Ohm's law for plates that fill the cross-section, solved as any other tank."""
    on_page(3, "2.00 V")
    weak = replace(bath(1.5), efficiency=0.95)
    tank = BoxTank(0.114, 0.06, 0.06)
    plate = build_part(Bar(60 * MM, 60 * MM, 2 * MM))
    anode = SheetAnode(2 * MM, 60 * MM, 60 * MM, (-51 * MM, 0.0, 30 * MM))
    made = Cell(tank, (anode,), plate, Pose(UPRIGHT, (51 * MM, 0.0, 30 * MM)), weak)
    try:
        panels = mesh_cell(made, MeshOptions(budget=2500))
    except GeomError:
        pytest.skip("plates that touch the walls are not meshed")
    field = solve_field(prepare(made, panels), Current(30.0 * 0.06 * 0.06))
    assert field.voltage == pytest.approx(2.0, rel=0.015)


def test_one_side_at_a_time() -> None:
    on_page(4, "200 min", "80 min")
    rates = np.array([[0.16e-6, 0.04e-6], [0.04e-6, 0.16e-6]]) / 60
    asked = Asked(rates, 8e-6, np.zeros((2, 0)), np.zeros(0))
    alone, both = least_times(asked, (0,)), best_times(asked, 2)
    assert alone is not None
    assert both is not None
    assert alone.total / 60 == pytest.approx(200, rel=1e-6)
    assert both.times / 60 == pytest.approx((40, 40), rel=1e-6)


def test_a_hook() -> None:
    """Metal Finishing Guidebook 2012-13, rack chapter, Table II; ASTM B258."""
    on_page(5, "3.12 A", "2.56 mm", "10")
    rule = wire_rule("copper").rack_rule
    assert rule * section(1.6e-3) == pytest.approx(3.12, abs=0.005)
    least = least_wire(8.0, rule)
    assert least.diameter == pytest.approx(2.56e-3, abs=0.005e-3)
    assert least.gauge == 10


def test_baking_high_strength_steel() -> None:
    """ASTM B850."""
    on_page(6, "12 h")
    found = bake(Substrate("high-strength-steel", 1250e6))
    assert found is not None
    assert found.hours == 12


def test_how_warm_the_bath_gets() -> None:
    """One lump of 4.2 kJ/(L K); the loss is common practice, no source."""
    on_page(7, "0.857 K/min", "8.16 K")
    found = warming(60.0, held=0.0, loss=Range(0.7, 0.7, 0.7), capacity=HEAT_CAPACITY * 1e-3, time=600.0)
    assert pytest.approx(0.857, abs=0.0005) == 60 * 60.0 / (HEAT_CAPACITY * 1e-3)
    assert found.rise.typical == pytest.approx(8.16, abs=0.005)


def test_making_up_a_weak_bath() -> None:
    """Faraday's law; the loss at the making-up cathode is an estimate, no source."""
    on_page(8, "5.36 A·h", "8.58 A·h")
    found = making(0.0, 5.87, 1e-3, metal("Ni"), None)
    assert found.least_charge / 3600 == pytest.approx(5.36, abs=0.005)
    assert found.charge.typical / 3600 == pytest.approx(8.58, abs=0.01)
    assert found.anode_mass.typical == pytest.approx(9.4e-3, abs=0.05e-3)


def test_a_brick_that_cannot_be_set() -> None:
    """IEC 60063, series E12."""
    on_page(9, "8.5 ohm", "10 ohm")
    assert next_e12((12 - 1.8) / 1.2) == pytest.approx(10.0, rel=1e-12)
