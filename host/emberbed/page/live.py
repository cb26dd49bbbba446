"""The live state over one WebSocket a page, and the whole curve as one block of numbers.

Each page is sent the newest state at most ten times a second, and at least once a second as a sign
of life; one that is slow gets fewer and fuller messages, and holds up nobody. New rows of the curve
come with it; a page that misses some fetches them by their number.
"""

import asyncio
import json
import math
import sys
import time
from contextlib import suppress
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.websockets import WebSocket, WebSocketDisconnect

from emberbed.page.answers import Misunderstood
from emberbed.page.feed import Feed
from emberbed.page.security import SUBPROTOCOL

LEAST_BETWEEN_S = 0.1
SIGN_OF_LIFE_S = 1.0
LONGEST_GOODBYE_S = 2 * SIGN_OF_LIFE_S
MOST_ROWS = 300  # in one message; more are fetched as a block
SELDOM = ("about", "events", "pins", "columns")  # sent only when they changed


class Live:
    """The two ways in which pages see the feed."""

    def __init__(self, feed: Feed) -> None:
        self._feed = feed
        self._ends: set[asyncio.Event] = set()

    async def curve(self, request: Request) -> Response:
        """Return the rows from number `from` on as 32-bit floats, the lowest byte first."""
        wanted = request.query_params.get("from", "0")
        if not wanted.isdecimal() or len(wanted) > 9:
            raise Misunderstood
        rows = self._feed.rows_from(int(wanted))
        if sys.byteorder == "big":
            rows.byteswap()
        return Response(rows.tobytes(), media_type="application/octet-stream")

    async def watch(self, socket: WebSocket) -> None:
        """Send the state to one page until it leaves, or the server ends."""
        await socket.accept(SUBPROTOCOL)
        changed, ends = asyncio.Event(), asyncio.Event()
        loop = asyncio.get_running_loop()

        def wake() -> None:
            with suppress(RuntimeError):  # the loop has ended
                loop.call_soon_threadsafe(changed.set)

        unlisten = self._feed.listen(wake)
        self._ends.add(ends)
        changed.set()
        sending = asyncio.create_task(self._send(socket, changed, ends))
        leaving = asyncio.create_task(_until_left(socket))
        try:
            await asyncio.wait((sending, leaving), return_when=asyncio.FIRST_COMPLETED)
        finally:
            unlisten()
            self._ends.discard(ends)
            for task in (sending, leaving):
                task.cancel()
                with suppress(asyncio.CancelledError, WebSocketDisconnect, RuntimeError, OSError):
                    await task

    async def end(self) -> None:
        """Tell every page how it ended and say good-bye, so that the server can end at once."""
        for ends in self._ends:
            ends.set()
        until_s = time.monotonic() + LONGEST_GOODBYE_S
        while self._ends and time.monotonic() < until_s:
            await asyncio.sleep(LEAST_BETWEEN_S / 2)

    async def _send(self, socket: WebSocket, changed: asyncio.Event, ends: asyncio.Event) -> None:
        sent: dict[str, Any] = {}
        cursor = self._feed.snapshot()["rows"]
        while not ends.is_set():
            with suppress(TimeoutError):
                await asyncio.wait_for(changed.wait(), SIGN_OF_LIFE_S)
            changed.clear()
            cursor = await self._send_moment(socket, sent, cursor)
            await asyncio.sleep(LEAST_BETWEEN_S)
        await self._send_moment(socket, sent, cursor)  # how it all ended
        await socket.close(1001)

    async def _send_moment(self, socket: WebSocket, sent: dict[str, Any], cursor: int) -> int:
        moment = self._feed.snapshot()
        pages = self._feed.listeners()
        for name in SELDOM:
            if sent.get(name) is moment[name]:
                del moment[name]
            else:
                sent[name] = moment[name]
        count = moment["rows"]
        first = cursor if cursor <= count else 0
        rows = self._feed.rows_from(first) if count - first <= MOST_ROWS else None
        width = len(sent["columns"])
        listed = [] if rows is None else _rows(rows, width)
        more = {"rows_from": first, "rows_new": listed, "pages": pages}
        await socket.send_text(json.dumps({**moment, **more}, allow_nan=False))
        return first + len(listed) if rows is not None else count


def _rows(flat: Any, width: int) -> list[list[float | None]]:
    numbers = [None if math.isnan(number) else round(number, 2) for number in flat]
    return [numbers[at : at + width] for at in range(0, len(numbers), width or 1)]


async def _until_left(socket: WebSocket) -> None:
    """Wait for the page to leave; what it says otherwise is not listened to."""
    while (await socket.receive())["type"] != "websocket.disconnect":
        pass
