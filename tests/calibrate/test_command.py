"""geom calibrate: the worked example of docs/calibrate.md, the table it writes, and what it never overwrites."""

import json
import re
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from geom.cli.main import commands
from geom.electrode.laws import ButlerVolmer
from geom.job.own_tables import read_tables
from geom.job.read import parse_job
from geom.tables.load import overlaid, range_of, table
from geom.tables.read import bath, law_range

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "calibrate.md").read_text(encoding="utf-8")


def geom(*words: str) -> Result:
    return CliRunner().invoke(commands, ["calibrate", *words], catch_exceptions=False)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """The sample fitted in a folder of its own: the folder and the document."""
    folder = tmp_path_factory.mktemp("calibrate")
    shutil.copy(ROOT / "samples" / "calibrate" / "readings.toml", folder)
    found = geom(str(folder / "readings.toml"), "--json", "--quiet", "--out", str(folder / "club-nickel.toml"))
    assert found.exit_code == 0, found.output
    return folder, json.loads(found.output)


def figure(made: tuple[Path, dict[str, Any]], key: str) -> dict[str, Any]:
    return next(one for one in made[1]["figures"] if one["key"] == key)


def test_the_worked_example_of_the_page_is_what_is_found(made: tuple[Path, dict[str, Any]]) -> None:
    example = PAGE[PAGE.index("## Worked example") :]
    tree = made[1]
    assert f"**{tree['two_plates']['cell_constant_mm']:.1f} mm**" in example
    assert (
        f"V = {tree['two_plates']['voltage_at_no_current_V']:.3f} V + {tree['two_plates']['resistance_ohm']:.3f} Ω · I"
        in example
    )
    carried = figure(made, "conductivity")
    assert f"**{carried['typical']:.2f} S/m** ({carried['low']:.2f} to {carried['high']:.2f})" in example
    assert "{:.1f}, {:.1f} and {:.1f} %".format(*(100 * one for one in tree["coupons"])) in example
    share = figure(made, "efficiency")
    assert f"**{100 * share['typical']:.1f} %** ({100 * share['low']:.0f} to {100 * share['high']:.0f})" in example
    usable = figure(made, "current_density")
    assert f"**{usable['low']:.1f} to {usable['high']:.1f} A/dm²**" in example
    slope = figure(made, "tafel_slope")
    shown = (1e3 * slope[name] for name in ("typical", "low", "high"))
    assert "**{:.0f} mV for each decade** ({:.0f} to {:.0f})".format(*shown) in example
    assert tree["findings"] == []


def test_the_worked_example_by_hand(made: tuple[Path, dict[str, Any]]) -> None:
    """Least squares with the sums written out; Faraday's law; the published rule of the panel."""
    tree = made[1]
    amps, volts = [0.2, 0.4, 0.6, 0.9, 1.2, 1.5], [0.748, 0.985, 1.210, 1.559, 1.898, 2.238]
    n, sx, sy = 6, sum(amps), sum(volts)
    slope = (n * sum(x * y for x, y in zip(amps, volts, strict=True)) - sx * sy) / (
        n * sum(x * x for x in amps) - sx**2
    )
    assert tree["two_plates"]["resistance_ohm"] == pytest.approx(slope, rel=1e-6)
    by_hand = 1 / (1e-3 * tree["two_plates"]["cell_constant_mm"] * slope)
    assert figure(made, "conductivity")["typical"] == pytest.approx(by_hand, rel=1e-6)
    assert tree["coupons"][0] == pytest.approx(0.278 / (0.8 * 1200 * 58.69 / (2 * 96485)), rel=1e-3)
    assert tree["borders"][0]["current_density_A_dm2"] == pytest.approx(2 * (5.10 - 5.24 * 0.25527), rel=1e-4)


def test_the_table_is_laid_out_as_those_of_the_program(made: tuple[Path, dict[str, Any]]) -> None:
    text = (made[0] / "club-nickel.toml").read_text(encoding="utf-8")
    held = tomllib.loads(text)
    own = held["club-nickel"]
    assert own["like"] == "watts-nickel"
    known = table("baths")["watts-nickel"]["values"]
    for key, row in own["values"].items():
        assert key in known
        assert set(known[key]) - {"text"} <= set(row)  # low, typical, high, unit, at, source, basis, trust
        assert row.get("unit") == known[key].get("unit")
        assert row["basis"] in ("measured", "derived")
        assert "readings.toml" in row["source"]
        assert row["low"] <= row["typical"] <= row["high"]
    assert own["values"]["conductivity"]["at"] == "48 C"
    for one in made[1]["figures"]:
        assert own["values"][one["key"]]["typical"] == pytest.approx(one["typical"], rel=1e-3)
        assert own["values"][one["key"]]["trust"] == one["trust"]
    assert not re.search(r"20[0-9]{2}-[0-9]{2}", text)  # no date: the same readings give the same bytes
    quantity = range_of(own["values"]["tafel_slope"], "slope")
    assert quantity.typical == pytest.approx(0.1114 / 2.302585, rel=2e-3)


def test_a_job_that_names_the_table_is_planned_with_its_bath(made: tuple[Path, dict[str, Any]]) -> None:
    """What was measured comes with its interval, what hangs on it follows, the rest is that of the bath it is like."""
    with overlaid(read_tables(made[0] / "club-nickel.toml")):
        found, law = bath("club-nickel"), law_range("club-nickel")
    like = bath("watts-nickel")
    carried, slope = figure(made, "conductivity"), figure(made, "tafel_slope")
    assert found.temperature == pytest.approx(321.15, rel=1e-9)
    ends = found.conductivity_range.low, found.conductivity_range.typical, found.conductivity_range.high
    assert ends == pytest.approx([carried[name] for name in ("low", "typical", "high")], rel=1e-3)
    assert found.efficiency == pytest.approx(figure(made, "efficiency")["typical"], rel=1e-3)
    assert found.sources["conductivity"].basis == "measured"
    assert "readings.toml" in found.sources["conductivity"].text
    assert law is not None
    assert isinstance(law[1], ButlerVolmer)
    assert law[1].cathodic_slope == pytest.approx(slope["typical"] / 2.302585, rel=1e-3)
    assert 1 / law[1].cathodic_slope + 1 / law[1].anodic_slope == pytest.approx(77.85, rel=1e-3)  # nF/RT at 25 °C
    assert (found.kin, found.anode_materials) == ("watts-nickel", like.anode_materials)
    assert found.anode_current_density == like.anode_current_density


def test_nothing_is_overwritten_unasked(made: tuple[Path, dict[str, Any]]) -> None:
    folder = made[0]
    readings, target = folder / "readings.toml", folder / "club-nickel.toml"
    before = readings.read_bytes()
    found = geom(str(readings), "--out", str(target))
    assert found.exit_code == 2
    assert "table-not-written" in found.output
    assert "--force" in found.output
    for out in (readings, folder, folder / "club.txt"):
        assert geom(str(readings), "--out", str(out), "--force").exit_code == 2
    assert readings.read_bytes() == before


COUPONS = """
name = "tea-nickel"
like = "acetate-nickel"
temperature = "22 C"
[[coupon]]
current = "50 mA"
time = "60 min"
gain = "0.033 g"
balance = "0.001 g"
"""


def test_text_file_and_force(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("r.toml").write_text(COUPONS, encoding="utf-8")
    first = geom("r.toml")
    assert first.exit_code == 0, first.output
    assert 'tables = "tea-nickel.toml"' in first.output
    assert "weigh three" in first.output
    assert geom("r.toml").exit_code == 2
    assert geom("r.toml", "--force").exit_code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.toml", "tea-nickel.toml"]
    Path("tea-nickel.toml").unlink()
    assert geom("r.toml", "--no-files").exit_code == 0
    assert not Path("tea-nickel.toml").exists()


def test_the_keys_by_hand_are_those_of_a_job(made: tuple[Path, dict[str, Any]]) -> None:
    text = geom(str(made[0] / "readings.toml"), "--no-files").stdout
    section = text.partition("By hand\n")[2].partition("\n\n")[0]
    keys = re.findall(r"^([a-z_]+): +(.+)$", section, flags=re.MULTILINE)
    sample = (ROOT / "samples" / "link" / "job.toml").read_text(encoding="utf-8")
    lines = "\n".join(f"{key} = {value}" for key, value in keys)
    job = parse_job(re.sub(r"^name = .watts-nickel.*$", lambda _: lines, sample, count=1, flags=re.MULTILINE))
    assert job.bath.conductivity == pytest.approx(figure(made, "conductivity")["typical"], rel=2e-3)
    assert job.bath.efficiency == pytest.approx(figure(made, "efficiency")["typical"], rel=2e-3)
    assert job.bath.temperature == pytest.approx(321.15, rel=1e-9)
    assert job.bath.current_density.high == pytest.approx(100 * figure(made, "current_density")["high"], rel=2e-3)


def test_a_refusal_is_told_and_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("r.toml").write_text(COUPONS.replace("0.033", "0.33"), encoding="utf-8")
    found = geom("r.toml", "--json")
    assert found.exit_code == 2
    assert json.loads(found.stdout)["error"]["slug"] == "calibrate-over-100"
    assert [path.name for path in tmp_path.iterdir()] == ["r.toml"]


def test_readings_that_carry_no_figure_write_no_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    pairs = ", ".join(f'["{0.3 + 0.1 * i} V", "{0.1 + 0.05 * i:.2f} A"]' for i in range(4))
    head = COUPONS.partition("[[coupon]]")[0]
    Path("r.toml").write_text(f"{head}[polarization]\nreference = true\nreadings = [{pairs}]\n", encoding="utf-8")
    found = geom("r.toml")
    assert found.exit_code == 0
    assert "no slope is told" in found.output.replace("\n", " ")
    assert [path.name for path in tmp_path.iterdir()] == ["r.toml"]


def test_readings_with_odd_names_give_a_sound_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    name = 'a "b" \\n.toml'
    Path(name).write_text(COUPONS.replace("like", "title = 'Say \"tea\" \\ now'\nlike"), encoding="utf-8")
    assert geom(name, "--out", "t.toml").exit_code == 0
    held = tomllib.loads(Path("t.toml").read_text(encoding="utf-8"))["tea-nickel"]
    assert held["title"] == 'Say "tea" \\ now'
    assert name in held["values"]["efficiency"]["source"]
