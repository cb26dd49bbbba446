"""Addresses of what has to be so before heat: what was told last, photographs of the sensors."""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.jobs.plain_entries import name_of, sentence_of
from emberbed.page import before_heat
from emberbed.page.answers import Handler, Misunderstood, taken
from emberbed.page.run_desk import RunDesk
from emberbed.page.security import PHOTO_PATH
from emberbed.page.workers import Workers

NO_PHOTO = "There is no photograph of the sensors on this type of board: take one."
NOT_NOW = "A run is on: add the photograph when it is over."


def board_in(given: str) -> str:
    """Return a type of board as it is kept. Raises NotReady."""
    return name_of("The type of board", given)


def note_in(given: str) -> str:
    """Return a note on the sensors as it is kept, '' for none. Raises NotReady."""
    return sentence_of("The note on the sensors", given) if given.strip() else ""


class BeforeRoutes:
    """Of one store, None for the default one."""

    def __init__(self, store: Path | None, desk: RunDesk, workers: Workers) -> None:
        self._store = store
        self._desk = desk
        self._workers = workers

    def reads(self) -> dict[str, Handler]:
        return {"/api/before-heat": self.last, PHOTO_PATH: self.photo}

    def writes(self) -> dict[str, Handler]:
        return {PHOTO_PATH: self.keep_photo}

    async def last(self, request: Request) -> Response:
        board = board_in(request.query_params.get("board", ""))
        return JSONResponse(await self._workers.work(before_heat.last, self._store, board))

    async def photo(self, request: Request) -> Response:
        board = board_in(request.query_params.get("board", ""))
        jpeg = await self._workers.work(before_heat.photo, self._store, board)
        if jpeg is None:
            raise NotReady([NO_PHOTO])
        return Response(jpeg, media_type="image/jpeg")

    async def keep_photo(self, request: Request) -> Response:
        """Take a photograph as the body; board, note and perhaps the run stand in the address."""
        asked = request.query_params
        board, note = board_in(asked.get("board", "")), note_in(asked.get("note", ""))
        run = asked.get("run")
        if run is not None and not (run.isdecimal() and len(run) < 10):
            raise Misunderstood
        if self._desk.busy():
            raise NotReady([NOT_NOW])
        given = (board, note, await request.body(), None if run is None else int(run))
        await self._workers.work(before_heat.keep_photo, self._store, *given)
        return taken()
