"""`page_app`: what is answered to whom, by path. Everything that takes long runs in a thread, bounded in number."""

import asyncio
import threading
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from contextlib import asynccontextmanager
from functools import cache, partial
from typing import Any, TypeVar

import anyio
from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from geom import __version__
from geom.errors import GeomError, PageError
from geom.page.answers import dumped, error_body, status_of
from geom.page.asked import Asked, asked_of, in_form
from geom.page.bodies import json_of
from geom.page.guard import App, Door, Guard
from geom.page.plans import Plans, defect
from geom.page.statics import INDEX, index, statics
from geom.page.uploads import taken
from geom.page.work import Work

MOST_SLOW = 12  # questions that wait for a worker at a time
MOST_QUICK = 16
MOST_FORMS = 2  # that are read at a time: each may have to read a large file first
MOST_UPLOADS = 2
MOST_POSES = 12

FILE_TYPES = {
    "job.toml": "application/toml",
    "plan.html": "text/html; charset=utf-8",
    "card.pdf": "application/pdf",
    "thickness.csv": "text/csv; charset=utf-8",
    "plan.json": "application/json",
}
Result = TypeVar("Result")
Endpoint = Callable[[Request], Awaitable[Response]]


def page_app(plans: Plans, looks: Work, door: Door) -> App:
    """Return the whole page behind its guard; ``looks`` draws what is typed, while ``plans`` may be at work."""
    desk = Desk(plans, looks, door)
    plan = "/api/plans/{plan}"
    routes = [
        Route("/", desk.page, methods=["GET"]),
        Route("/static/{name}", desk.static, methods=["GET"]),
        Route("/api/start", desk.start, methods=["GET"]),
        Route("/api/files", desk.upload, methods=["POST"]),
        Route("/api/look", desk.look, methods=["POST"]),
        Route("/api/plans", desk.list_plans, methods=["GET"]),
        Route("/api/plans", desk.add_plan, methods=["POST"]),
        Route(plan, desk.status, methods=["GET"]),
        Route(f"{plan}/cancel", desk.cancel, methods=["POST"]),
        Route(f"{plan}/answer", desk.answer, methods=["GET"]),
        Route(f"{plan}/what-if", desk.what_if, methods=["POST"]),
        Route(f"{plan}/poses", desk.poses, methods=["POST"]),
        Route(f"{plan}/files/{{file}}", desk.file, methods=["GET"]),
    ]
    handlers: Mapping[Any, Any] = {HTTPException: _no_such_place, GeomError: _refusal, Exception: _defect}
    app = Starlette(routes=routes, exception_handlers=handlers)
    app.router.redirect_slashes = False
    return Guard(app, door)


class Desk:
    """Answers each kind of request."""

    def __init__(self, plans: Plans, looks: Work, door: Door) -> None:
        self.plans, self.store, self.looks, self.door = plans, plans.store, looks, door
        self.statics = statics()
        self._quick, self._slow = anyio.CapacityLimiter(MOST_QUICK), anyio.CapacityLimiter(MOST_SLOW)
        self._forms = anyio.CapacityLimiter(MOST_FORMS)
        self._uploads = 0
        self._look = threading.Lock()

    # the page itself

    async def page(self, request: Request) -> Response:
        """Answer with the page and the token of this run."""
        return Response(index(self.statics[INDEX], self.door.token), media_type="text/html", headers=NOT_KEPT)

    async def static(self, request: Request) -> Response:
        """Answer with a file of the page; one that the browser has already is not sent again."""
        found = self.statics.get(request.path_params["name"])
        if found is None or found is self.statics[INDEX]:
            raise HTTPException(404)
        headers = {"etag": found.tag, "cache-control": "no-cache"}
        if request.headers.get("if-none-match") == found.tag:
            return Response(status_code=304, headers=headers)
        return Response(found.body, media_type=found.media_type, headers=headers)

    async def start(self, request: Request) -> Response:
        """Answer with what the form offers."""
        return tree_answer(await self._quickly(offers))

    # files of parts

    async def upload(self, request: Request) -> Response:
        """Take in the file of a part."""
        if self._uploads >= MOST_UPLOADS:
            text = "two files are being taken in already"
            raise PageError("page-busy", text, where="part", hint="try again in a moment", status=429)
        self._uploads += 1
        try:
            headers = request.headers
            name = headers.get("x-file-name", "")
            part = await taken(request.stream(), name, headers.get("content-length"), self.store)
        finally:
            self._uploads -= 1
        return tree_answer({"file": part.id, "name": part.name, "size": part.size}, 201)

    # plans

    async def look(self, request: Request) -> Response:
        """Answer with the part in its tank, unsolved."""
        asked = await self._asked((await json_of(request)).get("answers"))
        return tree_answer(await self._slowly(request, partial(self._looked, asked)))

    def _looked(self, asked: Asked, wanted: Callable[[], bool]) -> dict[str, Any]:
        with self._look:
            if not wanted():
                raise PageError("page-gone", "nobody waits for this answer any more", status=409)
            with in_form(asked):
                seen = self.looks.look(asked.text, self.store.parts_folder)
        return {**seen, "assumed": asked.assumed}

    async def list_plans(self, request: Request) -> Response:
        """Answer with all plans."""
        return tree_answer(await self._quickly(self.plans.listed))

    async def add_plan(self, request: Request) -> Response:
        """Put a plan in the queue."""
        asked = await self._asked((await json_of(request)).get("answers"))
        return tree_answer({"plan": await self._quickly(partial(self.plans.add, asked))}, 202)

    async def status(self, request: Request) -> Response:
        """Answer how far a plan is."""
        return tree_answer(await self._quickly(partial(self.plans.status, _plan(request))))

    async def cancel(self, request: Request) -> Response:
        """Call a plan off."""
        await json_of(request)
        return tree_answer(await self._quickly(partial(self.plans.cancel, _plan(request))))

    async def answer(self, request: Request) -> Response:
        """Answer with the view of a plan."""
        body = await self._quickly(partial(self.plans.answer, _plan(request)))
        return Response(body, media_type="application/json", headers=NOT_KEPT)

    async def what_if(self, request: Request) -> Response:
        """Answer with the view of a plan under other answers; those that are not given are the plan's."""
        name, changed = _plan(request), _record((await json_of(request)).get("answers"))
        asked = await self._asked(self._answers(name, changed))
        return tree_answer(await self._slowly(request, partial(self.plans.what_if, name, asked)))

    async def poses(self, request: Request) -> Response:
        """Answer with views of a plan hung in other ways."""
        name, poses = _plan(request), (await json_of(request)).get("poses")
        if (
            not isinstance(poses, list)
            or not 0 < len(poses) <= MOST_POSES
            or not all(isinstance(p, str) for p in poses)
        ):
            raise PageError(
                "page-answers", f"1 to {MOST_POSES} names of poses are expected", hint="load the page again"
            )
        asked = [(pose, await self._asked(self._answers(name, {"pose": pose}))) for pose in poses]
        return tree_answer({"poses": await self._slowly(request, partial(self.plans.poses, name, asked))})

    async def file(self, request: Request) -> Response:
        """Answer with a file of a plan, to be kept."""
        name, file = _plan(request), request.path_params["file"]
        body = await self._slowly(request, partial(self.plans.file, name, file))
        headers = {**NOT_KEPT, "content-disposition": f'attachment; filename="{file}"'}
        return Response(body, media_type=FILE_TYPES[file], headers=headers)

    # threads

    def _answers(self, name: str, changed: Mapping[str, Any]) -> dict[str, Any]:
        return {**(self.store.plan(name).answers or {}), **changed}

    async def _asked(self, answers: Any) -> Asked:
        return await run_sync(partial(asked_of, answers, self.store), limiter=self._forms)

    async def _quickly(self, call: Callable[[], Result]) -> Result:
        return await run_sync(call, limiter=self._quick)

    async def _slowly(self, request: Request, call: Callable[[Callable[[], bool]], Result]) -> Result:
        """Run what waits for a worker; it is told whether the one who asked is still there."""
        if self._slow.available_tokens <= 0:
            text = "the page is asked for too much at a time"
            raise PageError("page-busy", text, hint="try again in a moment", status=429)
        async with _watched(request) as wanted:
            return await run_sync(call, wanted, limiter=self._slow)


NOT_KEPT = {"cache-control": "no-store"}


def tree_answer(tree: Any, status: int = 200) -> Response:
    """Return an answer as JSON."""
    return Response(dumped(tree), status, media_type="application/json", headers=NOT_KEPT)


@cache
def offers() -> dict[str, Any]:
    """Return what the form offers: baths, ways of hanging, and a set-up to begin with."""
    from geom.job.compose import defaults, pose_names
    from geom.tables.read import bath_names, bath_table

    tables = [bath_table(name) for name in bath_names()]
    baths = [{"name": bath.name, "title": bath.title, "metal": bath.metal} for bath in tables]
    return {"version": __version__, "baths": baths, "poses": pose_names(), "defaults": defaults()}


@asynccontextmanager
async def _watched(request: Request) -> AsyncIterator[Callable[[], bool]]:
    """Give a function that tells whether the other end of a request is still there."""
    gone = threading.Event()

    async def watch() -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass
        gone.set()

    watcher = asyncio.ensure_future(watch())
    try:
        yield lambda: not gone.is_set()
    finally:
        watcher.cancel()


def _plan(request: Request) -> str:
    return str(request.path_params["plan"])


def _record(value: Any) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise PageError("page-answers", "the answers are not a record of names and texts", hint="load the page again")
    return value


async def _no_such_place(request: Request, error: HTTPException) -> Response:
    if error.status_code == 405:
        told = PageError("page-method", "this place takes another method", status=405)
    else:
        told = PageError("page-nowhere", "there is no such place on this page", status=404)
    return tree_answer(error_body(told), told.status)


async def _refusal(request: Request, error: GeomError) -> Response:
    return tree_answer(error_body(error), status_of(error))


async def _defect(request: Request, error: Exception) -> Response:
    return tree_answer(error_body(defect(error)), 500)
