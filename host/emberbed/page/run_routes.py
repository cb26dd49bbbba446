"""Addresses of recorded runs: list, open, compare, note, export; in a helper process."""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.cli_runs import MOST_NOTE
from emberbed.page import runs_shelf
from emberbed.page.answers import Handler, body_of, taken, text_in
from emberbed.page.security import REPORT_POLICY
from emberbed.page.workers import Workers
from emberbed.plain_text import hidden_characters

NO_NOTE = f"A note is 1 to {MOST_NOTE} characters of plain text: write it anew"


class RunRoutes:
    """Of one store (None for the default one) and the device at which the page works."""

    def __init__(self, store: Path | None, device: str, workers: Workers) -> None:
        self._store = store
        self._device = device
        self._workers = workers

    def reads(self) -> dict[str, Handler]:
        return {
            "/api/runs": self.listed,
            "/api/left-open": self.left_open,
            "/api/runs/{run:int}": self.one,
            "/api/runs/{run:int}/curve": self.curve,
            "/runs/{run:int}/report": self.report,
            "/runs/{run:int}/csv": self.csv,
        }

    def writes(self) -> dict[str, Handler]:
        return {"/api/runs/{run:int}/note": self.note}

    async def listed(self, _request: Request) -> Response:
        return JSONResponse(await self._workers.work(runs_shelf.listed, self._store))

    async def left_open(self, _request: Request) -> Response:
        found = await self._workers.work(runs_shelf.left_open, self._store, self._device)
        return JSONResponse(found)

    async def one(self, request: Request) -> Response:
        return JSONResponse(await self._of(runs_shelf.one, request))

    async def curve(self, request: Request) -> Response:
        return JSONResponse(await self._of(runs_shelf.curve, request))

    async def report(self, request: Request) -> Response:
        page = await self._of(runs_shelf.report, request)
        return HTMLResponse(page, headers={"content-security-policy": REPORT_POLICY})

    async def csv(self, request: Request) -> Response:
        name = f"run-{request.path_params['run']}.csv"
        return Response(
            await self._of(runs_shelf.csv, request),
            media_type="text/csv",
            headers={"content-disposition": f'attachment; filename="{name}"'},
        )

    async def note(self, request: Request) -> Response:
        """Add a note; what cannot be one is refused as on the command line."""
        note = " ".join(text_in(await body_of(request), "note").split())
        if not 1 <= len(note) <= MOST_NOTE or hidden_characters(note):
            raise NotReady([NO_NOTE])
        run = request.path_params["run"]
        await self._workers.work(runs_shelf.add_note, self._store, run, note)
        return taken()

    async def _of(self, task, request: Request):
        return await self._workers.work(task, self._store, request.path_params["run"])
