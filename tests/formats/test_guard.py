"""Files are read in a process of their own: whatever a file or its reader does ends soon, as one error in words."""

import json
import os
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers import seeds
from hypothesis import given, settings
from hypothesis import strategies as st

from geom.errors import PartError
from geom.findings import Finding, Severity
from geom.formats import framing, guard
from geom.formats.drawing import RawDrawing
from geom.formats.guard import read_guarded
from geom.formats.raw import Limits, RawMesh, malformed

SOON = 1.0  # s: what is not a file is refused in less, without a process
GIGABYTE = 1_000_000_000

# Start of a child whose reader is replaced by the function ``evil`` of the test.
EVIL = """
import json, os, signal, sys, time
sys.path[:] = json.loads(sys.argv[1])
from geom.errors import PartError
from geom.formats import child, open as opening
{evil}
opening._reader = lambda suffix: evil
child.main(sys.argv[2])
"""


@pytest.fixture
def box(tmp_path: Path) -> Path:
    path = tmp_path / "box.stl"
    path.write_bytes(seeds.stl_binary())
    return path


def with_reader(monkeypatch: pytest.MonkeyPatch, body: str) -> None:
    """Let the child run ``body`` in place of its reader."""
    lines = "\n".join("    " + line for line in body.splitlines())
    monkeypatch.setattr(guard, "START", EVIL.format(evil=f"def evil(data):\n{lines}"))


def refused(path: Path, limits: Limits = Limits()) -> PartError:  # noqa: B008
    with pytest.raises(PartError) as caught:
        read_guarded(path, limits)
    return caught.value


# what is no file


def fifo(path: Path) -> None:
    os.mkfifo(path)


def bound_socket(path: Path) -> None:
    # a socket has a short name only
    here = Path.cwd()
    os.chdir(path.parent)
    try:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(path.name)
    finally:
        os.chdir(here)


def endless(path: Path) -> None:
    path.symlink_to("/dev/zero")


def sparse(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(10 * GIGABYTE)


SPECIAL: dict[str, tuple[Callable[[Path], Any], str]] = {
    "pipe": (fifo, "not a regular file"),
    "folder": (Path.mkdir, "not a regular file"),
    "device": (endless, "not a regular file"),
    "socket": (bound_socket, "cannot be read"),
    "nothing": (lambda path: None, "No such file"),
    "dangling link": (lambda path: path.symlink_to(path.parent / "gone"), "No such file"),
    "link to itself": (lambda path: path.symlink_to(path), "symbolic links"),
    "ten gigabytes of nothing": (sparse, "10,000 MB; 500 MB is the most"),
}


@pytest.mark.skipif(os.name != "posix", reason="special files of POSIX")
@pytest.mark.parametrize("kind", SPECIAL)
def test_only_a_regular_file_of_bounded_size_is_opened(tmp_path: Path, kind: str) -> None:
    make, words = SPECIAL[kind]
    path = tmp_path / "part.stl"
    make(path)
    begin = time.monotonic()
    error = refused(path)
    assert time.monotonic() - begin < SOON
    assert error.slug == "part-mesh-file"
    assert words in error.message


def test_a_file_that_may_not_be_read_is_refused(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*args: object) -> int:
        raise PermissionError(13, "Permission denied")

    box.chmod(0)
    if os.geteuid() == 0:  # who may read anything
        monkeypatch.setattr(os, "open", denied)
    assert refused(box).message.endswith("Permission denied")


def test_a_name_that_no_file_can_have_is_refused() -> None:
    assert refused(Path("a\0b.stl")).slug == "part-mesh-file"
    assert refused(Path("x" * 5000 + ".stl")).slug == "part-mesh-file"


def test_an_unknown_suffix_is_refused_before_anything_is_opened(tmp_path: Path) -> None:
    assert refused(tmp_path / "part.iges").slug == "part-mesh-suffix"


@pytest.mark.parametrize(
    "name",
    [
        "two words",
        "it's",
        '"quoted"',
        "<b>bold</b>&amp;",
        "-rf",
        "=1+1",
        "%2e%2e%2f",
        "x" * 200,
        "é",
        "e\u0301",
        "$(id)",
    ],
)
def test_a_file_of_any_name_is_read(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / f"{name.replace('/', '')}.stl"
    path.write_bytes(seeds.stl_binary())
    monkeypatch.chdir(tmp_path)
    raw = read_guarded(Path(path.name))
    assert isinstance(raw, RawMesh)
    assert len(raw.faces) == 12


# what the reader answers


def test_arrays_findings_and_unit_come_through_unchanged(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(
        monkeypatch,
        "import numpy as np\n"
        "from geom.findings import Finding, Severity\n"
        "from geom.formats.raw import RawMesh\n"
        "note = Finding(Severity.NOTE, 'a-note', 'ü')\n"
        "return RawMesh(np.eye(3) / 3, np.array([[0, 1, 2]]), np.array([0]), (note,), 1e-3)",
    )
    raw = read_guarded(box)
    assert isinstance(raw, RawMesh)
    np.testing.assert_array_equal(raw.vertices, np.eye(3) / 3)
    assert raw.findings[0] == Finding(Severity.NOTE, "a-note", "ü")
    assert raw.unit == 1e-3


def test_an_error_comes_through_with_its_hint_and_marks(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "raise PartError('part-odd', 'a', where='b', hint='c', marks=[(1, 2.5, 3)])")
    error = refused(box)
    assert (error.slug, error.message, error.where, error.hint) == ("part-odd", "a", "b", "c")
    assert error.marks == ((1.0, 2.5, 3.0),)


def test_an_unforeseen_exception_becomes_words(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "{}['key']")
    error = refused(box)
    assert error.slug == "part-mesh-format"
    assert "KeyError" in error.message


def test_what_a_library_prints_does_not_run_into_the_answer(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(
        monkeypatch,
        "print('GEOM' * 1000, flush=True); os.write(1, b'GEOM' * 1000)\n"
        "from geom.formats.stl import read_stl\n"
        "return read_stl(data)",
    )
    assert len(read_guarded(box).faces) == 12  # type: ignore[union-attr]


# what the reader does


HANGS = {
    "busy": "while True: pass",
    "idle": "time.sleep(100)",
    "deaf": "for s in (1, 2, 14, 15, 24): signal.signal(s, signal.SIG_IGN)\nwhile True: time.sleep(1)",
}


@pytest.mark.parametrize("kind", HANGS)
def test_a_reader_that_hangs_is_ended(box: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    with_reader(monkeypatch, HANGS[kind])
    begin = time.monotonic()
    error = refused(box, Limits(seconds=0.6))
    assert time.monotonic() - begin < 5
    assert error.slug == "part-mesh-limits"
    assert "limit of 0.6 s" in error.message
    assert "--most-time" in error.hint


EATERS = {
    "lists": "kept = []\nwhile True: kept.append(bytearray(10**7))",
    "at once": "bytearray(10**10)",
    "numpy": "import numpy as np\nreturn np.zeros(10**10)",
    "words": "kept = []\nwhile True: kept.append(object())",
}


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX")
@pytest.mark.parametrize("kind", EATERS)
def test_a_reader_that_eats_memory_is_ended(box: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    with_reader(monkeypatch, EATERS[kind])
    error = refused(box, Limits(memory=400_000_000))
    assert error.slug == "part-mesh-limits"
    assert "400 MB" in error.message
    assert "--most-memory" in error.hint


def test_a_limit_that_is_raised_lets_the_same_reader_through(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(
        monkeypatch,
        "kept = bytearray(500_000_000); time.sleep(0.5)\nfrom geom.formats.stl import read_stl\nreturn read_stl(data)",
    )
    assert refused(box, Limits(memory=400_000_000)).slug == "part-mesh-limits"
    assert refused(box, Limits(seconds=0.4)).slug == "part-mesh-limits"
    assert refused(box, Limits(size=100)).slug == "part-mesh-file"
    assert isinstance(read_guarded(box), RawMesh)


def test_a_reader_that_recurses_is_told(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "return evil(data)")
    assert "nested too deeply" in refused(box).message


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("name", ["SIGSEGV", "SIGABRT", "SIGKILL", "SIGBUS", "SIGTERM"])
def test_a_reader_that_crashes_is_told(box: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    with_reader(monkeypatch, f"os.kill(os.getpid(), signal.{name})")
    error = refused(box)
    assert error.slug == "part-mesh-limits"
    assert name in error.message


def test_a_reader_that_leaves_without_a_word_is_told(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "os._exit(0)")
    assert "without an answer (exit code 0)" in refused(box).message


@pytest.mark.skipif(os.name != "posix", reason="limits of POSIX")
def test_a_reader_writes_no_file(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "open(os.environ['TMPDIR'] + '/x', 'w').write('x' * 10000)")
    assert "cannot be read" in refused(box).message


def test_a_child_killed_from_outside_is_told(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "time.sleep(100)")
    start = subprocess.Popen

    def started(*args: Any, **kwargs: Any) -> Any:
        child = start(*args, **kwargs)
        threading.Timer(0.3, child.kill).start()
        return child

    monkeypatch.setattr(guard.subprocess, "Popen", started)
    error = refused(box)
    assert error.slug == "part-mesh-limits"
    assert "ended from outside" in error.message


def test_no_child_and_no_descriptor_is_left(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read_guarded(box)
    before = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 0
    read_guarded(box)
    with_reader(monkeypatch, "time.sleep(100)")
    refused(box, Limits(seconds=0.3))
    refused(box, Limits(size=100))
    if before:
        assert len(os.listdir("/proc/self/fd")) == before


def test_the_folder_it_is_started_in_has_no_say(box: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("json.py", "numpy.py", "geom.py"):
        (tmp_path / name).write_text("raise SystemExit('taken over')")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.path", [entry for entry in map(os.path.abspath, guard.sys.path) if entry != str(tmp_path)])
    assert isinstance(read_guarded(Path(box.name)), RawMesh)


# what an answer may hold


def answered(monkeypatch: pytest.MonkeyPatch, box: Path, frame: bytes) -> PartError:
    """Return the error for a child that answers these bytes."""
    monkeypatch.setattr(guard, "START", f"import os; os.write(1, {frame!r})")
    return refused(box)


def frame(value: object) -> bytes:
    return b"".join(bytes(piece) for piece in framing.framed(value))


def mesh(faces: np.ndarray, **more: Any) -> dict[str, Any]:
    fields = {"vertices": np.eye(3), "faces": faces, "file_face": np.arange(len(faces)), **more}
    return {"raw": RawMesh(**fields)}


LIES: dict[str, bytes] = {
    "face past the last vertex": frame(mesh(np.array([[0, 1, 3]]))),
    "negative vertex": frame(mesh(np.array([[0, 1, -1]]))),
    "faces in fractions": frame(mesh(np.array([[0, 1, 2.0]]))),
    "faces of four": frame(mesh(np.array([[0, 1, 2, 0]]))),
    "too few sources": frame(mesh(np.array([[0, 1, 2]]), file_face=np.zeros(0, np.int64))),
    "vertices of a plane": frame(mesh(np.array([[0, 1, 2]]), vertices=np.zeros((3, 2)))),
    "a unit of nothing": frame(mesh(np.array([[0, 1, 2]]), unit=0.0)),
    "a unit that is no number": frame(mesh(np.array([[0, 1, 2]]), unit=float("nan"))),
    "no arrays": frame({"raw": RawMesh(None, None, None)}),  # type: ignore[arg-type]
    "a note that is none": frame(mesh(np.array([[0, 1, 2]]), findings=("x",))),
    "a drawing of words": frame({"raw": RawDrawing(("x",))}),  # type: ignore[arg-type]
    "neither mesh nor error": frame({"other": 1}),
    "not a table": frame((1, 2)),
    "no frame": b"x" * 100,
    "an endless head": b"GEOM" + b"\xff" * 8,
    "half a frame": frame(mesh(np.array([[0, 1, 2]])))[:-1],
    "arrays without end": b"GEOM"
    + (50).to_bytes(8, "little")
    + b'{"array": "<f8", "shape": [1000000000000]}'.ljust(50),
    "a kind of object": b"GEOM" + (40).to_bytes(8, "little") + b'{"array": "|O", "shape": [1]}'.ljust(40) + bytes(8),
    "nested": b"GEOM" + (50_000).to_bytes(8, "little") + b"[" * 50_000,
    "a record from elsewhere": frame(None).replace(b"null", b"")[:4]
    + (60).to_bytes(8, "little")
    + b'{"record": ["os", "system"], "fields": {"command": "id"}}'.ljust(60),
}


@pytest.mark.parametrize("lie", LIES)
def test_an_answer_that_does_not_fit_is_refused(box: Path, monkeypatch: pytest.MonkeyPatch, lie: str) -> None:
    assert answered(monkeypatch, box, LIES[lie]).slug in ("part-mesh-limits", "part-mesh-format")


def test_an_error_in_an_answer_is_cut_to_what_can_be_printed(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = {"error": {"slug": "../../etc", "message": "x" * 9999}, "marks": ((1, 2), (1, 2, float("nan")), (1, 2, 3))}
    error = answered(monkeypatch, box, frame(told))
    assert error.slug == "part-mesh-format"
    assert len(error.message) <= guard.LONGEST
    assert error.marks == ((1.0, 2.0, 3.0),)


PLAIN = st.one_of(
    st.none(), st.booleans(), st.integers(-(2**53), 2**53), st.floats(allow_nan=False), st.text(max_size=9)
)
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.one_of(st.lists(inner, max_size=4).map(tuple), st.dictionaries(st.text(), inner, max_size=3)),
)


@settings(max_examples=60, deadline=None)
@given(VALUES, st.integers(0, 5), st.integers(0, 3))
def test_frames_carry_values_unchanged(value: object, rows: int, columns: int) -> None:
    array = np.arange(rows * columns, dtype=np.float64).reshape(rows, columns)
    stream = memoryview(frame({"value": value, "array": array, "places": array.astype(np.int64)}))
    at = 0

    def read(count: int) -> bytearray:
        nonlocal at
        at += count
        return bytearray(stream[at - count : at])

    back = framing.unframed(read, 10_000)
    assert back["value"] == value
    np.testing.assert_array_equal(back["array"], array, strict=True)
    np.testing.assert_array_equal(back["places"], array.astype(np.int64), strict=True)
    assert at == len(stream)


def test_a_value_that_has_no_frame_is_never_sent() -> None:
    with pytest.raises(TypeError):
        list(framing.framed({"x": object()}))
    with pytest.raises(TypeError):
        list(framing.framed(np.array(["a"])))
    assert json.loads(b"".join(map(bytes, framing.framed(malformed("x").message)))[12:]) == "x"


def test_a_machine_that_starts_no_process_is_told(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(*args: object, **kwargs: object) -> None:
        raise OSError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(guard.subprocess, "Popen", denied)
    error = refused(box)
    assert error.slug == "part-mesh-limits"
    assert "Resource temporarily unavailable" in error.message


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_an_interrupt_ends_the_child(box: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with_reader(monkeypatch, "time.sleep(100)")
    threading.Timer(0.4, lambda: os.kill(os.getpid(), signal.SIGINT)).start()
    with pytest.raises(KeyboardInterrupt):
        read_guarded(box)


@pytest.fixture(autouse=True)
def no_child_is_left() -> Iterator[None]:
    """Each test ends with the children it began with: other tests may have left some of a pool's own."""
    before = children()
    yield
    assert children() <= before


def children() -> set[str]:
    """Return the numbers of the child processes, where the system tells them."""
    found: set[str] = set()
    for file in Path("/proc/self/task").glob("*/children"):
        found |= set(file.read_text().split())
    return found


@pytest.mark.parametrize("kind", ["longer", "as long", "cut"])
def test_a_file_that_changes_while_it_is_read_is_refused(box: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    read, data = guard._from_child, box.read_bytes()
    assert len(read_guarded(box).faces)

    def meddled(file: int, suffix: str, limits: Limits) -> Any:
        answer = read(file, suffix, limits)
        box.write_bytes({"longer": data + b" ", "as long": data, "cut": data[:-9]}[kind])
        os.utime(box, ns=(0, 1))
        return answer

    monkeypatch.setattr(guard, "_from_child", meddled)
    with pytest.raises(PartError, match="changed while it was read") as caught:
        read_guarded(box)
    assert caught.value.slug == "part-mesh-file"
