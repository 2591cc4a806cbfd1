"""The reader: a bath by name, what a job puts in place of it, and what is refused."""

import math
import subprocess
import sys
import time

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.chemistry import Range
from geom.electrode.faraday import deposition_rate, mass_of_charge
from geom.electrode.laws import ButlerVolmer, Linear, tafel_slope_per_e_fold
from geom.errors import TableError
from geom.provenance import Trust
from geom.tables import load
from geom.tables.read import (
    bath,
    bath_findings,
    bath_name,
    bath_names,
    bath_table,
    cautions,
    law_range,
    metal,
    refused_baths,
    solution_conductivity,
)

ZERO = 273.15
each_bath = pytest.mark.parametrize("name", bath_names())


def test_the_baths_are_those_of_the_issue() -> None:
    assert bath_names() == (
        "watts-nickel",
        "sulfamate-nickel",
        "chloride-nickel",
        "acetate-nickel",
        "acid-copper",
        "acid-copper-high-throw",
        "woods-nickel",
        "acid-zinc-chloride",
        "alkaline-zinc",
        "acid-tin-sulfate",
        "acid-tin-msa",
    )


def test_the_watts_bath_arrives_in_si() -> None:
    watts = bath("watts-nickel")
    assert watts.metal == metal("Ni")
    assert_allclose(watts.temperature, 328.15, rtol=1e-12, atol=0.0)
    assert_allclose(watts.conductivity, 8.5, rtol=1e-12, atol=0.0)
    assert_allclose(watts.efficiency, 0.95, rtol=1e-12, atol=0.0)
    assert_allclose([watts.current_density.low, watts.current_density.high], [200.0, 700.0], rtol=1e-12, atol=0)
    assert watts.limiting_current_density is not None
    assert_allclose(watts.limiting_current_density.typical, 600.0, rtol=1e-12, atol=0.0)
    assert_allclose(watts.temperature_range.low, 40.0 + ZERO, rtol=1e-12, atol=0.0)
    assert isinstance(watts.law, ButlerVolmer)
    assert_allclose(watts.law.exchange, 1e-3, rtol=1e-12, atol=0.0)
    assert_allclose(watts.law.cathodic_slope, tafel_slope_per_e_fold(0.106), rtol=1e-12, atol=0.0)


@each_bath
def test_every_bath_can_be_made_and_says_who_stands_behind_it(name: str) -> None:
    made = bath(name)
    known = {
        "law": made.law,
        "limiting_current_density": made.limiting_current_density,
        "anode_current_density": made.anode_current_density,
        "anode_area_ratio": made.anode_area_ratio,
        "run_time": made.run_time,
        "efficiency_curve": made.efficiency_curve or None,
    }
    assert set(made.sources) == {
        "conductivity",
        "conductivity_range",
        "temperature",
        "temperature_range",
        "efficiency",
        "efficiency_range",
        "current_density",
        *(key for key, value in known.items() if value is not None),
    }
    assert made.anode_materials


@pytest.mark.parametrize("name", ["woods-nickel", "acid-tin-msa"])
def test_a_bath_without_a_published_slope_has_no_law_and_nothing_in_its_place(name: str) -> None:
    made = bath(name)
    assert made.law is None
    assert made.laws is None
    assert made.exchange_range is None
    assert "law" not in made.sources
    assert law_range(name) is None
    (note,) = (entry for entry in bath_table(name).entries if entry.key == "polarization")
    assert note.source.basis == "assumed"
    assert bath(name, law=Linear(1e-4)).law == Linear(1e-4)


def test_a_slope_without_a_range_has_none() -> None:
    low, typical, high = law_range("acid-tin-sulfate") or (None, None, None)
    assert low == typical == high
    assert isinstance(typical, ButlerVolmer)
    assert_allclose(typical.cathodic_slope, tafel_slope_per_e_fold(0.12), rtol=1e-12, atol=0.0)


def test_a_conductivity_that_cannot_be_brought_to_a_temperature_says_so() -> None:
    made = bath("acid-tin-msa")  # tabulated at 25 °C, worked at 30 °C, and no coefficient is known
    assert_allclose(made.conductivity, 28.0, rtol=1e-12, atol=0.0)
    assert made.growth_per_kelvin is None
    assert "not known" in made.sources["conductivity"].text
    assert "not known" not in bath("acid-tin-msa", temperature=25.0 + ZERO).sources["conductivity"].text


def test_a_coefficient_published_at_25_celsius_counts_from_there() -> None:
    # hydrochloric acid 1.56 %/K of the conductivity at 25 °C (manual of a laboratory conductivity meter, seen)
    assert_allclose(bath("woods-nickel", temperature=30.0 + ZERO).conductivity, 35.0 * 1.078, rtol=1e-12, atol=0.0)


def test_efficiency_follows_the_curve_between_its_points_and_is_flat_beyond() -> None:
    zinc = bath("alkaline-zinc")
    asked = np.array([0.0, 50.0, 125.0, 200.0, 350.0, 500.0, 5000.0])  # [A/m²]
    assert_allclose(zinc.efficiency_at(asked), [0.9, 0.9, 0.825, 0.75, 0.65, 0.55, 0.55], rtol=1e-12, atol=0.0)
    assert_allclose(zinc.efficiency_at(125.0), 0.825, rtol=1e-12, atol=0.0)
    assert_allclose(zinc.efficiency, zinc.efficiency_at(zinc.current_density.typical), rtol=1e-12, atol=0.0)
    assert zinc.efficiency_range == Range(0.70, 0.75, 0.95)


def test_without_a_curve_the_efficiency_is_the_same_everywhere() -> None:
    assert_allclose(bath("watts-nickel").efficiency_at(np.array([1.0, 1e3])), [0.95, 0.95], rtol=1e-12, atol=0.0)


def test_a_stated_efficiency_replaces_a_curve_and_a_stated_curve_an_efficiency() -> None:
    flat = bath("alkaline-zinc", efficiency=0.6)
    assert flat.efficiency_curve == ()
    assert_allclose(flat.efficiency_at(np.array([50.0, 500.0])), [0.6, 0.6], rtol=1e-12, atol=0.0)
    assert not {"efficiency", "efficiency_range", "efficiency_curve"} & set(flat.sources)
    bent = bath("watts-nickel", efficiency_curve=((0.0, 0.5), (800.0, 0.9)))
    assert_allclose(bent.efficiency, 0.7, rtol=1e-12, atol=0.0)  # half way, at 4 A/dm²
    assert bent.efficiency_range == Range(bent.efficiency, bent.efficiency, bent.efficiency)
    assert not {"efficiency", "efficiency_range", "efficiency_curve"} & set(bent.sources)


def test_another_usual_current_moves_along_the_curve_and_takes_the_range_along() -> None:
    gentle = bath("alkaline-zinc", current_density=Range(30.0, 50.0, 60.0))
    assert_allclose(gentle.efficiency, 0.9, rtol=1e-12, atol=0.0)
    assert_allclose(gentle.efficiency_range.low, 0.84, rtol=1e-12, atol=0.0)
    assert gentle.efficiency_range.high == 1.0  # more than all of the current cannot deposit


@pytest.mark.parametrize(
    "curve", [((200.0, 0.5), (100.0, 0.4)), ((1.0, 1.2),), ((1.0, 0.0),), ((-1.0, 0.5),), ((math.nan, 0.5),)]
)
def test_a_curve_that_cannot_be_is_refused(curve: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(TableError) as caught:
        bath("watts-nickel", efficiency_curve=curve)
    assert caught.value.slug == "bath-value"


def test_stirring_takes_the_stirred_limit_where_the_table_has_one() -> None:
    for stirred, expected in ((True, 2000.0), (False, 600.0), (None, 600.0)):
        known = bath("watts-nickel", stirred=stirred).limiting_current_density
        assert known is not None
        assert_allclose(known.typical, expected, rtol=1e-12, atol=0.0)
    assert bath("acid-tin-msa", stirred=True).limiting_current_density is None
    assert bath("watts-nickel", stirred=True).sources["limiting_current_density"].text.startswith("Estimated")


@pytest.mark.parametrize(
    ("symbol", "molar_mass", "density", "per_hour", "per_ampere_hour"),
    [
        ("Ni", 58.693, 8.90, 12.30, 1.095),
        ("Cu", 63.546, 8.96, 13.23, 1.1855),
        ("Zn", 65.38, 7.14, 17.08, 1.2197),
        ("Sn", 118.71, 7.29, 30.38, 2.2146),
    ],
)
def test_metals_deposit_what_faradays_law_gives(
    symbol: str, molar_mass: float, density: float, per_hour: float, per_ampere_hour: float
) -> None:
    # IUPAC weights, CRC densities; µm/h at 1 A/dm² and g/Ah worked out by hand at 100 %: M t / (n F rho)
    of = metal(symbol)
    assert_allclose(of.molar_mass, molar_mass * 1e-3, rtol=1e-4, atol=0.0)
    assert_allclose(of.density, density * 1e3, rtol=1e-3, atol=0.0)
    assert_allclose(deposition_rate(100.0, of) * 3600.0 * 1e6, per_hour, rtol=1.5e-3, atol=0.0)
    assert_allclose(mass_of_charge(3600.0, of) * 1e3, per_ampere_hour, rtol=2e-4, atol=0.0)


def test_two_micrometres_of_nickel_take_what_a_published_chart_says() -> None:
    # S. F. Rudy, finishingandcoating.com: at 95 % 0.18 g and 0.17 Ah to the dm², 10 min at 1 A/dm² (seen)
    nickel, area = metal("Ni"), 0.01
    charge = 2e-6 * area / deposition_rate(1.0, nickel, 0.95)
    assert_allclose(charge / 3600.0, 0.17, rtol=0.03, atol=0.0)
    assert_allclose(charge / 60.0, 10.0, rtol=0.04, atol=0.0)
    assert_allclose(mass_of_charge(charge, nickel, 0.95) * 1e3, 0.18, rtol=0.02, atol=0.0)


def test_metals_have_the_atomic_weight_of_iupac() -> None:
    # standard atomic weights Ni 58.6934(4), Cu 63.546(3)
    assert_allclose(metal("Ni").molar_mass, 58.6934e-3, rtol=1e-12, atol=0.0)
    assert_allclose(metal("Cu").molar_mass, 63.546e-3, rtol=1e-12, atol=0.0)
    assert metal("Ni").electrons == metal("Cu").electrons == 2
    with pytest.raises(TableError) as caught:
        metal("Xx")
    assert caught.value.slug == "metal-unknown"


@pytest.mark.parametrize("text", ["watts_nickel", "Watts Nickel", " nickel watts ", "WATTS-NICKEL", "watts  nickel"])
def test_case_spaces_and_order_of_words_are_free(text: str) -> None:
    assert bath_name(text) == "watts-nickel"


def test_the_british_spelling_is_known() -> None:
    assert bath_name("nickel sulphamate") == "sulfamate-nickel"


@pytest.mark.parametrize(
    ("text", "near"),
    [
        ("watts", "watts-nickel"),
        ("wats-nickle", "watts-nickel"),
        ("vinegar", "acetate-nickel"),
        ("copper", "acid-copper, acid-copper-high-throw"),
        ("quux", "chloride-nickel"),
        ("", "watts-nickel"),
    ],
)
def test_an_unknown_bath_is_answered_with_the_nearest_names(text: str, near: str) -> None:
    with pytest.raises(TableError) as caught:
        bath(text)
    assert caught.value.slug == "bath-unknown"
    assert near in caught.value.hint


@pytest.mark.parametrize(
    "text", ["silver-cyanide", "silver cyanide", "Copper_Cyanide", "gold cyanide strike", "hard chrome"]
)
def test_cyanide_and_chromic_acid_are_refused_with_the_reason(text: str) -> None:
    for ask in (bath, bath_table, cautions, law_range):
        with pytest.raises(TableError) as caught:
            ask(text)
        assert caught.value.slug == "bath-refused"
        assert "hydrogen cyanide" in caught.value.message or "chromium(VI)" in caught.value.message


def test_a_bath_free_of_cyanide_is_unknown_not_refused() -> None:
    with pytest.raises(TableError) as caught:
        bath("alkaline non-cyanide zinc")
    assert caught.value.slug == "bath-unknown"


def test_refused_baths_carry_a_reason_and_no_figure() -> None:
    assert "silver-cyanide" in refused_baths()
    assert all(reason for reason in refused_baths().values())
    for row in load.table("refused").values():
        assert set(row) - {"hint"} == {"title", "words", "reason", "source", "basis", "trust"}


def test_conductivity_is_straight_in_temperature_and_exact_where_it_is_tabulated() -> None:
    at = {celsius: bath("watts-nickel", temperature=celsius + ZERO) for celsius in (20.0, 37.5, 55.0)}
    assert_allclose(at[55.0].conductivity, 8.5, rtol=1e-12, atol=0.0)
    middle = 0.5 * (at[20.0].conductivity + at[55.0].conductivity)
    assert_allclose(at[37.5].conductivity, middle, rtol=1e-12, atol=0.0)
    # 2 %/K of the conductivity at 20 °C: 1.7 times as much at 55 °C
    assert_allclose(at[55.0].conductivity / at[20.0].conductivity, 1.7, rtol=1e-12, atol=0.0)
    assert_allclose(
        at[20.0].conductivity_range.high / at[20.0].conductivity_range.low, 10.0 / 6.0, rtol=1e-12, atol=0.0
    )


@each_bath
def test_conductivity_at_its_own_temperature_is_the_tabulated_one(name: str) -> None:
    row = load.table("baths")[name]["values"]["conductivity"]
    celsius = float(row["at"].removesuffix(" C"))
    assert_allclose(bath(name, temperature=celsius + ZERO).conductivity, row["typical"], rtol=1e-12, atol=0.0)


def test_a_conductivity_brought_to_another_temperature_says_so() -> None:
    source = bath("watts-nickel", temperature=20.0 + ZERO).sources["conductivity"]
    assert "brought from 55 C to 20 C" in source.text
    assert source.basis == "derived"
    assert "brought" not in bath("watts-nickel").sources["conductivity"].text


def test_what_a_job_states_replaces_the_table_and_has_no_source() -> None:
    law = Linear(1.3e-4)
    bright = Range(50.0, 150.0, 300.0)
    made = bath(
        "watts-nickel",
        temperature=310.0,
        conductivity=6.1,
        efficiency=0.9,
        law=law,
        current_density=bright,
    )
    assert (made.temperature, made.conductivity, made.efficiency) == (310.0, 6.1, 0.9)
    assert made.conductivity_range == Range(6.1, 6.1, 6.1)
    assert made.efficiency_range == Range(0.9, 0.9, 0.9)
    assert made.law is law
    assert made.current_density is bright
    stated = {"temperature", "conductivity", "efficiency", "law", "current_density"}
    assert not stated & set(made.sources)
    assert "temperature_range" in made.sources
    assert made.temperature_range == bath("watts-nickel").temperature_range


def test_no_polarization_can_be_asked_for() -> None:
    assert bath("watts-nickel", law=None).law is None


def test_a_temperature_outside_the_working_range_still_gives_a_bath() -> None:
    cold = bath("watts-nickel", temperature=18.0 + ZERO)
    assert cold.temperature < cold.temperature_range.low


@pytest.mark.parametrize(
    "given",
    [
        {"temperature": 5000.0},
        {"temperature": 200.0},
        {"temperature": math.nan},
        {"conductivity": 0.0},
        {"conductivity": -1.0},
        {"conductivity": math.nan},
        {"efficiency": 1.01},
        {"efficiency": 0.0},
    ],
)
def test_a_value_that_cannot_be_is_refused_by_name(given: dict[str, float]) -> None:
    with pytest.raises(TableError) as caught:
        bath("acid-copper", **given)
    assert caught.value.slug == "bath-value"
    assert "acid-copper" in caught.value.where
    (name,) = given
    assert name in caught.value.message or name == "temperature"


@each_bath
def test_the_laws_of_the_range_go_from_least_to_most_polarized(name: str) -> None:
    bright = np.array([bath(name).current_density.typical])
    laws = law_range(name)
    assert bath(name).laws == laws
    assert (laws is None) == (name in ("woods-nickel", "acid-tin-msa"))
    if laws is None:
        return
    drops = [law.drop(bright)[0] for law in laws]
    assert drops[0] < drops[1] < drops[2] or name == "acid-tin-sulfate"  # whose slope has no range
    assert laws[1] == bath(name).law


@each_bath
def test_every_bath_warns_of_gas_waste_current_and_law(name: str) -> None:
    told = " ".join(cautions(name))
    for word in ("Hydrogen", "Waste", "mains", "local codes", "stainless"):
        assert word in told
    assert bath(name).cautions == cautions(name)


def test_cautions_are_those_of_the_bath() -> None:
    assert any("Chlorine" in text for text in cautions("chloride-nickel"))
    assert any("70 °C" in text for text in cautions("sulfamate-nickel"))
    assert any("bleach" in text for text in cautions("acetate-nickel"))
    assert not any("Boric" in text for text in cautions("acetate-nickel"))
    assert not any("Nickel salts" in text for text in cautions("acid-copper"))
    assert any("acid into the water" in text for text in cautions("acid-copper"))


def test_the_printed_table_has_every_row_with_its_source() -> None:
    printed = bath_table("watts nickel")
    stored = load.table("baths")["watts-nickel"]
    assert len(printed.entries) == sum(len(stored[part]) for part in ("composition", "values", "notes"))
    by_key = {entry.key: entry for entry in printed.entries}
    bright = by_key["current_density"]
    assert (bright.low, bright.typical, bright.high, bright.unit) == (2.0, 4.0, 7.0, "A/dm2")
    assert "Nickel Plating Handbook" in bright.source.text
    assert bright.source.trust is Trust.GOOD
    assert by_key["conductivity"].text.startswith("at 55 C")
    assert by_key["anode"].typical is None
    assert all(entry.source.text for entry in printed.entries)


def test_sources_of_two_rows_take_the_weaker_trust_and_the_less_direct_basis() -> None:
    good = {"source": ["iupac"], "basis": "seen", "trust": "good"}
    weak = {"source": ["practice", "iupac"], "basis": "derived", "trust": "weak"}
    both = load.source_of(good, weak)
    assert (both.basis, both.trust) == ("derived", Trust.WEAK)
    assert both.text.count("IUPAC") == 1


def test_plain_vinegar_conducts_0_12_siemens_per_metre() -> None:
    # CRC Handbook, acetic acid 5 %, 20 °C: 1.2 mS/cm (seen)
    assert_allclose(solution_conductivity("acetic acid", 5.0), 0.12, rtol=1e-12, atol=0.0)


def test_salt_water_of_the_handbook_is_read_between_its_points() -> None:
    # CRC Handbook, NaCl 20 °C: 8.2 mS/cm at 0.5 %, 16.0 at 1 % (memory)
    assert_allclose(solution_conductivity("sodium chloride", 0.5), 0.82, rtol=1e-12, atol=0.0)
    assert_allclose(solution_conductivity("sodium_chloride", 0.75), 1.21, rtol=1e-12, atol=0.0)
    assert_allclose(solution_conductivity("sodium-chloride", 25.0), 22.2, rtol=1e-12, atol=0.0)


def test_the_parts_of_the_acetate_bath_add_up_to_its_conductivity() -> None:
    # vinegar + 5 g/L salt + 0.8 S/m guessed for 0.07 to 0.1 mol/L nickel acetate (derived, ±40 %)
    parts = solution_conductivity("acetic acid", 5.0) + 0.95 * solution_conductivity("sodium chloride", 0.5)
    stated = bath("acetate-nickel", temperature=20.0 + ZERO)
    assert_allclose(parts + 0.8, stated.conductivity, rtol=0.2, atol=0.0)
    assert stated.conductivity_range.low < parts < stated.conductivity_range.high


@pytest.mark.parametrize(
    ("solute", "share", "slug"),
    [
        ("sugar", 5.0, "solute-unknown"),
        ("acetic acid", 60.0, "solution-range"),
        ("acetic acid", math.nan, "solution-range"),
        ("acetic acid", 0.1, "solution-range"),
    ],
)
def test_a_solution_outside_the_table_is_refused(solute: str, share: float, slug: str) -> None:
    with pytest.raises(TableError) as caught:
        solution_conductivity(solute, share)
    assert caught.value.slug == slug


def test_nothing_is_read_before_it_is_asked_for_and_nothing_heavy_is_imported() -> None:
    code = (
        "import sys, geom.tables.read as read, geom.tables.load as load\n"
        "assert load.shipped.cache_info().currsize == 0\n"
        "heavy = {'scipy', 'numba', 'trimesh', 'matplotlib', 'pydantic', 'shapely'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
        "read.metal('Ni')\n"
        "assert load.shipped.cache_info().currsize == 1\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.benchmark
def test_the_tables_are_read_in_20_ms() -> None:
    spent = []
    for _ in range(5):
        load.shipped.cache_clear()
        start = time.process_time()
        bath("watts-nickel")
        spent.append(time.process_time() - start)
    assert min(spent) < 0.020


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("watts-nickel", []),
        ("acid-zinc-chloride", ["bath-no-limit"]),
        ("alkaline-zinc", ["bath-no-limit"]),
        ("acid-tin-sulfate", ["bath-slope-alone", "bath-no-limit"]),
        ("acid-tin-msa", ["bath-no-slope", "bath-not-warmed", "bath-no-limit"]),
        ("woods-nickel", ["bath-no-slope", "bath-no-limit"]),
    ],
)
def test_what_the_tables_do_not_know_is_told(name: str, codes: list[str]) -> None:
    assert [finding.code for finding in bath_findings(bath(name), law_is_stated=False)] == codes


def test_what_a_job_states_itself_is_not_told_as_unknown() -> None:
    stated = bath("acid-tin-msa", law=None, conductivity=30.0)
    assert [finding.code for finding in bath_findings(stated, law_is_stated=True)] == ["bath-no-limit"]
    known = bath("acid-tin-sulfate", law=Linear(1e-4))
    assert [finding.code for finding in bath_findings(known, law_is_stated=True)] == ["bath-no-limit"]
