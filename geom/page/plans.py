"""`Plans`: one plan is worked out at a time, the others wait their turn; each can be watched and called off."""

import contextlib
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from geom.errors import GeomError, PageError
from geom.page.answers import dumped, error_body
from geom.page.asked import Asked, in_form
from geom.page.jobfile import job_file
from geom.page.store import Kept, Store
from geom.page.work import FORGOTTEN, Work

MOST_WAITING = 5
PATIENCE = 60.0  # for the solver to be free for what-ifs, comparisons and files [s]
LEAST_SHARE, LEAST_TIME = 0.05, 1.0  # before any time left is told [s]

NAMES = ("job.toml", "plan.html", "card.pdf", "thickness.csv", "plan.json")
"""The files of a plan that can be fetched; the first is the job itself, the others are made when first asked for."""

Wanted = Callable[[], bool]
Result = TypeVar("Result")


def always() -> bool:
    """Whoever asked still waits for the answer."""
    return True


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

    def __init__(self, store: Store, work: Work, *, patience: float = PATIENCE) -> None:
        self.store, self.work = store, work
        self.patience = patience
        self._waiting: deque[tuple[str, Asked]] = deque()
        self._running: _Running | None = None
        self._change = threading.Condition()
        self._solver = threading.Lock()  # held by whoever has the worker do something
        self._is_closed = False
        self._thread = threading.Thread(target=self._run, name="plans", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End what runs, and the worker."""
        with self._change:
            self._is_closed = True
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
            part = asked.part.id if asked.part else ""
            fresh = Kept(
                "", asked.title, "queued", answers=asked.answers, text=asked.text, part=part, assumed=asked.assumed
            )
            kept = self.store.add(fresh)
            self._waiting.append((kept.id, asked))
            self._change.notify_all()
        return kept.id

    def status(self, name: str) -> dict[str, Any]:
        """Return how far a plan is."""
        with self._change:
            kept, running = self.store.plan(name), self._running
            ahead = [waiting for waiting, _ in self._waiting]
            damage = {"slug": "page-damaged", "message": kept.wrong, "hint": "plan it again", "field": None}
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
                "error": damage if kept.wrong else kept.error,
            }
            if name in ahead:
                found["place"] = ahead.index(name) + (running is not None)
            elif running is not None and running.name == name:
                found |= _progress(running)
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
            elif self._running is not None and self._running.name == name:
                self._running.is_cancelled = True
                self.work.cancel()
        return self.status(name)

    def answer(self, name: str) -> bytes:
        """Return the view of a plan that is done, as JSON."""
        self._done(name)
        return self.store.view(name)

    def file(self, name: str, file: str, wanted: Wanted = always) -> bytes:
        """Return a file of a plan; the first time it is asked for, the files are made."""
        kept = self.store.plan(name)
        if file not in NAMES:
            hint = f"there are {', '.join(NAMES)}"
            raise PageError("page-no-file", "there is no such file of a plan", hint=hint, status=404)
        if file == NAMES[0]:
            return job_file(kept.text, self.store.part(kept.part) if kept.part else None).encode()
        self._done(name)
        if not self.store.has_file(name, file):
            with self._free_solver(wanted, waits=True):
                if not self.store.has_file(name, file):
                    self.store.put_files(name, self._knowing(kept, lambda: self.work.files(name)))
        return self.store.file(name, file)

    def what_if(self, name: str, asked: Asked, wanted: Wanted = always) -> dict[str, Any]:
        """Return the view of a plan under other answers, from its kept geometry."""
        kept = self._done(name)
        with self._free_solver(wanted), in_form(asked):
            began = time.monotonic()
            view = self._knowing(kept, lambda: self.work.what_if(name, asked.text, self.store.parts_folder))
        seconds = time.monotonic() - began
        return {**view, "answers": asked.answers, "assumed": asked.assumed, "took_seconds": seconds, "kept": True}

    def poses(self, name: str, asked: Sequence[tuple[str, Asked]], wanted: Wanted = always) -> list[dict[str, Any]]:
        """Return the plan hung in other ways, a view or an error for each."""
        kept = self._done(name)
        texts = [one.text for _, one in asked]
        with self._free_solver(wanted):
            found = self._knowing(kept, lambda: self.work.poses(name, texts, self.store.parts_folder))
        rows: list[dict[str, Any]] = []
        for (pose, one), result in zip(asked, found, strict=True):
            if isinstance(result, GeomError):
                rows.append({"pose": pose, **error_body(one.told(result))})
            elif isinstance(result, Exception):
                raise result
            else:
                rows.append({"pose": pose, "view": {**result, "answers": one.answers, "assumed": one.assumed}})
        return rows

    def _done(self, name: str) -> Kept:
        kept = self.store.plan(name)
        if kept.state != "done":
            text = "this plan is not done"
            raise PageError("page-not-done", text, hint="wait for it, or plan it again", status=409)
        return kept

    def _knowing(self, kept: Kept, task: Callable[[], Result]) -> Result:
        """Have the worker do a task with a plan; it plans again what it has forgotten."""
        try:
            return task()
        except GeomError as error:
            if error.slug != FORGOTTEN:
                raise
        self.work.plan(kept.id, kept.text, self.store.parts_folder, lambda stage, share: None)
        return task()

    @contextlib.contextmanager
    def _free_solver(self, wanted: Wanted, *, waits: bool = False) -> Iterator[None]:
        """Have the worker for a quick question; while a plan is worked out, only one that ``waits`` may wait for it."""
        if not waits and (self._running is not None or self._waiting):
            text = "a plan is being worked out, which has to be done first"
            raise PageError("page-busy", text, hint="wait for it, or cancel it", status=429)
        if not self._solver.acquire(timeout=self.patience):
            raise PageError("page-busy", "the solver is busy", hint="try again in a moment", status=429)
        try:
            if not wanted():
                raise PageError("page-gone", "nobody waits for this answer any more", status=409)
            yield
        finally:
            self._solver.release()

    # the thread that works them off

    def _run(self) -> None:
        while True:
            with self._change:
                self._change.wait_for(lambda: bool(self._waiting) or self._is_closed)
            with self._solver:
                with self._change:
                    if self._is_closed:
                        return
                    if not self._waiting:  # called off meanwhile
                        continue
                    name, asked = self._waiting.popleft()
                    running = self._running = _Running(name)
                    kept = replace(self.store.plan(name), state="solving")
                    with contextlib.suppress(PageError):  # a full disk: it is told with the result
                        self.store.change(kept)
                self._work_out(kept, running, asked)

    def _work_out(self, kept: Kept, running: _Running, asked: Asked) -> None:
        def say(stage: str, share: float) -> None:
            running.stage, running.share = stage, min(max(share, running.share), 1.0)
            if running.is_cancelled:  # called off before the worker had begun
                self.work.cancel()

        try:
            view = self.work.plan(running.name, asked.text, self.store.parts_folder, say)
            if running.is_cancelled:
                raise PageError("page-cancelled", "this plan was called off")
            seconds = time.monotonic() - running.since
            view = {**view, "answers": asked.answers, "assumed": asked.assumed, "took_seconds": seconds, "kept": True}
            self.store.put_view(running.name, dumped(view))
            kept = replace(kept, state="done", title=str(view.get("title") or kept.title), seconds=seconds)
        except Exception as error:  # whatever it was: the next one waits
            seconds = time.monotonic() - running.since
            kept = replace(kept, **_failure(error, asked, running.is_cancelled), seconds=seconds)
        with self._change:
            self._running = None
            with contextlib.suppress(PageError):  # a full disk: it is told where the next thing is asked for
                self.store.change(kept)
            self._change.notify_all()


def _progress(running: _Running) -> dict[str, Any]:
    spent = time.monotonic() - running.since
    tells = running.share >= LEAST_SHARE and spent >= LEAST_TIME
    left = spent * (1 - running.share) / running.share if tells else None
    return {"stage": running.stage, "share": running.share, "seconds": spent, "left_seconds": left}


def _failure(error: Exception, asked: Asked, is_cancelled: bool) -> Mapping[str, Any]:
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
