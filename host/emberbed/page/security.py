"""Who may ask the page's server for what: the last word before any route.

An ASGI layer around the app. In this order: the exact Host, Fetch-Metadata, the exact Origin on
everything that is no GET and on the WebSocket, method, kind and size of the body, the rate, the
token. Stopping needs no token: it is the safe direction. No CORS header is ever sent. Serves H10
(nobody but the person at the bench changes a run). Raises nothing; answers with one sentence.
"""

import hmac
import json
import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

from starlette.types import ASGIApp, Message, Receive, Scope, Send

TOKEN_BYTES = 16  # 128 bits
TOKEN_HEADER = "x-emberbed-token"
SUBPROTOCOL = "emberbed"  # of the WebSocket; the token comes as a second one, as "token-..."
TOKEN_PROTOCOL = "token-"
STOP_PATH = "/api/stop"
PAIR_PATH = "/api/pair"
ENTER_PATH = "/api/enter"
LIVE_PATH = "/api/live"
NEEDS_TOKEN = ("/api/", "/runs/")
PHOTO_PATH = "/api/before-heat/photo"
JOB_PHOTO = re.compile(r"/api/jobs/[0-9]{1,18}/photo")
MOST_BODY_BYTES = 64 * 1024
MOST_PHOTO_BYTES = 20 * 1024 * 1024  # as on the command line
JSON_KINDS, PHOTO_KINDS = ("application/json",), ("image/jpeg", "image/png")
MOST_LIVE = 8  # pages that watch at the same time
REQUESTS_PER_S = 60.0
BURST = 240.0  # a page loads some 25 files at once, and is reloaded by an impatient hand
OPEN, GUEST = "open", "guest"  # the person at the bench; a shared page that sees and stops

POLICY = (
    "default-src 'self'; base-uri 'none'; form-action 'none'; object-src 'none';"
    " frame-ancestors 'none'"
)
# A run's page is one file with its own style and pictures; nothing in it may run or ask.
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox"
)
HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}
SENTENCES = {
    "host": "This address is not the page's own: open the one that emberbed page has printed.",
    "origin": "Another page asked for this: open the address that emberbed page has printed.",
    "method": "The page's server knows GET and POST only.",
    "kind": "The page's server takes JSON only.",
    "size": f"The page's server takes at most {MOST_BODY_BYTES // 1024} KiB at once.",
    "photo_kind": "A photograph here is a JPEG or a PNG: choose one of these.",
    "photo_size": (
        f"This photograph is larger than {MOST_PHOTO_BYTES // 2**20} MiB: save it smaller."
    ),
    "rate": "Too many requests at once: wait a second, then try again.",
    "token": (
        "This page belongs to an earlier start, or came by another way: open the address that"
        " emberbed page has printed now."
    ),
    "guest": "A shared page can only watch and stop: do this on the computer at the bench.",
    "live": f"{MOST_LIVE} pages watch already: close one of them.",
}


@dataclass
class Door:
    """One way in: the hosts it answers to, whose tokens it knows (token -> OPEN or GUEST)."""

    hosts: frozenset[str]
    tokens: dict[str, str]
    cookie: str

    def role_of(self, token: str | None) -> str | None:
        """Return who has this token, in constant time for each known one; None for nobody."""
        found = None
        for known, role in self.tokens.items():
            if token is not None and hmac.compare_digest(known.encode(), token.encode()):
                found = role
        return found


class Rate:
    """A bucket of requests that fills again with time."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._left, self._at_s = BURST, clock()

    def allows(self) -> bool:
        now_s = self._clock()
        self._left = min(BURST, self._left + (now_s - self._at_s) * REQUESTS_PER_S)
        self._at_s = now_s
        if self._left < 1:
            return False
        self._left -= 1
        return True


class Doorman:
    """The layer. What passes has `scope["state"]["role"]`: OPEN, GUEST, or None without a token."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app = app
        self._door = door
        self._rate = Rate()
        self._live = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await self._websocket(scope, receive, send)
        elif scope["type"] == "http":
            await self._http(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = _headers(scope)
        role = self._role(scope, headers)
        refused = self._refusal(scope, headers, role)
        if refused is not None:
            await _answer(send, *refused)
            return
        scope.setdefault("state", {})["role"] = role
        most = _most_bytes(_takes_photo(scope["path"]))
        await self._app(scope, _counted(receive, most), _with_headers(send))

    def _refusal(
        self, scope: Scope, headers: dict[str, list[str]], role: str | None
    ) -> tuple[int, str] | None:
        """Return status and sentence of what may not pass, None for what may."""
        path, method = scope["path"], scope["method"]
        reading = method in ("GET", "HEAD")
        if not self._host(headers):
            return 403, "host"
        if not _same_site(headers, typed=reading):
            return 403, "origin"
        if not reading and method != "POST":
            return 405, "method"
        if not reading:
            wrong = self._wrong_body(headers, _takes_photo(path))
            if wrong is not None:
                return wrong
        if path == STOP_PATH:
            return None
        if not self._rate.allows():
            return 429, "rate"
        return self._not_let_in(path, reading, role)

    def _not_let_in(self, path: str, reading: bool, role: str | None) -> tuple[int, str] | None:
        if path == PAIR_PATH or (reading and not path.startswith(NEEDS_TOKEN)):
            return None
        if role is None:
            return 401, "token"
        watches = (reading and path.startswith(LIVE_PATH)) or path == ENTER_PATH
        return (403, "guest") if role == GUEST and not watches else None

    def _wrong_body(self, headers: dict[str, list[str]], photo: bool) -> tuple[int, str] | None:
        if not self._origin(headers):
            return 403, "origin"
        kind = _only(headers, "content-type") or ""
        if kind.partition(";")[0].strip().lower() not in (PHOTO_KINDS if photo else JSON_KINDS):
            return 415, "photo_kind" if photo else "kind"
        length = _only(headers, "content-length") or ""
        # a body without its length is not asked for by any page of ours
        if not length.isdecimal() or int(length) > _most_bytes(photo):
            return 413, "photo_size" if photo else "size"
        return None

    async def _websocket(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = _headers(scope)
        offered = scope.get("subprotocols") or []
        token = next((p for p in offered if p.startswith(TOKEN_PROTOCOL)), None)
        role = self._door.role_of(token.removeprefix(TOKEN_PROTOCOL)) if token else None
        passes = (
            self._host(headers)
            and _same_site(headers, typed=False)
            and self._origin(headers)
            and role is not None
        )
        if not passes or self._live >= MOST_LIVE or not self._rate.allows():
            await receive()
            await send({"type": "websocket.close", "code": 1008})  # before accepting: a plain 403
            return
        scope.setdefault("state", {})["role"] = role
        self._live += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._live -= 1

    def _host(self, headers: dict[str, list[str]]) -> bool:
        return _only(headers, "host") in self._door.hosts

    def _origin(self, headers: dict[str, list[str]]) -> bool:
        return _only(headers, "origin") == f"http://{_only(headers, 'host')}"

    def _role(self, scope: Scope, headers: dict[str, list[str]]) -> str | None:
        """Return whose token came: in its header, or for reading in the cookie too."""
        role = self._door.role_of(_only(headers, TOKEN_HEADER))
        if role is None and scope["method"] == "GET":
            role = self._door.role_of(_cookie(headers, self._door.cookie))
        return role


def _headers(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, content in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(content.decode("latin-1"))
    return found


def _only(headers: dict[str, list[str]], name: str) -> str | None:
    """Return a header that came once; twice is as good as never."""
    contents = headers.get(name, [])
    return contents[0] if len(contents) == 1 else None


def _same_site(headers: dict[str, list[str]], *, typed: bool) -> bool:
    """Tell whether the browser says that a page of ours asks; older browsers say nothing."""
    if "sec-fetch-site" not in headers:
        return True
    return _only(headers, "sec-fetch-site") in (("same-origin", "none") if typed else
                                                ("same-origin",))  # fmt: skip


def _cookie(headers: dict[str, list[str]], name: str) -> str | None:
    try:
        found = SimpleCookie(_only(headers, "cookie") or "").get(name)
    except CookieError:
        return None
    return found.value if found else None


def _takes_photo(path: str) -> bool:
    return path == PHOTO_PATH or JOB_PHOTO.fullmatch(path) is not None


def _most_bytes(photo: bool) -> int:
    return MOST_PHOTO_BYTES if photo else MOST_BODY_BYTES


def _counted(receive: Receive, most_bytes: int) -> Receive:
    """Give at most so many bytes of a body, whatever its length was said to be."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return message if taken <= most_bytes else {"type": "http.disconnect"}

    return counted


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _content in message["headers"]}
            more = {"content-security-policy": POLICY, **HEADERS}
            message["headers"] = [
                *message["headers"],
                *[(n.encode(), c.encode()) for n, c in more.items() if n.encode() not in own],
            ]
        await send(message)

    return sending


async def _answer(send: Send, status: int, why: str) -> None:
    body = json.dumps({"sentence": SENTENCES[why], "why": why}).encode()
    sending = _with_headers(send)
    headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
    await sending({"type": "http.response.start", "status": status, "headers": headers})
    await sending({"type": "http.response.body", "body": body})
