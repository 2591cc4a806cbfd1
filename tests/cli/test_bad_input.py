"""Bad input of every sort to the real command: exit code 2 or 3, one error in words, no traceback, nothing written."""

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from geom.cli.main import commands

BAR = """[part]
shape = "bar"
length = "60 mm"
width = "20 mm"
thickness = "3 mm"
[bath]
name = "watts-nickel"
[target]
thickness = "8 um"
"""
SHEET = '[[anode]]\nshape = "sheet"\nlength = "1 mm"\nwidth = "50 mm"\nheight = "50 mm"\nat = [{at}]\n'
POSE = '[pose]\nat = ["{}", "0 mm", "{}"]\n'
IN_BATH = "[target]\n"


def changed(old: str, new: str) -> str:
    assert old in BAR
    return BAR.replace(old, new)


BAD = {
    "empty": ("", "job-file-empty"),
    "bytes": ("\xff\x00", "job-file-encoding"),
    "no toml": ("= = =", "job-syntax"),
    "a list": ("[[part]]\n", "job-type"),
    "no part": (BAR[BAR.index("[bath]") :], "job-key-missing"),
    "no bath": (changed('[bath]\nname = "watts-nickel"\n', ""), "job-key-missing"),
    "no target": (BAR[: BAR.index("[target]")], "job-key-missing"),
    "a key twice": (changed("width =", 'width = "1 mm"\nwidth ='), "job-duplicate"),
    "an unknown key": (changed("width =", "wide ="), "job-key-unknown"),
    "an unknown shape": (changed('"bar"', '"bra"'), "job-word-unknown"),
    "no unit": (changed('"60 mm"', "60"), "job-unit-missing"),
    "another quantity": (changed('"60 mm"', '"60 V"'), "job-unit-mismatch"),
    "negative": (changed("60 mm", "-60 mm"), "job-range"),
    "nothing": (changed("3 mm", "0 mm"), "job-range"),
    "no number": (changed("60 mm", "nan mm"), "job-number"),
    "without end": (changed("60 mm", "1e400 mm"), "job-number"),
    "a wrong unit, most likely": (changed("60 mm", "900 m"), "job-range"),
    "thicker than wide": (changed("3 mm", "30 mm"), "job-shape-impossible"),
    "a film": (changed("3 mm", "0.1 um"), "part-dimensions"),
    "cyanide": (changed("watts-nickel", "silver-cyanide"), "bath-refused"),
    "an unknown bath": (changed("watts-nickel", "wats-nickel"), "bath-unknown"),
    "no thickness": (changed("8 um", "0 um"), "job-range"),
    "current and voltage": (BAR + 'current = "1 A"\nvoltage = "1 V"\n', "job-keys-exclude"),
    "an unknown feature": (BAR + 'significant = ["nothing"]\n', "feature-unknown"),
    "all the current lost": (changed(IN_BATH, "efficiency = 0\n[target]\n"), "job-range"),
    "more than all of it": (changed(IN_BATH, "efficiency = 1.2\n[target]\n"), "job-range"),
    "no anodes": ("anode = []\n" + BAR, "job-range"),
    "a thimble": (
        BAR + '[tank]\nshape = "box"\nlength = "9 mm"\nwidth = "9 mm"\ndepth = "9 mm"\n',
        "anode-no-room",
    ),
    "above the liquid": (BAR + POSE.format("0 mm", "900 mm"), "part-above-liquid"),
    "through the wall": (BAR + POSE.format("600 mm", "50 mm"), "part-outside-tank"),
    "on the anode": (
        BAR + POSE.format("0 mm", "50 mm") + SHEET.format(at='"0 mm", "0 mm", "50 mm"'),
        "part-touches-anode",
    ),
    "a hole past the edge": (
        changed("[bath]", 'holes = [{ diameter = "8 mm", at = ["28 mm", "0 mm"] }]\n[bath]'),
        "job-hole-outside",
    ),
    "no such mesh": (changed('shape = "bar"', 'mesh = "a.stl"\nunit = "mm"'), "job-key-unknown"),
    "nothing in the mesh": ('[part]\nmesh = "empty.stl"\nunit = "mm"\n' + BAR[BAR.index("[bath]") :], None),
}


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty.stl").touch()
    return tmp_path


def geom(*words: str) -> Result:
    return CliRunner().invoke(commands, list(words))


@pytest.mark.parametrize("name", BAD)
def test_a_wrong_job_is_refused_in_words(folder: Path, name: str) -> None:
    text, slug = BAD[name]
    (folder / "a.toml").write_bytes(text.encode("latin-1"))
    result = geom("plan", "a.toml")
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    assert result.stderr.startswith("error: ")
    assert "Traceback" not in result.stderr
    if slug is not None:
        assert slug in result.stderr
    assert sorted(os.listdir(folder)) == ["a.toml", "empty.stl"]


LIMITED = (
    'polarization = { law = "linear", resistance = "1e-4 ohm m2", limiting_current_density = "1 A/dm2" }\n[target]\n'
)


def test_a_current_that_the_bath_cannot_carry_has_no_trustworthy_solution(folder: Path) -> None:
    """Solved in earnest: 1 A over 29 cm² at most 1 A/dm²."""
    text = changed(IN_BATH, LIMITED) + 'current = "1 A"\n'
    (folder / "a.toml").write_text(text, encoding="utf-8")
    result = geom("plan", "a.toml", "--json")
    assert result.exit_code == 3
    assert json.loads(result.stdout)["error"]["slug"].startswith("solve-")
    assert sorted(os.listdir(folder)) == ["a.toml", "empty.stl"]


def test_a_folder_is_no_job() -> None:
    result = geom("plan", ".")
    assert result.exit_code == 2
    assert result.stderr.startswith("error: ")
    assert "Traceback" not in result.stderr
