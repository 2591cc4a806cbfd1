"""A worker process: whatever becomes of it is told, the next task works, and nothing is left behind."""

import contextlib
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from helpers.dummy_desk import HALVES
from helpers.timing import ROOT

from geom.errors import GeomError, JobError, SolveError
from geom.page.told import rebuilt, told
from geom.page.worker import Worker

DESK = "helpers.dummy_desk:DummyDesk"


@pytest.fixture(scope="module")
def shared() -> Iterator[Worker]:
    with Worker(desk=DESK, given={"greeting": "ahoy"}) as worker:
        yield worker


def after(seconds: float, do) -> threading.Timer:
    timer = threading.Timer(seconds, do)
    timer.daemon = True
    timer.start()
    return timer


def fails(worker: Worker, task: str, *arguments, say=None) -> GeomError:
    with pytest.raises(GeomError) as caught:
        worker.call(task, *arguments, say=say)
    return caught.value


def is_gone(pid: int, within: float = 3.0) -> bool:
    """Has a process ended, and been taken leave of?"""
    end = time.monotonic() + within
    while time.monotonic() < end:
        try:
            state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
        except OSError:
            return True
        if state == "Z" and pid not in children():  # an orphan that its new parent has yet to look at
            return True
        time.sleep(0.02)
    return False


def kill(pid: int) -> None:
    """Kill a process, and wait until it is dead; who started it need not have noticed."""
    os.kill(pid, signal.SIGKILL)
    with contextlib.suppress(ChildProcessError):
        os.waitid(os.P_PID, pid, os.WEXITED | os.WNOWAIT)


def children() -> set[int]:
    """Return the processes of this one, zombies too."""
    found = set()
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == os.getpid():
            found.add(int(folder.name))
    return found


def test_a_task_is_done_elsewhere_with_what_the_desk_was_given(shared):
    greeting, _, pid = shared.call("greet")
    assert greeting == "ahoy"
    assert pid == shared.pid != os.getpid()


def test_each_step_is_told_in_order_and_in_the_thread_that_asked(shared):
    heard = []
    assert shared.call("steps", 50, say=lambda *told: heard.append((*told, threading.get_ident()))) == 50
    assert heard == [(f"step {k}", k / 50, threading.get_ident()) for k in range(50)]


def test_the_process_stays_from_task_to_task_also_after_a_refusal(shared):
    before = shared.call("greet")[2]
    fails(shared, "refuse")
    fails(shared, "defect")
    assert shared.call("greet")[2] == before


def test_an_error_comes_back_with_all_its_mistakes(shared):
    error = fails(shared, "refuse")
    assert type(error) is JobError
    assert (error.slug, error.message, error.where, error.hint) == ("job-mistakes", "two mistakes", "job", "")
    assert [(type(one), one.slug, str(one), one.where) for one in error.mistakes] == [
        (type(one), one.slug, str(one), one.where) for one in HALVES
    ]
    assert str(error) == "\n".join(str(one) for one in HALVES)


def test_an_error_keeps_its_exit_code_and_what_else_it_holds(shared):
    error = fails(shared, "unsolved")
    assert type(error) is SolveError
    assert (error.exit_code, error.residuals, error.hint) == (3, (0.5, 0.25), "mend it")
    odd = fails(shared, "own_error")
    assert (type(odd), odd.exit_code, odd.slug) == (GeomError, 7, "odd-slug")


def test_every_error_of_the_program_can_be_told():
    from geom import errors

    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, GeomError)]
    assert len(kinds) > 8
    for kind in kinds:
        error = kind("some-slug", "text", where="here", hint="do")
        again = rebuilt(told(error))
        assert (type(again), vars(again), str(again)) == (kind, vars(error), str(error))


def test_errors_within_a_result_are_errors_again(shared):
    first, error, last = shared.call("mixed")
    assert (first, last) == ({"view": 1}, {"view": 2})
    assert (type(error), error.slug) == (JobError, "job-unit")


def test_a_defect_is_told_without_its_innards(shared):
    error = fails(shared, "defect")
    assert error.slug == "work-defect"
    assert "ZeroDivisionError" in error.message
    assert "secret" not in str(error) + error.hint
    assert "in defect" in error.__notes__[0]  # where it happened


def test_a_cancelled_task_is_over_at_once_and_the_next_one_works():
    with Worker(desk=DESK) as worker:
        worker.call("echo", 1)
        for task in (("sleep", 60.0), ("spin",)):
            asked = []
            began = time.monotonic()
            error = fails(worker, *task, say=lambda *ignored, asked=asked: asked.append(after(0.05, worker.cancel)))
            assert error.slug == "work-cancelled"
            assert time.monotonic() - began < 1.0
            assert worker.call("echo", "next") == "next"


def test_a_task_can_be_cancelled_by_who_is_told_how_far_it_is():
    with Worker(desk=DESK) as worker:
        assert fails(worker, "sleep", 60.0, say=lambda *ignored: worker.cancel()).slug == "work-cancelled"
        assert worker.call("echo", 2) == 2


def test_cancel_with_nothing_to_cancel_does_nothing(shared):
    before = shared.call("greet")[2]
    shared.cancel()
    assert shared.call("greet")[2] == before


def test_an_error_of_who_is_told_ends_the_task():
    def raises(stage: str, share: float) -> None:
        raise KeyError(stage)

    with Worker(desk=DESK) as worker:
        before = worker.call("greet")[2]
        with pytest.raises(KeyError):
            worker.call("sleep", 60.0, say=raises)
        assert is_gone(before)
        assert worker.call("echo", 3) == 3


@pytest.mark.parametrize(
    ("task", "words"), [(("leave", 5), "exit code 5"), (("leave", 0), "exit code 0"), (("die",), "SIGKILL")]
)
def test_a_death_is_told_and_the_next_task_works(task, words):
    with Worker(desk=DESK) as worker:
        error = fails(worker, *task)
        assert error.slug == "work-died"
        assert words in error.message
        assert ("out of memory" in error.hint) == ("SIGKILL" in words)
        assert worker.call("echo", 4) == 4


def test_a_process_that_died_between_two_tasks_is_replaced_unasked():
    with Worker(desk=DESK) as worker:
        pid = worker.call("greet")[2]
        kill(pid)
        assert worker.call("echo", 5) == 5
        assert worker.pid != pid


def test_too_much_memory_is_told_and_the_next_task_works():
    with Worker(desk=DESK, memory=2**30) as worker:
        assert worker.call("gorge", 2**20) == 2**20
        before = worker.pid
        assert fails(worker, "gorge", 2**31).slug == "work-memory"
        assert worker.pid != before
        assert worker.call("echo", 6) == 6


def test_a_task_that_takes_too_long_is_given_up():
    with Worker(desk=DESK, seconds=1.5) as worker:
        worker.call("echo", 7)
        began = time.monotonic()
        error = fails(worker, "spin")
        assert error.slug == "work-time"
        assert time.monotonic() - began < 2.5
    with Worker(desk=DESK, seconds=30.0) as worker:
        assert worker.call("echo", 8) == 8


def test_kills_at_random_moments_are_each_told_and_leave_nothing():
    """Every call either gives its own result or says what became of it; in the end there is one process."""
    dice = random.Random(20261126)
    before = children()
    with Worker(desk=DESK) as worker:
        worker.call("echo", 0)
        told_of = []
        for number in range(12):
            end = dice.choice([lambda: kill(worker.pid), worker.cancel])
            timer = after(dice.uniform(0.0, 0.25), end)
            try:
                assert worker.call("sleep", 0.1) == 0.1
            except GeomError as error:
                told_of.append(error.slug)
            timer.join()
            assert worker.call("echo", number) == number
        assert len(told_of) > 3
        assert set(told_of) <= {"work-died", "work-cancelled"}
        ours = {pid for pid in children() - before if "spawn_main" in command(pid)}
        assert ours == {worker.pid}
    assert not {pid for pid in children() - before if "spawn_main" in command(pid) or not command(pid)}


def command(pid: int) -> str:
    """Return the command line of a process: "" of a zombie."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()
    except OSError:
        return "gone"


def test_what_the_task_had_started_goes_with_it():
    with Worker(desk=DESK) as worker:
        started = []

        def heard(stage: str, share: float) -> None:
            started.append(int(stage))
            worker.cancel()

        assert fails(worker, "with_child", say=heard).slug == "work-cancelled"
        assert is_gone(started[0])


def test_close_ends_what_runs_and_no_more_is_done():
    worker = Worker(desk=DESK)
    pid = worker.call("greet")[2]
    after(0.1, worker.close)
    assert fails(worker, "sleep", 60.0).slug == "work-cancelled"
    assert is_gone(pid)
    assert fails(worker, "echo", 1).slug == "work-cancelled"
    worker.close()


@pytest.mark.parametrize("how", ["kill", "leave"])
def test_a_worker_ends_with_the_process_that_wanted_it(how, tmp_path):
    """However that ends: no orphan is left, though it was busy."""
    script = tmp_path / "parent.py"
    script.write_text(
        "import os, sys, threading, time\n"
        "from geom.page.worker import Worker\n"
        "if __name__ == '__main__':\n"
        f"    worker = Worker(desk={DESK!r})\n"
        "    pid = worker.call('greet')[2]\n"
        "    threading.Thread(target=worker.call, args=('sleep', 60.0), daemon=True).start()\n"
        "    time.sleep(0.1)\n"
        "    print(pid, flush=True)\n"
        "    sys.stdin.readline()\n"
        "    os._exit(0)\n"
    )
    paths = os.pathsep.join([str(ROOT), str(ROOT / "tests")])
    with subprocess.Popen(
        [sys.executable, str(script)],
        env={**os.environ, "PYTHONPATH": paths},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as parent:
        pid = int(parent.stdout.readline())
        assert not is_gone(pid, 0.05)
        if how == "kill":
            parent.kill()
        else:
            parent.stdin.write("\n")
            parent.stdin.flush()
        parent.wait(5)
        assert is_gone(pid)
