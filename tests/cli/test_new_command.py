"""``geom new``: a job file from answers of a pipe, a person, or options."""

import os
import select
import sys
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from geom.cli.main import commands
from geom.job.hung import hung_cell
from geom.job.read import parse_job, read_job

ANSWERS = "bar\n100 x 20 x 3 mm\n8 mm at -30,0\n\nacid-copper\n10 um\n"  # the rest blank: end of input


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def geom_new(*words: str, lines: str = "") -> Result:
    return CliRunner().invoke(commands, ["new", *words], input=lines)


def test_a_few_lines_make_a_job_with_remarks_that_is_read_and_stands_in_its_tank(folder: Path):
    result = geom_new("link.toml", lines=ANSWERS)
    assert result.exit_code == 0
    assert result.stdout == ""
    assert "job file link.toml: look it over, then  geom plan link.toml" in result.stderr
    text = (folder / "link.toml").read_text(encoding="utf-8")
    remarked = [line for line in text.splitlines() if "#" in line]
    assert len(remarked) >= 15
    keys = tomllib.loads(text)
    assert keys["part"]["holes"] == [{"diameter": "8 mm", "at": ["-30 mm", "0 mm"]}]
    assert (keys["bath"]["name"], keys["target"]["thickness"]) == ("acid-copper", "10 um")
    cell = hung_cell(read_job(folder / "link.toml"))
    assert cell.part.area == pytest.approx(1e-6 * (2 * (2000 + 60 + 300) + 3.141593 * 8 * (3 - 4)), rel=1e-6)


def test_what_is_commented_out_is_right_once_the_sign_is_taken_away(folder: Path):
    """A remark that shows a key is there to be used."""
    geom_new("link.toml", lines=ANSWERS)
    text = (folder / "link.toml").read_text(encoding="utf-8")
    shown = "\n".join(line.removeprefix("# ") if " = " in line or "# [" in line else line for line in text.splitlines())
    assert shown != text.rstrip()
    job = parse_job(shown, path=folder / "link.toml")
    assert job.supply.max_voltage == 12.0
    assert job.bench.stirred is True


@pytest.mark.parametrize(
    ("words", "lines", "slug"),
    [
        ((), "", "job-not-named"),
        ((), "pyramid\n", "job-answer-word"),
        ((), "bar\n100 x 20 x 3\n", "job-answer-form"),
        ((), "bar\n100 x 20 x 3 mm\n\nwats-nickel\n", "bath-unknown"),
        (("--bar", "100 x 20 x 3 mm", "--hole", "8 mm at 60,0"), "", "job-hole-outside"),
        (("--part", "none.stl", "--unit", "mm"), "", "job-mesh-missing"),
        (("part.stl",), "", "job-file-unwritten"),
        (("none/job.toml", "--rod", "8 x 60 mm"), "", "job-file-unwritten"),
    ],
)
def test_a_mistake_leaves_nothing(folder: Path, words: tuple[str, ...], lines: str, slug: str):
    result = geom_new(*words, lines=lines)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"error: {slug}: ")
    assert "Traceback" not in result.stderr
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("content", ["mine", ""])
def test_a_file_that_is_there_is_kept_and_told_before_anything_is_asked(folder: Path, content: str):
    (folder / "link.toml").write_text(content, encoding="utf-8")
    result = geom_new("link.toml", lines=ANSWERS)
    assert result.exit_code == 2
    assert result.stderr.startswith("error: job-file-there: ")
    assert "--force replaces it" in result.stderr
    assert (folder / "link.toml").read_text(encoding="utf-8") == content
    assert geom_new("link.toml", "--force", lines=ANSWERS).exit_code == 0
    assert "acid-copper" in (folder / "link.toml").read_text(encoding="utf-8")


def test_options_make_it_without_a_question_and_name_it_after_the_part(folder: Path):
    result = geom_new("--rod", "8 x 60 mm", "--quiet")
    assert (result.exit_code, result.output) == (0, "")
    assert [path.name for path in folder.iterdir()] == ["rod-8x60-mm.toml"]


# a person


def talked(answers: list[str], *words: str) -> tuple[int, str]:
    """Return exit code and what a terminal showed, each answer typed when a question stands there."""
    import pty

    process, terminal = pty.fork()
    if process == 0:
        os.environ.update(TERM="xterm", PYTHONPATH=str(Path(__file__).parents[2]))
        os.execv(sys.executable, [sys.executable, "-m", "geom", "new", *words])
    seen, left = b"", list(answers)
    while select.select([terminal], [], [], 60)[0]:
        try:
            piece = os.read(terminal, 4096)
        except OSError:  # Linux says so at the end
            break
        seen += piece
        if not piece:
            break
        if seen.endswith(b": ") and left:
            os.write(terminal, left.pop(0).encode())
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), seen.decode().replace("\r\n", "\n")


@pytest.mark.skipif(os.name == "nt", reason="terminals of POSIX")
def test_a_person_is_asked_again_until_the_answer_is_right_and_enter_takes_what_is_usual(folder: Path):
    wrong_bar, wrong_hole, wrong_bath = "100 x 20 x 3\n", "8 mm at 60,0\n", "wats-nickel\n"
    answers = ["pyramid\n", "\n", wrong_bar, "100 x 20 x 3 mm\n", wrong_hole, "8 mm at -30,0\n", "\n", wrong_bath]
    code, seen = talked([*answers, *["\n"] * 11], "link.toml")
    assert code == 0
    for told in ('"pyramid" is no bar', "has no unit", "hole 1 does not lie inside", "nearest: watts-nickel"):
        assert told in seen
    assert seen.count("Length x width x thickness") == 2
    assert seen.count("How it hangs [upright, broad side to the anode]: ") == 1
    keys = tomllib.loads((folder / "link.toml").read_text(encoding="utf-8"))
    assert keys["bath"]["name"] == "watts-nickel"
    assert [hole["at"] for hole in keys["part"]["holes"]] == [["-30 mm", "0 mm"]]


@pytest.mark.skipif(os.name == "nt", reason="terminals of POSIX")
@pytest.mark.parametrize("key", ["\x03", "\x04"], ids=["Ctrl-C", "Ctrl-D"])
def test_a_person_may_leave_and_leaves_nothing(folder: Path, key: str):
    code, seen = talked(["rod\n", key], "link.toml")
    assert code == 130
    assert seen.rstrip().endswith("stopped")
    assert "Traceback" not in seen
    assert list(folder.iterdir()) == []
