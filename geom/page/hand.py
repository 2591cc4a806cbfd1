"""The other end of a `geom.page.worker.Worker`: the process that does the tasks, and ends when nobody is left to want them."""

import contextlib
import importlib
import os
import signal
import threading
import traceback
from collections.abc import Mapping, Sequence
from multiprocessing import connection, parent_process
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from geom.errors import GeomError
from geom.page.told import sendable, told

PROGRESS, RESULT, ERROR, MEMORY, DEFECT = "progress", "result", "error", "memory", "defect"
"""Kinds of messages back; only the first may come more than once, and none comes after another kind."""

THREADS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def work(pipe: Connection, desk: str, given: Mapping[str, Any], memory: int | None, threads: int | None) -> None:
    """Do what comes through the pipe, one task after the other, until its other end is closed."""
    _set_up(memory, threads)
    module, name = desk.split(":")
    tasks = getattr(importlib.import_module(module), name)(**given)
    with contextlib.suppress(EOFError, OSError):
        while True:
            task, arguments = pipe.recv()
            pipe.send(_answered(pipe, tasks, task, arguments))


def _answered(pipe: Connection, tasks: Any, task: str, arguments: Sequence[Any]) -> tuple[str, Any]:
    """Do one task; return the message that says what came of it."""

    def say(stage: str, share: float) -> None:
        pipe.send((PROGRESS, (stage, float(share))))

    try:
        return RESULT, sendable(getattr(tasks, task)(*arguments, say=say))
    except GeomError as error:
        return ERROR, told(error)
    except MemoryError:
        return MEMORY, None
    except Exception as error:
        return DEFECT, (type(error).__name__, traceback.format_exc())


def _set_up(memory: int | None, threads: int | None) -> None:
    """Bound this process before the numerics load; Ctrl-C is its parent's to handle, whose end is its own."""
    if threads is not None:
        os.environ.update(dict.fromkeys(THREADS, str(threads)))
    with contextlib.suppress(OSError, AttributeError):
        os.setpgrp()  # what it starts can be ended with it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with contextlib.suppress(ImportError, OSError, ValueError, AttributeError):
        import resource

        most = memory or os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        resource.setrlimit(resource.RLIMIT_DATA, (most, most))  # unlike RLIMIT_AS, without what is only reserved


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is None:
        return
    connection.wait([parent.sentinel])
    with contextlib.suppress(OSError, AttributeError):
        if os.getpgrp() == os.getpid():
            os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(1)


def killed_with_all(process: BaseProcess) -> None:
    """Kill a process that runs, and what it started."""
    with contextlib.suppress(
        OSError, AttributeError, TypeError
    ):  # it may not have begun yet, or the system has no groups
        os.killpg(process.pid or 0, signal.SIGKILL)
    process.kill()
