"""A batch on a real scheduler with two worker processes, one of them killed half way: the same rows, to the bit."""

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from batch.test_run import JOB, ONE, silent

from geom.batch.crews import cluster_crew
from geom.batch.run import run_batch
from geom.batch.tickets import tickets_of
from geom.batch.work import Request
from geom.errors import JobError

pytest.importorskip("distributed")
pytestmark = pytest.mark.filterwarnings("ignore")  # of dask's own making

TIMEOUT = 60.0


def _started(*words: str, threads: str = "1") -> subprocess.Popen:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "NUMBA_NUM_THREADS": threads}
    environment |= {"DASK_DISTRIBUTED__ADMIN__LOW_LEVEL_LOG_LENGTH": "0"}
    return subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:]],
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[str]:
    """The address of a scheduler on this machine, without workers."""
    place = tmp_path / "scheduler.json"
    process = _started(
        "scheduler",
        "--port",
        "0",
        "--host",
        "127.0.0.1",
        "--no-dashboard",
        "--no-jupyter",
        "--scheduler-file",
        str(place),
    )
    try:
        address = ""
        begun = time.monotonic()
        while not address and time.monotonic() < begun + TIMEOUT:
            time.sleep(0.05)
            with contextlib.suppress(OSError, ValueError, KeyError):
                address = json.loads(place.read_text())["address"]
        assert address, "the scheduler did not come up"
        yield address
    finally:
        process.kill()
        process.wait()


@contextlib.contextmanager
def workers(address: str, tmp_path: Path, count: int, nthreads: int = 1) -> Iterator[list[subprocess.Popen]]:
    words = ("--nthreads", str(nthreads), "--no-dashboard", "--no-nanny", "--local-directory", str(tmp_path))
    processes = [_started("worker", address, *words) for _ in range(count)]
    try:
        from distributed import Client

        with Client(address, set_as_default=False, timeout=TIMEOUT) as client:
            client.wait_for_workers(count, timeout=TIMEOUT)
        yield processes
    finally:
        for process in processes:
            process.kill()
            process.wait()


def test_a_worker_killed_half_way_costs_no_result_and_changes_none(scheduler: str, tmp_path: Path) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    for width in range(12, 20):
        (folder / f"{width}.toml").write_text(JOB.format(width=width))
    tickets = tickets_of(folder, "")
    alone = run_batch(tickets, tmp_path / "alone", Request(), ONE, silent)
    with workers(scheduler, tmp_path, 2) as processes:
        seen: list[float] = []

        def say(stage: str, share: float) -> None:
            seen.append(share)
            if len(seen) == 4:
                os.kill(processes[0].pid, signal.SIGKILL)

        spread = run_batch(tickets, tmp_path / "spread", Request(), cluster_crew(scheduler), say, ship=True)
        assert processes[0].poll() == -signal.SIGKILL
    assert seen[-1] == 1.0
    assert [{**row, "seconds": 0} for row in spread.rows] == [{**row, "seconds": 0} for row in alone.rows]
    assert {row["outcome"] for row in alone.rows} == {"planned"}
    for width in range(12, 20):
        one, two = (tmp_path / where / "plans" / f"{width}-plan" / "plan.json" for where in ("alone", "spread"))
        assert one.read_bytes() == two.read_bytes()


def test_no_scheduler_no_workers_and_workers_of_several_threads_are_refused(scheduler: str, tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        cluster_crew("tcp://127.0.0.1:9")
    assert caught.value.slug == "cluster-unreachable"
    with pytest.raises(JobError) as caught:
        cluster_crew(scheduler)
    assert caught.value.slug == "cluster-no-workers"
    with workers(scheduler, tmp_path, 1, nthreads=2), pytest.raises(JobError) as caught:
        cluster_crew(scheduler)
    assert caught.value.slug == "cluster-threads"
