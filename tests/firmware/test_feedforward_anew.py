"""FEEDFORWARD: what is refused, what is swapped in when, that it is guarded."""

import struct
from zlib import crc32

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import MEMORY_CHANGED
from emberbed_fw.units import FULL_POWER_Q15
from tests.support.anew import AHEAD, KNOTS, RAMP_STAGE, anew, powers_of, send, waiting
from tests.support.bench import SHORT_PLAN_PROMPT, Bench, ack, arm_payload
from tests.support.plans import (
    bench_settings,
    build_plan,
    cool,
    hold,
    patch_plan,
    power,
    ramp,
    wait,
)
from tests.support.power_sets import end, part, parts_of
from tests.support.wire import connected

# What is taken.


def test_power_of_later_stages_is_replaced_and_nothing_else():
    wire = waiting()
    plan = wire.machine.plan
    before = [list(row) for row in plan.tables()]
    assert send(wire, parts_of(wire.bench.plan, anew(9000, 4000))) == "DONE"
    assert powers_of(wire.machine) == anew(9000, 4000)
    assert [list(row) for row in plan.tables()] == before, "the plan as it was sent stays"
    assert wire.machine.plan is plan and wire.machine.life.state == rs.WAIT


def test_stage_that_begins_is_driven_with_the_new_power():
    demands = []
    for power_q15 in (0, 3000):
        wire = waiting()
        assert send(wire, parts_of(wire.bench.plan, anew(power_q15, power_q15))) == "DONE"
        assert wire.ask(ms.ACK_PROMPT, ack(SHORT_PLAN_PROMPT))[0] == "DONE"
        assert wire.machine.sequencer.stage == RAMP_STAGE
        demands.append(wire.machine.demand_q15[0])
    assert demands[1] - demands[0] == 3000


def test_nothing_changes_before_the_end_has_come():
    wire = waiting()
    wire.ask(ms.FEEDFORWARD, part(0, anew(9000, 4000)))
    wire.tick(50)
    assert powers_of(wire.machine) == [0] * KNOTS


def test_second_set_replaces_the_first():
    wire = waiting()
    for later in ((9000, 4000), (100, 200), (7, 8)):
        assert send(wire, parts_of(wire.bench.plan, anew(*later))) == "DONE"
        assert powers_of(wire.machine) == anew(*later)


def test_arming_brings_the_plans_own_back():
    wire = waiting()
    assert send(wire, parts_of(wire.bench.plan, anew(9000, 4000))) == "DONE"
    wire.ask(ms.STOP, b"\1")
    wire.bench.board_c = [25.0, 25.0]
    for _ in range(2000):
        wire.tick()
        if wire.machine.life.state == rs.STOPPED:
            break
    wire.write_plan(wire.bench.plan)
    assert wire.ask(ms.ARM, arm_payload(wire.bench.plan))[0] == "DONE"
    assert powers_of(wire.machine) == [0] * KNOTS


def test_largest_plan_gets_a_set():
    """Most of MAX_KNOTS in one ramp after the wait: 22 parts."""
    many = dict(
        kind=layout.RAMP, target_cdeg=8000, knots=[(n * 10, 6000 + 4 * n) for n in range(501)]
    )
    stages = [
        ramp(2500, 6000, 100, band_cdeg=200), hold(6000, 50, band_cdeg=200),
        wait(6000, prompt=SHORT_PLAN_PROMPT), many, cool(),
    ]  # fmt: skip
    wire = waiting(build_plan(stages))
    powers = anew(*[20000 + n for n in range(501)])
    payloads = parts_of(wire.bench.plan, powers)
    assert len(payloads) == 23
    assert send(wire, payloads) == "DONE"
    assert powers_of(wire.machine) == powers


def test_set_of_two_zones_comes_zone_by_zone():
    settings = bench_settings(zones=((400, 3), (600, 3)), socket_watts=1000)
    plan = patch_plan(Bench().plan, control1=0, cap1_q15=20000, kp1_q8=2500, weight1_q8=256)
    wire = waiting(plan, settings)
    powers = anew(9000, 4000) + anew(300, 20000)
    assert send(wire, parts_of(plan, powers)) == "DONE"
    assert powers_of(wire.machine, 0) == anew(9000, 4000)
    assert powers_of(wire.machine, 1) == anew(300, 20000)
    assert send(wire, [part(0, anew(0, 0) + anew(0, 20001))]) == "BAD_RANGE"
    wire.machine.plan.feedforward_q15[1][6] ^= 1
    wire.tick(10)
    assert wire.machine.guard.trip == MEMORY_CHANGED


# What is refused; nothing changes then.


def refused(wire, payloads, why):
    before = powers_of(wire.machine)
    assert send(wire, payloads) == why
    wire.tick(3)
    assert powers_of(wire.machine) == before


@pytest.mark.parametrize("knot", range(AHEAD))
def test_stage_that_has_begun_keeps_its_power(knot):
    powers = anew(9000, 4000)
    powers[knot] = 1
    wire = waiting()
    refused(wire, parts_of(wire.bench.plan, powers), "WRONG_STATE")


def test_running_ramp_keeps_its_power():
    wire = waiting()
    assert wire.ask(ms.ACK_PROMPT, ack(SHORT_PLAN_PROMPT))[0] == "DONE"
    wire.tick()
    assert wire.machine.sequencer.stage == RAMP_STAGE
    refused(wire, parts_of(wire.bench.plan, anew(9000, 4000)), "WRONG_STATE")


def test_stage_that_begins_in_the_tick_of_the_swap_keeps_its_power():
    """The end was checked while the wait ran; the answer before it in the same tick ends that."""
    wire = waiting()
    *parts, closing = parts_of(wire.bench.plan, anew(9000, 4000))
    assert send(wire, parts) == "DONE"
    touch = struct.pack("<BhB", ms.NEXT_STAGE, 0, ms.BY_TERMINAL)
    wire.feed(wire.frame(ms.STAGE_REQUEST, touch))
    refused(wire, [closing], "WRONG_STATE")
    assert wire.machine.sequencer.stage == RAMP_STAGE


def test_power_of_an_open_loop_stage_is_the_plans():
    stages = [
        ramp(2500, 6000, 100, band_cdeg=200), hold(6000, 50, band_cdeg=200),
        wait(6000, prompt=SHORT_PLAN_PROMPT), power(3000, 100, 8000), cool(),
    ]  # fmt: skip
    wire = waiting(build_plan(stages))
    refused(wire, parts_of(wire.bench.plan, anew(9000, 4000)), "WRONG_STATE")


@pytest.mark.parametrize("power_q15", [FULL_POWER_Q15 + 1, 0xFFFF])
def test_more_than_full_power_is_refused(power_q15):
    wire = waiting()
    refused(wire, parts_of(wire.bench.plan, anew(9000, power_q15)), "BAD_RANGE")


@pytest.mark.parametrize(("over", "why"), [(0, "DONE"), (1, "BAD_RANGE")])
def test_zone_never_gets_more_than_its_cap(over, why):
    wire = waiting(patch_plan(Bench().plan, cap0_q15=12000))
    assert send(wire, parts_of(wire.bench.plan, anew(12000 + over, 0))) == why


@pytest.mark.parametrize("rise", [17896, 17895])
def test_line_that_would_leave_the_small_ints_is_refused(rise):
    """plan_check's own bound: (2**30 - 1) // 2 // 30000 ticks is 17895."""
    stages = [
        ramp(2500, 6000, 100, band_cdeg=200), hold(6000, 50, band_cdeg=200),
        wait(6000, prompt=SHORT_PLAN_PROMPT), ramp(6000, 8000, 30000), cool(),
    ]  # fmt: skip
    wire = waiting(build_plan(stages))
    answer = send(wire, parts_of(wire.bench.plan, anew(0, rise)))
    assert answer == ("DONE" if rise == 17895 else "BAD_RANGE")


def test_wrong_crc_is_refused():
    wire = waiting()
    powers = anew(9000, 4000)
    right = crc32(wire.bench.plan[-4:] + struct.pack("<7H", *powers))
    for bit in (0, 15, 16, 31):
        closing = end(wire.bench.plan, powers, crc=right ^ 1 << bit)
        refused(wire, [part(0, powers), closing], "BAD_CRC")


def test_set_for_another_plan_is_refused():
    wire = waiting()
    other = patch_plan(wire.bench.plan, peak_cdeg=8100)
    refused(wire, parts_of(other, anew(9000, 4000)), "BAD_CRC")


@pytest.mark.parametrize("payloads", [
    [part(1, [5] * 6)],  # without its beginning
    [part(24, [5] * 6)],
    [part(7, [5])],  # beyond the last knot
    [end(b"plan", [])],
    [part(0, anew(1, 2)), end(b"plan", anew(1, 2), count=6)],
    [part(0, anew(1, 2)), end(b"plan", anew(1, 2), count=8)],
    [part(0, anew(1, 2))[:-1]], [part(0, anew(1, 2)) + b"\0"], [b""],
])  # fmt: skip
def test_set_that_is_not_whole_is_refused(payloads):
    refused(waiting(), payloads, "BAD_LENGTH")


def test_end_counts_once():
    wire = waiting()
    payloads = parts_of(wire.bench.plan, anew(9000, 4000))
    assert send(wire, payloads) == "DONE"
    refused(wire, payloads[-1:], "BAD_LENGTH")


def test_without_a_run_there_is_nothing_to_plan():
    wire = connected()
    assert send(wire, [part(0, [0] * KNOTS)]) == "NO_RUN"
    wire.write_plan(wire.bench.plan)
    assert send(wire, [part(0, [0] * KNOTS)]) == "NO_RUN"
    wire = waiting()
    wire.ask(ms.STOP, b"\1")
    assert send(wire, [part(0, [0] * KNOTS)]) == "NO_RUN"


def test_stop_in_the_same_tick_leaves_nothing_to_plan():
    wire = waiting()
    *parts, closing = parts_of(wire.bench.plan, anew(9000, 4000))
    assert send(wire, parts) == "DONE"
    wire.feed(wire.frame(ms.STOP, b"\1"))
    refused(wire, [closing], "NO_RUN")


def test_who_stands_at_the_device_is_not_planned_for():
    wire = waiting()
    wire.machine.guard.attendance = ms.ATTEND_PANEL
    refused(wire, [part(0, [0] * KNOTS)], "WRONG_STATE")


def test_one_part_in_a_tick():
    """The end is checked between ticks, by what has come before it."""
    wire = waiting()
    first, closing = parts_of(wire.bench.plan, anew(9000, 4000))
    wire.feed(wire.frame(ms.FEEDFORWARD, first))
    refused(wire, [closing], "BUSY")


# A link that breaks off, another host.


def test_half_a_set_of_one_host_is_none_of_the_next():
    wire = waiting()
    powers = anew(9000, 4000)
    assert send(wire, [part(0, powers)]) == "DONE"
    wire.hello()  # the same host, come back: it knows what it has sent
    assert send(wire, [end(wire.bench.plan, powers)]) == "DONE"
    assert send(wire, [part(0, anew(1, 2))]) == "DONE"
    # another one's end does not fit what lies there
    refused(wire, [end(wire.bench.plan, anew(3, 4))], "BAD_CRC")


def test_repeated_part_is_taken_once():
    wire = waiting()
    payloads = parts_of(wire.bench.plan, anew(9000, 4000))
    for payload in payloads:
        frame = wire.frame(ms.FEEDFORWARD, payload)
        for _time in range(3):
            wire.feed(frame)
            wire.tick()
    assert powers_of(wire.machine) == anew(9000, 4000)


# Memory.


def test_run_with_new_power_is_not_taken_for_changed_memory():
    wire = waiting()
    assert send(wire, parts_of(wire.bench.plan, anew(9000, 4000))) == "DONE"
    wire.tick(200)
    assert wire.machine.guard.trip == 0 and not wire.machine.guard.memory.changed


@pytest.mark.parametrize("knot", [0, AHEAD, KNOTS - 1])
@pytest.mark.parametrize("sets", [1, 2])
def test_flipped_bit_in_the_new_power_trips(knot, sets):
    wire = waiting()
    for _set in range(sets):
        assert send(wire, parts_of(wire.bench.plan, anew(9000, 4000))) == "DONE"
    wire.tick(5)
    wire.machine.plan.feedforward_q15[0][knot] ^= 1 << 3
    wire.tick(10)
    assert wire.machine.guard.trip == MEMORY_CHANGED
