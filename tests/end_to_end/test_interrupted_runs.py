"""Ctrl-C, a killed host, a dead device: heat off, nothing left running, nothing committed lost.

Signals and process tables are POSIX; on Windows these skip.
"""

import os
import signal
import time
from itertools import pairwise

import pytest

from emberbed.records import commands_of
from emberbed.store.run_store import RunStore
from emberbed_fw import messages, safety_limits
from emberbed_fw import run_states as rs
from tests.support.command import Started, listed, stored
from tests.support.processes import family_of, gone, need_posix

HEATING = "Stage 1 of"
FOREIGN = ("Traceback", "Error", "Errno", ".py")


@pytest.fixture(autouse=True)
def posix():
    need_posix("signals and `ps` are used to interrupt and to watch processes")


@pytest.fixture
def start(long_profile, tmp_path):
    """Return a function that starts a long run and waits until it heats: (running, store)."""
    running = []

    def begin(speed):
        store = tmp_path / "runs.sqlite"
        given = ("--speed", speed, "--press", "--store", store)
        running.append(Started("run", long_profile, *given))
        running[0].until(HEATING, 30)
        return running[0], store

    yield begin
    for one in running:
        one.__exit__()


def committed(store):
    with RunStore.open(store, create=False) as opened:
        return opened.run().ticks


def until_committed(store, count):
    end_s = time.monotonic() + 20
    while committed(store) < count:
        assert time.monotonic() < end_s, "nothing is being recorded"
        time.sleep(0.05)
    return committed(store)


def test_ctrl_c_stops_the_heat_and_stays_until_the_board_is_cool(start):
    run, store = start("100")
    device, interpreter = family_of(run.process.pid)
    until_committed(store, 400)
    run.process.send_signal(signal.SIGINT)
    run.until("Stop asked for: heat off")
    assert run.end() == 4, run.said
    assert not any(word in run.said for word in FOREIGN)
    tape = stored(store)
    assert (tape.run.state, tape.run.exit_code) == ("stopped", 4)
    stopped = next(n for n, one in enumerate(tape.records) if one.state == rs.COOL)
    after = tape.records[stopped:]
    assert not any(one.driven_zones for one in after)
    assert len(after) >= safety_limits.LEAST_COOL_TICKS
    assert after[-1].state == rs.STOPPED
    assert tape.gaps == 0
    assert gone(device) and gone(interpreter)


def test_a_second_ctrl_c_leaves_with_the_heat_off_and_says_so(start):
    run, store = start("20")
    device, interpreter = family_of(run.process.pid)
    run.process.send_signal(signal.SIGINT)
    run.until("Stop asked for")
    run.process.send_signal(signal.SIGINT)
    run.until("Left while the board was at ")
    assert run.end(15) == 4, run.said
    assert run.said.count("Left while the board was at ") == 2  # as it happens, and at the end
    assert not any(word in run.said for word in FOREIGN)
    tape = stored(store)
    assert (tape.run.state, tape.run.exit_code) == ("stopped", 4)
    last = tape.records[-1]
    assert (last.state, last.driven_zones) == (rs.COOL, 0)
    stop = (messages.STOP, bytes([messages.STOP_BY_PERSON]))
    stops = [n for n, raw in enumerate(tape.raw) if stop in commands_of(raw)]
    assert len(stops) == 1  # a recorded request, sent once
    assert not any(one.driven_zones for one in tape.records[stops[0] :])
    assert gone(device) and gone(interpreter)


def test_a_killed_host_takes_its_device_along_and_loses_nothing_committed(start):
    run, store = start("50")
    device, interpreter = family_of(run.process.pid)
    before = until_committed(store, 300)
    run.process.kill()
    run.process.wait()
    assert gone(device) and gone(interpreter)
    (row,) = listed(store)
    assert row["state"] == "interrupted"
    assert row["exit_code"] is None
    tape = stored(store)
    assert tape.run.ticks == len(tape.records) >= before
    assert all(after.tick == one.tick + 1 for one, after in pairwise(tape.records))
    assert tape.audit == []


@pytest.mark.parametrize("victim", ["interpreter", "device"])
def test_a_device_that_dies_is_told_in_one_sentence(start, victim):
    run, store = start("20")
    device, interpreter = family_of(run.process.pid)
    before = until_committed(store, 100)
    os.kill(interpreter if victim == "interpreter" else device, signal.SIGKILL)
    said = run.until("The virtual device ended by itself")
    assert "start a new run" in said
    assert run.end(20) == 5, run.said
    assert run.said.count("The virtual device ended") == 1
    assert not any(word in run.said for word in FOREIGN)
    tape = stored(store)
    assert (tape.run.state, tape.run.exit_code) == ("link_lost", 5)
    assert tape.run.ticks >= before
    assert tape.audit == []
    assert gone(device) and gone(interpreter)
