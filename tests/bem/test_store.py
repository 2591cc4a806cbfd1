"""The folder of operators: to the bit what was assembled, and nothing from a file that is not whole and ours."""

import os
import signal
import subprocess
import sys
import time
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers.electrodes import rows
from helpers.meshes import coaxial

from geom.bem import store
from geom.bem.operators import Operators, assemble

SURFACE = coaxial(6, 0.01, 0.03, 0.4)
PART, ELECTRODES = rows(SURFACE, [0]), rows(SURFACE, [0, 1])
KEY = store.key_of(SURFACE, ELECTRODES, body=PART)
FOREVER = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from bem.test_store import KEY, made
from geom.bem import store
print("ready", flush=True)
while True:
    store.save(Path({folder!r}), KEY, made())
"""


@cache
def made() -> Operators:
    return assemble(SURFACE, ELECTRODES, body=PART, compress_from=1_000)


def same(one: Any, two: Any) -> bool:
    """To the bit, and of the same kinds."""
    if isinstance(one, np.ndarray):
        return one.dtype == two.dtype and one.shape == two.shape and one.tobytes() == two.tobytes()
    if is_dataclass(one) and not isinstance(one, type):
        return type(one) is type(two) and all(same(getattr(one, f.name), getattr(two, f.name)) for f in fields(one))
    if isinstance(one, tuple):
        return len(one) == len(two) and all(map(same, one, two))
    return bool(one == two)


def file_of(folder: Path) -> Path:
    return folder / f"{KEY}{store.SUFFIX}"


def refuse() -> Operators:
    raise AssertionError("what is stored must not be made again")


def test_what_is_read_is_what_was_assembled_to_the_bit(tmp_path: Path) -> None:
    assert any(pair.thin.rank.size for row in made().pairs for pair in row)  # compressed blocks are in it
    assert store.kept(tmp_path, KEY, made) is made()
    again = store.kept(tmp_path, KEY, refuse)
    assert same(again, made())
    both = np.ones((len(SURFACE.faces), 2)), np.ones((len(ELECTRODES), 2))
    assert np.array_equal(again.product(*both), made().product(*both))
    assert [path.name for path in tmp_path.iterdir()] == [file_of(tmp_path).name]


def test_operators_read_serve_as_kept_ones_for_a_moved_part(tmp_path: Path) -> None:
    store.save(tmp_path, KEY, made())
    found = store.load(tmp_path, KEY)
    assert found is not None
    again = assemble(SURFACE, ELECTRODES, body=PART, compress_from=1_000, kept=found)
    assert again.pairs[0][0] is found.pairs[0][0]


def test_whatever_the_operators_are_made_from_is_in_the_key() -> None:
    moved = SURFACE.moved(np.eye(3), np.array([1e-12, 0.0, 0.0]))
    others = [
        store.key_of(moved, ELECTRODES, body=PART),
        store.key_of(SURFACE, ELECTRODES[:-1], body=PART),
        store.key_of(SURFACE, ELECTRODES, body=None),
        store.key_of(SURFACE, ELECTRODES, body=PART[:-1]),
        store.key_of(SURFACE, ELECTRODES, body=PART, dtype=np.float64),
        store.key_of(SURFACE, ELECTRODES, body=PART, enclosed=False),
        store.key_of(SURFACE, ELECTRODES, body=PART, compress_from=7),
    ]
    assert len({KEY, *others}) == 8
    assert store.key_of(coaxial(6, 0.01, 0.03, 0.4), ELECTRODES.copy(), body=PART) == KEY


@pytest.mark.parametrize("share", [0.0, 1e-5, 0.001, 0.3, 0.9, 0.999999])
def test_a_file_cut_short_is_passed_over_and_written_anew(tmp_path: Path, share: float) -> None:
    store.save(tmp_path, KEY, made())
    whole = file_of(tmp_path).read_bytes()
    file_of(tmp_path).write_bytes(whole[: int(share * len(whole))])
    assert store.load(tmp_path, KEY) is None
    assert store.kept(tmp_path, KEY, made) is made()
    assert file_of(tmp_path).read_bytes() == whole


@pytest.mark.parametrize("place", [3, 16, 40, 80, 200, 5000, -1, -100_000])
def test_one_flipped_bit_is_seen(tmp_path: Path, place: int) -> None:
    store.save(tmp_path, KEY, made())
    raw = bytearray(file_of(tmp_path).read_bytes())
    raw[place] ^= 4
    file_of(tmp_path).write_bytes(bytes(raw))
    assert store.load(tmp_path, KEY) is None


def test_a_longer_file_a_foreign_one_and_one_under_another_name_are_passed_over(tmp_path: Path) -> None:
    store.save(tmp_path, KEY, made())
    whole = file_of(tmp_path).read_bytes()
    other = tmp_path / f"{'0' * 64}{store.SUFFIX}"
    other.write_bytes(whole)
    assert store.load(tmp_path, "0" * 64) is None
    for odd in (whole + b"\n", b"", b"\n" * 500, b"geom operators 1 x y\n", bytes(range(256)) * 4):
        file_of(tmp_path).write_bytes(odd)
        assert store.load(tmp_path, KEY) is None
    file_of(tmp_path).unlink()
    file_of(tmp_path).mkdir()
    assert store.load(tmp_path, KEY) is None


def test_another_version_is_another_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store.save(tmp_path, KEY, made())
    monkeypatch.setattr(store, "FORMAT", store.FORMAT + 1)
    assert store.load(tmp_path, KEY) is None
    monkeypatch.setattr(store, "SETTINGS", (*store.SETTINGS[:1], "0.0.1", *store.SETTINGS[2:]))
    assert store.key_of(SURFACE, ELECTRODES, body=PART) != KEY


def test_a_folder_that_cannot_be_written_costs_nothing_but_the_saving(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    assert store.kept(tmp_path / "file", KEY, made) is made()


def test_the_longest_unused_goes_when_the_folder_is_full(tmp_path: Path) -> None:
    keys = [f"{k:064d}" for k in range(3)]
    for age, key in enumerate(keys):
        store.save(tmp_path, key, made())
        os.utime(tmp_path / f"{key}{store.SUFFIX}", (1e9 + age, 1e9 + age))
    assert store.load(tmp_path, keys[0]) is not None  # used: now it is the newest
    remnant = tmp_path / "of-a-dead-process.part"
    remnant.write_bytes(b"x")
    os.utime(remnant, (1e9, 1e9))
    stranger = tmp_path / "notes.txt"
    stranger.write_text("not ours to remove")
    size = (tmp_path / f"{keys[0]}{store.SUFFIX}").stat().st_size
    store.trim(tmp_path, int(2.5 * size))
    left = {path.name.split(".")[0] for path in tmp_path.iterdir()}
    assert left == {keys[0], keys[2], "notes"}
    store.trim(tmp_path, 1)
    assert {path.name.split(".")[0] for path in tmp_path.iterdir()} == {keys[0], "notes"}


def writer(folder: Path) -> subprocess.Popen[str]:
    tests = str(Path(__file__).parents[1])
    code = FOREVER.format(tests=tests, folder=str(folder))
    paths = os.pathsep.join([str(Path(tests).parent), tests])
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": paths}
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def test_two_writers_at_once_and_both_killed_leave_a_sound_file(tmp_path: Path) -> None:
    """Read all the while: what is there is whole at every moment, and after the kill."""
    writers = [writer(tmp_path) for _ in range(2)]
    try:
        end = time.monotonic() + 60.0
        while not file_of(tmp_path).exists() and time.monotonic() < end:
            time.sleep(0.01)
        for _ in range(30):
            assert same(store.load(tmp_path, KEY), made())
    finally:
        for process in writers:
            process.send_signal(signal.SIGKILL)
            process.wait()
            assert process.stdout is not None
            process.stdout.close()
    assert same(store.load(tmp_path, KEY), made())
    assert store.kept(tmp_path, KEY, refuse)
