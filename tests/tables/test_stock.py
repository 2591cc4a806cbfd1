"""Hooks, leads and anode stock: the rack rule, the hook table, what anodes bear."""

import math

import pytest
from numpy.testing import assert_allclose

from geom.errors import TableError
from geom.provenance import Trust
from geom.tables.load import table
from geom.tables.stock import anode_limit, anode_stock, wire_name, wire_names, wire_rule

SQUARE_INCH = 0.0254**2

# Metal Finishing Guidebook 2012-13, racks, Table II (seen): amperes of a bar of 1 in²
TABLE_II = {
    "copper": 1000,
    "aluminium": 600,
    "brass": 250,
    "phosphor bronze": 180,
    "steel": 120,
    "titanium": 31,
    "stainless steel": 23,
}


@pytest.mark.parametrize(("metal", "amperes"), TABLE_II.items())
def test_a_bar_of_one_square_inch_carries_what_the_rack_chapter_says(metal: str, amperes: float) -> None:
    rule = wire_rule(metal)
    assert_allclose(rule.rack_rule * SQUARE_INCH, amperes, rtol=1e-9, atol=0.0)
    assert "Table II" in rule.source.text
    assert rule.source.trust in (Trust.GOOD, Trust.FAIR)


def test_copper_by_the_rack_rule_is_1_55_amperes_per_square_millimetre() -> None:
    assert_allclose(wire_rule("copper").rack_rule, 1.55e6, rtol=1e-3, atol=0.0)


@pytest.mark.parametrize(
    ("gauge", "amperes", "milliohm"),
    [
        # round copper wire: the rack rule, and the resistance of AWG tables (54, 33, 21, 13.2, 8.28, 5.21, 3.28)
        (22, 0.5, 54.0),
        (20, 0.8, 33.3),
        (18, 1.3, 21.0),
        (16, 2.0, 13.2),
        (14, 3.2, 8.28),
        (12, 5.1, 5.21),
        (10, 8.2, 3.28),
    ],
)
def test_round_copper_hooks_carry_and_resist_as_wire_tables_say(gauge: int, amperes: float, milliohm: float) -> None:
    # ASTM B258: a wire of gauge n is 0.127 mm x 92^((36 - n) / 39) thick
    section = math.pi / 4 * (0.127e-3 * 92 ** ((36 - gauge) / 39)) ** 2
    rule = wire_rule("copper")
    assert_allclose(rule.rack_rule * section, amperes, rtol=0.05, atol=0.0)
    assert_allclose(1e3 * rule.resistivity / section, milliohm, rtol=0.02, atol=0.0)


@pytest.mark.parametrize("metal", wire_names())
def test_the_rack_rule_goes_by_conductivity(metal: str) -> None:
    # the published figures are copper's times the conductivity over copper's, but for the fourth part of bronze
    rule, copper = wire_rule(metal), wire_rule("copper")
    assert_allclose(rule.rack_rule * rule.resistivity, copper.rack_rule * copper.resistivity, rtol=0.22, atol=0.0)


def test_caution_and_warning_are_those_of_copper_and_heat_other_wires_alike() -> None:
    # 3 and 6 A/mm²: common practice, no source
    copper = wire_rule("copper")
    assert (copper.caution, copper.warning) == (3e6, 6e6)
    assert copper.caution_source.basis == "practice"
    for name in wire_names():
        rule = wire_rule(name)
        assert rule.rack_rule < rule.caution < rule.warning
        heat = rule.caution**2 * rule.resistivity  # [W/m³]
        assert_allclose(heat, copper.caution**2 * copper.resistivity, rtol=1e-9, atol=0.0)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("Copper", "copper"),
        ("Cu", "copper"),
        ("aluminum", "aluminium"),
        ("Phosphor Bronze", "phosphor-bronze"),
        ("stainless", "stainless-steel"),
        ("iron", "steel"),
        ("stainless_steel", "stainless-steel"),
    ],
)
def test_a_metal_is_known_by_its_other_names(written: str, name: str) -> None:
    assert wire_name(written) == name


def test_an_unknown_metal_is_told_with_the_nearest() -> None:
    with pytest.raises(TableError, match="alumnium") as error:
        wire_rule("alumnium")
    assert error.value.slug == "wire-unknown"
    assert error.value.hint.startswith("nearest: aluminium")
    with pytest.raises(TableError) as error:
        wire_rule("xyzzy")
    assert "known: copper" in error.value.hint


# common practice, no source [A/dm²]
BEARS = [
    ("watts-nickel", "Ni", "nickel", 2.0, 3.0),
    ("sulfamate-nickel", "Ni", "sulfur-activated nickel in titanium baskets", 4.0, 8.0),
    ("acetate-nickel", "Ni", "nickel strip", 0.5, 1.0),
    ("acid-copper", "Cu", "phosphorised copper", 1.0, 2.5),
    ("acid-zinc", "Zn", "zinc", 2.0, 4.0),
    ("acid-tin", "Sn", None, 1.0, 2.0),
]


@pytest.mark.parametrize(("bath", "metal", "material", "low", "high"), BEARS)
def test_anodes_bear_what_practice_says(bath: str, metal: str, material: str | None, low: float, high: float) -> None:
    limit, source = anode_limit(bath, metal, material)
    assert_allclose((limit.low, limit.high), (100 * low, 100 * high), rtol=1e-12, atol=0.0)
    assert source.basis == "practice"
    assert source.trust is Trust.ROUGH


def test_a_metal_without_anodes_is_told() -> None:
    for ask in (lambda: anode_limit("gold", "Au", None), lambda: anode_stock("Au")):
        with pytest.raises(TableError) as error:
            ask()
        assert error.value.slug == "stock-unknown"


@pytest.mark.parametrize("symbol", ["Ni", "Cu", "Zn", "Sn"])
def test_stock_is_in_order_and_of_the_density_of_the_metal(symbol: str) -> None:
    stock = anode_stock(symbol)
    assert list(stock.sheets) == sorted(stock.sheets)
    assert list(stock.rods) == sorted(stock.rods)
    assert 1e-4 <= stock.sheets[0] < stock.sheets[-1] <= 5e-3
    # CRC Handbook, densities of the elements (memory) [kg/m³]
    assert_allclose(stock.density, {"Ni": 8908, "Cu": 8960, "Zn": 7140, "Sn": 7287}[symbol], rtol=5e-3, atol=0.0)
    assert stock.source.basis == "practice"


def test_every_row_of_wires_says_who_and_how_sure() -> None:
    works = table("sources")
    for row in table("wires").values():
        for key in ("rack_rule", "conductivity", "density"):
            assert row[key]["low"] <= row[key]["typical"] <= row[key]["high"]
            assert set(row[key]["source"]) <= set(works)
