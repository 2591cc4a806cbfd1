"""`Worker`: one task at a time in a process of its own, so that a crash or an endless solve never takes the page with it.

One pipe; what comes back is how far a task is, its result, or its error. A task is ended by killing the process, and another one
is begun at once. The process ends itself when this one does, however that comes about.
"""

import contextlib
import signal
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from multiprocessing import connection, get_context
from pathlib import Path
from pickle import UnpicklingError
from typing import Any

from geom.errors import GeomError, PageError
from geom.page.hand import DEFECT, ERROR, MEMORY, PROGRESS, RESULT, killed_with_all, work
from geom.page.told import rebuilt, received

Say = Callable[[str, float], None]
"""Called with the name of the stage and the share of the work done, 0 to 1."""

PLANNER = "geom.page.desk:Desk"
"""What does the tasks in the process: a class whose methods they are."""

MOST_SECONDS = 900.0  # for one task
GRACE = 5.0  # that a killed process has to be gone [s]


class Worker:
    """Does one task at a time; others wait. Every failure comes back as a `GeomError`.

    Parameters
    ----------
    seconds : that one task may take
    memory : bytes that the process may take; None: all that the machine has
    threads : of its numerics; None: as many as there are cores
    desk : "module:class" of what does the tasks, made with ``given``
    """

    def __init__(
        self,
        *,
        seconds: float = MOST_SECONDS,
        memory: int | None = None,
        threads: int | None = None,
        desk: str = PLANNER,
        given: Mapping[str, Any] | None = None,
    ) -> None:
        self.seconds = seconds
        self._order = (desk, dict(given or {}), memory, threads)
        self._turn = threading.Lock()  # held while a task is done
        self._state = threading.RLock()  # of what follows; never held while a task is waited for
        self._is_busy = self._is_cancelled = self._is_closed = False
        self._process = _Process(self._order)

    def plan(self, name: str, text: str, folder: Path, say: Say) -> Mapping[str, Any]:
        """Return the view of a new plan, and keep its geometry under ``name``."""
        return self.call("plan", name, text, folder, say=say)  # type: ignore[no-any-return]

    def what_if(self, name: str, text: str, folder: Path) -> Mapping[str, Any]:
        """Return the view of a kept plan under other answers that leave its geometry as it is."""
        return self.call("what_if", name, text, folder)  # type: ignore[no-any-return]

    def poses(self, name: str, texts: Sequence[str], folder: Path) -> Sequence[Mapping[str, Any] | Exception]:
        """Return a view, or what went wrong, for each text: the plan hung in other ways."""
        return self.call("poses", name, list(texts), folder)  # type: ignore[no-any-return]

    def look(self, text: str, folder: Path) -> Mapping[str, Any]:
        """Return the part in its tank, without a solve."""
        return self.call("look", text, folder)  # type: ignore[no-any-return]

    def files(self, name: str) -> Mapping[str, bytes]:
        """Return the result files of a kept plan by name."""
        return self.call("files", name)  # type: ignore[no-any-return]

    def call(self, task: str, *arguments: Any, say: Say | None = None) -> Any:
        """Have the process do a task, and return what it returns; ``say`` is called in this thread, and may cancel.

        Raises
        ------
        GeomError
            what the task raised; or ``work-cancelled``, ``work-died``, ``work-memory``, ``work-time``, ``work-defect``.
        """
        with self._turn:
            with self._state:
                if self._is_closed:
                    raise _cancelled()
                if not self._process.is_alive:
                    self._renew()
                self._is_busy, self._is_cancelled = True, False
            try:
                return self._answer(task, arguments, say or (lambda stage, share: None))
            finally:
                with self._state:
                    if self._is_busy:  # whatever it does now, nobody waits for it
                        self._is_busy = False
                        self._renew()

    def cancel(self) -> None:
        """End what runs now: it raises ``work-cancelled`` where it was asked for. Where nothing runs nothing happens."""
        with self._state:
            if self._is_busy:
                self._is_cancelled = True
                self._process.kill()

    def close(self) -> None:
        """End the process, and what runs in it."""
        with self._state:
            self._is_closed = True
            self._process.kill()
            if not self._is_busy:
                self._process.bury()

    def __enter__(self) -> "Worker":
        return self

    def __exit__(self, *ignored: object) -> None:
        self.close()

    @property
    def pid(self) -> int | None:
        """Of the process that is there now; None where it was closed."""
        return self._process.pid

    def _renew(self) -> None:
        """Put a new process in the place of the old one, unless all is over."""
        self._process.kill()
        self._process.bury()
        if not self._is_closed:
            self._process = _Process(self._order)

    def _answer(self, task: str, arguments: Sequence[Any], say: Say) -> Any:
        """Return the result of a task; as long as it is not known, the process counts as busy."""
        process, end = self._process, time.monotonic() + self.seconds
        kind: str = PROGRESS
        content: Any = None
        try:
            process.pipe.send((task, arguments))
            while kind == PROGRESS:
                if content is not None:
                    say(*content)
                if not connection.wait([process.pipe, process.sentinel], max(0.0, end - time.monotonic())):
                    raise _too_long(self.seconds)
                if not process.pipe.poll():  # it is dead, and has said all
                    raise EOFError
                kind, content = process.pipe.recv()
        except (EOFError, OSError, UnpicklingError):
            raise self._lost(process) from None
        if kind == MEMORY:  # what is left of it has little to go on with
            raise _no_memory()
        with self._state:
            if self._is_cancelled or self._is_closed:  # it is dead or about to be, though it was done in time
                raise _cancelled()
            self._is_busy = False
        if kind == ERROR:
            raise rebuilt(content)
        if kind == DEFECT:
            raise _defect(*content)
        assert kind == RESULT
        return received(content)

    def _lost(self, process: "_Process") -> GeomError:
        """Return what to say of a process that is gone."""
        with self._state:
            return _cancelled() if self._is_cancelled or self._is_closed else _died(process.exit_code())


class _Process:
    """A process and the pipe to it."""

    def __init__(self, order: Sequence[Any]) -> None:
        context = get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self._process = context.Process(target=work, args=(theirs, *order), name="geom-worker", daemon=True)
        self._process.start()
        theirs.close()  # else its end would never be seen
        self.pid, self.sentinel = self._process.pid, self._process.sentinel

    @property
    def is_alive(self) -> bool:
        return self._process.is_alive()

    def kill(self) -> None:
        with contextlib.suppress(ValueError):  # it is buried already
            if self._process.is_alive():
                killed_with_all(self._process)

    def exit_code(self) -> int | None:
        self._process.join(GRACE)
        return self._process.exitcode

    def bury(self) -> None:
        """Wait until it is gone, so that it stays no zombie, and close what is open of it."""
        with contextlib.suppress(ValueError):
            self._process.join(GRACE)
            self._process.close()
        self.pipe.close()
        self.pid = None


def _cancelled() -> GeomError:
    return PageError("work-cancelled", "this was called off before it was done", status=409)


def _died(code: int | None) -> GeomError:
    how, hint = (
        f"with exit code {code}",
        "try again; where it happens again, please report it with what you had entered",
    )
    if code is not None and code < 0:
        try:
            how = f"by signal {signal.Signals(-code).name}"
        except ValueError:
            how = f"by signal {-code}"
    if code == -getattr(signal, "SIGKILL", 9):
        hint = (
            "most likely the machine was out of memory: close other programs, or ask for less accuracy, then try again"
        )
    return PageError("work-died", f"the process that worked it out ended {how}", hint=hint, status=500)


def _no_memory() -> GeomError:
    hint = "ask for less accuracy, or for a simpler part; close other programs"
    return PageError("work-memory", "there is not enough memory for this", hint=hint, status=500)


def _too_long(seconds: float) -> GeomError:
    hint = "ask for less accuracy, or for a simpler part"
    return PageError("work-time", f"this took more than {seconds:.0f} s and was given up", hint=hint, status=500)


def _defect(kind: str, trace: str) -> GeomError:
    """Return what to say of a fault of the program; where it happened is a note, for whoever prints it."""
    hint = "please report it with what you had entered"
    error = PageError("work-defect", f"this is a defect in geom, not in your input: {kind}", hint=hint, status=500)
    error.add_note(trace)
    return error
