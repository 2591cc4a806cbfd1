"""Baths of the user's own: what a file overrides and adds, what follows, what stays refused, and every mistake of it."""

import re
import threading
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from geom.electrode.laws import ButlerVolmer, Tafel, tafel_slope_per_e_fold
from geom.errors import JobError
from geom.job.job import Job
from geom.job.own_rows import CurveKeys, OwnBathKeys, RowKeys, ValuesKeys
from geom.job.own_tables import parse_tables, read_tables
from geom.job.read import parse_job, read_job
from geom.provenance import Trust
from geom.tables.cautions import anode_refusal
from geom.tables.load import overlaid, table
from geom.tables.read import bath, bath_names, bath_table, cautions
from geom.tables.stock import anode_limit

PAGE = (Path(__file__).parents[2] / "docs" / "baths.md").read_text(encoding="utf-8")
(EXAMPLE,) = re.findall(r"^```toml tables\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)
ZERO = 273.15

JOB = """
tables = "{tables}"
[part]
shape = "bar"
length = "80 mm"
width = "20 mm"
thickness = "3 mm"
[bath]
name = "{name}"
[target]
thickness = "8 um"
"""

NEW = """
[tank-nine]
metal = "Zn"
[tank-nine.values]
temperature = "30 C"
current_density = { low = 1, typical = 2, high = 3, unit = "A/dm2" }
efficiency = 0.8
conductivity = { typical = 12, unit = "S/m", at = "30 C" }
"""


def job(folder: Path, text: str, name: str) -> Job:
    (folder / "shop.toml").write_text(text, encoding="utf-8")
    file = folder / "link.toml"
    file.write_text(JOB.format(tables="shop.toml", name=name), encoding="utf-8")
    return read_job(file)


def mistakes(text: str) -> list[tuple[str, str]]:
    with pytest.raises(JobError) as caught:
        parse_tables(text, name="shop.toml")
    return [(one.slug, f"{one.where} {one.message} {one.hint}") for one in caught.value.mistakes]


def test_the_example_of_the_page_holds_as_it_stands(tmp_path: Path) -> None:
    club = job(tmp_path, EXAMPLE, "club nickel").bath
    assert (club.name, club.title, club.metal.symbol) == ("club-nickel", "The club's nickel, tank 2", "Ni")
    assert_allclose(club.temperature, 48.0 + ZERO, rtol=1e-12, atol=0.0)
    known = club.conductivity_range
    assert_allclose([known.low, known.typical, known.high], [7.4, 7.6, 7.8], rtol=1e-12, atol=0.0)
    assert isinstance(club.law, ButlerVolmer)
    assert_allclose(club.law.cathodic_slope, tafel_slope_per_e_fold(0.104), rtol=1e-12, atol=0.0)
    assert club.laws is not None
    assert_allclose(
        [law.cathodic_slope for law in club.laws],  # type: ignore[attr-defined]
        [tafel_slope_per_e_fold(slope) for slope in (0.092, 0.104, 0.118)],
        rtol=1e-12,
        atol=0.0,
    )
    assert_allclose(club.law.exchange, 1e-3, rtol=1e-12, atol=0.0)
    bright = club.current_density
    assert_allclose([bright.low, bright.typical, bright.high], [150.0, 300.0, 500.0], rtol=1e-12, atol=0.0)
    assert_allclose(
        club.efficiency_at(np.array([50.0, 125.0, 300.0])), [0.8, 0.87, 0.94 + 0.02 / 3], rtol=1e-12, atol=0
    )
    assert_allclose(club.efficiency, 0.94 + 0.02 / 3, rtol=1e-12, atol=0.0)
    assert club.limiting_current_density is not None
    assert_allclose(club.limiting_current_density.typical, 500.0, rtol=1e-12, atol=0.0)


def test_what_is_not_stated_is_that_of_the_bath_it_is_like(tmp_path: Path) -> None:
    club, watts = job(tmp_path, EXAMPLE, "club-nickel").bath, bath("watts-nickel")
    assert club.anode_current_density == watts.anode_current_density
    assert club.anode_area_ratio == watts.anode_area_ratio
    assert club.cautions == watts.cautions
    assert club.kin == "watts-nickel"
    # 2 %/K of the conductivity at 20 °C, told at 48 °C
    assert_allclose(club.growth_per_kelvin, 0.02 / 1.56, rtol=1e-12, atol=0.0)


def test_who_says_so_goes_along(tmp_path: Path) -> None:
    made = job(tmp_path, EXAMPLE, "club-nickel")
    told = made.bath.sources["conductivity"]
    assert (told.text, told.basis, told.trust) == ("two plates, 3 May", "measured", Trust.GOOD)
    told = made.bath.sources["current_density"]
    assert (told.text, told.basis, told.trust) == ("user's table shop.toml", "user", Trust.FAIR)
    assert "shop.toml" in made.origins["bath.current_density"].detail
    assert made.tables == (tmp_path / "shop.toml",)


def test_a_bath_of_the_tables_is_overridden_row_by_row(tmp_path: Path) -> None:
    ours, theirs = job(tmp_path, EXAMPLE, "watts-nickel").bath, bath("watts-nickel")
    assert_allclose(ours.efficiency, 0.93, rtol=1e-12, atol=0.0)
    assert ours.efficiency_range.low == ours.efficiency_range.high
    assert ours.conductivity_range == theirs.conductivity_range
    assert (ours.title, ours.law, ours.kin) == (theirs.title, theirs.law, "watts-nickel")


def test_nothing_of_it_is_left_after_the_job_is_read(tmp_path: Path) -> None:
    before = table("baths")
    assert job(tmp_path, EXAMPLE, "club-nickel").bath.name == "club-nickel"
    assert table("baths") is before
    assert "club-nickel" not in bath_names()
    assert_allclose(bath("watts-nickel").efficiency, 0.95, rtol=1e-12, atol=0.0)
    with pytest.raises(JobError):
        parse_job(JOB.format(tables="", name="club-nickel").replace('tables = ""', ""))


def test_it_is_gone_after_a_job_that_is_refused_too(tmp_path: Path) -> None:
    with pytest.raises(JobError):
        job(tmp_path, EXAMPLE, "clab-nickel")
    assert "club-nickel" not in bath_names()


def test_another_thread_does_not_see_it() -> None:
    seen: list[tuple[str, ...]] = []
    with overlaid(parse_tables(EXAMPLE)):
        assert "club-nickel" in bath_names()
        other = threading.Thread(target=lambda: seen.append(bath_names()))
        other.start()
        other.join()
    assert "club-nickel" not in seen[0]


def test_a_file_on_the_command_line_lies_over_that_of_the_job(tmp_path: Path) -> None:
    job(tmp_path, EXAMPLE, "club-nickel")
    over = tmp_path / "today.toml"
    over.write_text('[club-nickel.values]\nefficiency = "90 %"\n', encoding="utf-8")
    made = read_job(tmp_path / "link.toml", tables=over)
    assert made.bath.efficiency_curve == ()
    assert_allclose(made.bath.efficiency, 0.9, rtol=1e-12, atol=0.0)
    assert_allclose(made.bath.conductivity, 7.6, rtol=1e-12, atol=0.0)
    assert made.bath.title == "The club's nickel, tank 2"
    assert made.bath.kin == "watts-nickel"
    assert made.tables == (tmp_path / "shop.toml", over)


def test_the_job_states_more_than_any_table(tmp_path: Path) -> None:
    job(tmp_path, EXAMPLE, "club-nickel")
    file = tmp_path / "link.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("[target]", 'conductivity = "6 S/m"\n[target]'), "utf-8")
    assert_allclose(read_job(file).bath.conductivity, 6.0, rtol=1e-12, atol=0.0)


def test_rows_that_hang_on_another_are_not_left_behind() -> None:
    stated = """
    [watts-nickel.values]
    current_density = "3 A/dm2"
    tafel_slope = "0.12 V/decade"
    limiting_current_density = "4 A/dm2"
    [alkaline-zinc.values]
    efficiency = "70 %"
    """
    with overlaid(parse_tables(stated)):
        ours = bath("watts-nickel", stirred=True)
        by_key = {entry.key: entry for entry in bath_table("watts-nickel").entries}
        zinc = bath("alkaline-zinc")
    assert_allclose(by_key["current_density_asf"].typical, 3 * 9.290304, rtol=1e-9, atol=0.0)
    assert "current_density_cold" not in by_key
    # 0.12 V/decade has an anodic slope of 0.0393 V/decade for two electrons at 25 °C (Newman & Thomas-Alyea, ch. 8)
    assert_allclose(by_key["anodic_slope"].typical, 0.0393, rtol=2e-3, atol=0.0)
    assert ours.limiting_current_density is not None
    assert_allclose(ours.limiting_current_density.typical, 400.0, rtol=1e-12, atol=0.0)
    assert zinc.efficiency_curve == ()
    assert_allclose(zinc.efficiency_at(500.0), 0.7, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize(
    ("stated", "low", "typical", "high"),
    [
        ('"3 A/dm2"', 200.0, 300.0, 700.0),
        ('"9 A/dm2"', 200.0, 900.0, 900.0),
        ('"1 A/dm2"', 100.0, 100.0, 700.0),
        ('{ typical = 30, low = 25, unit = "A/ft2" }', 25 / 0.3048**2, 30 / 0.3048**2, 700.0),
    ],
)
def test_one_current_density_does_not_narrow_the_range_that_a_bath_is_worked_in(
    stated: str, low: float, typical: float, high: float
) -> None:
    with overlaid(parse_tables(f"[watts-nickel.values]\ncurrent_density = {stated}\n")):
        bright = bath("watts-nickel").current_density
    assert_allclose([bright.low, bright.typical, bright.high], [low, typical, high], rtol=1e-9, atol=0.0)


def test_one_temperature_does_not_narrow_the_working_range() -> None:
    with overlaid(parse_tables('[watts-nickel.values]\ntemperature = "122 F"\n')):
        made = bath("watts-nickel")
    assert_allclose(made.temperature, 50.0 + ZERO, rtol=1e-9, atol=0.0)
    assert_allclose(
        [made.temperature_range.low, made.temperature_range.high], [40 + ZERO, 60 + ZERO], rtol=1e-9, atol=0
    )


def test_a_slope_too_small_for_an_anodic_one_makes_a_law_without_it() -> None:
    with overlaid(parse_tables('[watts-nickel.values]\ntafel_slope = "25 mV/decade"\n')):
        assert isinstance(bath("watts-nickel").law, Tafel)


def test_a_new_bath_like_no_other_is_planned_without_what_it_does_not_state(tmp_path: Path) -> None:
    made = job(tmp_path, NEW, "tank-nine")
    assert (made.bath.law, made.bath.limiting_current_density, made.bath.family) == (None, None, "")
    assert {finding.code for finding in made.findings} == {"bath-no-slope", "bath-no-limit"}
    assert any("Zinc" in text or "zinc" in text for text in made.bath.cautions)


def test_baths_of_a_file_may_be_like_one_another_in_any_order() -> None:
    text = '[c]\nlike = "b"\n[b]\nlike = "a"\n[b.values]\nefficiency = 0.8\n[a]\nlike = "alkaline-zinc"\n'
    with overlaid(parse_tables(text)):
        assert_allclose(bath("c").efficiency, 0.8, rtol=1e-12, atol=0.0)
        assert bath("c").kin == "alkaline-zinc"
        assert cautions("c") == cautions("alkaline-zinc")


@pytest.mark.parametrize(
    "text",
    [
        '[silver-cyanide]\nlike = "watts-nickel"\n',
        '[our-kcn]\nlike = "watts-nickel"\n',
        '[tank-nine]\nlike = "watts-nickel"\ntitle = "Copper (cyanide)"\n',
        '[tank-nine]\nlike = "watts-nickel"\ntitle = "Cyanidic silver"\n',
        '[tank-nine]\nlike = "watts-nickel"\ntitle = "Hard chrome"\n',
        '[tank-nine]\nlike = "watts-nickel"\n[tank-nine.composition]\nsodium_cyanide = "30 g/L"\n',
        '[tank-nine]\nlike = "watts-nickel"\n[tank-nine.composition]\nchromic_acid = "250 g/L"\n',
        '[tank-nine]\nlike = "silver-cyanide"\n',
        '[electroless-mine]\nlike = "watts-nickel"\n',
    ],
)
def test_what_is_never_planned_stays_refused(text: str) -> None:
    assert "bath-refused" in [slug for slug, _ in mistakes(text)]


def test_anodes_are_refused_and_limited_as_in_the_bath_it_is_like(tmp_path: Path) -> None:
    text = '[tank-nine]\nlike = "alkaline-zinc"\n[tank-ten]\nlike = "acid-zinc-chloride"\n'
    alkaline, acid = (job(tmp_path, text, name).bath for name in ("tank-nine", "tank-ten"))
    assert anode_refusal("mild steel", alkaline) is None
    assert anode_refusal("mild steel", acid) is not None
    with overlaid(parse_tables(text)):
        assert anode_refusal("mild steel", "tank-nine") is None
        assert anode_refusal("mild steel", "tank-ten") is not None
    assert anode_limit(alkaline.kin, "Zn", None) == anode_limit("alkaline-zinc", "Zn", None)


def test_a_bath_without_cyanide_may_say_so() -> None:
    with overlaid(parse_tables('[mine]\nlike = "alkaline-zinc"\ntitle = "Non-cyanide zinc"\n')):
        assert bath("mine").title == "Non-cyanide zinc"


@pytest.mark.parametrize(
    ("text", "slug", "told"),
    [
        ("[watts-nickel.values]\nconductivty = 3\n", "job-key-unknown", "conductivity"),
        ('[watts-nickel]\nlik = "acid-copper"\n', "job-key-unknown", "like"),
        ('[mine]\nlike = "wats-nickel"\n', "bath-unknown", "watts-nickel"),
        ('[mine]\nlike = "mine"\n', "job-keys-exclude", "like itself"),
        ('[a]\nlike = "b"\n[b]\nlike = "a"\n', "job-keys-exclude", "like itself"),
        ('[mine]\nlike = "watts-nickel"\nmetal = "Zn"\n', "job-other-metal", "Ni"),
        ('[mine]\nmetal = "Xx"\n', "metal-unknown", "Ni, Cu, Zn, Sn"),
        ("[mine]\n", "job-key-missing", "metal"),
        ('[mine]\nmetal = "Ni"\n', "job-key-missing", "temperature"),
        (NEW.replace("low = 1, ", ""), "job-key-missing", "low"),
        ('[watts-nickel.values]\nconductivity = "8 S/m"\n', "job-key-missing", "at"),
        ('[watts-nickel.values]\nconductivity = { typical = 8, at = "50 C" }\n', "job-unit-missing", "S/m"),
        ('[watts-nickel.values]\ntafel_slope = "3 A"\n', "job-unit-mismatch", "slope"),
        ('[watts-nickel.values]\nefficiency = "120 %"\n', "job-range", "100 %"),
        ("[watts-nickel.values]\nefficiency = 0\n", "job-range", "more than 0"),
        ("[watts-nickel.values]\nefficiency = { low = 0.9, typical = 0.8 }\n", "job-range", "order"),
        ("[watts-nickel.values]\nefficiency = { low = 0.9 }\n", "job-key-missing", "typical"),
        ('[watts-nickel.values]\nefficiency = { typical = 0.9, trust = "very" }\n', "job-word-unknown", "good"),
        ('[watts-nickel.values]\nefficiency = { typical = 0.9, at = "50 C" }\n', "job-key-unknown", "no temperature"),
        ('[watts-nickel.values]\ntemperature = "140 C"\n', "job-range", "100"),
        ("[watts-nickel.values]\ntemperature = true\n", "job-type", "number"),
        ("[watts-nickel.values]\npH = nan\n", "job-number", "number"),
        ('[watts-nickel.values]\nconductivity_per_kelvin = "2 %"\n', "job-unit-mismatch", "%/K"),
        (
            '[watts-nickel.values]\ncurrent_density = { low = "1 A/dm2", typical = "200 A/m2" }\n',
            "job-unit-mismatch",
            "units",
        ),
        (
            '[watts-nickel.values]\ncurrent_density = { typical = "2 A/dm2", unit = "A/m2" }\n',
            "job-keys-exclude",
            "unit",
        ),
        ('[watts-nickel.values]\nefficiency_curve = [["2 A/dm2", "90 %"], ["1 A/dm2", "80 %"]]\n', "job-range", "rise"),
        ('[watts-nickel.values]\nefficiency_curve = [["2 A/dm2"]]\n', "job-type", "75 %"),
        ("[watts-nickel.values]\nefficiency_curve = []\n", "job-type", "no point"),
        ('[watts-nickel.values]\nexchange_current_density = "0 A/m2"\n', "job-range", "more than 0"),
        ("watts-nickel = 3\n", "job-type", "table"),
        ('["bad name!"]\nlike = "watts-nickel"\n', "job-type", "hyphens"),
        ('[watts-nickel]\n[nickel-watts]\nlike = "acid-copper"\n', "job-duplicate", "watts-nickel"),
        ("", "job-file-empty", "docs/baths.md"),
        ("[watts-nickel\n", "job-syntax", "TOML"),
    ],
)
def test_a_mistake_is_told_with_its_place_and_what_is_expected(text: str, slug: str, told: str) -> None:
    found = mistakes(text)
    assert slug in [one for one, _ in found]
    assert any(told in words for one, words in found if one == slug)
    assert all("shop.toml" in words for _, words in found)


def test_every_mistake_is_told_at_once_with_its_line() -> None:
    text = '[watts-nickel.values]\nefficiency = "120 %"\ntemperature = "3 A"\n\n[mine]\nlike = "quux"\ntitel = "x"\n'
    found = mistakes(text)
    assert [re.search(r"line (\d+)", words)[1] for _, words in found] == ["2", "3", "7"]  # type: ignore[index]


def test_mistakes_of_the_file_name_the_file_and_those_of_the_job_the_job(tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        job(tmp_path, "[watts-nickel.values]\nefficiency = 7\n", "watts-nickel")
    assert caught.value.where.startswith("shop.toml, line 2")
    file = tmp_path / "link.toml"
    file.write_text(JOB.format(tables="shap.toml", name="watts-nickel"), encoding="utf-8")
    with pytest.raises(JobError) as caught:
        read_job(file)
    assert caught.value.slug == "job-tables-missing"
    assert caught.value.where.startswith("link.toml, line 2, tables")


def test_a_file_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        read_tables(tmp_path / "none.toml")
    assert caught.value.slug == "job-file-missing"


def test_the_page_lists_every_key_there_is() -> None:
    section = PAGE[PAGE.index("## Baths of your own") : PAGE.index("## Words for how")]
    listed = set(re.findall(r"`([A-Za-z0-9_]+)`", section))
    for model in (OwnBathKeys, ValuesKeys, RowKeys, CurveKeys):
        assert set(model.model_fields) <= listed, model


def test_the_rows_a_file_may_state_are_those_of_the_tables() -> None:
    rows = {key for entry in table("baths").values() for key in entry["values"]}
    assert rows <= set(ValuesKeys.model_fields)


@pytest.mark.parametrize("name", bath_names())
def test_a_bath_of_the_tables_stated_again_row_by_row_is_the_same_bath(name: str) -> None:
    """The layout is that of the tables: what they hold, written out, reads back as itself."""
    entry = table("baths")[name]
    lines = [f"[{name}]", f"[{name}.values]"]
    for key, row in entry["values"].items():
        parts = ", ".join(f"{part} = {_toml(value)}" for part, value in row.items() if key != "x")
        lines.append(f"{key} = {{ {parts} }}")
    with overlaid(parse_tables("\n".join(lines))):
        again = bath(name)
    assert again == bath(name)


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(entry) for entry in value) + "]"
    return f'"{value}"' if isinstance(value, str) else repr(value)


def test_a_job_may_state_a_curve_of_efficiency() -> None:
    text = JOB.replace('tables = "{tables}"', "").replace(
        "[target]", 'efficiency_curve = [["1 A/dm2", "80 %"], ["5 A/dm2", 0.96]]\n[target]'
    )
    made = parse_job(text.format(name="watts-nickel"))
    assert_allclose(made.bath.efficiency_at(np.array([100.0, 300.0])), [0.8, 0.88], rtol=1e-12, atol=0.0)
    assert "efficiency" not in made.bath.sources


@pytest.mark.parametrize(
    ("key", "slug"),
    [
        ('efficiency_curve = [["2 A/dm2", "90 %"], ["2 A/dm2", "80 %"]]', "job-range"),
        ('efficiency_curve = [["2 A/dm2", "190 %"]]', "job-range"),
        ("efficiency_curve = []", "job-type"),
        ('efficiency_curve = "90 %"', "job-type"),
        ('efficiency = "90 %"\nefficiency_curve = [["2 A/dm2", "90 %"]]', "job-keys-exclude"),
    ],
)
def test_a_curve_of_a_job_that_cannot_be_is_refused(key: str, slug: str) -> None:
    text = JOB.replace('tables = "{tables}"', "").replace("[target]", f"{key}\n[target]").format(name="watts-nickel")
    with pytest.raises(JobError) as caught:
        parse_job(text)
    assert slug in [one.slug for one in caught.value.mistakes]
