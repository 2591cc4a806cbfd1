"""docs/errors.md and the program name the same mistakes."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)+")
OF_THE_JOB = re.compile(r"(?:job|bath|anode)-[a-z0-9]+(?:-[a-z0-9]+)*")


def called(node: ast.Call) -> str:
    """Return the bare name of what is called."""
    function = node.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def raised(tree: ast.AST, *, is_job: bool) -> Iterator[str]:
    """Yield the slugs of a module: literals in the first argument of an ...Error( call.

    A tuple that starts with a slug of the part, as a list of defects has it, counts too. The job reader
    names its slugs in many other calls; there every word that looks like one counts.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and node.args and called(node).endswith("Error"):
            for part in ast.walk(node.args[0]):
                if isinstance(part, ast.Constant) and isinstance(part.value, str) and SLUG.fullmatch(part.value):
                    yield part.value
        elif isinstance(node, ast.Tuple) and node.elts and isinstance(node.elts[0], ast.Constant):
            head = node.elts[0].value
            if isinstance(head, str) and head.startswith("part-") and SLUG.fullmatch(head):
                yield head
        elif is_job and isinstance(node, ast.Constant) and OF_THE_JOB.fullmatch(str(node.value)):
            yield str(node.value)


def slugs_of_the_program() -> dict[str, str]:
    """Return every slug with the module that has it."""
    found: dict[str, str] = {}
    for path in sorted((ROOT / "geom").rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        name = path.relative_to(ROOT).as_posix()
        for slug in raised(tree, is_job=name.startswith("geom/job/")):
            found.setdefault(slug, name)
    return found


def headings() -> list[str]:
    """Return the slugs that docs/errors.md has a heading for."""
    text = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    return re.findall(r"^### ([a-z0-9-]+)$", text, flags=re.MULTILINE)


def test_every_slug_has_a_heading():
    documented = set(headings())
    missing = {slug: name for slug, name in slugs_of_the_program().items() if slug not in documented}
    assert not missing


def test_every_heading_is_a_slug_of_the_program_and_stands_once():
    found = headings()
    assert len(found) == len(set(found))
    assert set(found) <= set(slugs_of_the_program())


def test_every_heading_says_what_to_do():
    text = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    for section in re.split(r"^### ", text, flags=re.MULTILINE)[1:]:
        slug, _, body = section.partition("\n")
        assert len(body.split("\n## ")[0].strip()) > 40, slug


def test_the_scan_sees_a_plain_a_conditional_and_a_job_slug():
    tree = ast.parse(
        'raise PartError("part-one" if x else "part-two")\ncomplain("job-three")\nf("four-five")\nd = [("part-six", 7)]'
    )
    assert sorted(raised(tree, is_job=True)) == ["job-three", "part-one", "part-six", "part-two"]
    assert sorted(raised(tree, is_job=False)) == ["part-one", "part-six", "part-two"]
