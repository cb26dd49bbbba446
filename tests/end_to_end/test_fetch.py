"""A device makes a run by itself, at its button; hours later a PC fetches what it remembers."""

import time

import pytest

from emberbed.bench.fetch import fetch_run
from emberbed.bench.prepare import NotReady, PlainHold, prepare, read_description
from emberbed.bench.run_files import write_page
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.link.device import Device
from emberbed.records import decode_record
from emberbed.store.run_store import RunStore
from emberbed_fw import run_states as rs

SPEED = 200
LONGEST_S = 60.0  # of the wall
ATTEND_EVERY_S = 2.0  # 400 simulated seconds: the device wants its button every 15 min


@pytest.fixture(scope="module")
def alone():
    """A virtual device that has run what a PC had left, started and attended at its button only."""
    with VirtualDevice(VirtualBench(speed=str(SPEED), engine="cpython")) as virtual:
        with Device.connect(virtual.url) as device:
            device.sink = lambda events: device.renew(events[-1].tick)  # else its clock stops
            _settings, description = read_description(device)
            device.send_plan(prepare(PlainHold(90.0, 1800.0), description).plan)
        time.sleep(0.2)
        virtual.hold_button(3.0)  # arms it
        time.sleep(0.2)
        virtual.hold_button(3.0)  # and starts it
        end_s = time.monotonic() + LONGEST_S
        state = rs.IDLE
        while state not in (rs.FINISHED, rs.TRIPPED, rs.STOPPED) and time.monotonic() < end_s:
            time.sleep(ATTEND_EVERY_S)
            virtual.tap_button()
            with Device.connect(virtual.url) as device:
                state = device.greeting.state
        assert state == rs.FINISHED
        yield virtual


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as run_store:
        yield run_store


def test_the_whole_run_comes_thinner_where_it_is_old(alone, store, tmp_path):
    came = []
    number = fetch_run(alone.url, store, progress=lambda now_s, all_s: came.append((now_s, all_s)))
    run = store.run(number)
    assert (run.state, run.exit_code) == ("finished", 0)
    ticks = [decode_record(raw).tick for raw in store.raw_records(number)]
    steps = {after - before for before, after in zip(ticks, ticks[1:], strict=False)}
    assert {300, 10, 1} <= steps, "every memory of the device had its part"
    warmest = max(record.channel0_cdeg for record in store.records(number))
    assert warmest > 8000
    assert came[-1][0] > 1800
    assert all(now_s <= all_s for now_s, all_s in came)
    assert "one in 30 s" in " ".join(event.sentence for event in store.events(number))
    page = tmp_path / "run.html"
    assert write_page(store, number, page) is None
    assert "Run that the device made by itself" in page.read_text("utf-8")


def test_a_run_that_is_there_already_is_not_stored_twice(alone, store):
    number = fetch_run(alone.url, store)
    with pytest.raises(NotReady, match=f"run {number} here: add --again"):
        fetch_run(alone.url, store)
    assert fetch_run(alone.url, store, again=True) == number + 1


def test_a_device_without_a_run_says_so(store):
    never_ran = pytest.raises(NotReady, match="no run since it was switched on")
    with VirtualDevice(VirtualBench(engine="cpython")) as virtual, never_ran:
        fetch_run(virtual.url, store)
    assert store.runs() == []
