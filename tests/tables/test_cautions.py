"""Anodes that are refused, and the cautions of a set-up."""

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from geom.constants import FARADAY
from geom.findings import Severity
from geom.provenance import Trust
from geom.tables.cautions import (
    HOT,
    LAST,
    SetUp,
    anode_findings,
    anode_refusal,
    cautions_for,
    is_inert,
    short_source,
)
from geom.tables.load import table
from geom.tables.read import bath, bath_names, cautions

BENCH = SetUp(
    bath="watts-nickel",
    metal="Ni",
    temperature=298.15,
    anodes=("nickel",),
    voltage=2.0,
    current_density=200.0,
    ventilated=True,
)


def keys(setup: SetUp) -> list[str]:
    """Return the keys of the cautions of a set-up, in order."""
    return [caution.key for caution in cautions_for(setup)]


@pytest.mark.parametrize(
    ("material", "of"),
    [
        ("stainless steel", "watts-nickel"),
        ("304", "acid-copper"),
        ("Stainless 316L", "acetate-nickel"),
        ("nichrome wire", "acetate-nickel"),
        ("copper", "watts-nickel"),
        ("nickel silver", "acetate-nickel"),
        ("coin", "acetate-nickel"),
        ("graphite rod", "chloride-nickel"),
        ("Titanium", "watts-nickel"),
        ("nickel-plated steel", "watts-nickel"),
        ("nickel", "acid-copper"),
    ],
)
def test_an_anode_that_harms_bath_or_person_is_refused(material: str, of: str) -> None:
    reason = anode_refusal(material, of)
    assert reason is not None
    assert reason.startswith(f"anode of {material}")
    assert reason == anode_refusal(material, bath(of))
    assert anode_refusal(material, of, ventilated=False) == reason


def test_a_stainless_anode_is_refused_for_chromium_by_the_osha_limit_in_every_bath() -> None:
    for name in bath_names():
        reason = anode_refusal("stainless steel", name)
        assert reason is not None
        assert "chromium(VI)" in reason
        assert "OSHA" in reason


@pytest.mark.parametrize(
    ("material", "of"),
    [
        ("nickel", "watts-nickel"),
        ("sulfur-activated nickel in titanium baskets", "sulfamate-nickel"),
        ("carbon-bearing nickel", "watts-nickel"),
        ("phosphorised copper", "acid-copper"),
        ("copper pipe", "acid-copper-high-throw"),
    ],
)
def test_an_anode_of_the_metal_itself_is_taken(material: str, of: str) -> None:
    assert anode_refusal(material, of) is None


@pytest.mark.parametrize("name", bath_names())
def test_the_anodes_that_a_bath_lists_are_taken(name: str) -> None:
    made = bath(name)
    assert made.anode_materials
    assert all(anode_refusal(material, made) is None for material in made.anode_materials)


@pytest.mark.parametrize("material", ["unobtainium", "Unknown", "grandfather's spoon", "old pipe", "scrap", "alloy"])
def test_an_anode_of_unknown_make_is_refused_in_every_bath(material: str) -> None:
    for name in bath_names():
        reason = anode_refusal(material, name, ventilated=True)
        assert reason is not None
        assert "not known well enough" in reason


def test_an_anode_without_a_word_on_its_material_is_not_refused() -> None:
    assert anode_refusal("  ", "watts-nickel") is None


@pytest.mark.parametrize("material", ["graphite", "carbon rod", "platinised titanium", "Titanium", "MMO"])
def test_an_inert_anode_in_chloride_is_taken_only_with_the_air_drawn_off_and_with_a_grave_caution(
    material: str,
) -> None:
    of = bath("watts-nickel")
    reason = anode_refusal(material, of)
    assert reason is not None
    assert "chlorine" in reason
    assert "ventilated" in reason
    assert anode_refusal(material, of, ventilated=True) is None
    (finding,) = anode_findings((material, "nickel", None), of, ventilated=True)
    assert (finding.severity, finding.code) == (Severity.WARNING, "anode-makes-chlorine")
    assert anode_findings((material,), of, ventilated=False) == ()
    first, *_ = cautions_for(replace(BENCH, anodes=(material,)))
    assert first.key == "inert-anode-in-chloride"
    assert first.is_grave


@pytest.mark.parametrize("material", ["stainless steel", "316L", "copper", "lead", "coins"])
def test_ventilation_excuses_no_other_anode(material: str) -> None:
    assert anode_refusal(material, "watts-nickel", ventilated=True) is not None


@pytest.mark.parametrize(
    ("material", "expected"),
    [
        ("graphite", True),
        ("platinised titanium mesh", True),
        ("carbon-bearing nickel", False),
        ("nickel in titanium baskets", False),
    ],
)
def test_what_dissolves_is_not_inert(material: str, expected: bool) -> None:
    assert is_inert(material) is expected


def rule_of(metal: str, material: str, name: str) -> str | None:
    """Return the refusal in a bath that the tables need not have."""
    made = replace(bath("acid-copper"), name=name, metal=replace(bath("acid-copper").metal, symbol=metal))
    return anode_refusal(material, made)


@pytest.mark.parametrize(
    ("metal", "name", "material", "refused"),
    [
        # steel anodes are usual in alkaline non-cyanide zinc (Metal Finishing Guidebook, zinc chapter)
        ("Zn", "alkaline-zinc", "mild steel", False),
        ("Zn", "alkaline-zinc", "zinc", False),
        ("Zn", "alkaline-zinc", "stainless steel", True),
        ("Zn", "alkaline-zinc", "brass", True),
        ("Zn", "acid-zinc", "zinc slab", False),
        ("Zn", "acid-zinc", "mild steel", True),
        ("Zn", "acid-zinc", "graphite", True),
        ("Sn", "acid-tin", "pure tin", False),
        ("Sn", "acid-tin", "lead-free solder", True),
        ("Sn", "acid-tin", "tinned copper", True),
        ("Sn", "acid-tin", "304", True),
    ],
)
def test_anodes_of_zinc_and_tin_baths(metal: str, name: str, material: str, refused: bool) -> None:
    assert (rule_of(metal, material, name) is not None) is refused


def test_chlorine_at_an_inert_anode_is_more_than_a_room_bears() -> None:
    # Faraday: 2 Cl- -> Cl2 + 2 e-, M = 70.906 g/mol (IUPAC); 24.45 L/mol at 25 °C
    grams = 3600.0 * 70.906 / (2.0 * FARADAY)
    assert_allclose(grams, 1.3, rtol=0.02, atol=0.0)
    ppm = 1e6 * (grams / 70.906) * 24.45e-3 / 30.0
    assert_allclose(ppm, 15.0, rtol=0.02, atol=0.0)
    (text,) = (row["text"] for row in table("hazards")["set_up"] if row["key"] == "inert-anode-in-chloride")
    for word in ("1.3 g", "30 m³", "15 ppm", "10 ppm"):  # IDLH: NIOSH (seen)
        assert word in text


@pytest.mark.parametrize("name", bath_names())
def test_the_last_word_is_always_local_law(name: str) -> None:
    symbol = bath(name).metal.symbol
    for setup in (
        replace(BENCH, bath=name, metal=symbol),
        replace(BENCH, bath=name, metal=symbol, supply_voltage=230.0),
    ):
        found = cautions_for(setup)
        assert found[-1].key == LAST
        assert "local codes" in found[-1].text
        assert "licensed" in found[-1].text
        assert {caution.text for caution in found} >= set(cautions(name))
        graves = [caution.is_grave for caution in found]
        assert graves == sorted(graves, reverse=True)


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"voltage": 6.1, "current_density": 100.0}, "nickel-over-6-V"),
        ({"temperature": HOT}, "hot-bath"),
        ({"supply_voltage": 61.0}, "over-60-V"),
        ({"ventilated": False}, "not-ventilated"),
        ({"anodes": ()}, "anode-not-stated"),
        ({"anodes": ("nickel", None)}, "anode-not-stated"),
        ({"substrate": "stainless-steel"}, "stainless-base"),
        ({"substrate": "aluminium"}, "aluminium-base"),
        ({"substrate": "zinc-die-cast"}, "zinc-base"),
        ({"substrate": "brass"}, "copper-base"),
        ({"substrate": "mild-steel"}, "steel-base"),
    ],
)
def test_a_caution_of_the_set_up_is_told_when_it_is_so_and_not_before(changed: dict[str, object], key: str) -> None:
    assert key not in keys(BENCH)
    assert key in keys(replace(BENCH, **changed))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"voltage": 6.0, "current_density": 100.0}, "nickel-over-6-V"),
        ({"voltage": 9.0, "current_density": 101.0}, "nickel-over-6-V"),
        ({"voltage": 9.0, "current_density": 90.0, "bath": "acid-copper", "metal": "Cu"}, "nickel-over-6-V"),
        ({"temperature": HOT - 1.0}, "hot-bath"),
        ({"supply_voltage": 60.0}, "over-60-V"),
    ],
)
def test_a_caution_of_the_set_up_is_not_told_at_its_bound(changed: dict[str, object], key: str) -> None:
    assert key not in keys(replace(BENCH, **changed))  # type: ignore[arg-type]


def test_every_row_of_the_set_up_can_be_reached() -> None:
    setups = [
        replace(
            BENCH,
            anodes=("graphite", None),
            voltage=9.0,
            current_density=50.0,
            temperature=HOT,
            supply_voltage=100.0,
            ventilated=False,
        ),
        replace(BENCH, bath="acid-copper", metal="Cu", anodes=("graphite",)),
        *(replace(BENCH, substrate=name) for name in table("substrates")["substrate"]),
    ]
    reached = {key for setup in setups for key in keys(setup)}
    assert {row["key"] for row in table("hazards")["set_up"]} <= reached


@pytest.mark.parametrize("word", ["wood", "alkaline", "acid-zinc", "acid-tin"])
def test_the_words_of_baths_to_come_lead_to_their_cautions(word: str) -> None:
    rows = [row for row in table("hazards")["caution"] if word in row["baths"]]
    assert rows
    for row in rows:
        assert row["key"] in keys(replace(BENCH, bath=f"{word}-bath", metal="Zn"))


def test_a_source_is_told_in_a_few_words() -> None:
    found = {caution.key: caution.source for caution in cautions_for(replace(BENCH, temperature=HOT))}
    assert short_source(found["nickel-salts"]) == "US OSHA, US NIOSH, EU 2004/37/EC, EU CLP"
    assert short_source(found["hot-bath"]) == "US CPSC, from memory"
    assert short_source(found[LAST]) == "common practice, no source"
    assert all(len(short_source(source)) < 90 for source in found.values())
    assert found["nickel-salts"].trust is Trust.GOOD
