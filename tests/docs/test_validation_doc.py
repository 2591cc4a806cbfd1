"""docs/validation.md: figures that a test no longer finds, and rows that no test records, do not stay in it."""

from pathlib import Path

import pytest
from helpers import validation
from helpers.validation import hold, record

EMPTY = """# By hand

<!-- table: one -->
<!-- end of table -->

Between.

<!-- table: two -->
<!-- end of table -->
"""


@pytest.fixture
def document(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A document of this test's own, with one row in each table."""
    path = tmp_path / "validation.md"
    path.write_text(EMPTY, encoding="utf-8")
    monkeypatch.setattr(validation, "DOCUMENT", path)
    monkeypatch.setattr(validation, "_seen", set())
    monkeypatch.setattr(validation, "_kept", {})
    record("one", "sphere", "capacitance", -1.23456789, -1.2, panels=12345, source="someone", bound=0.05, order=1.93)
    record("two", "rows", "worst", 3e-7, "at most 1e-5", bound=1e-5)
    validation.write(whole=True)
    monkeypatch.setattr(validation, "_kept", None)
    return path


def test_a_table_is_written_between_its_marks_and_the_rest_is_left_alone(document: Path) -> None:
    text = document.read_text(encoding="utf-8")
    assert "| sphere | capacitance | 12,345 | −1.2346 | −1.2 | +2.9 % | 1.93 | someone |" in text
    assert "| rows | worst |  | 3e−07 | at most 1e-5 |  |  |  |" in text
    kept = [line for line in text.splitlines() if line and not line.startswith("|")]
    assert kept == [line for line in EMPTY.splitlines() if line]


def test_the_same_figure_again_agrees_and_another_does_not(document: Path) -> None:
    record("one", "sphere", "capacitance", -1.2349, -1.2)
    with pytest.raises(AssertionError, match="write-validation"):
        record("one", "sphere", "capacitance", -1.242, -1.2)
    record("one", "sphere", "capacitance", -1.242, -1.2, bound=0.2)  # a quarter of the bound is 0.06


def test_an_order_is_compared_too(document: Path) -> None:
    record("one", "sphere", "capacitance", -1.2346, -1.2, order=1.9)
    with pytest.raises(AssertionError, match="order"):
        record("one", "sphere", "capacitance", -1.2346, -1.2, order=1.7)


def test_a_bar_in_a_name_is_refused(document: Path) -> None:
    with pytest.raises(ValueError, match="bar"):
        record("one", "sphere", "|i|", -1.2346, -1.2)


def test_a_residual_may_change_by_a_share_of_its_bound(document: Path) -> None:
    record("two", "rows", "worst", 6e-7, "at most 1e-5", bound=1e-5)
    with pytest.raises(AssertionError):
        record("two", "rows", "worst", 3e-6, "at most 1e-5", bound=1e-5)
    with pytest.raises(AssertionError, match="at most"):
        record("two", "rows", "worst", 3e-7, "at most 1e-4", bound=1e-5)


@pytest.mark.parametrize(("table", "case"), [("one", "cube"), ("three", "sphere")])
def test_a_row_or_table_that_is_not_there_is_missed(document: Path, table: str, case: str) -> None:
    with pytest.raises(AssertionError, match=table):
        record(table, case, "capacitance", -1.2346, -1.2)


def test_hold_asserts_before_it_records(document: Path) -> None:
    hold("one", "sphere", "capacitance", -1.23456, -1.2, rtol=0.03)
    with pytest.raises(AssertionError, match="known"):
        hold("one", "sphere", "capacitance", -1.23456, -1.2, rtol=0.02)
    with pytest.raises(AssertionError, match="known"):
        hold("one", "sphere", "capacitance", float("nan"), -1.2, rtol=0.02)


def test_rows_that_no_test_records_are_found_and_go_when_the_whole_suite_writes(
    document: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(validation, "_seen", set())
    record("one", "sphere", "capacitance", -1.2346, -1.2)
    assert validation.stale() == ["two: rows, worst"]
    monkeypatch.setattr(validation, "_kept", {})
    record("two", "other", "worst", 1.0, 1.0)
    validation.write(whole=False)
    assert "| rows |" in document.read_text(encoding="utf-8")
    validation.write(whole=True)
    assert "| rows |" not in document.read_text(encoding="utf-8")
