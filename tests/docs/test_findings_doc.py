"""docs/findings.md and the program name the same findings."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
CODE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")
TEXT = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
MAKERS = {
    "Finding": 1,
    "_note": 0,
    "Change": 1,
    "warned": 0,
    "noted": 0,
}  # what makes a finding, and which argument is its code


def made(tree: ast.AST) -> Iterator[str]:
    """Yield the code of every finding that a module makes: literals in that argument."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or node.func.id not in MAKERS:
            continue
        place = MAKERS[node.func.id]
        given = [k.value for k in node.keywords if k.arg == "code"] + list(node.args[place : place + 1])
        for value in given:
            for part in ast.walk(value):
                if isinstance(part, ast.Constant) and isinstance(part.value, str) and CODE.fullmatch(part.value):
                    yield part.value


def codes_of_the_program() -> dict[str, str]:
    found: dict[str, str] = {}
    for path in sorted((ROOT / "geom").rglob("*.py")):
        for code in made(ast.parse(path.read_text(encoding="utf-8"))):
            found.setdefault(code, path.relative_to(ROOT).as_posix())
    return found


def sections() -> dict[str, str]:
    return dict(re.findall(r"^### ([a-z0-9-]+)\n(.*?)(?=^##|\Z)", TEXT, flags=re.MULTILINE | re.DOTALL))


def test_every_finding_has_a_heading():
    missing = {code: name for code, name in codes_of_the_program().items() if code not in sections()}
    assert not missing


def test_every_heading_is_a_finding_of_the_program_and_stands_once():
    found = re.findall(r"^### ([a-z0-9-]+)$", TEXT, flags=re.MULTILINE)
    assert len(found) == len(set(found))
    assert set(found) - set(codes_of_the_program()) == set()


def test_every_heading_says_what_it_means_and_what_to_do():
    for code, body in sections().items():
        assert "**Do:**" in body, code
        assert len(body.strip()) > 80, code


def test_the_scan_sees_a_plain_a_conditional_and_a_noted_code():
    text = 'Finding(S, "one-a" if x else "one-b", "m")\n_note("two-a", "m")\nFinding(S, code="three-a")'
    assert sorted(made(ast.parse(text))) == ["one-a", "one-b", "three-a", "two-a"]
