"""docs/worked-examples.md: each example worked again by the program, and its figures those of the page."""

import re
from pathlib import Path

import pytest

from geom.electrode.faraday import mass_of_charge, time_for_thickness
from geom.runlog.efficiency import weighed
from geom.runlog.run import Run
from geom.tables.read import metal

PAGE = (Path(__file__).parents[2] / "docs" / "worked-examples.md").read_text(encoding="utf-8")
SECTIONS = dict(re.findall(r"^## (\d+)\. (.*?)(?=^## |\Z)", PAGE, flags=re.MULTILINE | re.DOTALL))


def on_page(number: int, *figures: str) -> None:
    """Hold that the example of that number gives these figures as its results."""
    results = re.findall(r"\*\*(.+?)\*\*", SECTIONS[str(number)], flags=re.DOTALL)
    assert tuple(results) == figures


def test_charge_for_a_thickness() -> None:
    """S. F. Rudy, Clarifying facts about nickel plating, finishingandcoating.com: 0.17 Ah, 10 min, 0.18 g."""
    on_page(1, "0.171 A·h", "0.178 g")
    seconds = time_for_thickness(2e-6, 100.0, metal("Ni"), 0.95)
    assert seconds / 3600 == pytest.approx(0.171, abs=0.0005)
    assert mass_of_charge(seconds, metal("Ni"), 0.95) == pytest.approx(0.178e-3, abs=0.5e-6)


def test_efficiency_by_weighing() -> None:
    on_page(2, "94.4 %")
    nickel = metal("Ni")
    run = Run("2026-05-09", "watts-nickel", 0.9, None, 2400.0, 0.1, 0.10062, 1e-5, 1.0, mass_of_charge(1.0, nickel))
    found = weighed(run, 1)
    assert found is not None
    assert found.efficiency == pytest.approx(0.944, abs=0.0005)
    assert found.error == pytest.approx(0.006, abs=0.0005)
