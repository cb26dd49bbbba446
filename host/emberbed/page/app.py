"""The page's server: which address does what, in one table.

Reading is GET and changes nothing; everything else is a POST with JSON. Nothing here starts heat:
`run` loads the device and waits for the press there.
"""

from contextlib import suppress
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles

from emberbed import __version__
from emberbed.bench import key_table
from emberbed.bench.prepare import NotReady
from emberbed.page import answers, before_heat, handbook_routes
from emberbed.page.answers import body_of, number_in, taken, text_in, told
from emberbed.page.before_routes import BeforeRoutes, board_in, note_in
from emberbed.page.feed import Feed
from emberbed.page.job_routes import JobRoutes
from emberbed.page.library import Library
from emberbed.page.live import Live
from emberbed.page.profile_routes import ProfileRoutes
from emberbed.page.run_desk import RunDesk
from emberbed.page.run_routes import RunRoutes
from emberbed.page.security import ENTER_PATH, GUEST, LIVE_PATH, PAIR_PATH, STOP_PATH, Door, Doorman
from emberbed.page.sharing import Sharing
from emberbed.page.workers import Workers
from emberbed.store.faults import StoreError

STATIC = Path(str(files("emberbed.page") / "static"))
SIMULATED_ACTS = ("press", "air")


@dataclass(frozen=True)
class Parts:
    """What the server is made of."""

    feed: Feed
    desk: RunDesk
    library: Library
    workers: Workers
    live: Live
    sharing: Sharing
    fixed: bool = False  # the run is the terminal's: nothing can be chosen here
    fahrenheit: bool = False  # readings are shown in degrees F too


class Bench:
    """The controls of a run."""

    def __init__(self, parts: Parts, door: Door) -> None:
        self._parts = parts
        self._door = door

    async def index(self, _request: Request) -> Response:
        return FileResponse(STATIC / "index.html")

    async def enter(self, request: Request) -> Response:
        """Let reading go on by a cookie too, for files that the browser opens by itself."""
        role = request.scope["state"]["role"]
        token = next(known for known, its in self._door.tokens.items() if its == role)
        bench = self._parts.desk.bench
        about = {
            "version": __version__,
            "guest": role == GUEST,
            "fixed": self._parts.fixed,
            "fahrenheit": self._parts.fahrenheit,
            "device": bench.device,
            "simulated": bench.virtual is not None,
            "items": before_heat.ITEMS,
            "shared": self._parts.sharing.about() if role != GUEST else None,
        }
        response = JSONResponse(about)
        response.set_cookie(self._door.cookie, token, httponly=True, samesite="strict")
        return response

    async def stop(self, _request: Request) -> Response:
        """Take the heat away: from anyone, at any time."""
        self._parts.desk.seat.stop()
        return taken()

    async def answer(self, request: Request) -> Response:
        self._parts.desk.seat.answer(number_in(await body_of(request), "prompt"))
        return taken()

    async def touch(self, request: Request) -> Response:
        body = await body_of(request)
        key = text_in(body, "key")
        if key not in key_table.BY_KEY:
            raise answers.Misunderstood
        self._parts.desk.seat.change(key, number_in(body, "stage"))
        return taken()

    async def simulated(self, request: Request) -> Response:
        act = text_in(await body_of(request), "act")
        if act not in SIMULATED_ACTS:
            raise answers.Misunderstood
        if self._parts.desk.bench.virtual is None:
            raise NotReady(["This device is a real one: its button is on the device"])
        self._parts.desk.seat.simulate(act)
        return taken()

    async def run(self, request: Request) -> Response:
        """Load a profile into the device; heat waits for the press there."""
        body = await body_of(request)
        text = self._parts.library.read(text_in(body, "where"), text_in(body, "name"))
        if body.get("confirmed") != list(before_heat.ITEMS):
            raise NotReady(["Confirm all that has to be so before heat, then load it"])
        board, note = board_in(text_in(body, "board")), note_in(text_in(body, "note", ""))
        said = (before_heat.said_before_heat(note),)
        begun_by = {"where": text.where, "name": text.name, "board": board}
        await run_in_threadpool(self._parts.desk.start, text.path, board, said, begun_by)
        with suppress(StoreError, NotReady):  # a help for the next time, and nothing that hinders
            store = self._parts.desk.bench.store
            await self._parts.workers.work(before_heat.keep, store, board, note)
        return taken()

    async def resume(self, _request: Request) -> Response:
        """Take over the run that a program which has ended left open on the device."""
        await run_in_threadpool(self._parts.desk.resume)
        return taken()

    async def look(self, _request: Request) -> Response:
        await run_in_threadpool(self._parts.desk.look_at_device)
        return taken()

    async def self_test(self, _request: Request) -> Response:
        """Let the device that is looked at test itself; that never heats."""
        self._parts.desk.look.test()
        return taken()

    async def look_away(self, _request: Request) -> Response:
        await run_in_threadpool(self._parts.desk.look.end)
        return taken()

    async def clear(self, _request: Request) -> Response:
        self._parts.desk.clear()
        return taken()


def make_app(parts: Parts, door: Door) -> Doorman:
    """Return the server behind its doorman."""
    bench = Bench(parts, door)
    reads: dict[str, answers.Handler] = {
        f"{LIVE_PATH}/curve": parts.live.curve,
    }
    writes: dict[str, answers.Handler] = {
        STOP_PATH: bench.stop,
        ENTER_PATH: bench.enter,
        "/api/answer": bench.answer,
        "/api/touch": bench.touch,
        "/api/simulated": bench.simulated,
    }
    if not parts.fixed:
        writes |= {
            "/api/run": bench.run,
            "/api/resume": bench.resume,
            "/api/clear": bench.clear,
            "/api/look": bench.look,
            "/api/look-away": bench.look_away,
            "/api/self-test": bench.self_test,
        }
    at = parts.desk.bench
    runs = RunRoutes(at.store, at.device, parts.workers)
    before = BeforeRoutes(at.store, parts.desk, parts.workers)
    jobs = JobRoutes(at.store, parts.workers)
    for more in (ProfileRoutes(parts.library, parts.workers, at.heater), runs, before, jobs):
        reads |= more.reads()
        writes |= more.writes()
    writes[PAIR_PATH] = parts.sharing.pair
    routes = [
        Route("/", bench.index),
        WebSocketRoute(LIVE_PATH, parts.live.watch),
        *[Route(path, told(handler), methods=["GET"]) for path, handler in reads.items()],
        *[Route(path, told(handler), methods=["POST"]) for path, handler in writes.items()],
        handbook_routes.ROUTE,
        Mount("/static", StaticFiles(directory=STATIC)),
    ]
    return Doorman(Starlette(routes=routes), door)
