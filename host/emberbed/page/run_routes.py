"""Addresses of recorded runs: list, open, compare, note, checklists, papers, export.

The work is done in a helper process.
"""

from pathlib import Path

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.cli_runs import MOST_NOTE
from emberbed.cli_sheet import MOST_NAME
from emberbed.jobs.plain_entries import one_line
from emberbed.page import papers, runs_shelf
from emberbed.page.answers import Handler, Misunderstood, body_of, taken, text_in
from emberbed.page.security import REPORT_POLICY
from emberbed.page.workers import Workers
from emberbed.plain_text import hidden_characters
from emberbed.store.export import CSV, JSON

PDF_TYPE = "application/pdf"
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
            "/runs/{run:int}/pdf": self.pdf,
            "/runs/{run:int}/png": self.png,
            "/runs/{run:int}/csv": self.csv,
            "/runs/{run:int}/json": self.json,
            "/runs/{run:int}/bundle": self.bundle,
            "/runs/{run:int}/sheet": self.sheet,
            "/api/runs/{run:int}/job": self.job,
        }

    def writes(self) -> dict[str, Handler]:
        return {
            "/api/runs/{run:int}/note": self.note,
            "/api/runs/{run:int}/job": self.open_job,
        }

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

    async def pdf(self, request: Request) -> Response:
        return _file(await self._of(papers.report_pdf, request), request, PDF_TYPE, "pdf")

    async def png(self, request: Request) -> Response:
        return _file(await self._of(papers.chart_png, request), request, "image/png", "png")

    async def bundle(self, request: Request) -> Response:
        return _file(await self._of(papers.bundle, request), request, "application/zip", "zip")

    async def csv(self, request: Request) -> Response:
        return _file(await self._of(papers.numbers, request, CSV), request, "text/csv", CSV)

    async def json(self, request: Request) -> Response:
        octets = await self._of(papers.numbers, request, JSON)
        return _file(octets, request, "application/json", JSON)

    async def sheet(self, request: Request) -> Response:
        """The customer's sheet; the shop's and the board's name come in the address."""
        asked = request.query_params
        form, board = asked.get("form", papers.HTML), asked.get("board", "")
        if form not in (papers.HTML, papers.PDF):
            raise Misunderstood
        shop = one_line("The shop's name", asked.get("shop", ""), MOST_NAME)
        board = one_line("The board's name", board, MOST_NAME) if board.strip() else ""
        octets = await self._of(papers.sheet, request, form, shop, board)
        if form == papers.PDF:
            return _file(octets, request, PDF_TYPE, "pdf", "sheet-of-run")
        return HTMLResponse(octets, headers={"content-security-policy": REPORT_POLICY})

    async def job(self, request: Request) -> Response:
        return JSONResponse(await self._of(runs_shelf.job_of, request))

    async def open_job(self, request: Request) -> Response:
        await self._of(runs_shelf.open_job, request)
        return taken()

    async def note(self, request: Request) -> Response:
        """Add a note; what cannot be one is refused as on the command line."""
        note = " ".join(text_in(await body_of(request), "note").split())
        if not 1 <= len(note) <= MOST_NOTE or hidden_characters(note):
            raise NotReady([NO_NOTE])
        run = request.path_params["run"]
        await self._workers.work(runs_shelf.add_note, self._store, run, note)
        return taken()

    async def _of(self, task, request: Request, *more: str):
        return await self._workers.work(task, self._store, request.path_params["run"], *more)


def _file(
    content: str | bytes, request: Request, kind: str, suffix: str, name: str = "run"
) -> Response:
    """Return a file to keep."""
    called = f"{name}-{request.path_params['run']}.{suffix}"
    keep = {"content-disposition": f'attachment; filename="{called}"'}
    return Response(content, media_type=kind, headers=keep)
