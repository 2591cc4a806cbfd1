"""Tasks that a worker can be asked for in tests: quick, slow, wrong, deadly."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from geom.errors import CellError, GeomError, JobError, SolveError

Say = Callable[[str, float], None]

HALVES = (CellError("part-touches", "first"), JobError("job-unit", "second", where="line 3", hint="mm"))


class DummyDesk:
    """Stands in for `geom.page.desk.Desk`; importing it takes no time."""

    def __init__(self, greeting: str = "hello") -> None:
        self.greeting, self.done = greeting, 0

    def echo(self, value: Any, say: Say) -> Any:
        self.done += 1
        return value

    def greet(self, say: Say) -> tuple[str, int, int]:
        return self.greeting, self.done, os.getpid()

    def steps(self, count: int, say: Say) -> int:
        for step in range(count):
            say(f"step {step}", step / count)
        return count

    def sleep(self, seconds: float, say: Say) -> float:
        say("asleep", 0.0)
        time.sleep(seconds)
        return seconds

    def spin(self, say: Say) -> None:
        say("spinning", 0.0)
        while True:
            pass

    def with_child(self, say: Say) -> None:
        """Start a process, tell its number, and sleep."""
        child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
        say(str(child.pid), 0.0)
        time.sleep(60)

    def refuse(self, say: Say) -> None:
        raise JobError("job-mistakes", "two mistakes", where="job", mistakes=HALVES)

    def unsolved(self, say: Say) -> None:
        raise SolveError("solve-not-converged", "no", hint="mend it", residuals=(0.5, 0.25))

    def mixed(self, say: Say) -> list[Any]:
        return [{"view": 1}, HALVES[1], {"view": 2}]

    def own_error(self, say: Say) -> None:
        class OddError(GeomError):
            exit_code = 7

        raise OddError("odd-slug", "odd")

    def defect(self, say: Say) -> None:
        raise ZeroDivisionError("secret")

    def gorge(self, size: int, say: Say) -> int:
        return int(np.ones(size, dtype=np.uint8).sum())

    def leave(self, code: int, say: Say) -> None:
        os._exit(code)

    def die(self, say: Say) -> None:
        os.kill(os.getpid(), signal.SIGKILL)
