"""Stand-ins for planning a job, known by name to other processes: quick, deadly, slow."""

import os
import signal
import time
from pathlib import Path

from geom.batch.tickets import Ticket
from geom.batch.work import COLUMNS, PLANNED, Outcome, Request


def doubled(number: int) -> int:
    return 2 * number


def deadly(number: int) -> int:
    """Twice the number; 13 kills its process, as running out of memory does."""
    if number == 13:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.01)
    return 2 * number


def deadly_once(place: str) -> str:
    """What is in a file's name; the first time, the process dies of it."""
    mark = Path(place)
    if "deadly" in mark.name and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.01)
    return mark.name


def quick_outcome(ticket: Ticket, request: Request, parcel: object = None) -> Outcome:
    """A row made of the ticket alone, after a few milliseconds."""
    time.sleep(0.004)
    row = dict.fromkeys(COLUMNS) | {"job": ticket.name, "outcome": PLANNED, "title": ticket.digest, "seconds": 0.0}
    row |= dict.fromkeys(("current_A", "voltage_V", "time_min", "thinnest_um", "thickest_um"), 1.0)
    return Outcome(row, {"plan.json": ticket.digest.encode(), "plan.txt": b"text"})
