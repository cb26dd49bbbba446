"""Addresses of the bench record: jobs, their checklists and photographs, what they come to."""

from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.jobs.checklists import NAMES
from emberbed.jobs.model import PHOTO_KINDS, TEST_KINDS
from emberbed.page import job_shelf
from emberbed.page.answers import Handler, Misunderstood, body_of, number_in, taken, text_in
from emberbed.page.workers import Workers

NO_PHOTO = "The copy of this photograph is gone or was changed."


class JobRoutes:
    """Of one store, None for the default one."""

    def __init__(self, store: Path | None, workers: Workers) -> None:
        self._store = store
        self._workers = workers

    def reads(self) -> dict[str, Handler]:
        return {
            "/api/jobs": self.listed,
            "/api/jobs/figures": self.figures,
            "/api/jobs/{job:int}": self.one,
            "/api/jobs/{job:int}/photo/{number:int}": self.photo,
        }

    def writes(self) -> dict[str, Handler]:
        return {
            "/api/jobs/new": self.new,
            "/api/jobs/{job:int}/change": self.change,
            "/api/jobs/{job:int}/answer": self.answer,
            "/api/jobs/{job:int}/photo": self.add_photo,
            "/api/jobs/{job:int}/part": self.add_part,
            "/api/jobs/{job:int}/test": self.add_test,
            "/api/jobs/{job:int}/take-back": self.take_back,
            "/api/jobs/{job:int}/close": self.close,
            "/api/jobs/{job:int}/reopen": self.reopen,
        }

    async def listed(self, _request: Request) -> Response:
        return JSONResponse(await self._work(job_shelf.listed))

    async def figures(self, _request: Request) -> Response:
        return JSONResponse(await self._work(job_shelf.figures))

    async def one(self, request: Request) -> Response:
        return JSONResponse(await self._work(job_shelf.one, request.path_params["job"]))

    async def photo(self, request: Request) -> Response:
        asked = request.path_params
        jpeg = await self._work(job_shelf.photo, asked["job"], asked["number"])
        if jpeg is None:
            raise NotReady([NO_PHOTO])
        return Response(jpeg, media_type="image/jpeg")

    async def new(self, request: Request) -> Response:
        job_id = await self._work(job_shelf.new, _told(await body_of(request), needed="board"))
        return JSONResponse({"job": job_id}, 202)

    async def change(self, request: Request) -> Response:
        told = _told(await body_of(request))
        await self._work(job_shelf.change, request.path_params["job"], told)
        return taken()

    async def answer(self, request: Request) -> Response:
        body = await body_of(request)
        list_name = text_in(body, "list")
        if list_name not in NAMES:
            raise Misunderstood
        said = (text_in(body, "item"), text_in(body, "answer"))
        await self._work(job_shelf.answer, request.path_params["job"], list_name, *said)
        return taken()

    async def add_photo(self, request: Request) -> Response:
        """Take a photograph as the body; what it is of and a note stand in the address."""
        kind, note = request.query_params.get("of", ""), request.query_params.get("note", "")
        if kind not in PHOTO_KINDS:
            raise Misunderstood
        given = (request.path_params["job"], await request.body(), kind, note.strip())
        await self._work(job_shelf.add_photo, *given)
        return taken()

    async def add_part(self, request: Request) -> Response:
        body = await body_of(request)
        said = (text_in(body, "name"), number_in(body, "count"), text_in(body, "each", ""))
        await self._work(job_shelf.add_part, request.path_params["job"], *said)
        return taken()

    async def add_test(self, request: Request) -> Response:
        body = await body_of(request)
        kind, passed = text_in(body, "kind"), body.get("passed")
        if kind not in TEST_KINDS or not isinstance(passed, bool):
            raise Misunderstood
        said = (text_in(body, "minutes", ""), text_in(body, "note", "").strip())
        await self._work(job_shelf.add_test, request.path_params["job"], kind, passed, *said)
        return taken()

    async def take_back(self, request: Request) -> Response:
        body = await body_of(request)
        kind, number = text_in(body, "what"), number_in(body, "number")
        if kind not in job_shelf.ITEMS:
            raise Misunderstood
        await self._work(job_shelf.take_back, request.path_params["job"], kind, number)
        return taken()

    async def close(self, request: Request) -> Response:
        body = await body_of(request)
        said = (text_in(body, "outcome"), text_in(body, "note", ""))
        await self._work(job_shelf.close, request.path_params["job"], *said)
        return taken()

    async def reopen(self, request: Request) -> Response:
        await self._work(job_shelf.reopen, request.path_params["job"])
        return taken()

    async def _work(self, task, *given: Any) -> Any:
        return await self._workers.work(task, self._store, *given)


def _told(body: dict[str, Any], needed: str | None = None) -> dict[str, str]:
    if set(body) - set(job_shelf.TOLD) or (needed is not None and needed not in body):
        raise Misunderstood
    return {key: text_in(body, key) for key in body}
