"""A host at a device that is used alone: it may watch and cool, and may not steer the heat."""

import struct

import pytest

from emberbed.link.frames import FrameSplitter
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import stock_hold
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import (
    HANDLING_TICKS,
    LEASE_TICKS,
    LEAST_COOL_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.snapshot import take_snapshot
from tests.support import trips
from tests.support.alone import armed, running, switched_on
from tests.support.bench import short_plan

HARMLESS = (ms.COOL_DOWN, ms.MARK, ms.FAN_NOW)
STEERING = sorted(set(ms.TOUCH_NAMES) - set(HARMLESS) - {ms.ANSWER})
SOURCES = (ms.BY_TERMINAL, ms.BY_PAGE, ms.BY_SCRIPT)


def alone(stage=trips.HOLD):
    """Return a bench in a stage of a run that its button answers for; no host renews anything."""
    bench = trips.running(stage, ms.ATTEND_PANEL)
    bench.renews = False
    bench.tick(2)
    return bench


def test_host_does_not_answer_for_a_run_at_the_device():
    device = running()
    device.connect()
    device.warm(110.0)
    left = device.machine.guard.lease_left
    device.tick(100)
    assert device.machine.guard.lease_left == left - 100


def test_host_may_watch_and_stop_it():
    device = running()
    device.connect()
    device.tick(5)
    device.send(ms.STOP, b"\1")
    device.tick(2)
    assert device.state == rs.COOL and device.machine.life.verdict == rs.STOPPED


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize("touch", STEERING)
def test_host_may_not_steer_it(touch, source):
    bench, other = alone(), alone()
    assert ms.REFUSAL_NAMES[bench.touch(touch, 100, source)] == "WRONG_STATE"
    other.tick()
    assert take_snapshot(bench.machine) == take_snapshot(other.machine)


def test_the_same_host_steers_its_own_run():
    # not refused for another reason
    for touch in set(STEERING) - {ms.GO_ON}:
        assert trips.running().touch(touch, 100) == ms.DONE, ms.TOUCH_NAMES[touch]


def test_host_may_mark():
    bench = alone()
    assert bench.touch(ms.MARK, ms.MARK_NOTE, ms.BY_PAGE) == ms.DONE
    assert bench.record.mark == ms.MARK_NOTE and bench.state == rs.RUN


def test_host_may_cool_it_down_and_start_the_fan():
    bench = alone()
    assert bench.touch(ms.COOL_DOWN, 0, ms.BY_PAGE) == ms.DONE
    assert bench.state == rs.COOL and not bench.heats
    assert bench.touch(ms.FAN_NOW, 0, ms.BY_PAGE) == ms.DONE


@pytest.mark.parametrize("source", SOURCES)
@pytest.mark.parametrize(
    ("stage", "prompt"),
    [(trips.WAIT, trips.WAIT_PROMPT), (trips.AIR, trips.NOZZLE_PROMPT)],
)
def test_host_may_not_answer_for_the_person_at_the_device(stage, prompt, source):
    bench = alone(stage)
    assert bench.record.prompt == prompt
    bench.acknowledge(prompt, source)
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_STATE"
    bench.tick()
    assert (bench.record.stage, bench.record.prompt) == (stage, prompt)
    assert not bench.machine.air_is_on()


def test_host_may_not_say_that_a_trip_is_mended():
    bench = trips.mended(bench=alone())
    bench.acknowledge(GO_ON_PROMPT)
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_STATE"
    assert bench.record.touch == 0 and bench.state == rs.COOL


# Who answers afterwards.


def test_host_that_comes_back_after_a_run_at_the_device_answers_again():
    """Otherwise the button would arm over the head of a host that has just stored its plan."""
    device = running()
    device.tick(20)
    device.press()
    device.tick(LEAST_COOL_TICKS + HANDLING_TICKS + 5)
    assert device.state == rs.FINISHED
    device.connect()
    device.write_plan(short_plan())
    device.tick(5)
    assert device.state == rs.LOADED
    device.press()
    device.tick(20)
    assert device.state == rs.LOADED and device.machine.guard.held_by_host()


def test_host_answers_again_when_an_arming_at_the_device_has_expired():
    device = armed()
    device.tick(PRESS_VALID_TICKS)
    assert device.state == rs.LOADED
    device.connect()
    device.tick(5)
    assert device.machine.guard.held_by_host()
    device.press()
    device.tick(20)
    assert device.state == rs.LOADED, "the button arms nothing over the head of a host"


# What it reads.


def plan_read(device, length):
    """Return the plan's bytes as a host reads them."""
    read = b""
    while len(read) < length:
        heard = len(device.port.sent)
        device.send(ms.PLAN_READ, struct.pack("<HB", len(read), ms.BLOCK_CHUNK))
        device.tick()
        (part,) = [
            frame.payload[4:]
            for frame in FrameSplitter().feed(device.port.sent[heard:])
            if frame.message_type == ms.REPLY and frame.payload[0] == ms.PLAN_READ
        ]
        assert part, "no such bytes"
        read += part
    return read[:length]


def test_host_reads_the_plain_hold_that_runs():
    device = switched_on()
    device.connect()
    device.write_plan(short_plan())
    device.send(ms.STOP, b"\1")
    device.tick(HANDLING_TICKS + 5)
    assert device.state == rs.STOPPED
    device.hosted = False
    device.tick(LEASE_TICKS + 1)
    device.press()
    device.tick(15)
    assert device.state == rs.COLD_PROOF
    device.connect()
    plan = stock_hold.build_hold(device.machine.settings)
    assert plan_read(device, len(plan)) == plan
