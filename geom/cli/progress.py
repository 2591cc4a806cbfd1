"""Progress on stderr while a plan is made, for people; a pipe or a log sees nothing of it."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Say = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""


@contextmanager
def progress_shown(quiet: bool) -> Iterator[Say]:
    """Give what shows progress: one line that is gone at the end, or nothing where stderr is no terminal."""
    if quiet or not sys.stderr.isatty():
        yield lambda stage, share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (BarColumn(20), TimeElapsedColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as line:
        task = line.add_task("", total=1.0)

        def say(stage: str, share: float) -> None:
            line.update(task, description=stage, completed=share)

        yield say
