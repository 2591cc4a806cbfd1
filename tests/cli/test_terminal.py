"""What a person sees at a terminal: the stage and the time left on one line, gone at the end; Ctrl-C leaves nothing."""

import json
import os
import re
import select
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

fcntl = pytest.importorskip("fcntl", reason="terminals of POSIX")
termios = pytest.importorskip("termios", reason="terminals of POSIX")

ROOT = Path(__file__).parents[2]
ROD = ["plan", "--rod", "6 x 20 mm", "--accuracy", "20%", "--no-files"]
SLOW = ["plan", "--rod", "6 x 20 mm", "--accuracy", "1%"]  # not done before a Ctrl-C gets there
# stages that say what a plan says, and take a known time: half is done after 1.2 s
SHOW = """
import time
from geom.cli.progress import progress_shown
with progress_shown(False) as say:
    say("a first look on large panels", 0.05)
    time.sleep(1.2)
    say("solving, panel level 2", 0.5)
    time.sleep(0.3)
print("end")
"""


def at_terminal(words: list[str], columns: int = 100, *, stop_at: bytes = b"", **environment: str) -> tuple[int, bytes]:
    """Return exit code and all that a terminal of that width was sent; Ctrl-C is typed once ``stop_at`` is seen."""
    import pty

    process, terminal = pty.fork()
    if process == 0:
        time.sleep(0.1)  # the size is set first
        env = {**os.environ, "TERM": "xterm-256color", "PYTHONPATH": str(ROOT), **environment}
        env.pop("COLUMNS", None)
        os.execve(sys.executable, [sys.executable, *words], env)
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 30, columns, 0, 0))
    seen = b""
    while select.select([terminal], [], [], 60)[0]:
        try:
            piece = os.read(terminal, 65536)
        except OSError:  # Linux says so at the end
            break
        seen += piece
        if not piece:
            break
        if stop_at and stop_at in seen:
            os.write(terminal, b"\x03")
            stop_at = b""
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), seen


def lines_of(seen: bytes) -> list[str]:
    """Return each state of the line, without what moves the cursor and colours."""
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", seen.decode())
    return [line.rstrip() for line in re.split(r"[\r\n]+", plain) if line.strip()]


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_stage_and_time_left_stay_on_one_line_and_are_gone_at_the_end(columns: int):
    code, seen = at_terminal(["-c", SHOW], columns)
    assert code == 0
    states = lines_of(seen)
    assert max(map(len, states)) <= columns
    assert any("a first look on large panels" in line for line in states)
    told = [line for line in states if "solving, panel level 2, about 1 s left" in line]
    assert told, states
    assert seen.count(b"\n") == 2  # one that is wiped again at once, and one after what is printed
    assert re.search(rb"\n\x1b\[\?25h\r\x1b\[1A\x1b\[2Kend\r\n$", seen), seen[-60:]
    assert ("━" in told[0]) is (columns >= 72)


@pytest.mark.parametrize(
    ("environment", "words"),
    [({"TERM": "dumb"}, []), ({}, ["--quiet"])],
    ids=["a dumb terminal", "quiet"],
)
def test_a_dumb_terminal_gets_the_plan_alone_and_quiet_gets_nothing(environment: dict[str, str], words: list[str]):
    code, seen = at_terminal(["-m", "geom", *ROD, *words], **environment)
    assert code == 0
    assert b"\x1b" not in seen
    assert b"solving" not in seen
    assert seen.startswith(b"" if words else b"Rod 6 x 20 mm\r\n====")
    assert (seen == b"") is bool(words)


def test_a_terminal_for_errors_and_a_pipe_for_json_keep_apart(tmp_path: Path):
    """The line is drawn on stderr; a program that reads stdout gets JSON and nothing else."""
    import pty

    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "geom", *ROD, "--json"],
        stdout=subprocess.PIPE,
        stderr=theirs,
        cwd=tmp_path,
        env={**os.environ, "TERM": "xterm", "PYTHONPATH": str(ROOT)},
    ) as process:
        os.close(theirs)
        assert process.stdout is not None
        assert json.loads(process.stdout.read())["title"] == "Rod 6 x 20 mm"
    seen = b""
    while select.select([ours], [], [], 1)[0]:
        try:
            seen += os.read(ours, 65536)
        except OSError:
            break
    os.close(ours)
    assert process.returncode == 0
    assert b"reading the job" in seen


def test_ctrl_c_at_a_terminal_wipes_the_line_and_says_one_word(tmp_path: Path):
    code, seen = at_terminal(
        ["-c", f"import os; os.chdir({str(tmp_path)!r}); from geom.cli.main import main; main()", *SLOW],
        stop_at=b"first look",
    )
    assert code == 130
    assert lines_of(seen)[-1] == "stopped"
    assert b"Traceback" not in seen
    assert seen.rstrip().endswith(b"\x1b[2Kstopped")
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_while_results_are_drawn_leaves_no_folder_no_job_and_no_half_of_one(tmp_path: Path):
    """The worst moment: the plan is there, its files are being made."""
    code = """
import sys, time, geom.report.files
from geom.cli.main import main
def slow(plan, text):
    print("drawing now", file=sys.stderr, flush=True)
    time.sleep(60)
geom.report.files.result_files = slow
main()
"""
    with subprocess.Popen(
        [sys.executable, "-c", code, *ROD[:-1]],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    ) as process:
        assert process.stderr is not None
        assert process.stderr.readline() == b"drawing now\n"
        process.send_signal(signal.SIGINT)
        out, error = process.communicate(timeout=30)
    assert process.returncode == 130
    assert (out, error) == (b"", b"stopped\n")
    assert list(tmp_path.iterdir()) == []
