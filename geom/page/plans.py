"""`Plans`: one plan is worked out at a time, the others wait their turn; each can be watched and called off."""

import contextlib
import threading
import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from geom.errors import GeomError, PageError
from geom.page.answers import dumped, error_body
from geom.page.asked import Asked, in_form
from geom.page.store import Kept, Store
from geom.page.work import Work

MOST_WAITING = 5
PATIENCE = 60.0  # for the solver to be free for what-ifs and comparisons [s]
LEAST_SHARE, LEAST_TIME = 0.05, 1.0  # before any time left is told [s]

NAMES = ("job.toml", "plan.html", "card.pdf", "thickness.csv", "plan.json")
"""The result files that can be fetched."""


@dataclass
class _Running:
    """How far the plan that is being worked out has come."""

    name: str
    stage: str = "starting"
    share: float = 0.0
    since: float = field(default_factory=time.monotonic)
    is_cancelled: bool = False


class Plans:
    """The queue before one solver, and the store behind it."""

    def __init__(self, store: Store, work: Work) -> None:
        self.store, self.work = store, work
        self._waiting: deque[tuple[str, Asked]] = deque()
        self._running: _Running | None = None
        self._change = threading.Condition()
        self._solver = threading.Lock()  # held by whoever has the worker do something
        self._drawing: str | None = None  # the plan whose files are being made
        self._is_closed = False
        self._thread = threading.Thread(target=self._run, name="plans", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End what runs, and the worker."""
        with self._change:
            self._is_closed = True
            self._waiting.clear()
            self._change.notify_all()
        self.work.close()
        self._thread.join(timeout=5.0)

    # asked by the page

    def add(self, asked: Asked) -> str:
        """Put a plan in the queue; return its id."""
        with self._change:
            if len(self._waiting) >= MOST_WAITING:
                text = f"{MOST_WAITING} plans are waiting already"
                raise PageError("page-busy", text, hint="wait for one to be done, or cancel one", status=429)
            kept = self.store.add(
                Kept(
                    "",
                    asked.title,
                    "queued",
                    answers=asked.answers,
                    text=asked.text,
                    part=asked.part.id if asked.part else "",
                    assumed=asked.assumed,
                )
            )
            self._waiting.append((kept.id, asked))
            self._change.notify_all()
        return kept.id

    def status(self, name: str) -> dict[str, Any]:
        """Return how far a plan is."""
        with self._change:
            kept, running = self.store.plan(name), self._running
            ahead = [waiting for waiting, _ in self._waiting]
            found: dict[str, Any] = {
                "plan": kept.id,
                "title": kept.title or "a plan that cannot be read",
                "state": kept.state,
                "created": kept.created,
                "place": 0,
                "stage": "",
                "share": 1.0 if kept.state == "done" else 0.0,
                "seconds": kept.seconds,
                "left_seconds": None,
                "answers": kept.answers,
                "assumed": kept.assumed,
                "error": kept.error
                or ({"slug": "page-damaged", "message": kept.wrong, "hint": ""} if kept.wrong else None),
            }
            if name in ahead:
                found["place"] = ahead.index(name) + (running is not None)
            elif running is not None and running.name == name:
                spent = time.monotonic() - running.since
                tells = running.share >= LEAST_SHARE and spent >= LEAST_TIME
                left = spent * (1 - running.share) / running.share if tells else None
                found |= {"stage": running.stage, "share": running.share, "seconds": spent, "left_seconds": left}
        return found

    def listed(self) -> dict[str, Any]:
        """Return every plan, the newest first, and how many are kept."""
        rows = [
            {key: value for key, value in self.status(kept.id).items() if key != "assumed"}
            for kept in self.store.plans()
        ]
        note = f"The last {self.store.keep} plans are kept."
        if self.store.removed:
            note += f" {self.store.removed} older ones were removed to make room."
        return {"plans": rows, "kept": self.store.keep, "removed": self.store.removed, "note": note}

    def cancel(self, name: str) -> dict[str, Any]:
        """Call a plan off, waiting or running; one that is over stays as it is."""
        with self._change:
            kept = self.store.plan(name)
            left = [pair for pair in self._waiting if pair[0] != name]
            if len(left) < len(self._waiting):
                self._waiting = deque(left)
                self.store.change(replace(kept, state="cancelled"))
            elif self._running is not None and self._running.name == name and not self._running.is_cancelled:
                self._running.is_cancelled = True
                self.work.cancel()
        return self.status(name)

    def answer(self, name: str) -> bytes:
        """Return the view of a plan that is done, as JSON."""
        kept = self.store.plan(name)
        if kept.state != "done":
            raise PageError("page-not-done", "this plan is not done", hint="wait for it, or plan it again", status=409)
        return self.store.view(name)

    def file(self, name: str, file: str) -> bytes:
        """Return a result file of a plan; waits for one that is being drawn."""
        kept = self.store.plan(name)
        if file not in NAMES:
            raise PageError(
                "page-no-file", "there is no such file of a plan", hint=f"there are {', '.join(NAMES)}", status=404
            )
        if file == "job.toml":
            return kept.text.encode()
        if kept.state != "done":
            raise PageError("page-not-done", "this plan is not done", hint="wait for it, or plan it again", status=409)
        with self._change:
            self._change.wait_for(lambda: self._drawing != name or self._is_closed, timeout=PATIENCE)
        return self.store.file(name, file)

    def what_if(self, name: str, asked: Asked) -> dict[str, Any]:
        """Return the view of a plan under other answers, from its kept geometry."""
        self._done(name)
        with self._free_solver():
            began = time.monotonic()
            with in_form(asked):
                view = self.work.what_if(name, asked.text, self.store.parts_folder)
        return {
            **view,
            "answers": asked.answers,
            "assumed": asked.assumed,
            "took_seconds": time.monotonic() - began,
            "kept": True,
        }

    def poses(self, name: str, asked: Sequence[tuple[str, Asked]]) -> list[dict[str, Any]]:
        """Return the plan hung in other ways, a view or an error for each."""
        self._done(name)
        with self._free_solver():
            found = self.work.poses(name, [one.text for _, one in asked], self.store.parts_folder)
        rows: list[dict[str, Any]] = []
        for (pose, one), result in zip(asked, found, strict=True):
            if isinstance(result, GeomError):
                rows.append({"pose": pose, **error_body(one.told(result))})
            elif isinstance(result, Exception):
                raise result
            else:
                rows.append({"pose": pose, "view": {**result, "answers": one.answers}})
        return rows

    def _done(self, name: str) -> None:
        kept = self.store.plan(name)
        if kept.state != "done":
            raise PageError("page-not-done", "this plan is not done", hint="wait for it, or plan it again", status=409)

    @contextlib.contextmanager
    def _free_solver(self) -> Iterator[None]:
        """Have the worker for a quick question; it is not free while a plan is worked out."""
        if self._running is not None or self._waiting:
            text = "a plan is being worked out, which has to be done first"
            raise PageError("page-busy", text, hint="wait for it, or cancel it", status=429)
        if not self._solver.acquire(timeout=PATIENCE):
            raise PageError("page-busy", "the solver is busy", hint="try again in a moment", status=429)
        try:
            yield
        finally:
            self._solver.release()

    # the thread that works them off

    def _run(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(lambda: bool(self._waiting) or self._is_closed)
                if self._is_closed:
                    return
                name, asked = self._waiting.popleft()
                running = self._running = _Running(name)
                self.store.change(replace(self.store.plan(name), state="solving"))
            with self._solver:
                self._work_out(running, asked)
                self._draw(name)

    def _work_out(self, running: _Running, asked: Asked) -> None:
        def say(stage: str, share: float) -> None:
            running.stage, running.share = stage, min(max(share, running.share), 1.0)

        running.since = time.monotonic()
        kept = self.store.plan(running.name)
        try:
            view = self.work.plan(running.name, asked.text, self.store.parts_folder, say)
            seconds = time.monotonic() - running.since
            view = {**view, "answers": asked.answers, "assumed": asked.assumed, "took_seconds": seconds, "kept": True}
            self.store.put_view(running.name, dumped(view))
            kept = replace(kept, state="done", title=str(view.get("title") or kept.title), seconds=seconds)
        except Exception as error:  # whatever it was: the next one waits
            kept = replace(
                kept, **_failure(error, asked, running.is_cancelled), seconds=time.monotonic() - running.since
            )
        with self._change:
            self._running = None
            self._drawing = running.name if kept.state == "done" else None
            with contextlib.suppress(PageError):  # a full disk: it is told where the next thing is asked for
                self.store.change(kept)
            self._change.notify_all()

    def _draw(self, name: str) -> None:
        try:
            if self._drawing == name:
                self.store.put_files(name, self.work.files(name))
        except Exception:
            pass  # the page says of each file that it was not kept
        finally:
            with self._change:
                self._drawing = None
                self._change.notify_all()


def _failure(error: Exception, asked: Asked, is_cancelled: bool) -> dict[str, Any]:
    """Return the state of a plan that was not made, and why."""
    if is_cancelled:
        return {"state": "cancelled"}
    if not isinstance(error, GeomError):
        error = defect(error)
    return {"state": "failed", "error": error_body(asked.told(error))["error"]}


def defect(error: Exception) -> GeomError:
    """Return what to say of an error that is the program's own fault."""
    return PageError(
        "page-defect",
        f"this is a defect in geom, not in your input: {type(error).__name__}",
        hint="please report it with what you had entered",
        status=500,
    )
