"""Sharing with a tablet on the bench's network: an explicit choice, watching and stopping only.

A shared page comes in by a door of its own, at the address that the person named, and pairs with a
code of six digits that only the terminal and the page at the bench show. Five wrong codes close
the pairing until the next start.
"""

import hmac
import secrets
import threading
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from emberbed.bench.prepare import NotReady
from emberbed.page.answers import body_of, text_in
from emberbed.page.security import GUEST, TOKEN_BYTES, Door

CODE_DIGITS = 6
MOST_WRONG = 5
NOT_SHARED = "This page is not shared: start it with --share to pair a tablet."
WRONG_CODE = "This is not the pairing code: it stands in the terminal and on the page at the bench."
CLOSED = "Too many wrong codes: start emberbed page again to pair a tablet."


class Sharing:
    """`door` is the tablet's way in, None where nothing is shared."""

    def __init__(self, door: Door | None = None, url: str = "") -> None:
        self._door = door
        self._url = url
        self.code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))
        self._wrong = 0
        self._lock = threading.Lock()

    def about(self) -> dict[str, Any] | None:
        """Return address and code for the person at the bench."""
        return None if self._door is None else {"url": self._url, "code": self.code}

    async def pair(self, request: Request) -> Response:
        """Give a token for watching and stopping in exchange for the code."""
        code = text_in(await body_of(request), "code")
        if self._door is None:
            raise NotReady([NOT_SHARED])
        with self._lock:
            if self._wrong >= MOST_WRONG:
                raise NotReady([CLOSED])
            if not hmac.compare_digest(code.encode(), self.code.encode()):
                self._wrong += 1
                raise NotReady([WRONG_CODE])
        token = secrets.token_hex(TOKEN_BYTES)
        self._door.tokens[token] = GUEST
        return JSONResponse({"token": token})
