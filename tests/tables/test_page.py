"""docs/baths.md says what the tables say."""

import re
from pathlib import Path

import pytest

from geom.tables.load import table
from geom.tables.read import bath_names, refused_baths

PAGE = (Path(__file__).parents[2] / "docs" / "baths.md").read_text(encoding="utf-8")
COLUMNS = (
    "temperature",
    "current_density",
    "efficiency",
    "conductivity",
    "tafel_slope",
    "limiting_current_density",
)


def cells_of(name: str) -> list[str]:
    """Return the cells of the one row of the page that begins with ``name``."""
    (row,) = re.findall(rf"^\| `{re.escape(name)}` \|(.*)\|$", PAGE, flags=re.MULTILINE)
    return [cell.strip() for cell in row.split("|")]


@pytest.mark.parametrize("name", bath_names())
def test_the_page_has_the_figures_of_the_table(name: str) -> None:
    *figures, trust = cells_of(name)
    values = table("baths")[name]["values"]
    for cell, key in zip(figures, COLUMNS, strict=True):
        if key not in values:
            assert cell == "–"
            continue
        row, count = values[key], 3 if "low" in values[key] else 1
        shown = [float(number) for number in re.findall(r"[\d.]+", cell)[:count]]
        assert shown == [row[bound] for bound in ("typical", "low", "high")[:count]]
    assert figures[3].endswith(f"at {values['conductivity']['at'].replace(' C', ' °C')}")
    assert trust == values["conductivity"]["trust"]


def test_the_page_has_the_refused_baths_with_the_reason() -> None:
    for name, reason in refused_baths().items():
        assert cells_of(name) == [reason]


def test_the_page_lists_no_bath_that_the_tables_have_not() -> None:
    parts = re.findall(
        r"^(?:# Baths|## Never planned)\n.*?(?=^## )|^## Never planned\n.*", PAGE, re.MULTILINE | re.DOTALL
    )
    assert len(parts) == 2
    listed = set(re.findall(r"^\| `([a-z-]+)` \|", "".join(parts), flags=re.MULTILINE))
    assert listed == {*bath_names(), *refused_baths()}
