"""Supply, bath and anodes in words and as JSON: units, and what is left out where nothing is known."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from geom.advice.anodes import AnodeUse
from geom.advice.bath_use import BathUse
from geom.advice.supply import Brick, Conductor, Supplying
from geom.bench.heat import warming
from geom.bench.strength import making
from geom.bench.wires import least_wire
from geom.chemistry import Range
from geom.report.bathuse import anode_section, anode_tree, bath_use_section, bath_use_tree
from geom.report.supply import supply_section, supply_tree
from geom.report.tree import Section
from geom.tables.read import metal
from geom.tables.stock import wire_rule

RULE = wire_rule("copper")
HOOK = Conductor(
    "hook", "copper", 1.0, 2.5e6, 0.01, 1.2, least_wire(2.0, RULE.rack_rule, 2), least_wire(2.0, RULE.caution, 2), RULE
)
BRICK = Brick(12.0, 9.0, 4.5, 4.3, 4.7, 1.9, 17.0, 34.0, 4.4)
SUPPLYING = Supplying(2.0, 3.0, 2.5, 0.5, 0.0, (HOOK,), 3.01, 6.02, None, None, None, None)
WARMING = warming(60.0, held=0.0, loss=Range(0.6, 0.7, 0.8), capacity=4200.0, time=600.0)
BATH = BathUse(
    volume=2e-3,
    loading=750.0,
    volume_per_area=0.15,
    warming=WARMING,
    air=293.15,
    room_is_given=False,
    drift=0.05,
    deposited=2.0e-3,
    dissolved=2.1e-3,
    strength=0.05,
    after_uses=0.5,
    hydrogen=0.4e-3,
    making=making(0.0, 5.87, 1e-3, metal("Ni"), 1.0),
)
ANODE = AnodeUse("anode 1 (sheet)", 2e-3, 1.0, 500.0, True, 20e-3, 5e-3, 0.7, 5400.0, 0.12, True)


def words(section: Section) -> str:
    """All that a section says."""
    rows = [f"{row.label}: {row.value}" for row in section.rows]
    lines = [" | ".join(line) for line in section.table.lines] if section.table else []
    return "\n".join((*section.sentences, *rows, *lines))


def test_nothing_is_said_of_what_was_not_looked_at() -> None:
    for section in (supply_section(None), bath_use_section(None)):
        assert (section.sentences, section.rows, section.table) == ((), (), None)
    assert supply_tree(None) is None
    assert bath_use_tree(None) is None


def test_the_parts_of_the_voltage_stand_apart() -> None:
    text = words(supply_section(SUPPLYING))
    for expected in (
        "2 A at 3 V, 6.02 W",
        "in the liquid: 2.5 V",
        "at the part: 0.5 V",
        "no polarization of the anodes",
    ):
        assert expected in text, expected
    assert "at the anodes: 0.3 V" in words(supply_section(replace(SUPPLYING, anode=0.3)))


def test_a_hook_is_told_with_its_load_its_rule_and_the_least_that_would_do() -> None:
    """1 A in each by 1.55 A/mm²: 0.645 mm², 0.906 mm; AWG 19 has 0.912 mm (ASTM B258), a cable of 0.75 mm²."""
    text = words(supply_section(SUPPLYING))
    assert "2.5 A/mm²" in text
    assert "Metal Finishing Guidebook" in text
    assert "0.91 mm diameter, AWG 19, cable of 0.75 mm²" in text


def test_a_brick_is_told_with_resistor_watts_and_gap() -> None:
    text = words(supply_section(replace(SUPPLYING, kind="fixed-voltage", can=True, brick=BRICK)))
    for expected in ("about 9 A, 4.5 times", "4.3 ohm", "4.7 ohm", "17 W", "34 W", "4.4 times", "limits the current"):
        assert expected in text, expected
    assert "as stated gives that" not in text
    weak = replace(BRICK, resistor=None, bought=None, settles_at=None, rating=None, current=None, over=None)
    text = words(supply_section(replace(SUPPLYING, brick=weak)))
    assert "too low" in text
    assert "was not found" in text


@pytest.mark.parametrize(
    ("kind", "said"),
    [("constant-current", "Set the current"), ("constant-voltage", "about 1.5 % for each kelvin")],
)
def test_each_kind_of_supply_is_told_how_to_set_it(kind: str, said: str) -> None:
    assert said in words(supply_section(replace(SUPPLYING, kind=kind, drift=0.015)))


def test_what_the_run_does_to_the_bath_is_in_bench_units() -> None:
    text = words(bath_use_section(BATH))
    for expected in (
        "2 L, 1.5 L for each dm²",
        "0.75 A/L",
        "60 W",
        "0.7 (0.6 to 0.8) W/K to air of 20 °C, estimated from the tank",
        "86 (75 to 100) K",
        "+5.0 %",
        "gains 0.1 g, +0.05 g/L; +0.5 g/L over 10",
        "up to 0.4 L",
        "5.36 Ah by Faraday",
        "8.6 (7 to 11) Ah",
    ):
        assert expected in text, expected
    assert "estimated from the tank" not in words(bath_use_section(replace(BATH, room_is_given=True)))
    assert "loses 0.2 g" in words(bath_use_section(replace(BATH, deposited=2.3e-3)))


def test_the_json_of_the_bath_has_the_units_of_its_keys() -> None:
    tree = bath_use_tree(BATH)
    assert tree is not None
    found = [
        tree[key] for key in ("volume_L", "loading_A_L", "volume_per_area_L_dm2", "room_C", "deposited_g", "hydrogen_L")
    ]
    assert_allclose(found, (2.0, 0.75, 1.5, 20.0, 2.0, 0.4), rtol=1e-9, atol=0)
    assert_allclose(tree["make_up"]["least_charge_Ah"], 5.36, rtol=1e-3, atol=0)
    assert tree["rise_K"]["low"] < tree["rise_K"]["typical"] < tree["rise_K"]["high"]
    plain = bath_use_tree(replace(BATH, making=None))
    assert plain is not None
    assert plain["make_up"] is None


def test_an_anode_is_told_with_what_is_there_what_goes_and_how_long_it_lasts() -> None:
    text = words(anode_section((ANODE,), ("A rule of placing.",)))
    assert "1 A | 5 A/dm² (46 A/ft²) | 20 g | 5 g | 90 min (liquid line) | 2" in text
    assert "A rule of placing." in text
    (tree,) = anode_tree((ANODE,))
    wanted = {"area_mm2": 2000.0, "current_density_A_dm2": 5.0, "mass_g": 20.0, "eaten_g": 5.0, "lasts_min": 90.0}
    wanted |= {"fastest_at_mm": 120.0, "worst_share_eaten": 0.7, "strips_needed": 2}
    assert_allclose([tree[key] for key in wanted], list(wanted.values()), rtol=1e-9, atol=0)


def test_an_inert_anode_is_told_not_to_dissolve() -> None:
    inert = replace(ANODE, dissolves=False, eaten=0.0, worst=0.0, life=float("inf"))
    assert "- | does not dissolve | - | -" in words(anode_section((inert,), ()))


def test_the_json_of_the_supply_is_in_volts_amperes_and_square_millimetres() -> None:
    tree = supply_tree(replace(SUPPLYING, brick=BRICK, drift=0.01))
    assert tree is not None
    assert_allclose((tree["needed_V"], tree["drift_per_kelvin"]), (3.01, 0.01), rtol=1e-9, atol=0)
    assert_allclose(tree["conductors"][0]["load_A_mm2"], 2.5, rtol=1e-9, atol=0)
    assert tree["conductors"][0]["least_gauge"] == 19
    assert (tree["brick"]["resistor_bought_ohm"], tree["brick"]["rating_W"]) == (4.7, 34.0)
