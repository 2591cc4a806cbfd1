"""Work on any executor: a bounded number of jobs under way, lost workers made up for, results as they come."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

A = TypeVar("A")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Crew:
    """Where work is done."""

    begin: Callable[[int], AbstractContextManager[Executor]]  # an executor of so many workers; made anew when it broke
    workers: int
    window: int  # jobs handed out at a time: memory is bounded by it
    deadly: tuple[type[Exception], ...] = ()  # what a future raises whose job killed worker after worker


@dataclass(frozen=True, slots=True)
class Work(Generic[A, R]):
    """What is done with each thing asked."""

    do: Callable[[Any], R]  # with what `pack` gave; raises nothing of its own, and known by name to another process
    lost: Callable[[A], R]  # the result of what its worker died of
    pack: Callable[[A], Any]  # what is handed to the worker, made when it is handed out


def swept(work: Work[A, R], asked: Sequence[A], crew: Crew) -> Iterator[tuple[A, R]]:
    """Yield each thing asked with its result, as they are done.

    Where an executor breaks, as one of local processes does when one of them dies, what was under way is done again one
    at a time, so that the one that kills its worker is found and the others are not lost with it.
    """
    left = list(range(len(asked)))
    while left:
        handed: list[int] = []
        done: set[int] = set()
        for index, result in _pass(work, asked, left, crew, handed):
            done.add(index)
            yield asked[index], result
        for index in handed:
            if index not in done:
                yield asked[index], _alone(work, asked[index], crew)
                done.add(index)
        left = [index for index in left if index not in done]


def _alone(work: Work[A, R], one: A, crew: Crew) -> R:
    """Return the result of a job that was under way when a worker died, with no other beside it."""
    deaths: tuple[type[Exception], ...] = (BrokenExecutor, *crew.deadly)
    with crew.begin(1) as pool:
        try:
            return pool.submit(work.do, work.pack(one)).result()
        except deaths:
            return work.lost(one)


def _pass(
    work: Work[A, R], asked: Sequence[A], todo: Sequence[int], crew: Crew, handed: list[int]
) -> Iterator[tuple[int, R]]:
    """Yield index and result until all are done or the executor breaks; ``handed`` grows by what it was given."""
    waiting = iter(todo)
    under_way: dict[Future[R], int] = {}
    is_broken = False
    with crew.begin(crew.workers) as pool:
        try:
            while not is_broken:
                is_broken = not _handed_out(work, asked, waiting, pool, under_way, crew.window, handed)
                if not under_way:
                    return
                for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                    index = under_way.pop(future)
                    try:
                        result = future.result()
                    except BrokenExecutor:
                        is_broken = True
                        continue
                    except crew.deadly:
                        result = work.lost(asked[index])
                    yield index, result
        finally:
            for future in under_way:
                future.cancel()


def _handed_out(
    work: Work[A, R],
    asked: Sequence[A],
    waiting: Iterator[int],
    pool: Executor,
    under_way: dict[Future[R], int],
    window: int,
    handed: list[int],
) -> bool:
    """Give the executor more until the window is full; False where it is broken."""
    while len(under_way) < window:
        index = next(waiting, None)
        if index is None:
            return True
        handed.append(index)
        try:
            under_way[pool.submit(work.do, work.pack(asked[index]))] = index
        except BrokenExecutor:
            return False
    return True
