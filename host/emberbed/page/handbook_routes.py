"""The handbook at the bench page's own address, so that no network is needed to read it.

It says nothing of this bench, so it needs no token, as the page's own files need none.
"""

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from emberbed.handbook.write import FIRST, handbook

NOT_THERE = f"The handbook has no such page: begin at /handbook/{FIRST}"


async def page(request: Request) -> Response:
    """Answer with a page, picture or file of the handbook."""
    found = (await run_in_threadpool(handbook)).get(request.path_params["path"] or FIRST)
    if found is None:
        return PlainTextResponse(NOT_THERE, 404)
    return FileResponse(found) if isinstance(found, Path) else HTMLResponse(found)


ROUTE = Route("/handbook/{path:path}", page, methods=["GET"])
