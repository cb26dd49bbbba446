"""Addresses of profiles: list, read, check as typed, rehearse, save."""

import asyncio
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from emberbed.page import edit, judging
from emberbed.page.answers import Handler, Misunderstood, body_of, text_in
from emberbed.page.library import Library
from emberbed.page.workers import Workers

if TYPE_CHECKING:
    from emberbed.learn.identified import Identified

REHEARSALS_KEPT = 8


class ProfileRoutes:
    """Of one library, and the heater that is on the bench if it is known."""

    def __init__(
        self, library: Library, workers: Workers, heater: "Identified | None" = None
    ) -> None:
        self._library = library
        self._workers = workers
        self._heater = heater
        self._rehearsed: dict[str, asyncio.Task[judging.Answer]] = {}

    def reads(self) -> dict[str, Handler]:
        return {"/api/profiles": self.listed, "/api/profiles/{where}/{name}": self.read}

    def writes(self) -> dict[str, Handler]:
        return {
            "/api/check": self.check,
            "/api/edit": self.edit,
            "/api/rehearse": self.rehearse,
            "/api/save": self.save,
        }

    async def listed(self, _request: Request) -> Response:
        texts = []
        for where, name in await run_in_threadpool(self._library.names):
            text = await run_in_threadpool(self._library.read, where, name)
            texts.append(text)
        written = [text.text for text in texts]
        answers = await self._workers.work(judging.titles, written, self._library.folder)
        return JSONResponse(
            {
                "folder": str(self._library.folder),
                "profiles": [
                    {"where": text.where, "name": text.name, **answer}
                    for text, answer in zip(texts, answers, strict=True)
                ],
            }
        )

    async def read(self, request: Request) -> Response:
        given = request.path_params
        text = await run_in_threadpool(self._library.read, given["where"], given["name"])
        known = text.text, f"{text.name}.toml", self._library.folder
        answer = await self._workers.work(judging.checked, *known)
        about = {"where": text.where, "name": text.name, "text": text.text, "mark": text.mark}
        return JSONResponse({**about, "check": answer})

    async def check(self, request: Request) -> Response:
        body = await body_of(request)
        given = text_in(body, "text"), f"{text_in(body, 'name')}.toml", self._library.folder
        return JSONResponse(await self._workers.work(edit.opened, *given))

    async def edit(self, request: Request) -> Response:
        """Make one change in the form and check what comes of it."""
        body = await body_of(request)
        change = body.get("change")
        if not isinstance(change, dict):
            raise Misunderstood
        given = text_in(body, "text"), f"{text_in(body, 'name')}.toml", change, self._library.folder
        return JSONResponse(await self._workers.work(edit.edited, *given))

    async def rehearse(self, request: Request) -> Response:
        """Rehearse a profile; the same text again, from any page, has the same answer."""
        body = await body_of(request)
        text, shown = text_in(body, "text"), f"{text_in(body, 'name')}.toml"
        if text not in self._rehearsed:
            work = self._workers.work(
                judging.rehearsed, text, shown, self._heater, self._library.folder
            )
            self._rehearsed = dict(list(self._rehearsed.items())[-REHEARSALS_KEPT + 1 :])
            self._rehearsed[text] = asyncio.create_task(work)
        try:
            return JSONResponse(await asyncio.shield(self._rehearsed[text]))
        except Exception:
            self._rehearsed.pop(text, None)  # the next one may fare better
            raise

    async def save(self, request: Request) -> Response:
        body = await body_of(request)
        saved = await run_in_threadpool(
            self._library.save, text_in(body, "name"), text_in(body, "text"), text_in(body, "mark")
        )
        return JSONResponse({"where": saved.where, "name": saved.name, "mark": saved.mark})
