"""Sweeps: everything asked is answered once, in a bounded window, whatever becomes of the workers."""

from collections.abc import Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from helpers.batch_work import deadly, deadly_once, doubled

from geom.batch.crews import local_crew
from geom.batch.sweep import Crew, Work, swept


def plain(do: object, lost: object = lambda one: -1) -> Work:
    return Work(do, lost, lambda one: one)


class Counting(ThreadPoolExecutor):
    """Counts what is under way at most."""

    def __init__(self) -> None:
        super().__init__(2)
        self.under_way = self.most = 0

    def submit(self, *words: object, **more: object) -> Future:
        self.under_way += 1
        self.most = max(self.most, self.under_way)
        future = super().submit(*words, **more)
        future.add_done_callback(self._less)
        return future

    def _less(self, _: Future) -> None:
        self.under_way -= 1


@pytest.mark.parametrize("window", [1, 3, 50])
def test_each_thing_asked_is_answered_once_and_the_window_is_kept(window: int) -> None:
    pool = Counting()

    @contextmanager
    def begin(workers: int) -> Iterator[Executor]:
        yield pool

    found = list(swept(plain(doubled), range(40), Crew(begin, 2, window)))
    assert sorted(found) == [(n, 2 * n) for n in range(40)]
    assert pool.most <= window
    pool.shutdown()


def test_nothing_asked_is_nothing_done() -> None:
    assert list(swept(plain(doubled), [], local_crew(1))) == []


def test_what_kills_its_worker_is_found_and_the_others_are_done() -> None:
    found = dict(swept(plain(deadly), range(20), local_crew(2)))
    assert found == {n: -1 if n == 13 else 2 * n for n in range(20)}


def test_what_was_beside_a_worker_that_died_is_done_again(tmp_path: Path) -> None:
    """Killed from outside once, as by a system short of memory, a job is no culprit."""
    asked = [str(tmp_path / f"{'deadly' if n == 3 else 'mild'}-{n}") for n in range(8)]
    found = list(swept(plain(deadly_once, lambda one: "lost"), asked, local_crew(2)))
    assert sorted(found) == sorted((place, Path(place).name) for place in asked)
