"""docs/glossary.md: one word, one thing, each named after what the code calls it."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
WORDS = re.findall(r"^\*\*([^*]+)\*\*", TEXT, flags=re.MULTILINE)
RECORDS = {
    "Job",
    "Part",
    "Feature",
    "Cell",
    "Pose",
    "Panels",
    "Field",
    "Deposit",
    "Plan",
    "Finding",
    "Origin",
    "Source",
}


def classes() -> set[str]:
    return {
        node.name
        for path in (ROOT / "geom").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    }


def test_words_stand_once_and_in_order():
    assert len(WORDS) == len(set(WORDS))
    assert sorted(WORDS, key=str.casefold) == WORDS


def test_every_record_of_the_flow_has_its_word():
    assert classes() >= RECORDS
    for record in RECORDS:
        assert record.casefold().removesuffix("s") in {word.casefold().removesuffix("s") for word in WORDS}, record


def test_the_words_that_are_easily_mixed_up_are_told_apart():
    assert {"face", "panel", "cell", "pose", "drop", "significant surface", "local thickness"} <= set(WORDS)
