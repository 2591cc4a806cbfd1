"""Work measured in a process of its own: processor seconds of all its threads, wall seconds, peak memory.

``pytest -m benchmark -s`` prints the rows; with ``--write-speed`` they replace the tables of docs/speed.md.
"""

import importlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
DOCUMENT = ROOT / "docs" / "speed.md"
OPENING, CLOSING = "<!-- table: {} -->", "<!-- end of table -->"
HEADING = ("Work", "Size", "Worst figure off by", "CPU, s", "Wall, s", "Peak, MB", "Ratio", "Asked", "Load")
THREADS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class Used:
    """What the best of several runs took. ``told`` is what the work itself returned."""

    cpu: float  # [s] of all threads
    wall: float  # [s]
    peak_mb: float  # [MB] of the whole process, imports included
    load: float  # the machine's load average over a minute, when it ended
    told: Mapping[str, Any] = field(default_factory=dict)


def timed(work: Callable[[], Any], runs: int, *, warm: bool = True) -> tuple[float, float, Any]:
    """Return the least processor and wall time of several runs, the first (compiling) one apart, and the last result."""
    result = work() if warm else None
    cpu, wall = [], []
    for _ in range(runs):
        start, began = time.process_time(), time.perf_counter()
        result = work()
        cpu.append(time.process_time() - start)
        wall.append(time.perf_counter() - began)
    return min(cpu), min(wall), result


def apart(work: str, *, threads: int = 1, **given: Any) -> Used:
    """Run ``module:function`` in a new process on so many threads; it returns a dict with ``cpu`` and ``wall``."""
    environment = dict(os.environ) | dict.fromkeys(THREADS, str(threads))
    environment["PYTHONPATH"] = os.pathsep.join([str(ROOT), str(ROOT / "tests"), os.environ.get("PYTHONPATH", "")])
    command = [sys.executable, "-W", "ignore", "-m", "helpers.timing", work, json.dumps(given)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False, cwd=ROOT)
    if done.returncode:
        raise AssertionError(f"{work} failed:\n{done.stdout[-2000:]}\n{done.stderr[-4000:]}")
    told = json.loads(done.stdout.splitlines()[-1])
    return Used(told.pop("cpu"), told.pop("wall"), told.pop("peak"), os.getloadavg()[0], told)


def _alone(work: str, given: str) -> None:
    """Do the work of `apart` in the new process."""
    import resource

    module, name = work.split(":")
    told = getattr(importlib.import_module(module), name)(**json.loads(given))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"peak": peak, **told}))


_tables: dict[str, list[tuple[str, ...]]] = {}


def row(
    table: str,
    work: str,
    size: str,
    used: Used,
    *,
    error: float | None = None,
    ratio: float | None = None,
    asked: str = "",
) -> None:
    """Print a row and keep it for docs/speed.md."""
    cells = (
        work,
        size,
        "" if error is None else f"{100 * error:.1f} %",
        f"{used.cpu:.2f}",
        f"{used.wall:.2f}",
        f"{used.peak_mb:,.0f}" if used.peak_mb else "",
        "" if ratio is None else f"{ratio:.2g}" if ratio < 9.95 else f"{ratio:.0f}",
        asked,
        f"{used.load:.1f}",
    )
    _tables.setdefault(table, []).append(cells)
    print("\n" + " | ".join(cells), flush=True)


def write() -> None:
    """Put the kept rows in place of the tables they belong to."""
    text = DOCUMENT.read_text(encoding="utf-8")
    for table, rows in _tables.items():
        before, _, rest = text.partition(OPENING.format(table))
        after = rest.partition(CLOSING)[2]
        lines = ["| " + " | ".join(cells) + " |" for cells in (HEADING, *rows)]
        lines.insert(1, "|" + "---|" * len(HEADING))
        text = before + OPENING.format(table) + "\n\n" + "\n".join(lines) + "\n\n" + CLOSING + after
    DOCUMENT.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    _alone(*sys.argv[1:])
