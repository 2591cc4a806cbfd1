"""Crews: processes of this machine, or the workers of a cluster that is there already."""

import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any

from geom.batch.sweep import Crew
from geom.errors import JobError

THREADS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
AHEAD = 2  # jobs handed out for each worker: one in hand, one that waits for it
CONNECT = 10.0  # time that a scheduler has to answer [s]


def local_crew(workers: int | None = None) -> Crew:
    """Return a crew of processes on this machine; as many as it has cores, if no number is given."""
    count = workers or cores()
    return Crew(local_pool, count, AHEAD * count)


def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def local_pool(workers: int) -> Iterator[Executor]:
    """Give an executor of processes that share the cores among them, and end when this process ends, however it does."""
    from multiprocessing import get_context

    share = max(1, cores() // workers)
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=begin_worker, initargs=(share,))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def begin_worker(threads: int) -> None:
    """Set up a fresh process: its threads, before the libraries that read them load; Ctrl-C is its parent's to handle."""
    for name in THREADS:
        os.environ[name] = str(threads)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    from multiprocessing import connection, parent_process

    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def cluster_crew(address: str) -> Crew:
    """Return the workers of a dask scheduler at an address such as "tcp://10.0.0.5:8786".

    The scheduler gives the job of a lost worker to another one, and gives up on a job that killed several.

    Raises
    ------
    JobError
        where the library is not installed, or no scheduler answers.
    """
    try:
        from distributed import Client
        from distributed.scheduler import KilledWorker
    except ImportError:
        hint = "install it: pip install 'geom[cluster]'"
        raise JobError("cluster-missing", "dask.distributed is not installed", where="--cluster", hint=hint) from None
    client: Any = None
    try:
        client = Client(address, timeout=CONNECT, set_as_default=False)  # type: ignore[no-untyped-call]
        threads = client.nthreads()
    except (OSError, TimeoutError, ValueError) as error:
        if client is not None:
            client.close()
        hint = "start one with dask scheduler, and workers with dask worker; give the address that it prints"
        text = f"no scheduler answers: {error}"
        raise JobError("cluster-unreachable", text, where=f"--cluster {address}", hint=hint) from None
    hint = f"on each machine: dask worker {address} --nthreads 1 --nworkers -1"
    if not threads:
        client.close()
        raise JobError("cluster-no-workers", "the scheduler has no workers", where=f"--cluster {address}", hint=hint)
    if max(threads.values()) > 1:  # the solver's kernels run one at a time in a process
        client.close()
        text = "a worker of the cluster does several jobs at a time in one process; it must do one"
        raise JobError("cluster-threads", text, where=f"--cluster {address}", hint=hint)

    @contextmanager
    def begin(workers: int) -> Iterator[Executor]:
        yield client.get_executor(pure=False)

    return Crew(begin, len(threads), AHEAD * len(threads), (KilledWorker,))
