"""The device used alone, through its main loop: its button arms, goes on, and must be touched."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import (
    HANDLING_TICKS,
    LEASE_TICKS,
    LEAST_COOL_TICKS,
    PANEL_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.touches import READ_TICKS
from tests.support.alone import HOLD_CDEG, armed, running, switched_on
from tests.support.bench import short_plan

# Arming.


def test_held_button_arms_a_plain_hold_and_heats_nothing():
    device = armed()
    device.tick(PRESS_VALID_TICKS // 2)
    assert device.state == rs.COLD_PROOF and not device.heats
    assert device.machine.plan.header["peak_cdeg"] == HOLD_CDEG
    assert device.machine.guard.attendance == ms.ATTEND_PANEL
    assert all(drive == (0, 0) for drive in device.port.drives)


def test_press_that_arms_is_not_the_press_that_heats():
    device = switched_on()
    device.port.button = True
    device.tick(300)
    assert device.state == rs.COLD_PROOF and device.record.waits_for == rs.WAITS_RELEASE
    assert not device.heats


def test_second_press_heats_and_holds():
    device = running()
    device.tick(35)
    assert device.record.energy_j > 0 and device.record.stage == 0
    device.warm(110.0)
    device.tick(3000)
    assert device.record.stage == 1
    assert device.record.setpoint_cdeg == HOLD_CDEG


def test_press_that_does_not_come_ends_the_arming():
    device = armed()
    device.tick(PRESS_VALID_TICKS)
    assert device.state == rs.LOADED
    # nobody answers for anything now: a host that comes answers as at any other device
    assert device.machine.guard.attendance == ms.ATTEND_HOST


def test_device_without_a_plain_hold_arms_nothing():
    device = switched_on(hold_cdeg=0)
    device.press()
    device.tick(20)
    assert device.state == rs.IDLE


def test_hold_that_the_device_cannot_bear_arms_nothing():
    cold = (("near chip", 1, HOLD_CDEG - 2000, 0, 4096),)
    device = switched_on(channels=cold)
    device.press()
    device.tick(20)
    # its ceiling lies below the target: armed, it would trip on the way
    assert device.state == rs.IDLE


def test_tap_arms_nothing():
    device = switched_on()
    for _ in range(5):
        device.tap()
    assert device.state == rs.IDLE


@pytest.mark.parametrize("verdict", [rs.FINISHED, rs.STOPPED])
def test_next_hold_can_be_armed_after_the_last(verdict):
    device = running()
    device.tick(20)
    if verdict == rs.FINISHED:
        device.press()
    else:
        device.send(ms.STOP, b"\1")
        device.tick(2)
    assert device.state == rs.COOL
    device.tick(LEAST_COOL_TICKS + HANDLING_TICKS + 5)
    assert device.state == verdict
    device.press()
    device.tick(15)
    assert device.state == rs.COLD_PROOF


# A plan that a host has left.


def left_by_a_host():
    device = switched_on()
    device.connect()
    device.write_plan(short_plan())
    assert device.state == rs.LOADED
    device.hosted = False
    device.tick(LEASE_TICKS + 1)
    return device


def test_plan_left_by_a_host_is_armed_by_the_button():
    device = left_by_a_host()
    device.press()
    device.tick(15)
    assert device.state == rs.COLD_PROOF
    assert device.machine.plan.header["peak_cdeg"] == 8000
    device.press()
    device.until(rs.RUN)


@pytest.mark.parametrize("state", [rs.IDLE, rs.LOADED])
def test_button_arms_nothing_while_a_host_answers(state):
    device = switched_on()
    device.connect()
    device.tick(2)
    if state == rs.LOADED:
        device.write_plan(short_plan())
    assert device.machine.guard.held_by_host()
    device.press()
    device.tick(20)
    assert device.state == state


# Answering for the heat.


def test_untouched_it_gives_up_after_a_quarter_of_an_hour():
    device = running()
    device.warm(110.0)
    left = device.machine.guard.lease_left
    assert PANEL_TICKS - 60 < left <= PANEL_TICKS
    device.tick(left - 1)
    assert device.state == rs.RUN
    device.tick()
    assert device.state == rs.COOL and device.machine.guard.trip == trip_codes.PROMPT_OVERDUE
    assert not device.heats


def test_any_press_answers_for_another_quarter_of_an_hour():
    device = running()
    device.warm(110.0)
    for _ in range(2):
        device.tick(PANEL_TICKS - 100)
        device.tap(then=2)
        assert device.machine.guard.lease_left > PANEL_TICKS - 10
        assert device.state == rs.RUN


# Going on.


def tripped():
    device = running()
    device.warm(60.0)
    device.tick(50)
    device.port.board_c = [60.0, 500.0]  # out of range
    device.tick(3)
    assert device.machine.guard.trip == trip_codes.SENSOR_RANGE
    device.warm(60.0)
    device.tick(15 + READ_TICKS)
    assert device.record.prompt == GO_ON_PROMPT
    return device


def test_mended_trip_goes_on_by_two_presses():
    device = tripped()
    device.tap()
    device.tick(15)
    assert device.state == rs.COLD_PROOF and not device.heats
    device.press()
    device.until(rs.RUN)
    assert device.record.stage == 0 and device.machine.guard.trip == trip_codes.NO_TRIP


def test_mended_trip_does_not_go_on_without_the_second_press():
    device = tripped()
    device.tap()
    device.tick(PRESS_VALID_TICKS + 20)
    assert device.state == rs.COOL and device.machine.life.verdict == rs.STOPPED


def test_hold_goes_on_with_what_was_done_of_it():
    device = running()
    device.warm(110.0)
    device.tick(3500)
    assert device.record.stage == 1
    done = device.record.stage_tick
    device.port.board_c = [110.0, 500.0]
    device.tick(3)
    device.warm(110.0)
    device.tick(15 + READ_TICKS)
    device.tap()
    device.tick(15)
    device.press()
    device.until(rs.RUN)
    assert device.record.stage == 1 and done <= device.record.stage_tick <= done + 5


@pytest.mark.parametrize("when", ["waiting for the press", "in the hot proof"])
def test_it_goes_on_after_another_trip_before_its_stages(when):
    device = tripped()
    device.tap()
    device.tick(15)
    assert device.state == rs.COLD_PROOF
    if when == "in the hot proof":
        device.press()
        assert device.state == rs.HOT_PROOF
        device.port.board_c = [60.0, 500.0]
        device.tick(3)
        assert device.machine.guard.trip == trip_codes.SENSOR_RANGE
        device.warm(60.0)
        device.tick(15 + READ_TICKS)
        device.tap()
        device.tick(15)
    assert device.state == rs.COLD_PROOF
    device.press()
    device.until(rs.RUN)
    assert device.record.stage == 0


def test_run_of_a_host_does_not_go_on_by_the_button_alone():
    device = switched_on()
    device.connect()
    device.write_plan(short_plan())
    device.arm(short_plan())
    device.tick(15)
    device.press()
    device.until(rs.RUN)
    device.port.board_c = [25.0, 500.0]
    device.tick(3)
    device.warm(25.0)
    device.tick(15)
    assert device.record.prompt == GO_ON_PROMPT
    device.tap()
    device.tick(20)
    assert device.state == rs.COOL, "the host sees the answer and arms"


# Clearing.


def test_press_that_clears_a_trip_does_no_more():
    device = running()
    device.tick(20)
    device.port.board_c = [140.0, 140.0]
    device.tick(3)
    assert device.machine.guard.trip == trip_codes.OVER_TEMPERATURE
    device.warm(25.0)
    device.until(rs.TRIPPED)
    device.tick(5)
    device.press()
    device.tick(20)
    assert device.state == rs.IDLE and device.machine.guard.trip == trip_codes.NO_TRIP
    device.press()
    device.tick(15)
    assert device.state == rs.COLD_PROOF
