"""Addresses of the bench record: jobs, their checklists and photographs, what they come to."""

from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.jobs.checklists import NAMES
from emberbed.page import job_shelf
from emberbed.page.answers import Handler, Misunderstood, body_of, taken, text_in
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
