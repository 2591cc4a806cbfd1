"""The file of readings: what is read, and each mistake with its line and key, all at once."""

import math
from pathlib import Path

import pytest

from geom.errors import JobError
from geom.job.readings import (
    ConductivityKeys,
    CouponKeys,
    LimitingKeys,
    PlateKeys,
    PolarizationKeys,
    ReadingsKeys,
    SlantPanelKeys,
    parse_readings,
    read_readings,
)

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "samples" / "calibrate" / "readings.toml"
HEAD = 'name = "club-nickel"\nlike = "watts-nickel"\ntemperature = "48 C"\n'
TANK = 'tank = { shape = "box", length = "200 mm", width = "100 mm", depth = "100 mm" }\n'
PLATES = f'[conductivity]\n{TANK}plate = {{ width = "50 mm", immersed = "60 mm" }}\ngap = "60 mm"\n'
PAIRS = 'readings = [["0.5 V", "0.1 A"], ["1.0 V", "0.5 A"], ["1.5 V", "0.9 A"]]\n'
COUPON = '[[coupon]]\ncurrent = "1 A"\ntime = "20 min"\n'


def refused(text: str) -> list[tuple[str, str]]:
    """Slug and place of each mistake."""
    with pytest.raises(JobError) as caught:
        parse_readings(text)
    found = caught.value.mistakes or (caught.value,)
    return [(mistake.slug, mistake.where.partition("\n")[0]) for mistake in found]


def test_the_sample_is_read_whole() -> None:
    found = read_readings(SAMPLE)
    assert (found.name, found.like) == ("club-nickel", "watts-nickel")
    assert found.temperature == pytest.approx(321.15, rel=1e-12)
    assert found.conductivity is not None
    assert found.conductivity.readings.volts[0] == pytest.approx(0.748, rel=1e-12)
    assert found.conductivity.plates.first == found.conductivity.plates.second
    assert found.conductivity.plates.gap_to == pytest.approx(5e-4, rel=1e-12)
    assert [round(1e6 * coupon.gain) for coupon in found.coupons] == [278, 306, 331]
    assert found.panel is not None
    assert found.panel.thickness_current == found.panel.current == 2.0
    assert found.polarization is not None
    assert found.polarization.reference


@pytest.mark.parametrize(
    ("text", "slug", "place"),
    [
        (HEAD, "job-key-missing", "line 1, name"),
        (HEAD.replace("club-nickel", "Watts Nickel") + COUPON + 'gain = "0.3 g"', "job-name-taken", "line 1, name"),
        (HEAD.replace("club-nickel", "silver cyanide") + COUPON + 'gain = "0.3 g"', "bath-refused", "line 1, name"),
        (HEAD.replace("club-nickel", "club/nickel!") + COUPON + 'gain = "0.3 g"', "job-type", "line 1, name"),
        (HEAD.replace("watts-nickel", "watts-nikel") + COUPON + 'gain = "0.3 g"', "bath-unknown", "line 2, like"),
        (HEAD.replace("48 C", "480 C") + COUPON + 'gain = "0.3 g"', "job-range", "line 3, temperature"),
        (HEAD + PLATES, "job-key-missing", "line 4, conductivity"),
        (HEAD + PLATES + 'readings = [["0.5 V", "0.1 A"]]', "job-readings-few", "line 8, conductivity.readings"),
        (HEAD + PLATES + 'readings = [["0.5 V", "0.1 A"], ["0.6 V", "0.11 A"]]\nvolts_to = "1 mV"\namps_to = "1 mA"',
         "job-readings-few", "line 8, conductivity.readings"),
        (HEAD + PLATES + 'readings = [["0.5 V", "0.1 A"], ["1 V", "0.5 A"]]\nvolts_to = "1 mV"',
         "job-key-missing", "line 4, conductivity"),
        (HEAD + PLATES + 'readings = [["0.1 A", "0.5 V"], ["0.5 A", "1 V"]]', "job-unit-mismatch", "line 8, conductivity.readings[0][0]"),
        (HEAD + PLATES + 'readings = [["0.5 V"], ["1 V", "0.5 A"]]', "job-type", "line 8, conductivity.readings[0]"),
        (HEAD + PLATES.replace('"60 mm" }', '"160 mm" }') + PAIRS, "job-range", "line 6, conductivity.plate.immersed"),
        (HEAD + PLATES.replace('"50 mm"', '"150 mm"') + PAIRS, "job-range", "line 6, conductivity.plate.width"),
        (HEAD + PLATES.replace('gap = "60', 'gap = "199') + PAIRS, "job-range", "line 7, conductivity.gap"),
        (HEAD + PLATES + PAIRS + 'gap_to = "70 mm"', "job-range", "line 9, conductivity.gap_to"),
        (HEAD + PLATES.replace('"60 mm" }', '"60 mm", covered = "70 mm" }') + PAIRS, "job-range", "line 6, conductivity.plate.covered"),
        (HEAD + COUPON, "job-key-missing", "line 4, coupon[0]"),
        (HEAD + COUPON + 'before = "21 g"', "job-key-missing", "line 4, coupon[0]"),
        (HEAD + COUPON + 'before = "21 g"\nafter = "20.9 g"', "job-range", "line 8, coupon[0].after"),
        (HEAD + COUPON + 'before = "21 g"\ngain = "0.3 g"', "job-keys-exclude", "line 8, coupon[0].gain"),
        (HEAD + COUPON + 'gain = "0.02 g"', "job-range", "line 4, coupon[0]"),
        (HEAD + COUPON + 'gain = "0.3 g"\narea = "1 mm2"', "job-range", "line 8, coupon[0].area"),
        (HEAD + COUPON.replace("[[coupon]]", "[coupon]") + 'gain = "0.3 g"', "job-type", "line 4, coupon"),
        (HEAD + '[slant_panel]\ncurrent = "2 A"', "job-key-missing", "line 4, slant_panel"),
        (HEAD + '[slant_panel]\ncurrent = "2 A"\nburnt_to = "2 mm"', "job-range", "line 6, slant_panel.burnt_to"),
        (HEAD + '[slant_panel]\ncurrent = "2 A"\nburnt_to = "50 mm"\nbright_to = "40 mm"', "job-range", "line 7, slant_panel.bright_to"),
        (HEAD + '[slant_panel]\ncurrent = "2 A"\nthickness = [["10 mm", "9 um"], ["50 mm", "4 um"]]',
         "job-readings-few", "line 6, slant_panel.thickness"),
        (HEAD + '[polarization]\nreference = true\nreadings = [["0.1 V", "0.1 A"], ["0.2 V", "0.4 A"]]',
         "job-readings-few", "line 6, polarization.readings"),
        (HEAD + '[polarization]\nreference = 1\nreadings = []', "job-type", "line 5, polarization.reference"),
        (HEAD + '[limiting]\ncurrent = "2 A"\narea = "50 cm2"\nclean = "2 A"', "job-range", "line 7, limiting.clean"),
        (HEAD + '[limiting]\ncurrent = "2 A"\narea = "50 cm2"\nratio = 0.5', "job-range", "line 7, limiting.ratio"),
        (HEAD + '[limiting]\ncurrent = "2 A"\narea = "50 cm2"\nratio = "1.5"', "job-type", "line 7, limiting.ratio"),
        (HEAD + '[slantpanel]\ncurrent = "2 A"', "job-key-unknown", "line 4, slantpanel"),
        ("", "job-file-empty", "readings"),
        ("name = club", "job-syntax", "readings, line 1"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_its_line_and_key(text: str, slug: str, place: str) -> None:
    assert any(found == slug and place in where for found, where in refused(text)), refused(text)


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file() -> None:
    text = (
        HEAD.replace("48 C", "warm")
        + PLATES.replace('gap = "60 mm"', 'gap = "60"')
        + PAIRS
        + COUPON
        + 'before = "3 g"\nafter = "2 g"\n[limiting]\ncurrent = "2 A"\narea = "5 V"\n'
    )
    found = refused(text)
    assert [slug for slug, _ in found] == ["job-number", "job-unit-missing", "job-range", "job-unit-mismatch"]


def test_a_folder_a_mesh_and_nothing_are_no_readings(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "none.toml"):
        with pytest.raises(JobError) as caught:
            read_readings(path)
        assert caught.value.slug == "job-file-missing"
    (tmp_path / "a.stl").write_bytes(b"solid")
    with pytest.raises(JobError) as caught:
        read_readings(tmp_path / "a.stl")
    assert caught.value.slug == "job-file-is-part"


def test_every_key_is_on_the_page() -> None:
    page = (ROOT / "docs" / "calibrate.md").read_text(encoding="utf-8")
    models = (ConductivityKeys, PlateKeys, CouponKeys, SlantPanelKeys, PolarizationKeys, LimitingKeys, ReadingsKeys)
    keys = {key for model in models for key in model.model_fields} - {
        "conductivity",
        "coupon",
        "slant_panel",
        "polarization",
        "limiting",
    }
    assert {key for key in keys if f"`{key}`" not in page} == set()
    for section in ("[conductivity]", "[[coupon]]", "[slant_panel]", "[polarization]", "[limiting]"):
        assert f"`{section}`" in page


def test_a_name_is_free_in_case_and_spaces() -> None:
    found = parse_readings(HEAD.replace("club-nickel", "Club Nickel 2") + COUPON + 'gain = "0.3 g"\n')
    assert found.name == "club-nickel-2"
    assert math.isclose(found.coupons[0].step, 1e-5)
