"""Listen, serve, end: the page's server as a whole.

Ctrl-C while a run is on takes the heat away and lets the cooling be recorded; a second one leaves.
Raises NotReady when the port or address cannot be had.
"""

import asyncio
import secrets
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from rich.console import Console

from emberbed.bench.prepare import NotReady
from emberbed.page.app import Parts, make_app
from emberbed.page.feed import Feed
from emberbed.page.library import Library
from emberbed.page.live import Live
from emberbed.page.run_desk import Bench, RunDesk
from emberbed.page.security import OPEN, TOKEN_BYTES, Door
from emberbed.page.sharing import Sharing
from emberbed.page.workers import Workers

LOOPBACK = "127.0.0.1"
MOST_CONNECTIONS = 64
END_S = 5.0
LOOK_S = 0.1
STOPPING = (
    "Heat off, the cooling is still recorded; the page stays until it is over. Ctrl-C again leaves."
)


@dataclass(frozen=True)
class Asked:
    """What a person wrote. `share` is this computer's address on the bench's network,
    `fahrenheit` shows readings in degrees F too."""

    bench: Bench
    profiles: Path
    given: Path | None = None
    port: int = 0
    share: str | None = None
    fahrenheit: bool = False


class _Server(uvicorn.Server):
    """Leaves signals to the page."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class PageServer:
    """Opened with its ports taken; `serve` returns at its end. `url` is for the person alone."""

    def __init__(self, asked: Asked, console: Console, *, fixed: bool = False) -> None:
        self._sockets = [_listening(LOOPBACK, asked.port)]
        port = self._sockets[0].getsockname()[1]
        if asked.share is not None:
            try:
                self._sockets.append(_listening(_shareable(asked.share), port))
            except NotReady:
                self._sockets[0].close()
                raise
        self.port: int = port
        token = secrets.token_hex(TOKEN_BYTES)
        self.url = f"http://{LOOPBACK}:{port}/#{token}"
        cookie = f"emberbed_{port}"
        door = Door(_hosts(LOOPBACK, port) | _hosts("localhost", port), {token: OPEN}, cookie)
        shared = Door(_hosts(asked.share, port), {}, cookie) if asked.share else None
        self.shared_url = f"http://{asked.share}:{port}/" if asked.share else None
        self.sharing = Sharing(shared, self.shared_url or "")
        self.feed = Feed()
        self.desk = RunDesk(asked.bench, self.feed, console)
        self._live = Live(self.feed)
        self._workers = Workers()
        library = Library(asked.profiles, asked.given)
        page = (self._live, self.sharing, fixed, asked.fahrenheit)
        parts = Parts(self.feed, self.desk, library, self._workers, *page)
        doors = [door, *([shared] if shared else [])]
        self._servers = [_Server(_config(make_app(parts, one))) for one in doors]
        self._console = console
        self._interrupts = 0
        self._ends = threading.Event()

    def serve(self) -> None:
        """Serve until Ctrl-C, or `end`; a run that is on is ended first."""
        with _signals(self._interrupted):
            asyncio.run(self._serve())
        self.desk.seat.leave()
        self.desk.wait()
        self.desk.look.end()

    def in_background(self) -> Callable[[], None]:
        """Serve from another thread, for a run of the terminal; return how to end."""
        thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="page")
        thread.start()

        def end() -> None:
            self.end()
            thread.join(END_S)

        return end

    def end(self) -> None:
        """End the server; safe to call from any thread and signal handler."""
        self._ends.set()

    async def _serve(self) -> None:
        pairs = zip(self._servers, self._sockets, strict=True)
        serving = [asyncio.create_task(server.serve(sockets=[sock])) for server, sock in pairs]
        try:
            while not self._ends.is_set() and not all(task.done() for task in serving):
                await asyncio.sleep(LOOK_S)
            self._workers.end()
            await self._live.end()
            for server in self._servers:
                server.should_exit = True
            await asyncio.wait(serving)
        finally:
            self._workers.end()

    def _interrupted(self) -> None:
        self._interrupts += 1
        if self._interrupts == 1 and self.desk.busy():
            self.desk.seat.stop()
            self._console.print(STOPPING, highlight=False)
            threading.Thread(target=self._end_when_over, daemon=True).start()
            return
        self.end()

    def _end_when_over(self) -> None:
        self.desk.wait()
        self.end()


def _config(app) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        log_config=None,
        lifespan="off",
        ws="websockets-sansio",
        ws_max_size=1024,  # pages only listen there
        ws_ping_interval=10,
        limit_concurrency=MOST_CONNECTIONS,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=2,
        server_header=False,
        proxy_headers=False,
    )


def _hosts(address: str, port: int) -> frozenset[str]:
    return frozenset({f"{address}:{port}"})


def _shareable(address: str) -> str:
    """Return the address, or refuse one that is not of one network."""
    try:
        socket.inet_pton(socket.AF_INET, address)
        whole = socket.inet_aton(address) == bytes(4)
    except OSError:
        whole = True
    if whole:
        raise NotReady(
            [
                f"--share {address} is no address of this computer on the bench's network: name"
                " the one, such as --share 192.168.1.20"
            ]
        )
    return address


def _listening(address: str, port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((address, port))
        listener.listen(64)
    except OSError as error:
        listener.close()
        raise NotReady([_not_listening(address, port, error)]) from None
    return listener


def _not_listening(address: str, port: int, error: OSError) -> str:
    if address != LOOPBACK and port != 0:
        return f"The page cannot be shared at {address}:{port} ({error.strerror}): mend --share"
    return (
        f"Port {port} of this computer cannot be had ({error.strerror}): another program, perhaps"
        " another emberbed page, has it; use that page, or name another port with --port"
    )


@contextmanager
def _signals(interrupted: Callable[[], None]) -> Iterator[None]:
    before = {
        number: signal.signal(number, lambda _number, _frame: interrupted())
        for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
