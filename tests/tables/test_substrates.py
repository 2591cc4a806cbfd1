"""The metal plated on: names, steps, strikes, and the bake of strong steel."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from geom.bench.records import Substrate
from geom.errors import TableError
from geom.findings import Severity
from geom.tables.load import table
from geom.tables.read import bath
from geom.tables.substrates import (
    bake,
    preparation,
    strike_name,
    substrate_family,
    substrate_findings,
    substrate_name,
    substrate_names,
)

MPA = 1e6
NICKEL, COPPER = bath("watts-nickel"), bath("acid-copper")

# ASTM B850, hours at 190 to 220 °C by tensile strength in MPa (seen)
B850 = [
    (1001, 1100, 8),
    (1101, 1200, 10),
    (1201, 1300, 12),
    (1301, 1400, 14),
    (1401, 1500, 16),
    (1501, 1600, 18),
    (1601, 1700, 20),
    (1701, 1800, 22),
]


@pytest.mark.parametrize(("low", "high", "hours"), B850)
@pytest.mark.parametrize("metal", ["mild-steel", "high-strength-steel", "stainless-steel"])
def test_steel_is_baked_as_long_as_b850_says(metal: str, low: float, high: float, hours: float) -> None:
    for strength in (low, (low + high) / 2, high):
        found = bake(Substrate(metal, strength * MPA))
        assert found is not None
        assert found.hours == hours
        assert not found.is_beyond
        assert_allclose((found.temperature.low, found.temperature.high), (463.15, 493.15), rtol=1e-12, atol=0.0)
        assert found.start_hours == 4  # from memory
        assert "B850" in found.source.text


def test_a_strength_between_two_rows_takes_the_longer_bake() -> None:
    for strength, hours in ((1000.0, 8), (1100.5, 10), (1799.9, 22)):
        found = bake(Substrate("mild-steel", strength * MPA))
        assert found is not None
        assert found.hours == hours


def test_weak_steel_and_other_metals_are_not_baked() -> None:
    assert bake(Substrate("mild-steel", 999.9 * MPA)) is None
    assert bake(Substrate("mild-steel", None)) is None
    assert bake(Substrate("bronze", 1200 * MPA)) is None
    assert bake(Substrate("aluminium", 1200 * MPA)) is None


def test_steel_past_the_table_is_baked_at_least_as_long_as_its_last_row() -> None:
    found = bake(Substrate("high-strength-steel", 2000 * MPA))
    assert found is not None
    assert (found.hours, found.is_beyond) == (22, True)
    (finding,) = substrate_findings(Substrate("high-strength-steel", 2000 * MPA), NICKEL)
    assert "and longer" in finding.message


def codes(substrate: Substrate, of: object = NICKEL) -> list[tuple[str, str]]:
    return [(str(f.severity), f.code) for f in substrate_findings(substrate, of)]  # type: ignore[arg-type]


def test_no_substrate_no_finding() -> None:
    assert substrate_findings(None, NICKEL) == ()


@pytest.mark.parametrize(
    ("metal", "of", "stops"),
    [
        ("copper", NICKEL, False),
        ("brass", NICKEL, False),
        ("bronze", NICKEL, False),
        ("mild-steel", NICKEL, False),
        ("nickel", NICKEL, False),
        ("stainless-steel", NICKEL, True),
        ("aluminium", NICKEL, True),
        ("zinc-die-cast", NICKEL, True),
        ("copper", COPPER, False),
        ("brass", COPPER, False),
        ("nickel", COPPER, False),
        ("mild-steel", COPPER, True),
        ("high-strength-steel", COPPER, True),
        ("stainless-steel", COPPER, True),
        ("aluminium", COPPER, True),
        ("zinc-die-cast", COPPER, True),
    ],
)
def test_what_needs_a_strike_stops_without_one(metal: str, of: object, stops: bool) -> None:
    found = codes(Substrate(metal, 400 * MPA), of)
    assert (("stop", "substrate-needs-strike") in found) is stops


def test_stainless_steel_is_plated_in_the_strike_itself() -> None:
    for name in ("woods-nickel", "woods-strike"):
        assert codes(Substrate("stainless-steel", None), replace(NICKEL, name=name)) == []


@pytest.mark.parametrize(
    ("metal", "of", "strike", "severity"),
    [
        ("stainless-steel", NICKEL, "Wood's nickel", "note"),
        ("stainless-steel", NICKEL, "nickel", "stop"),
        ("aluminium", NICKEL, "zincate and neutral nickel", "note"),
        ("aluminium", NICKEL, "Wood's nickel", "stop"),
        ("mild-steel", COPPER, "nickel", "note"),
        ("zinc-die-cast", NICKEL, "copper, put on by a plating shop", "note"),
        ("zinc-die-cast", NICKEL, "Wood's nickel", "stop"),
    ],
)
def test_a_strike_that_is_stated_frees_the_plan_where_it_holds(
    metal: str, of: object, strike: str, severity: str
) -> None:
    ((told, _),) = codes(Substrate(metal, 400 * MPA, strike), of)
    assert told == severity


def test_strong_steel_is_warned_of_with_its_hours() -> None:
    (finding,) = substrate_findings(Substrate("mild-steel", 1250 * MPA), NICKEL)
    assert (finding.severity, finding.code) == (Severity.WARNING, "substrate-bake")
    for word in ("1250 MPa", "190 to 220 °C", "12 h", "B850"):
        assert word in finding.message
    assert codes(Substrate("high-strength-steel", None)) == [("warning", "substrate-bake")]
    assert codes(Substrate("mild-steel", None)) == []
    assert codes(Substrate("high-strength-steel", 900 * MPA)) == []


@pytest.mark.parametrize(
    ("written", "name", "family"),
    [
        ("Copper", "copper", "copper"),
        ("Mild Steel", "mild-steel", "steel"),
        ("steel", "mild-steel", "steel"),
        ("inox", "stainless-steel", "stainless"),
        ("316L", "stainless-steel", "stainless"),
        ("aluminum", "aluminium", "aluminium"),
        ("zamak", "zinc-die-cast", "zinc"),
        ("phosphor bronze", "bronze", "copper"),
        ("spring_steel", "high-strength-steel", "steel"),
    ],
)
def test_a_substrate_is_known_by_its_other_names(written: str, name: str, family: str) -> None:
    assert substrate_name(written) == name
    assert substrate_family(written) == family


def test_no_name_stands_for_two_substrates() -> None:
    names = [word for name, row in table("substrates")["substrate"].items() for word in (name, *row["words"])]
    assert len(names) == len(set(names))


def test_an_unknown_substrate_or_strike_is_told_with_the_nearest() -> None:
    with pytest.raises(TableError) as error:
        substrate_name("aluminun")
    assert (error.value.slug, error.value.hint) == ("substrate-unknown", "nearest: aluminium")
    with pytest.raises(TableError) as error:
        substrate_name("wood")
    assert "known: copper" in error.value.hint
    with pytest.raises(TableError) as error:
        strike_name("magic")
    assert error.value.slug == "strike-unknown"


@pytest.mark.parametrize("row", table("substrates")["strike"], ids=lambda row: row["key"])
def test_a_strike_is_known_by_its_own_name_and_holds_on_what_is_in_the_table(row: dict[str, list[str]]) -> None:
    assert strike_name(str(row["key"])) == row["key"]
    assert set(row["fits"]) <= set(substrate_names())


@pytest.mark.parametrize("name", substrate_names())
def test_every_substrate_has_steps_that_begin_with_cleaning_and_name_no_cyanide_bath(name: str) -> None:
    found = preparation(name)
    assert len(found.steps) >= 4
    assert any(word in " ".join(found.steps[:2]).casefold() for word in ("degrease", "clean"))
    assert "cyanide" not in " ".join(found.steps).casefold()
    assert found.source.text
    wet = [step for step in found.steps if "wet" in step]
    assert wet, "the last step goes into the bath wet"


def test_every_rule_names_substrates_of_the_table() -> None:
    for rule in table("substrates")["rule"]:
        assert set(rule["substrates"]) <= set(substrate_names())
