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
from typing import Any, TypeVar

HELPERS = 2
Result = TypeVar("Result")


class Workers:
    """Close them at the end."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    async def work(self, task: Callable[..., Result], *given: Any) -> Result:
        """Return what `task` gives in a helper process; its exceptions come through."""
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._ready(), task, *given)
        except BrokenProcessPool:  # killed from outside: once more, in fresh ones
            self.close()
            return await loop.run_in_executor(self._ready(), task, *given)

    def close(self) -> None:
        pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=False, cancel_futures=True)

    def _ready(self) -> ProcessPoolExecutor:
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._pool = ProcessPoolExecutor(HELPERS, context, _serve_the_page_alone)
        return self._pool


def _serve_the_page_alone() -> None:
    """Leave Ctrl-C to the page, and end with it however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_the_page, daemon=True).start()


def _end_with_the_page() -> None:
    page = multiprocessing.parent_process()
    if page is not None:
        page.join()
        os._exit(0)
