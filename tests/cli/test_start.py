"""The command line as a process: it starts at once, is silent in a pipe, and obeys signals and closed pipes."""

import importlib.metadata
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

import geom

ROOT = Path(__file__).parents[2]
HEAVY = (
    "numpy",
    "scipy",
    "numba",
    "matplotlib",
    "trimesh",
    "shapely",
    "pydantic",
    "manifold3d",
    "rich",
    "tomllib",
    "json",
)


def process(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "geom", *words],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_the_entry_point_imports_nothing_heavy():
    code = "import sys, geom.cli.main; print(*sorted(m for m in sys.modules if '.' not in m))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert set(HEAVY) & set(done.stdout.split()) == set()
    assert "click" in done.stdout


def test_help_is_there_at_once():
    """Under 0.3 s is wanted on a quiet machine; the best of five and half a second leave room for a busy one."""
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        assert process("--help").returncode == 0
        times.append(time.perf_counter() - begin)
    assert min(times) < 0.5


def test_help_names_every_command_and_exit_code():
    text = process("--help").stdout
    for word in ("plan", "area", "baths", "Exit codes: 0 done, 1 done with a finding that should stop you"):
        assert word in text


@pytest.mark.parametrize("command", ["plan", "area", "baths"])
def test_every_command_has_its_help(command: str):
    done = process(command, "-h")
    assert done.returncode == 0
    assert "--json" in done.stdout
    assert "--debug" in done.stdout


def test_the_version_is_told():
    assert process("--version").stdout == f"geom, version {geom.__version__}\n"


def test_the_version_is_that_of_the_package():
    try:
        version = importlib.metadata.version("geom")
    except importlib.metadata.PackageNotFoundError:
        pytest.skip("run from a clone that is not installed")
    assert version == geom.__version__


def test_nothing_but_the_error_is_on_stderr_of_a_pipe():
    done = process("area", "none.toml", TERM="xterm", FORCE_COLOR="")
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("error: job-file-missing")
    assert "\x1b" not in done.stderr


def test_letters_that_an_old_terminal_lacks_become_question_marks():
    done = process("baths", "watts-nickel", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert "? trade" not in done.stdout
    assert "55 (40 to 60) C" in done.stdout


@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
def test_a_reader_that_goes_away_is_no_error():
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "geom", "baths"], cwd=ROOT, stdout=write, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(write)
    assert done.returncode == 141
    assert done.stderr == ""


TERMINAL = """
import pty, sys, os
sys.exit(os.waitstatus_to_exitcode(pty.spawn([sys.executable, "-c", sys.argv[1]])))
"""
SHOW = """
import sys, time
from geom.cli.progress import progress_shown
with progress_shown(False) as say:
    say("solving", 0.5)
    time.sleep(0.3)
print("end")
"""


@pytest.mark.skipif(os.name == "nt", reason="terminals of POSIX")
@pytest.mark.parametrize("no_colour", [False, True])
def test_a_terminal_sees_the_stage_and_colours_only_where_they_are_wanted(no_colour: bool):
    environment = {**os.environ, "TERM": "xterm-256color", **({"NO_COLOR": "1"} if no_colour else {})}
    done = subprocess.run(
        [sys.executable, "-c", TERMINAL, SHOW],
        cwd=ROOT,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=True,
    )
    seen = done.stdout.decode()
    assert "solving" in seen
    assert seen.rstrip().endswith("end")
    assert bool(re.search(r"\x1b\[(?:\d+;)*(?:3\d|38;[\d;]+)m", seen)) is not no_colour
