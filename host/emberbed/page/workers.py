"""Helper processes for what takes time: checks, rehearsals, reading long runs.

The process that answers for the heat only waits for their answers. A helper that died is replaced.
"""

import asyncio
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any, TypeVar

HELPERS = 2
Result = TypeVar("Result")


class Ended(Exception):
    """The page's program ends, so nothing is worked out any more."""


class Workers:
    """End them at the end."""

    def __init__(self) -> None:
        self._context = multiprocessing.get_context("spawn")
        # helpers wait for its end: it comes when the page closes it, and when the page is killed
        self._lifeline, self._held = self._context.Pipe(duplex=False)
        self._pool: ProcessPoolExecutor | None = None

    async def work(self, task: Callable[..., Result], *given: Any) -> Result:
        """Return what `task` gives in a helper process; its exceptions come through.

        Raises Ended instead once `end` was called.
        """
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._ready(), task, *given)
        except BrokenProcessPool:  # killed from outside: once more, in fresh ones
            self._close()
            return await loop.run_in_executor(self._ready(), task, *given)

    def end(self) -> None:
        """Let nothing more be worked out, and leave at once what is."""
        self._held.close()
        self._close()

    def _close(self) -> None:
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=False, cancel_futures=True)

    def _ready(self) -> ProcessPoolExecutor:
        if self._held.closed:
            raise Ended
        if self._pool is None:
            begin, given = _serve_the_page_alone, (self._lifeline,)
            self._pool = ProcessPoolExecutor(HELPERS, self._context, begin, given)
        return self._pool


def _serve_the_page_alone(lifeline: Connection) -> None:
    """Leave Ctrl-C to the page, and end with it however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_page, args=(lifeline,), daemon=True).start()


def _end_with_the_page(lifeline: Connection) -> None:
    with suppress(EOFError, OSError):
        lifeline.recv()
    os._exit(0)
