"""Pictures on the pages are those that the program draws of the samples, and are read on light and on dark pages."""

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Text

from geom.report.dark import GROUND, darkened

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "pictures"
READABLE = 4.5
"""Contrast of text that can be read: WCAG 2.2, success criterion 1.4.3."""


@pytest.fixture(scope="module")
def drawer() -> ModuleType:
    spec = importlib.util.spec_from_file_location("draw_pictures", ROOT / "samples" / "draw_pictures.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def tab(drawer: ModuleType) -> Figure:
    return darkened(drawer.features_of("tab"))


def light(colour: object) -> float:
    """Relative luminance: WCAG 2.2, "relative luminance"."""
    parts = np.array(to_rgb(colour))  # type: ignore[arg-type]
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: object, other: object) -> float:
    low, high = sorted((light(one), light(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_is_that_of_the_standard() -> None:
    assert contrast("white", "black") == pytest.approx(21.0, rel=1e-12)
    assert contrast("#777777", "white") == pytest.approx(4.48, rel=1e-2)  # just too little, as often quoted


def test_all_words_on_a_dark_page_are_read(tab: Figure) -> None:
    words = [text for text in tab.findobj(Text) if isinstance(text, Text) and text.get_text().strip()]
    assert len(words) > 20
    for text in words:
        box = text.get_bbox_patch()
        ground = GROUND if box is None else box.get_facecolor()[:3]
        assert contrast(text.get_color(), ground) > READABLE, text.get_text()


def test_the_pictures_on_the_pages_are_what_the_program_draws(drawer: ModuleType, tmp_path: Path, tab: Figure) -> None:
    for name, figure in (("features-tab", drawer.features_of("tab")), ("features-tab-dark", tab)):
        (tmp_path / "now.png").write_bytes(drawer.fewer_colours(drawer.png(figure)))
        now, kept = (imread(place)[..., :3] for place in (tmp_path / "now.png", PICTURES / f"{name}.png"))
        assert now.shape == kept.shape
        assert float(np.abs(now - kept).mean()) < 0.01


def test_every_picture_for_a_dark_page_stands_beside_its_fellow() -> None:
    pages = [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]
    pairs = [
        pair
        for page in pages
        for pair in re.findall(
            r'<picture>\s*<source media="\(prefers-color-scheme: dark\)" srcset="(\S+)">\s*<img src="(\S+)" alt="[^"]+">',
            page.read_text(encoding="utf-8"),
        )
    ]
    assert {dark.removesuffix("-dark.png") for dark, _ in pairs} == {light.removesuffix(".png") for _, light in pairs}
    drawn = {path.name for path in PICTURES.glob("*-dark.png")}
    assert {Path(dark).name for dark, _ in pairs} == drawn
    assert all((PICTURES / Path(fellow).name).is_file() for _, fellow in pairs)
