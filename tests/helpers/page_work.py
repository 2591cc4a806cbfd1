"""A worker for the page that solves nothing, and the page around it: what it answers can be told, delayed and held up."""

import json
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from geom.errors import GeomError, PageError, SolveError
from geom.page.app import page_app
from geom.page.guard import Door
from geom.page.plans import NAMES, Plans
from geom.page.store import Store
from geom.page.work import FORGOTTEN, Work
from helpers.asgi import Answer, Client

PORT = 8424
OWN = f"http://localhost:{PORT}"


class FakeWork:
    """Answers at once, or when `go` is set; `failure` is raised instead of an answer."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.go.set()
        self.begun = threading.Event()
        self.cancelled = threading.Event()
        self.failure: Exception | None = None
        self.kept: set[str] = set()
        self.done: list[tuple[str, str]] = []
        self.at_once = 0
        self.most_at_once = 0

    def _do(self, task: str, what: str) -> None:
        self.at_once += 1
        self.most_at_once = max(self.most_at_once, self.at_once)
        try:
            self.done.append((task, what))
            self.begun.set()
            while not self.go.wait(0.005):
                if self.cancelled.is_set():
                    raise PageError("work-cancelled", "called off")
            if self.failure is not None:
                raise self.failure
        finally:
            self.at_once -= 1

    def plan(self, name: str, text: str, folder: Path, say: Callable[[str, float], None]) -> Mapping[str, Any]:
        say("solving", 0.5)
        self.cancelled.clear()
        self._do("plan", text)
        say("timing", 0.9)
        self.kept.add(name)
        return {"title": f"plan of {len(text)} letters", "numbers": {"current_A": 1.3}, "text": text}

    def what_if(self, name: str, text: str, folder: Path) -> Mapping[str, Any]:
        self._known(name)
        self._do("what-if", text)
        return {"title": "what if", "numbers": {"current_A": 0.7}, "text": text}

    def poses(self, name: str, texts: Sequence[str], folder: Path) -> Sequence[Mapping[str, Any] | Exception]:
        self._known(name)
        self._do("poses", str(len(texts)))
        refused = SolveError("solve-stalled", "it does not converge")
        return [{"text": text} if k != 1 else refused for k, text in enumerate(texts)]

    def look(self, text: str, folder: Path) -> Mapping[str, Any]:
        self._do("look", text)
        return {"scene": {}, "area_mm2": 100.0, "features": [], "notes": []}

    def files(self, name: str) -> Mapping[str, bytes]:
        self._known(name)
        self._do("files", name)
        return {file: f"{file} of a plan".encode() for file in NAMES[1:]}

    def cancel(self) -> None:
        self.cancelled.set()

    def close(self) -> None:
        self.cancelled.set()

    def _known(self, name: str) -> None:
        if name not in self.kept:
            raise GeomError(FORGOTTEN, "this plan is not kept")


class Page:
    """The page with its parts, and a client that sends what the page's own script does."""

    def __init__(self, folder: Path, door: Door | None = None, solver: Work | None = None) -> None:
        self.store = Store(folder)
        self.work, self.looks = FakeWork(), FakeWork()
        self.plans = Plans(self.store, solver or self.work, patience=0.5)
        self.door = door or Door(PORT)
        self.app = page_app(self.plans, self.looks, self.door)
        self.client = Client(self.app)
        self.own = {
            "host": f"localhost:{PORT}",
            "origin": OWN,
            "x-token": self.door.token,
            "sec-fetch-site": "same-origin",
            "content-type": "application/json",
        }

    def get(self, path: str, **more: str | None) -> Answer:
        """Ask as the page's own script does; a header that is None is left out."""
        return self.client.ask("GET", path, pairs({**self.own, **_named(more)}))

    def post(self, path: str, tree: Any = None, **more: str | None) -> Answer:
        """Send JSON as the page's own script does."""
        return self.send(path, json.dumps({} if tree is None else tree).encode(), **more)

    def send(self, path: str, body: bytes | Iterable[bytes], *, cut_off: bool = False, **more: str | None) -> Answer:
        """Send bytes as the page's own script does."""
        return self.client.ask("POST", path, pairs({**self.own, **_named(more)}), body, cut_off=cut_off)

    def plan(self, **more: Any) -> str:
        """Have a plan made; return its id."""
        name = str(self.post("/api/plans", {"answers": bar(**more)}).tree["plan"])
        self.wait(name)
        return name

    def wait(self, name: str, *states: str, seconds: float = 10) -> dict[str, Any]:
        """Wait until a plan is over, or in one of ``states``; return how it is."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            now: dict[str, Any] = self.get(f"/api/plans/{name}").tree
            if now["state"] in (states or ("done", "failed", "cancelled")):
                return now
            time.sleep(0.005)
        raise AssertionError(f"still {now['state']}")

    def close(self) -> None:
        self.work.go.set()
        self.plans.close()
        self.client.close()
        self.store.close()


def _named(headers: Mapping[str, str | None]) -> dict[str, str | None]:
    return {name.replace("_", "-"): value for name, value in headers.items()}


def pairs(headers: Mapping[str, str | None]) -> list[tuple[bytes, bytes]]:
    """Return headers as they are sent, without those that are None."""
    return [(k.encode(), v.encode("latin-1")) for k, v in headers.items() if v is not None]


@contextmanager
def page(folder: Path, door: Door | None = None, solver: Work | None = None) -> Iterator[Page]:
    """Give a page that is closed in the end; ``solver`` in the place of the one that solves nothing."""
    made = Page(folder, door, solver)
    try:
        yield made
    finally:
        made.close()


def bar(**more: Any) -> dict[str, Any]:
    """Return a filled form: a link of a shore-power panel."""
    return {"bar": "90 x 20 x 3 mm", "hole": ["8.4 mm at 33,0"], "bath": "watts-nickel", **more}


CUBE = b"\n".join(
    [
        b"OFF",
        b"8 12 0",
        *(b"%d %d %d" % (30 * (k & 1), 20 * (k >> 1 & 1), 10 * (k >> 2)) for k in range(8)),
        *(
            b"3 %d %d %d" % face
            for face in [
                (0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
                (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5),
            ]
        ),
        b"",
    ]
)  # fmt: skip
"""A block of 30 x 20 x 10 units as an OFF file."""
