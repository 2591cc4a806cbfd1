"""`Work`: what the page has done elsewhere, so that a crash or an endless solve never takes the page with it."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Protocol

Say = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""

FORGOTTEN = "work-forgotten"
"""Slug of the error where a plan is not kept any more: its process ended, or others took its place."""


class Work(Protocol):
    """Runs one task at a time in a process of its own; every failure comes back as a `GeomError`."""

    def plan(self, name: str, text: str, folder: Path, say: Say) -> Mapping[str, Any]:
        """Return the view of a new plan, and keep its geometry under ``name``."""
        ...

    def what_if(self, name: str, text: str, folder: Path) -> Mapping[str, Any]:
        """Return the view of a kept plan under other answers that leave its geometry as it is."""
        ...

    def poses(self, name: str, texts: Sequence[str], folder: Path) -> Sequence[Mapping[str, Any] | Exception]:
        """Return a view, or what went wrong, for each text: the plan hung in other ways."""
        ...

    def look(self, text: str, folder: Path) -> Mapping[str, Any]:
        """Return the part in its tank, without a solve."""
        ...

    def files(self, name: str) -> Mapping[str, bytes]:
        """Return the result files of a kept plan by name."""
        ...

    def cancel(self) -> None:
        """End what runs now; whoever waits for it gets an error."""
        ...

    def close(self) -> None:
        """End the process."""
        ...
