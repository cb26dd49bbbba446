"""Helper processes: their answers, their deaths, and their end with the page."""

import asyncio
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.page.workers import Ended, Workers

SOON_S = 10.0
LONG_S = 600
# a page that is killed while its helper is at work; says the helper's process number first
KILLED_PAGE = """
import asyncio, os, time
from emberbed.page.workers import Workers
from tests.page.test_workers import tell_and_sleep
if __name__ == "__main__":
    asyncio.run(Workers().work(tell_and_sleep))
"""


def finished(work):
    """Run a coroutine to its end, in a thread: a browser's tests leave a loop in this one."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()


def refuse():
    raise NotReady(["The first.", "The second."])


def sleep():
    time.sleep(LONG_S)


def tell_and_sleep():
    print(os.getpid(), flush=True)
    sleep()


def die():
    os._exit(3)


@pytest.fixture
def workers():
    made = Workers()
    yield made
    made.end()


def test_what_a_helper_refuses_comes_through_whole(workers):
    with pytest.raises(NotReady) as refused:
        finished(workers.work(refuse))
    assert refused.value.sentences == ["The first.", "The second."]


def test_a_helper_that_was_killed_is_replaced(workers):
    async def killed_at_work():
        before = await workers.work(os.getpid)
        os.kill(before, signal.SIGTERM)
        return before, await workers.work(os.getpid)

    before, after = finished(killed_at_work())
    assert before != after


def test_the_end_waits_for_no_work_even_after_a_helper_has_died(workers):
    """A helper that died must leave nothing behind that the end would wait for."""

    async def ended_at_work():
        work = asyncio.create_task(workers.work(sleep))
        for process in multiprocessing.active_children():
            process.kill()
        await asyncio.sleep(1)
        began_s = time.monotonic()
        workers.end()
        with pytest.raises((Ended, asyncio.CancelledError)):
            await work
        return time.monotonic() - began_s

    assert finished(ended_at_work()) < SOON_S


def test_nothing_is_worked_out_after_the_end(workers):
    workers.end()
    with pytest.raises(Ended):
        finished(workers.work(os.getpid))


@pytest.mark.skipif(sys.platform != "linux", reason="looks at /proc")
def test_helpers_end_with_a_page_that_is_killed(tmp_path):
    script = tmp_path / "page.py"
    script.write_text(KILLED_PAGE)
    paths = os.pathsep.join(filter(None, sys.path))
    page = subprocess.Popen(
        [sys.executable, str(script)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": paths},
    )
    helper = int(page.stdout.readline())
    page.kill()
    page.wait()
    page.stdout.close()
    end_s = time.monotonic() + SOON_S
    while is_there(helper):
        assert time.monotonic() < end_s, "the helper lives on"
        time.sleep(0.1)


def is_there(process_id):
    """Tell whether a process runs; one that nobody has buried yet does not."""
    try:
        with open(f"/proc/{process_id}/stat", encoding="ascii") as stat:
            return stat.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
