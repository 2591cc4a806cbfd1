"""The card says what the plan says, on one page that holds all of it."""

import io
import json
from dataclasses import replace
from functools import cache

import matplotlib
import numpy as np
import pypdf
import pytest
from helpers.card_plans import HARD, SAMPLES, at_volts, sample_plan, staged, stopped, untimed, warned
from helpers.rack_plan import rack_plan
from helpers.small_plan import small_plan
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from geom.bench.records import Bench, Hook
from geom.cli.log import DONE
from geom.report.card import card_page, card_pdf
from geom.report.cardpage import INCH, POINT, SIZES, blank_page, drawable, width, wrapped
from geom.report.cardwords import card_words
from geom.report.cautions import set_up_of
from geom.report.jsonfile import as_json
from geom.tables.cautions import cautions_for

PAPERS = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}
"""Width and height of the papers in points: ISO 216, and 8.5 x 11 inches."""


def text_of(content: bytes) -> str:
    """Return the words of a PDF file, as another program reads them."""
    reader = pypdf.PdfReader(io.BytesIO(content))
    assert len(reader.pages) == 1
    return " ".join(reader.pages[0].extract_text().split())


@cache
def small_text() -> str:
    """Return the words of the card of the small plan."""
    return text_of(card_pdf(small_plan()))


def texts_of(plan, paper: str) -> list[tuple[str, Bbox]]:
    """Return what is written on a card with the room that it takes, in mm from the upper left corner."""
    page = card_page(plan, card_words(plan), paper)
    page.figure.draw_without_rendering()
    scale = INCH / page.figure.dpi
    found = [t for t in page.figure.findobj(Text) if t.get_visible() and t.get_text().strip() and _is_shown(t)]
    boxes = []
    for text in found:
        box = text.get_window_extent()
        corners = (box.x0 * scale, page.high - box.y1 * scale, box.x1 * scale, page.high - box.y0 * scale)
        boxes.append((text.get_text(), Bbox.from_extents(*corners)))
    return boxes


def _is_shown(text: Text) -> bool:
    """Is it no label of axes that are switched off?"""
    return text.axes is not None and text in text.axes.texts


def plans():
    """Return every plan that a card must bear, by name."""
    return {**{name: (lambda name=name: sample_plan(name)) for name in SAMPLES}, **HARD}


@pytest.mark.parametrize(
    ("name", "paper"),
    [*((name, "letter") for name in plans()), *((name, "a4") for name in ("link", "tab", "stopped", "all of it"))],
)
def test_nothing_lies_on_another_or_leaves_the_page(name, paper):
    boxes = texts_of(plans()[name](), paper)
    wide, high = SIZES[paper]
    assert len(boxes) > 60
    for text, box in boxes:
        assert box.x0 >= 8.5, text
        assert box.y0 >= 8.0, text
        assert box.x1 <= wide - 8.5, text
        assert box.y1 <= high - 8.0, text
    corners = np.array([box.extents for _, box in boxes])
    for k, (text, box) in enumerate(boxes):
        others = corners[k + 1 :]
        # the box of a line reaches below and above its ink: a fifth of a mm of that may be shared
        hit = (others[:, 0] < box.x1) & (others[:, 2] > box.x0)
        hit &= (others[:, 1] < box.y1 - 0.2) & (others[:, 3] > box.y0 + 0.2)
        assert not np.any(hit), (text, [boxes[k + 1 + m][0] for m in np.flatnonzero(hit)])


@pytest.mark.parametrize("paper", PAPERS)
def test_it_is_one_page_of_the_paper_with_its_type_inside(paper):
    reader = pypdf.PdfReader(io.BytesIO(card_pdf(sample_plan("link"), paper=paper)))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    np.testing.assert_allclose([float(box.width), float(box.height)], PAPERS[paper], rtol=1e-3, atol=0)
    fonts = reader.pages[0]["/Resources"]["/Font"]
    assert fonts
    for font in fonts.values():
        (inner,) = font.get_object()["/DescendantFonts"]
        assert "/FontFile2" in inner.get_object()["/FontDescriptor"].get_object()


@pytest.mark.parametrize("name", SAMPLES)
def test_current_volts_and_minutes_are_those_of_the_json(name):
    plan = sample_plan(name)
    told, tree = text_of(card_pdf(plan)), json.loads(as_json(plan))
    asked = tree["recommendation"]
    words = card_words(plan)
    to_set, to_expect, how_long = (float(big.value.split()[0]) for big in words.figures)
    assert to_set == pytest.approx(asked["current_A"], rel=5e-3)
    assert to_expect == pytest.approx(asked["cell_voltage_V"], rel=0.08)  # in the digits of its band
    assert words.figures[2].value.endswith("min")
    assert how_long == pytest.approx(asked["time_min"], abs=0.51)
    for big in words.figures:
        assert big.value in told
    # told in whole minutes where the band of the time supports no more
    assert [float(step.minutes.split()[0]) for step in words.steps] == pytest.approx(
        [stage["time_min"] for stage in tree["stages"]], abs=0.51
    )
    if len(words.steps) > 1:
        for step in words.steps:
            assert step.minutes in told
            assert step.turn in told


def test_the_bands_of_volts_time_and_gain_are_those_of_the_json():
    plan = small_plan()
    told, bands = text_of(card_pdf(plan)), json.loads(as_json(plan))["bands"]
    low, high = (float(end) for end in told.split("volts ")[1].split(" V")[0].split(" to "))
    assert [low, high] == pytest.approx([bands["voltage_V"]["low"], bands["voltage_V"]["high"]], rel=5e-2)
    low, high = (float(end) for end in told.split("may take ")[1].split(" min")[0].split(" to "))
    assert [low, high] == pytest.approx(
        [bands["time_to_target_min"]["low"], bands["time_to_target_min"]["high"]], abs=0.51
    )
    gain, rest = told.split("Weigh: gain ")[1].split(" g, good ")
    low, high = (float(end) for end in rest.split(" g")[0].split(" to "))
    metal = bands["metal_deposited_g"]
    assert [low, float(gain), high] == pytest.approx([metal["low"], metal["typical"], metal["high"]], rel=2e-2)


def test_a_gain_tells_how_thick_that_is():
    plan = small_plan()
    words = next(item for item in card_words(plan).checks[2].items if item.startswith("Each"))
    grams, thick = float(words.split()[1]), float(words.split(" is ")[1].split()[0])
    assert thick * 1e-6 / (grams * 1e-3) == pytest.approx(plan.thickness["mean"] / plan.deposit.mass, rel=5e-3)


def test_both_systems_of_units_are_on_it():
    told = small_text()
    for unit in ("A/dm²", "A/ft²", "µm", "mil", "mm (", "in)", "°C", "°F", "dm²", "in²"):
        assert unit in told, unit


def test_what_is_checked_before_during_and_after_is_on_it():
    told = small_text().lower()
    for words in ("water-break", "weigh", "anode on plus", "hook", "ph 3.5 to 4.5", "55 °c", "40 to 60 °c"):
        assert words in told, words
    for words in ("volts high", "volts low", "gas", "hand-warm", "anode left", "current on", "no flame"):
        assert words in told, words
    for words in ("rinse twice", "gain", "tape", "thickness"):
        assert words in told, words


def test_every_option_of_the_log_has_a_blank():
    told = small_text()
    blanks = dict(card_words(small_plan()).blanks)
    for label in ("date", "current", "volts", "time", "weight before", "weight after", "balance step", "look", "name"):
        assert label in blanks
        assert label in told
    assert len(DONE) == 8  # a new option of the log asks for a blank of its own here
    assert (blanks["current"], blanks["time"], blanks["weight after"]) == ("A", "min", "g")


def test_the_gravest_cautions_are_on_it_with_who_says_so():
    plan = warned(small_plan(), 0)
    told, words = text_of(card_pdf(plan)), card_words(plan)
    for caution in words.cautions[:3]:
        assert " ".join(caution.split()) in told
    assert "see plan.html for all" in told
    assert words.last in told
    assert "not a permit" in told
    assert all(caution.endswith("]") for caution in words.cautions)


def test_grave_cautions_come_first():
    plan = small_plan()
    inert = Bench(anode_materials=("graphite",), ventilated=True)  # in a bath with chloride: chlorine
    plan = replace(plan, job=replace(plan.job, bench=inert))
    grave = [c.text for c in cautions_for(set_up_of(plan)) if c.is_grave]
    assert grave
    assert card_words(plan).cautions[0].startswith(grave[0])


def test_a_stop_is_told_in_the_largest_words_and_strikes_the_figures_out():
    plan, free = stopped(small_plan()), small_plan()
    told = text_of(card_pdf(plan))
    assert "STOP: DO NOT PLATE ON THIS PLAN" in told
    assert "The supply gives 1 A at most" in told
    assert "DO NOT PLATE" not in small_text()
    banner = next(box for text, box in texts_of(plan, "a4") if text.startswith("STOP"))
    assert banner.width > 150.0
    dark = [_darkness(p) for p in (plan, free)]
    assert dark[0] > 0.9 > 0.1 > dark[1]  # a black frame about the whole page


def _darkness(plan) -> float:
    """Return the share of dark dots along the border of a card."""
    page = card_page(plan, card_words(plan), "a4")
    out = io.BytesIO()
    page.figure.savefig(out, format="png", dpi=50)
    image = matplotlib.image.imread(io.BytesIO(out.getvalue()))[..., :3].mean(axis=2)
    at = round(4.5 / INCH * 50)
    ring = np.concatenate([image[at, at:-at], image[-at, at:-at], image[at:-at, at], image[at:-at, -at]])
    return float((ring < 0.4).mean())


def test_warnings_of_the_plan_are_told_or_counted():
    few, many = (text_of(card_pdf(warned(small_plan(), count))) for count in (1, 12))
    assert "A warning that tells what to do about it" in few
    told = sum(f"{k} more warning" in many or f"{k} warning" in many for k in range(1, 20))
    assert told


def test_a_voltage_of_the_users_is_set_and_the_current_expected():
    words = card_words(at_volts(small_plan()))
    assert words.figures[0].value == "2 V"
    assert words.figures[1].value.endswith("A")
    assert "Hold 2 V" in text_of(card_pdf(at_volts(small_plan())))


def test_a_plan_without_a_time_says_so():
    told = text_of(card_pdf(untimed(small_plan())))
    assert "No time was found" in told
    assert "Weigh." in told
    assert "Weigh: gain" not in told
    assert "turned" not in told


def test_many_stages_are_listed_and_the_rest_counted():
    told = text_of(card_pdf(staged(small_plan(), 12)))
    assert "4 more in plan.html" in told
    assert "the long side down 7" in told
    assert "the long side down 8" not in told


def test_a_rack_is_called_one_and_each_part_has_its_gain():
    told = text_of(card_pdf(rack_plan()))
    assert "Rack on minus" in told
    assert " g each)" in told
    assert "thieves" in told
    assert "striped: shield, dotted: thief" in told


def test_the_hook_of_the_job_is_named():
    plan = small_plan()
    bench = Bench(hook=Hook("copper", 1.5e-3, 2), anode_materials=("nickel, depolarized",))
    plan = replace(plan, job=replace(plan.job, bench=bench))
    told = text_of(card_pdf(plan))
    assert "2 x copper, 1.5 mm (0.059 in)" in told
    assert "nickel, depolarized" in told


def test_the_same_plan_gives_the_same_bytes_and_leaves_no_global_state():
    before = dict(matplotlib.rcParams)
    first = card_pdf(small_plan())
    assert first == card_pdf(small_plan())
    assert dict(matplotlib.rcParams) == before
    assert b"CreationDate" not in first


def test_it_is_black_on_white():
    page = card_page(stopped(rack_plan()), card_words(stopped(rack_plan())), "a4")
    out = io.BytesIO()
    page.figure.savefig(out, format="png", dpi=60)
    image = matplotlib.image.imread(io.BytesIO(out.getvalue()))[..., :3]
    assert float(np.ptp(image, axis=2).max()) < 1e-6  # no colour that a printer could turn into the same grey
    assert float((image.mean(axis=2) > 0.95).mean()) > 0.5


def test_another_paper_is_refused():
    with pytest.raises(ValueError, match="paper must be one of a4, letter"):
        blank_page("a5")


def test_wrapped_lines_fit_and_lose_no_letter():
    text = "a few words, Sonderabfallentsorgungsanlage and " + "y" * 90
    lines = wrapped(text, 9.0, 30.0)
    assert max(width(line, 9.0) for line in lines) <= 30.0
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_the_width_of_text_is_that_which_is_drawn():
    page = blank_page("a4")
    page.text(10, 10, "Bath 55 °C, µm ± 3", 12.0)
    (text,) = page.axes.texts
    drawn = text.get_window_extent().width / page.figure.dpi * INCH
    assert width("Bath 55 °C, µm ± 3", 12.0) == pytest.approx(drawn, rel=0.02)
    assert pytest.approx(INCH / 72) == POINT


def test_letters_that_the_type_has_not_become_boxes():
    assert drawable("A 接 µ") == "A □ µ"
