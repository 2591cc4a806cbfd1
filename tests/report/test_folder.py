"""The folder of results is written whole or not at all."""

import errno
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from geom.errors import OutputError
from geom.report import folder as module
from geom.report.folder import write_results

OLD = {"plan.txt": b"old plan", "plan.json": b"{}"}
NEW = {"plan.txt": b"new plan\n" * 1000, "plan.json": b"[1, 2]", "part.png": bytes(range(256)), "empty.csv": b""}
ROOT = Path(__file__).parents[2]


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def refused(slug: str, *args, **options) -> OutputError:
    with pytest.raises(OutputError) as caught:
        write_results(*args, **options)
    assert caught.value.slug == slug
    assert caught.value.where
    assert caught.value.hint
    return caught.value


@pytest.fixture(params=["one step", "three steps"])
def swap(request, monkeypatch):
    """Swap folders the way of this system, and the way of one without a swap in one step."""
    if request.param == "three steps":
        monkeypatch.setattr(module, "_exchanged", lambda a, b: False)
    elif sys.platform != "linux":
        pytest.skip("the swap in one step is of Linux")


def test_the_files_come_back_as_they_were_and_nothing_else_is_there(tmp_path):
    write_results(NEW, tmp_path / "out")
    assert content(tmp_path / "out") == NEW
    assert os.listdir(tmp_path) == ["out"]


def test_a_relative_folder_is_taken_from_the_working_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_results(NEW, Path("out/"))
    assert content(tmp_path / "out") == NEW


def test_the_folder_has_the_usual_permissions(tmp_path):
    (tmp_path / "plain").mkdir()
    write_results(NEW, tmp_path / "out")
    assert (tmp_path / "out").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_an_older_folder_is_refused_and_left_alone(tmp_path):
    write_results(OLD, tmp_path / "out")
    refused("output-exists", NEW, tmp_path / "out")
    assert content(tmp_path / "out") == OLD
    assert os.listdir(tmp_path) == ["out"]


@pytest.mark.usefixtures("swap")
def test_force_replaces_an_older_folder_whole(tmp_path):
    write_results({**OLD, "gone.vtu": b"x"}, tmp_path / "out")
    write_results(NEW, tmp_path / "out", force=True, replaceable=["gone.vtu"])
    assert content(tmp_path / "out") == NEW
    assert os.listdir(tmp_path) == ["out"]


def test_force_makes_a_new_folder_too(tmp_path):
    write_results(NEW, tmp_path / "out", force=True)
    assert content(tmp_path / "out") == NEW


@pytest.mark.parametrize("kind", ["file", "folder", "link"])
def test_force_never_removes_what_is_not_a_result(tmp_path, kind):
    write_results(OLD, tmp_path / "out")
    mine = tmp_path / "out" / ("notes.txt" if kind == "file" else "part.png")
    if kind == "file":
        mine.write_bytes(b"bath 3 was cloudy")
    elif kind == "folder":
        mine.mkdir()
    else:
        mine.symlink_to("plan.txt")
    error = refused("output-foreign", NEW, tmp_path / "out", force=True)
    assert mine.name in error.message
    assert mine.is_symlink() or mine.exists()


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("kind", ["file", "link to a folder", "link to nothing"])
def test_a_file_or_a_link_in_place_of_the_folder_is_refused(tmp_path, kind, force):
    target = tmp_path / "out"
    if kind == "file":
        target.write_bytes(b"mine")
    else:
        target.symlink_to(tmp_path / "elsewhere")
    if kind == "link to a folder":
        (tmp_path / "elsewhere").mkdir()
    before = sorted(os.listdir(tmp_path))
    refused("output-not-a-folder", NEW, target, force=force)
    refused("output-not-a-folder", NEW, Path(f"{target}/"), force=force)
    assert sorted(os.listdir(tmp_path)) == before


def test_no_folder_to_write_into_is_named(tmp_path):
    error = refused("output-unwritable", NEW, tmp_path / "missing" / "out")
    assert "missing" in error.hint
    assert os.listdir(tmp_path) == []


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is protected against the administrator")
def test_a_protected_folder_is_refused(tmp_path):
    tmp_path.chmod(0o555)
    try:
        refused("output-unwritable", NEW, tmp_path / "out")
    finally:
        tmp_path.chmod(0o755)


def test_a_name_that_the_system_refuses_leaves_nothing(tmp_path):
    refused("output-unwritable", NEW, tmp_path / ("a" * 300))
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("name", ["", ".", "..", "a/b", "/etc/x"])
def test_only_plain_names_are_files_of_the_folder(tmp_path, name):
    with pytest.raises(ValueError, match="plain file name"):
        write_results({name: b"x"}, tmp_path / "out")
    assert os.listdir(tmp_path) == []


class FailAt:
    """Stands for functions of the system and makes call number ``at`` fail; counts the calls."""

    def __init__(self, at: int, error: BaseException) -> None:
        self.at, self.error, self.calls = at, error, 0

    def around(self, function):
        def call(*args, **options):
            self.calls += 1
            if self.calls == self.at:
                raise self.error
            return function(*args, **options)

        return call


class FailingFile:
    """A file whose write may fail half way, as on a full disk."""

    def __init__(self, file, fail: FailAt) -> None:
        self.file = file
        self.write = fail.around(file.write)

    def __enter__(self):
        return self

    def __exit__(self, *failure):
        self.file.close()

    def __getattr__(self, name):
        return getattr(self.file, name)


def with_failure(monkeypatch, at: int, error: BaseException) -> FailAt:
    """Make the system fail at one of its calls, whichever they are: mkdir, open, write, fsync, rename."""
    fail = FailAt(at, error)
    for name in ("mkdir", "fsync", "rename"):
        monkeypatch.setattr(module.os, name, fail.around(getattr(os, name)))
    monkeypatch.setattr(module, "_exchanged", fail.around(module._exchanged))
    opened = fail.around(open)
    monkeypatch.setattr(module, "open", lambda *args: FailingFile(opened(*args), fail), raising=False)
    return fail


FAILURES = [
    OSError(errno.ENOSPC, "No space left on device"),
    OSError(errno.EIO, "Input/output error"),
    KeyboardInterrupt(),
]


def steps_of(tmp_path: Path, monkeypatch, *, force: bool) -> int:
    """Return how many calls of the system one writing takes."""
    with monkeypatch.context() as patch:
        count = with_failure(patch, -1, RuntimeError())
        write_results(NEW, tmp_path / "counted")
        if force:
            count.calls = 0
            write_results(NEW, tmp_path / "counted", force=True)
    for path in (tmp_path / "counted").iterdir():
        path.unlink()
    (tmp_path / "counted").rmdir()
    return count.calls


@pytest.mark.usefixtures("swap")
@pytest.mark.parametrize("error", FAILURES, ids=["full", "EIO", "Ctrl-C"])
@pytest.mark.parametrize("force", [False, True])
def test_a_failure_at_any_step_leaves_what_was_there(tmp_path, monkeypatch, error, force):
    steps = steps_of(tmp_path, monkeypatch, force=force)
    assert steps > 12
    for at in range(1, steps + 1):
        if force:
            write_results(OLD, tmp_path / "out", force=True, replaceable=NEW)
        with monkeypatch.context() as patch:
            with_failure(patch, at, error)
            with pytest.raises((OutputError, KeyboardInterrupt)) as caught:
                write_results(NEW, tmp_path / "out", force=force)
        assert isinstance(caught.value, KeyboardInterrupt) or caught.value.slug == "output-unwritable"
        assert os.listdir(tmp_path) == (["out"] if force else [])
        assert not force or content(tmp_path / "out") == OLD


@pytest.mark.usefixtures("swap")
def test_older_results_that_cannot_be_removed_are_named_and_the_new_ones_stand(tmp_path, monkeypatch):
    write_results(OLD, tmp_path / "out")
    with monkeypatch.context() as patch:
        patch.setattr(module.shutil, "rmtree", FailAt(1, OSError(errno.EIO, "Input/output error")).around(None))
        error = refused("output-left-over", NEW, tmp_path / "out", force=True)
    (hidden,) = (path for path in tmp_path.iterdir() if path.name != "out")
    assert str(hidden) in error.hint
    assert content(hidden) == OLD
    assert content(tmp_path / "out") == NEW


def test_a_run_that_was_faster_is_not_overwritten(tmp_path, monkeypatch):
    fill = module._fill

    def slow(fresh, files):
        fill(fresh, files)
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "plan.txt").write_bytes(b"the other run")

    monkeypatch.setattr(module, "_fill", slow)
    refused("output-exists", NEW, tmp_path / "out")
    assert content(tmp_path / "out") == {"plan.txt": b"the other run"}
    assert os.listdir(tmp_path) == ["out"]


WRITER = """
import sys
from pathlib import Path
from geom.report.folder import write_results
names = [f"file{k}" for k in range(6)]
for turn in range(1, 10**6):
    write_results({name: (b"%d " % turn) * 2000 for name in names}, Path(sys.argv[1]), force=True)
    if turn == 1:
        print("ready", flush=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the swap in one step is of Linux")
def test_a_kill_at_any_moment_leaves_one_whole_set_of_results(tmp_path):
    moments = random.Random(8)
    for run in range(40):
        target = tmp_path / f"out{run}"
        command = [sys.executable, "-c", WRITER, str(target)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as process:
            process.stdout.readline()
            time.sleep(moments.uniform(0.0, 0.02))
            process.send_signal(signal.SIGKILL)
        found = content(target)
        assert sorted(found) == [f"file{k}" for k in range(6)]
        (whole,) = set(found.values())
        assert len(whole.split()) == 2000


KILLED_AT = """
import os, signal, sys
from pathlib import Path
from geom.report.folder import write_results
target, at = Path(sys.argv[1]), int(sys.argv[2])
names = [f"file{k}" for k in range(4)]
write_results({name: b"old" for name in names}, target, force=True)
calls = 0
def count(event, args):
    global calls
    if event == "open" or event.startswith(("os.", "shutil.", "ctypes.")):
        calls += 1
        if calls == at:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(count)
write_results({name: b"new" for name in names}, target, force=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the swap in one step is of Linux")
def test_a_kill_before_any_call_of_the_system_leaves_one_whole_set_of_results(tmp_path):
    seen = []
    for at in range(1, 100):
        target = tmp_path / f"out{at}"
        run = subprocess.run([sys.executable, "-c", KILLED_AT, str(target), str(at)], cwd=ROOT, check=False)
        found = content(target)
        assert sorted(found) == [f"file{k}" for k in range(4)]
        assert len(set(found.values())) == 1
        seen.append(found["file0"])
        if run.returncode == 0:
            break
        assert run.returncode == -signal.SIGKILL
    assert len(seen) > 12
    assert {seen[0], seen[-1]} == {b"old", b"new"}
