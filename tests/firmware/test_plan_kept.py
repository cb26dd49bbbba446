"""A device without a PC, after a power-down: the plan of the last run, or a hold by two taps."""

import pytest

from emberbed_fw import run_states as rs
from emberbed_fw.panel_text import LETTERS, STATE_TEXTS, WAIT_TEXTS, panel_lines
from emberbed_fw.safety_limits import HANDLING_TICKS, LEASE_TICKS, LEAST_COOL_TICKS
from tests.support.alone import HOLD_CDEG, running, switched_on
from tests.support.bench import short_plan

PLAN_PEAK_CDEG = 8000


def ran_a_hosts_plan():
    """Return a device whose host's plan has heated, was stopped at the button and has cooled."""
    device = switched_on()
    device.connect()
    device.write_plan(short_plan())
    device.hosted = False
    device.tick(LEASE_TICKS + 1)
    return through(device)


def through(device):
    """Arm at the button, heat, cool."""
    device.press()
    device.tick(15)
    device.press()
    device.until(rs.RUN)
    device.tick(5)
    device.press()
    device.tick(LEAST_COOL_TICKS + HANDLING_TICKS + 5)
    assert device.state == rs.FINISHED
    return device


def after_power_down(before):
    device = switched_on()
    device.port.plan = before.port.plan
    return device


def test_plan_that_has_run_is_kept_whole_and_once():
    device = ran_a_hosts_plan()
    assert device.port.plan == short_plan()
    device.port.plan = b"not written again"
    through(device)
    assert device.port.plan == b"not written again"


def test_nothing_is_written_before_the_run_has_ended():
    device = switched_on()
    device.connect()
    device.write_plan(short_plan())
    device.hosted = False
    device.tick(LEASE_TICKS + 1)
    device.press()
    device.tick(15)
    device.press()
    device.until(rs.RUN)
    device.tick(100)
    assert device.port.plan == b""


def test_held_button_arms_the_last_plan_after_a_power_down():
    device = after_power_down(ran_a_hosts_plan())
    device.press()
    device.tick(15)
    assert device.state == rs.COLD_PROOF and not device.heats
    assert device.machine.plan.header["peak_cdeg"] == PLAN_PEAK_CDEG
    device.press()
    device.until(rs.RUN)


def test_two_taps_arm_the_plain_hold_all_the_same():
    device = after_power_down(ran_a_hosts_plan())
    device.tap(then=3)
    device.tap(then=25)
    assert device.state == rs.COLD_PROOF and not device.heats
    assert device.machine.plan.header["peak_cdeg"] == HOLD_CDEG


@pytest.mark.parametrize("damage", [lambda plan: plan[:-1], lambda plan: b"\0" + plan[1:]])
def test_damaged_plan_is_not_run(damage):
    before = ran_a_hosts_plan()
    before.port.plan = damage(before.port.plan)
    device = after_power_down(before)
    device.press()
    device.tick(15)
    assert device.machine.plan.header["peak_cdeg"] == HOLD_CDEG


def test_plan_for_channels_that_are_gone_is_not_run():
    kept = ran_a_hosts_plan().port.plan
    device = switched_on(channels=(("elsewhere", 1, PLAN_PEAK_CDEG, 0, 4096),), hold_cdeg=0)
    device.port.plan = kept
    device.press()
    device.tick(15)
    assert device.state == rs.IDLE


def test_hold_of_its_own_is_not_kept():
    device = running()
    device.press()
    device.tick(LEAST_COOL_TICKS + HANDLING_TICKS + 5)
    assert device.state == rs.FINISHED and device.port.plan == b""


def test_flash_that_fails_ends_nothing(monkeypatch):
    def fails(_self, _octets):
        raise OSError("flash")

    monkeypatch.setattr("tests.support.table_port.TablePort.write_plan", fails)
    device = ran_a_hosts_plan()
    device.tick(20)
    assert device.state == rs.FINISHED and device.machine.guard.trip == 0


# What the display says of it.


def test_display_says_how_hot_it_will_get_before_the_press():
    device = after_power_down(ran_a_hosts_plan())
    device.press()
    device.tick(15)
    lines = panel_lines(device.machine)
    assert lines[:3] == ["cold checks", "HOLD TO HEAT", "up to 80.0 C"]
    assert all(len(line) <= LETTERS for line in lines)


def test_display_names_a_trip_in_whole_words():
    device = running()
    device.port.break_at = {device.port.turns + 1: OSError("bus")}
    device.tick(2)
    lines = panel_lines(device.machine)
    assert lines[:2] == ["COOLING", "firmware error"]


def test_display_shows_stage_setpoint_and_readings():
    device = running()
    device.tick(50)
    lines = panel_lines(device.machine)
    assert lines[0] == "HEATING" and lines[1].startswith("stage 1  0:0")
    assert lines[2].startswith("to ") and lines[3].startswith("1: 2")


def test_every_state_has_its_text():
    assert set(STATE_TEXTS) == set(range(len(rs.STATE_NAMES)))
    assert all(len(text) <= LETTERS for text in (*STATE_TEXTS.values(), *WAIT_TEXTS.values()))
