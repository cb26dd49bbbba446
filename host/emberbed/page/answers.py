"""From a request to plain data, and from failures to one sentence each with a status."""

import asyncio
import json
import traceback
from collections.abc import Awaitable, Callable
from typing import Any

from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.page.workers import Ended
from emberbed.store.faults import StoreError

Handler = Callable[[Request], Awaitable[Response]]
NOT_UNDERSTOOD = "The page's server did not understand this: load the page again."
ENDS = "The page's program has ended: start it again in the terminal."
OWN_FAULT = "The page's server met a fault of its own; the terminal shows it. A run is not touched."


class Misunderstood(Exception):
    """A request that no page of ours makes."""


def told(handler: Handler) -> Handler:
    """Turn every expected failure of a handler into its sentences."""

    async def telling(request: Request) -> Response:
        try:
            return await handler(request)
        except NotReady as not_ready:
            return sentences(not_ready.sentences)
        except StoreError as error:
            return sentences([str(error)])
        except (Misunderstood, ClientDisconnect):
            return sentences([NOT_UNDERSTOOD], 400)
        except (Ended, asyncio.CancelledError):  # whoever waits is told
            return sentences([ENDS], 503)
        except Exception:  # a fault of ours ends one answer, never the server
            traceback.print_exc()
            return sentences([OWN_FAULT], 500)

    return telling


def sentences(told: list[str], status: int = 409) -> JSONResponse:
    return JSONResponse({"sentences": told}, status)


def taken() -> JSONResponse:
    """Say that it was heard; what comes of it is told in the live state."""
    return JSONResponse({"taken": True}, 202)


async def body_of(request: Request) -> dict[str, Any]:
    """Return the JSON object that was sent. Raises Misunderstood."""
    try:
        body = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise Misunderstood from None
    if not isinstance(body, dict):
        raise Misunderstood
    return body


def text_in(body: dict[str, Any], key: str, otherwise: str | None = None) -> str:
    found = body.get(key, otherwise)
    if not isinstance(found, str):
        raise Misunderstood
    return found


def number_in(body: dict[str, Any], key: str) -> int:
    found = body.get(key)
    if not isinstance(found, int) or isinstance(found, bool):
        raise Misunderstood
    return found
