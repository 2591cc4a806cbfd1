"""The process that reads one file under limits: bytes in on stdin, one frame out on stdout.

Started by `geom.formats.guard` only. A reader that crashes, hangs or eats memory ends this process, not the
program.
"""

import contextlib
import json
import math
import os
import signal
import sys

from geom.errors import PartError
from geom.formats.framing import NO_MEMORY, framed
from geom.formats.open import read_bytes
from geom.formats.raw import Limits

OUT_OF_MEMORY = {"limit": "memory"}
MARGIN = 2.0  # the child ends itself so long after its parent should have ended it [s]


def main(order: str) -> None:
    """Read stdin as ``order`` (JSON: suffix, size, memory, seconds, writes) says, and answer."""
    told = json.loads(order)
    limit_process(Limits(told["size"], told["memory"], told["seconds"]), told["writes"])
    answer = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a foreign library prints must not run into the answer
    try:
        for piece in framed(_answer(told["suffix"], told["size"])):
            answer.write(piece)
    except MemoryError:
        os._exit(NO_MEMORY)  # half an answer is none
    answer.flush()
    os._exit(0)  # no tidying: a foreign library may crash in it


def _answer(suffix: str, size: int) -> object:
    try:
        # one byte more than it should have, for a file that grows; a buffer of all that is allowed would take memory
        data = sys.stdin.buffer.read(min(os.fstat(0).st_size, size) + 1)
        if len(data) > size:  # it grew since it was opened
            return {"limit": "size"}
        return {"raw": read_bytes(data, suffix, size)}
    except MemoryError:
        return OUT_OF_MEMORY
    except PartError as error:
        words = {"slug": error.slug, "message": error.message, "where": error.where, "hint": error.hint}
        return {"error": words, "marks": tuple(tuple(float(x) for x in mark) for mark in error.marks)}
    except OSError as error:
        return {"error": {"slug": "part-mesh-file", "message": f"the file cannot be read: {error.strerror}"}}


def limit_process(limits: Limits, writes: int) -> None:
    """Bound this process: memory, processor time, bytes of a file it writes, no core; where the system can."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, limits.seconds + MARGIN)  # should the parent be gone
    try:
        import resource
    except ImportError:
        return
    seconds = math.ceil(limits.seconds)
    wanted = [
        (resource.RLIMIT_CORE, 0, 0),
        (resource.RLIMIT_FSIZE, writes, writes),
        (resource.RLIMIT_CPU, seconds, seconds + 1),
        (resource.RLIMIT_AS, limits.memory, limits.memory),
    ]
    for name, soft, hard in wanted:
        most = resource.getrlimit(name)[1]
        if most != resource.RLIM_INFINITY:
            soft, hard = min(soft, most), min(hard, most)
        with contextlib.suppress(ValueError, OSError):  # a system may know the name and not the limit
            resource.setrlimit(name, (soft, hard))
