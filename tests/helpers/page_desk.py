"""A desk for a real worker process that solves nothing: it does what the title of a job says, be it crash or hang."""

import os
import signal
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from geom.errors import GeomError
from geom.page.work import FORGOTTEN

Say = Callable[[str, float], None]


class Desk:
    """Crashes, hangs or answers."""

    def __init__(self) -> None:
        self.kept: set[str] = set()

    def plan(self, name: str, text: str, folder: Path, say: Say) -> Mapping[str, Any]:
        say("solving", 0.5)
        if '"crash"' in text:
            os.kill(os.getpid(), signal.SIGKILL)
        if '"hang"' in text:
            time.sleep(600)
        if '"defect"' in text:
            raise ZeroDivisionError("secret")
        self.kept.add(name)
        return {"title": "a plan", "numbers": {}, "process": os.getpid()}

    def what_if(self, name: str, text: str, folder: Path, say: Say) -> Mapping[str, Any]:
        if name not in self.kept:
            raise GeomError(FORGOTTEN, "this plan is not kept")
        return {"title": "what if", "numbers": {}, "process": os.getpid()}

    def poses(self, name: str, texts: Sequence[str], folder: Path, say: Say) -> list[Mapping[str, Any]]:
        return [self.what_if(name, text, folder, say) for text in texts]

    def look(self, text: str, folder: Path, say: Say) -> Mapping[str, Any]:
        return {"scene": {}, "area_mm2": 1.0, "features": [], "notes": []}

    def files(self, name: str, say: Say) -> Mapping[str, bytes]:
        return {"plan.json": b"{}"}
