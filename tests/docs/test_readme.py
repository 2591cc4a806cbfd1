"""README.md and DEVELOPERS.md promise what is there."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import click

from geom.cli.main import commands
from geom.job.read import read_job
from geom.plan import make_plan
from geom.report.content import document
from geom.report.text import as_text

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
PAGES += sorted((ROOT / "samples").rglob("*.md"))
SHELL = re.findall(r"^```(?:sh|bash)?\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)
MOST_BYTES = 200_000  # of a picture


def test_the_readme_has_exactly_two_commands():
    lines = [line for block in SHELL for line in block.splitlines() if line.strip()]
    assert len(lines) == 2
    assert "geom plan" in lines[0]
    assert "pytest" in lines[1]


def test_the_two_commands_name_what_exists():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    first, second = (line for block in SHELL for line in block.splitlines() if line.strip())
    assert "geom" in project["scripts"]
    assert "dev" in project["optional-dependencies"]
    assert "[dev]" in second
    job = re.search(r"geom plan (\S+)", first)
    assert job is not None
    assert (ROOT / job[1]).is_file()


def test_the_answer_shown_is_that_of_the_first_sample():
    """Of the README whole, and the voltage that docs/start.md reads it by."""
    (shown,) = re.findall(r"^```text\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)
    whole = document(make_plan(read_job(ROOT / "samples" / "link" / "job.toml")))
    _, told, _ = as_text(replace(whole, sections=whole.sections[:1])).split("\n\n", 2)
    assert shown == f"{told}\n"
    start = (ROOT / "docs" / "start.md").read_text(encoding="utf-8")
    (quoted,) = re.findall(r"what stands in brackets, such as `(.*?)`", start)
    assert quoted in told


def test_every_command_shown_on_a_page_is_a_command():
    assert isinstance(commands, click.Group)
    for page in PAGES:
        shown = re.findall(r"^\s*(?:\S*/)?geom ([a-z]+)\b", page.read_text(encoding="utf-8"), flags=re.MULTILINE)
        shown += re.findall(r"`geom ([a-z]+)\b", page.read_text(encoding="utf-8"))
        assert set(shown) <= set(commands.commands), page


def test_every_command_is_shown_in_docs_start():
    text = (ROOT / "docs" / "start.md").read_text(encoding="utf-8")
    for name in commands.commands:
        assert f"geom {name}" in text, name


def test_every_relative_link_leads_somewhere():
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name}: {target}"


def test_the_module_table_has_every_module():
    listed = set(re.findall(r"`([a-z_/]+\.py|[a-z_]+/)`", DEVELOPERS))
    names = {p.name + "/" if p.is_dir() else p.name for p in (ROOT / "geom").iterdir() if not p.name.startswith("_")}
    assert names <= listed


def test_pictures_are_small_and_used():
    text = "".join(page.read_text(encoding="utf-8") for page in PAGES)
    for picture in (ROOT / "docs").rglob("*.png"):
        assert picture.stat().st_size < MOST_BYTES
        assert picture.name in text


def test_ci_makes_its_own_environment():
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & 0o111
    text = script.read_text(encoding="utf-8")
    assert "mktemp" in text
    assert "venv" in text
    assert "tests/check.py" in text
