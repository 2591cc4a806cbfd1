"""``geom plan``: exit codes, streams, the folder of results. The solve is replaced; the rest is as it is."""

import json
import os
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from helpers.fake_plan import HOSTILE, LONE_SURROGATE, with_severity, with_words
from helpers.small_plan import LINK, small_plan

import geom.plan
import geom.report.files
from geom.cli.main import commands
from geom.cli.plan import results_name
from geom.errors import CellError, OutputError, SolveError
from geom.findings import Severity
from geom.report.folder import RESULTS

JOB = "link.toml"
SHOWN = "report plan.html (opens in a browser), card for the bench card.pdf"
FILES = {name: b"content of " + name.encode() for name in RESULTS}


DRAWN = geom.report.files.result_files


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in an empty folder with one job; planning and drawing take no time."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / JOB).write_text(LINK, encoding="utf-8")
    planned(monkeypatch, lambda: small_plan())
    monkeypatch.setattr(geom.report.files, "result_files", lambda plan, text: FILES)
    return tmp_path


def planned(monkeypatch: pytest.MonkeyPatch, make: Callable[[], Any]) -> None:
    """Have ``geom plan`` get what ``make`` returns or raises."""
    monkeypatch.setattr(geom.plan, "make_plan", lambda job, **options: make())


def fails(error: BaseException) -> Callable[[], Any]:
    def make() -> Any:
        raise error

    return make


def geom_plan(*words: str) -> Result:
    return CliRunner().invoke(commands, ["plan", *words])


def test_a_plan_is_printed_and_its_files_are_written(folder: Path):
    result = geom_plan(JOB)
    assert result.exit_code == 0
    assert result.stdout.startswith("Link of the shore-power panel\n====")
    assert result.stderr == f"results in link-plan/: {SHOWN}\n"
    assert {p.name: p.read_bytes() for p in (folder / "link-plan").iterdir()} == FILES


def test_the_folder_holds_what_is_printed_and_pictures_that_show_something(monkeypatch, folder: Path):
    image = pytest.importorskip("PIL.Image")
    monkeypatch.setattr(geom.report.files, "result_files", DRAWN)
    text = geom_plan(JOB).stdout
    assert (folder / "link-plan" / "plan.txt").read_text(encoding="utf-8") == text
    document = geom_plan(JOB, "--json", "--force").stdout
    assert (folder / "link-plan" / "plan.json").read_text(encoding="utf-8") == document
    assert {path.name for path in (folder / "link-plan").iterdir()} == set(RESULTS)
    for path in (folder / "link-plan").glob("*.png"):
        picture = image.open(path).convert("RGB")
        assert min(picture.size) >= 200
        assert max(picture.size) <= 4000
        assert len(picture.getcolors(maxcolors=10**6)) > 5


def test_json_is_the_only_thing_on_stdout():
    result = geom_plan(JOB, "--json")
    assert json.loads(result.stdout)["schema_version"] == "1"
    assert result.exit_code == 0


def test_no_files_writes_none(folder: Path):
    result = geom_plan(JOB, "--no-files")
    assert result.exit_code == 0
    assert result.stderr == ""
    assert os.listdir(folder) == [JOB]


def test_out_names_the_folder(folder: Path):
    assert geom_plan(JOB, "--out", "elsewhere").stderr == f"results in elsewhere/: {SHOWN}\n"
    assert sorted(os.listdir(folder)) == ["elsewhere", JOB]


def test_quiet_writes_the_files_and_prints_nothing(folder: Path):
    result = geom_plan(JOB, "--quiet")
    assert (result.exit_code, result.output) == (0, "")
    assert (folder / "link-plan" / "plan.json").exists()


def test_quiet_json_prints_the_document_alone():
    result = geom_plan(JOB, "--quiet", "--json")
    assert json.loads(result.stdout)["title"] == "Link of the shore-power panel"
    assert result.stderr == ""


@pytest.mark.parametrize(
    ("severity", "code"), [(Severity.STOP, 1), (Severity.WARNING, 0), (Severity.NOTE, 0)], ids=lambda v: str(v)
)
def test_a_finding_that_should_stop_gives_exit_code_1_and_the_plan_all_the_same(monkeypatch, folder, severity, code):
    planned(monkeypatch, lambda: with_severity(severity))
    result = geom_plan(JOB)
    assert result.exit_code == code
    assert f"Set {small_plan().current:.3g} A" in result.stdout
    assert (folder / "link-plan").is_dir()
    assert geom_plan(JOB, "--no-files", "--json").exit_code == code


def test_the_accuracy_of_the_command_line_goes_before_that_of_the_job_and_is_shown_with_its_origin(monkeypatch, folder):
    monkeypatch.setattr(geom.plan, "make_plan", lambda job, **options: replace(small_plan(), job=job))
    (folder / JOB).write_text(f'{LINK}[solve]\naccuracy = "quick"\n', encoding="utf-8")
    row = r"^solve: accuracy of every figure: +within {} +from {}$"
    asked = geom_plan(JOB, "--no-files").stdout
    assert re.search(row.format("5 %", r"link\.toml line 14"), asked, flags=re.MULTILINE)
    overridden = geom_plan(JOB, "--no-files", "--accuracy", "1.5%").stdout
    assert re.search(row.format(r"1\.5 %", r"the command line, --accuracy 1\.5%"), overridden, flags=re.MULTILINE)
    tree = json.loads(geom_plan(JOB, "--no-files", "--json", "--accuracy", "fine").stdout)
    assert tree["origins"]["solve.accuracy"] == {"kind": "command", "detail": "--accuracy fine"}


def test_an_accuracy_that_is_none_is_bad_input_with_the_nearest_word():
    result = geom_plan(JOB, "--accuracy", "qick")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "--accuracy" in result.stderr
    assert 'did you mean "quick"?' in result.stderr
    assert json.loads(geom_plan(JOB, "--json", "--accuracy", "2").stdout)["error"]["slug"] == "job-range"


ERRORS = [
    (CellError("part-touches", "the part touches the anode", where="[pose]", hint="move it"), 2),
    (SolveError("solve-not-converged", "no solution", residuals=[1.0]), 3),
    (OutputError("output-unwritable", "no room"), 2),
    (KeyboardInterrupt(), 130),
    (ZeroDivisionError("float division by zero"), 70),
    (MemoryError(), 70),
]


@pytest.mark.parametrize(("error", "code"), ERRORS, ids=lambda v: type(v).__name__)
def test_every_error_has_its_exit_code_and_is_told_once_without_a_traceback(monkeypatch, folder, error, code):
    planned(monkeypatch, fails(error))
    result = geom_plan(JOB)
    assert result.exit_code == code
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    told = {130: "stopped", 70: type(error).__name__}.get(code, str(error))
    assert result.stderr.count(told) == 1
    assert os.listdir(folder) == [JOB]


@pytest.mark.parametrize(("error", "code"), [e for e in ERRORS if e[1] != 130], ids=lambda v: type(v).__name__)
def test_debug_shows_the_traceback_and_keeps_the_exit_code(monkeypatch, error, code):
    planned(monkeypatch, fails(error))
    result = geom_plan(JOB, "--debug")
    assert result.exit_code == code
    assert "Traceback" in result.stderr


def test_a_defect_is_called_one(monkeypatch):
    planned(monkeypatch, fails(ZeroDivisionError("float division by zero")))
    result = geom_plan(JOB)
    assert "this is a defect in geom, not in your input: ZeroDivisionError: float division by zero" in result.stderr
    assert "--debug" in result.stderr


def test_an_error_with_json_is_a_document_on_stdout_and_words_on_stderr(monkeypatch):
    planned(monkeypatch, fails(CellError("part-touches", "they touch", where="[pose]", hint="move it")))
    result = geom_plan(JOB, "--json")
    error = {"slug": "part-touches", "message": "they touch", "where": "[pose]", "hint": "move it", "mistakes": []}
    assert json.loads(result.stdout) == {"schema_version": "1", "error": error}
    assert result.stderr == "error: part-touches: they touch\n  in [pose]\n  hint: move it\n"


def test_every_mistake_of_a_job_is_in_the_document(folder: Path):
    (folder / JOB).write_text(LINK.replace("60 mm", "60 A").replace("watts", "wats"), encoding="utf-8")
    result = geom_plan(JOB, "--json")
    assert result.exit_code == 2
    mistakes = json.loads(result.stdout)["error"]["mistakes"]
    assert [m["slug"] for m in mistakes] == ["job-unit-mismatch", "bath-unknown"]
    assert "line 5" in mistakes[0]["where"]
    assert "watts-nickel" in mistakes[1]["hint"]


def test_a_missing_job_is_bad_input():
    result = geom_plan("no-such.toml")
    assert result.exit_code == 2
    assert result.stderr.startswith("error: job-file-missing")


@pytest.mark.parametrize("words", [[JOB, "--colour"], [JOB, "more"]], ids=["unknown option", "two jobs"])
def test_a_mistake_in_the_command_line_is_bad_input(words):
    result = geom_plan(*words)
    assert result.exit_code == 2
    assert "Usage" in result.stderr


def test_older_results_stop_the_run_before_the_work_and_are_kept(monkeypatch, folder: Path):
    geom_plan(JOB)
    planned(monkeypatch, fails(AssertionError("the work was begun")))
    result = geom_plan(JOB)
    assert result.exit_code == 2
    assert result.stderr.startswith("error: output-exists")
    assert (folder / "link-plan" / "plan.txt").read_bytes() == FILES["plan.txt"]


def test_force_replaces_older_results(monkeypatch, folder: Path):
    geom_plan(JOB)
    newer = {name: b"newer" for name in RESULTS}
    monkeypatch.setattr(geom.report.files, "result_files", lambda plan, text: newer)
    assert geom_plan(JOB, "--force").exit_code == 0
    assert {p.name: p.read_bytes() for p in (folder / "link-plan").iterdir()} == newer
    assert sorted(os.listdir(folder)) == ["link-plan", JOB]


def test_a_drawing_that_fails_leaves_nothing_and_prints_no_plan(monkeypatch, folder: Path):
    def broken(plan: Any, text: str) -> dict[str, bytes]:
        raise RuntimeError("no font")

    monkeypatch.setattr(geom.report.files, "result_files", broken)
    result = geom_plan(JOB)
    assert result.exit_code == 70
    assert result.stdout == ""
    assert os.listdir(folder) == [JOB]


def test_hostile_names_reach_no_terminal(monkeypatch, folder: Path):
    name = "a\x1b[31m\x07\x9b2J\rb.toml"
    (folder / name).write_text(LINK, encoding="utf-8")
    planned(monkeypatch, lambda: with_words(HOSTILE))
    for words in ([name], [name, "--json", "--no-files"], [name + "x"], [name, "--no-files"]):
        result = geom_plan(*words)
        assert all(letter == "\n" or letter.isprintable() for letter in result.stderr)
        printed = json.loads(result.stdout)["title"] if "--json" in words and result.exit_code == 0 else result.stdout
        assert printed == HOSTILE or all(letter == "\n" or letter.isprintable() for letter in printed)


def test_a_name_that_is_not_utf_8_is_printed_and_does_not_crash(monkeypatch):
    planned(monkeypatch, lambda: with_words(LONE_SURROGATE))
    assert geom_plan(JOB, "--no-files").exit_code == 0
    assert json.loads(geom_plan(JOB, "--no-files", "--json").stdout)["title"] == "part?"
    planned(monkeypatch, fails(CellError("part-touches", "bad", where=LONE_SURROGATE)))
    assert json.loads(geom_plan(JOB, "--no-files", "--json").stdout)["error"]["where"] == "part?"


@pytest.mark.parametrize(
    ("job", "wanted"),
    [
        ("foo/job.toml", "foo-plan"),
        ("foo/link.toml", "link-plan"),
        ("link.v2.toml", "link.v2-plan"),
        ("/job.toml", "job-plan"),
        ("foo/../bar/job.toml", "bar-plan"),
    ],
)
def test_results_are_named_after_the_job(job: str, wanted: str):
    assert results_name(Path(job)) == wanted


def test_progress_is_told_in_order_and_only_to_a_terminal(monkeypatch):
    told: list[tuple[str, float]] = []

    def make(job: Any, *, progress: Callable[[str, float], None], options: bool) -> Any:
        assert not options
        for share in (0.1, 0.5, 1.0):
            progress("solving", share)
            told.append(("solving", share))
        return small_plan()

    monkeypatch.setattr(geom.plan, "make_plan", make)
    result = geom_plan(JOB, "--no-files")
    assert len(told) == 3
    assert "solving" not in result.output
