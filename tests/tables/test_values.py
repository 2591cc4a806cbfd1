"""Every value of the tables: who says so, in order, and agreeing with what it can be checked against."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.constants import FARADAY
from geom.provenance import Trust
from geom.tables.load import BASES, table

BATHS = table("baths")
SQUARE_FEET_PER_DM2 = 0.1**2 / 0.3048**2


def rows() -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every row of every table that states something."""
    for name, bath in BATHS.items():
        for section in ("composition", "values", "notes"):
            for key, row in bath[section].items():
                yield f"{name}.{section}.{key}", row
    for symbol, metal in table("metals").items():
        for key in ("molar_mass", "density", "electrons"):
            yield f"{symbol}.{key}", metal[key]
    for file in ("refused", "conductivity"):
        for key, row in table(file).items():
            yield f"{file}.{key}", row
    for row in table("anodes")["refused"]:
        yield f"anodes.{row['key']}", row
    for kind in ("caution", "set_up"):
        for row in table("hazards")[kind]:
            yield f"hazards.{row['key']}", row
    yield from rows_of_the_bench()


def rows_of_the_bench() -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every row on specifications, substrates, wires and anode stock that states something."""
    for name, standard in table("specs").items():
        yield f"specs.{name}", standard
        for one in standard["class"]:
            if "source" in one:
                yield f"specs.{name}.{one['name']}", one
    for name, row in table("substrates")["substrate"].items():
        yield f"substrates.{name}", row
    for kind in ("strike", "rule"):
        for row in table("substrates")[kind]:
            yield f"substrates.{kind}.{row['key']}", row
    for key in ("strength", "temperature", "start"):
        yield f"bake.{key}", table("substrates")["bake"][key]
    for name, wire in table("wires").items():
        for key in ("rack_rule", "conductivity", "density"):
            yield f"wires.{name}.{key}", wire[key]
    for symbol, row in table("stock")["stock"].items():
        yield f"stock.{symbol}", row
        yield f"stock.{symbol}.density", row["density"]
    for row in table("stock")["limit"]:
        yield f"stock.limit.{row['key']}", row


ROWS = dict(rows())
NUMERIC = {key: row for key, row in ROWS.items() if "typical" in row}
each_bath = pytest.mark.parametrize("name", BATHS)


def test_the_tables_hold_what_the_other_tests_look_at() -> None:
    assert len(BATHS) == 11
    assert len(ROWS) > 140
    assert len(NUMERIC) > 100


@pytest.mark.parametrize("key", ROWS)
def test_every_value_says_who_how_and_how_sure(key: str) -> None:
    row = ROWS[key]
    assert row["source"]
    assert set(row["source"]) <= set(table("sources"))
    assert row["basis"] in BASES
    assert row["trust"] in set(Trust)


@pytest.mark.parametrize("key", [key for key in ROWS if "practice" in ROWS[key]["source"]])
def test_practice_never_passes_for_a_published_and_certain_figure(key: str) -> None:
    if ROWS[key]["source"] == ["practice"]:
        assert ROWS[key]["basis"] in ("practice", "memory")
        assert key not in NUMERIC or ROWS[key]["trust"] != "good"


def test_no_source_is_listed_that_nothing_leans_on() -> None:
    used = {key for row in ROWS.values() for key in row["source"]}
    assert set(table("sources")) == used


@pytest.mark.parametrize("key", NUMERIC)
def test_low_typical_and_high_are_in_order(key: str) -> None:
    row = NUMERIC[key]
    assert row.get("low", row["typical"]) <= row["typical"] <= row.get("high", row["typical"])


@each_bath
def test_bath_has_every_row_the_reader_needs(name: str) -> None:
    assert {
        "temperature",
        "current_density",
        "efficiency",
        "conductivity",
    } <= set(BATHS[name]["values"])
    assert {"anode", "agitation"} <= set(BATHS[name]["notes"])


def test_only_these_figures_of_these_baths_are_not_known() -> None:
    # nothing published was found, and nothing is put in its place
    kinetics = {"tafel_slope", "anodic_slope", "exchange_current_density"}
    wanted = kinetics | {"conductivity_per_kelvin", "limiting_current_density", "anode_current_density"}
    wanted |= {"limiting_current_density_stirred", "anode_area_ratio"}
    limits = {"limiting_current_density", "limiting_current_density_stirred"}
    missing = {name: wanted - set(bath["values"]) for name, bath in BATHS.items()}
    assert {name: keys for name, keys in missing.items() if keys} == {
        "woods-nickel": kinetics | limits | {"anode_current_density", "anode_area_ratio"},
        "acid-zinc-chloride": limits,
        "alkaline-zinc": limits | {"conductivity_per_kelvin"},
        "acid-tin-sulfate": limits,
        "acid-tin-msa": limits | kinetics | {"conductivity_per_kelvin"},
    }


@pytest.mark.parametrize("key", ROWS)
def test_what_is_assumed_is_marked_by_basis_and_source_alike(key: str) -> None:
    row = ROWS[key]
    assert (row["basis"] == "assumed") == ("assumed" in row["source"])
    assert row["basis"] != "assumed" or row["trust"] in ("rough", "weak")


@each_bath
def test_a_curve_of_efficiency_has_its_points_in_order_and_meets_the_typical_figure(name: str) -> None:
    values = BATHS[name]["values"]
    if "efficiency_curve" not in values:
        return
    where, shares = zip(*values["efficiency_curve"]["points"], strict=True)
    assert sorted(where) == list(where)
    assert all(0.0 < share <= 1.0 for share in shares)
    bright = values["current_density"]
    assert where[0] <= bright["typical"] <= where[-1]
    assert_allclose(np.interp(bright["typical"], where, shares), values["efficiency"]["typical"], rtol=1e-12, atol=0.0)


def test_zinc_of_the_alkaline_bath_falls_from_90_to_55_per_cent() -> None:
    # Modern Electroplating (memory): about 90 % at 0.5, 75 % at 2, 50 to 60 % at 4 to 6 A/dm²
    points = BATHS["alkaline-zinc"]["values"]["efficiency_curve"]["points"]
    assert points == [[0.5, 0.9], [2.0, 0.75], [5.0, 0.55]]
    # Metal Finishing Guidebook, zinc chapter (seen): 70 to 75 % low metal, 70 to 95 % high metal at working currents
    at_work = BATHS["alkaline-zinc"]["values"]["efficiency"]
    assert (at_work["low"], at_work["high"]) == (0.70, 0.95)


# Metal Finishing Guidebook 2012-13, chapter on racks, Table I (seen): cathode current density [A/ft²] and tank voltage [V]
RACK = {
    "watts-nickel": (20, 100, 4, 8),
    "acid-copper": (15, 50, 1, 4),
    "acid-tin-sulfate": (10, 40, 1, 4),
    "acid-zinc-chloride": (20, 80, 1.5, 6),
}


@pytest.mark.parametrize("name", RACK)
def test_current_densities_and_volts_agree_with_the_rack_table_of_the_guidebook(name: str) -> None:
    low, high, least, most = RACK[name]
    values = BATHS[name]["values"]
    bright, volts = values["current_density_asf"], values["cell_voltage"]
    assert low <= bright["typical"] <= high
    assert bright["low"] <= high
    assert bright["high"] >= low
    assert least <= volts["typical"] <= most
    assert_allclose(volts["high"], most, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize(
    ("name", "solute", "published"),
    [
        ("woods-nickel", "HCl", 1.56),
        ("acid-zinc-chloride", "KCl", 1.88),
        ("acid-tin-sulfate", "H2SO4", 1.28),
    ],
)
def test_strong_electrolytes_warm_by_the_published_coefficient(name: str, solute: str, published: float) -> None:
    # manual of a laboratory conductivity meter, 10 % solutions at 25 °C (seen)
    row = BATHS[name]["values"]["conductivity_per_kelvin"]
    assert (row["typical"], row["at"]) == (published, "25 C"), solute


def test_warming_of_the_older_baths_lies_by_the_published_coefficients() -> None:
    # the same manual: sodium chloride 2.14, acetic acid 1.69, potassium chloride 1.88 %/K; sulfuric acid 1.28 %/K
    for name in ("watts-nickel", "sulfamate-nickel", "chloride-nickel", "acetate-nickel"):
        assert 1.69 <= BATHS[name]["values"]["conductivity_per_kelvin"]["typical"] <= 2.14
    for name in ("acid-copper", "acid-copper-high-throw"):
        row = BATHS[name]["values"]["conductivity_per_kelvin"]
        assert row["low"] <= 1.28 <= row["high"]


@each_bath
def test_amperes_per_square_foot_agree_with_amperes_per_square_decimetre(name: str) -> None:
    # 1 A/dm² = 9.290304 A/ft² exactly; the table prints three figures
    values = BATHS[name]["values"]
    for bound in ("low", "typical", "high"):
        metric, imperial = values["current_density"][bound], values["current_density_asf"][bound]
        assert_allclose(imperial, metric / SQUARE_FEET_PER_DM2, rtol=4e-3, atol=0.0)


def test_a_square_decimetre_is_the_published_part_of_a_square_foot() -> None:
    assert_allclose(1.0 / SQUARE_FEET_PER_DM2, 9.290304, rtol=1e-12, atol=0.0)


@each_bath
def test_the_two_slopes_obey_thermodynamics(name: str) -> None:
    # 1/b_c + 1/b_a = nF/RT for an n-electron reaction (Newman & Thomas-Alyea, ch. 8, memory), at 25 °C
    values = BATHS[name]["values"]
    total = 2 * FARADAY / (8.314462618 * 298.15) / math.log(10.0)  # [decades per volt]
    if "tafel_slope" not in values:
        assert "anodic_slope" not in values
        return
    for cathodic, anodic in (("low", "high"), ("typical", "typical"), ("high", "low")):
        if cathodic not in values["tafel_slope"]:
            assert anodic not in values["anodic_slope"]
            continue
        expected = 1.0 / (total - 1.0 / values["tafel_slope"][cathodic])
        assert_allclose(values["anodic_slope"][anodic], expected, rtol=2e-3, atol=0.0)


@each_bath
def test_plating_in_the_bright_range_is_far_from_rest(name: str) -> None:
    # so a law without its anodic branch would say the same
    values = BATHS[name]["values"]
    bright = values["current_density"]["typical"] * 100.0  # [A/m²]
    if "tafel_slope" in values:
        assert bright > 50.0 * values["exchange_current_density"]["typical"]


def test_watts_bath_at_20_celsius_is_near_the_estimate_from_similar_sulfates() -> None:
    # MgSO4, MnSO4 and CuSO4 of 1.1 mol/L have 4.2 to 4.6 S/m (CRC Handbook, seen), the chloride adds to it
    values = BATHS["watts-nickel"]["values"]
    warm = 1.0 + values["conductivity_per_kelvin"]["typical"] / 100.0 * (55.0 - 20.0)
    assert 4.5 < values["conductivity"]["typical"] / warm < 6.2


@pytest.mark.parametrize(
    ("name", "salt", "grams_per_mole"),
    [("watts-nickel", "nickel_sulfate_hexahydrate", 262.85), ("acetate-nickel", "nickel_dissolved", 58.69)],
)
def test_the_still_limiting_current_follows_from_diffusion(name: str, salt: str, grams_per_mole: float) -> None:
    # nFDc/delta, D = 0.66e-9 m²/s at 25 °C (memory), delta 0.2 to 0.4 mm: within a factor of two and a half
    concentration = BATHS[name]["composition"][salt]["typical"] / grams_per_mole * 1e3  # [mol/m³]
    expected = 2 * FARADAY * 0.66e-9 * concentration / 0.3e-3
    stated = BATHS[name]["values"]["limiting_current_density"]["typical"] * 100.0
    assert 0.4 < stated / expected < 2.5


def test_chlorine_and_hydrogen_in_the_cautions_follow_faradays_law() -> None:
    moles = 3600.0 / (2 * FARADAY)
    texts = {row["key"]: row["text"] for row in table("hazards")["caution"]}
    assert f"{moles * 70.906:.1f} g per ampere-hour" in texts["chlorine"]
    assert f"{moles * 24.465:.2f} litre per ampere-hour" in texts["hydrogen"]
