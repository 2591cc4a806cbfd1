"""Progress on stderr while a plan is made, for people; a pipe or a log sees nothing of it."""

import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # at run time it is read only where there is a terminal
    from rich.progress import Task
    from rich.text import Text

Say = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""

EVEN = ((0.0, 0.0), (1.0, 1.0))
OF_A_PLAN = ((0.0, 0.0), (0.05, 0.03), (0.25, 0.20), (0.45, 0.32), (0.65, 0.45), (0.8, 0.65), (0.95, 0.80), (1.0, 0.92))
"""Share that a plan says, and share of the time that has gone by then: the samples, timed on two cores in November 2026.
What is left at 1 is the drawing of the results."""

ROOMY = 72  # columns of a terminal; on a narrower one only the stage and the time left are shown
LEAST_SHARE, LEAST_SECONDS = 0.15, 1.0  # of the time, before any time left is told


class TimeLeft:
    """How long it will still take, from the stages that are over: told late rather than wrong.

    ``shares`` are pairs of the share that is said and the share of the time gone by then, rising.
    """

    def __init__(
        self, shares: Sequence[tuple[float, float]] = EVEN, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._shares, self._clock = shares, clock
        self._begun = clock()
        self._end: float | None = None

    def reached(self, share: float) -> None:
        """Note that this share of the work is done now."""
        part, spent = self.part(share), self._clock() - self._begun
        if part >= LEAST_SHARE and spent >= LEAST_SECONDS:
            self._end = self._begun + spent / part

    def seconds(self) -> float | None:
        """Return the seconds left, or None where they are not known, or are over."""
        left = None if self._end is None else self._end - self._clock()
        return left if left is not None and left > 0 else None

    def words(self) -> str:
        """Return the time left for a person: in steps that do not flicker."""
        left = self.seconds()
        if left is None:
            return ""
        if left < 10:
            return f"about {max(round(left), 1)} s left"
        return f"about {5 * round(left / 5)} s left" if left < 90 else f"about {round(left / 60)} min left"

    def part(self, share: float) -> float:
        """Return the share of the time for a share that is said."""
        for (low, first), (high, last) in zip(self._shares, self._shares[1:], strict=False):
            if share <= high:
                return first + (last - first) * max(share - low, 0.0) / (high - low)
        return self._shares[-1][1]


@contextmanager
def progress_shown(quiet: bool, shares: Sequence[tuple[float, float]] = EVEN) -> Iterator[Say]:
    """Give what shows progress: one line that is gone at the end, or nothing where stderr is no terminal."""
    if quiet or not sys.stderr.isatty() or os.environ.get("TERM") in ("dumb", "unknown"):
        yield lambda stage, share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TimeElapsedColumn

    left, console = TimeLeft(shares), Console(stderr=True)
    told = _stage_column(left)
    columns = (BarColumn(20), TimeElapsedColumn(), told) if console.width >= ROOMY else (told,)
    with Progress(*columns, console=console, transient=True) as line:
        task = line.add_task("", total=1.0)

        def say(stage: str, share: float) -> None:
            left.reached(share)
            line.update(task, description=stage, completed=left.part(share))

        yield say


def _stage_column(left: TimeLeft) -> Any:
    """Return the column with the stage and the time left, which goes on counting within a stage."""
    from rich.progress import ProgressColumn
    from rich.table import Column
    from rich.text import Text as Line

    class Stage(ProgressColumn):
        """The stage, and the time left in words."""

        def render(self, task: "Task") -> "Text":
            """Return what stands there now."""
            words = left.words()
            return Line.assemble(task.description, (f", {words}" if words else "", "progress.remaining"))

    return Stage(table_column=Column(no_wrap=True, overflow="ellipsis"))
