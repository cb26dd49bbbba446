"""Faults of the device and the link in the closed loop."""

import pytest

from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.closed_loop import AFTER_RESET_TICKS, Operator
from emberbed_sim.device_faults import BOOT_TICKS
from emberbed_sim.faults import CATALOGUE, parse_fault
from emberbed_sim.machine_faults import STEPS, flip_bit
from tests.support.looped import AT, PROFILE, RAMPING_S, ended, records_of, warm_loop
from tests.support.tapes import loop_of


def test_every_row_of_device_and_link_is_tried_here_or_on_the_wire():
    tried = {
        "late_ticks", "clock_wrong", "heap_low", "button_stuck", "device_resets", "device_hangs",
        "tick_raises", "step_skipped", "plan_bit_flips", "settings_bit_flips", "limit_bit_flips",
        "memory_bit_flips", "host_silent", "host_stores_nothing", "frames_repeated", "frames_late",
        "link_noise",
    }  # fmt: skip
    ours = [kind for kind in CATALOGUE if kind.acts_on != "heater"]
    assert tried == {kind.name for kind in ours if kind.only != "virtual device"}


def test_the_profile_ramps_when_the_faults_begin():
    loop, records = ended()
    assert records[-1].state == rs.FINISHED
    assert loop.resets == 0
    board_cdeg = [records[AT + 10 * s].channel0_cdeg for s in (-2, 0, 4)]
    assert records[AT].state == rs.RUN
    assert 2400 < board_cdeg[0] < board_cdeg[1] < board_cdeg[2] < 5500
    assert any(one.driven_zones for one in records[AT : AT + 10])


def test_late_ticks_say_so_and_take_so_long():
    loop, records = ended(f"late_ticks@{RAMPING_S}s:2s#250")
    late = [one for one in records if one.elapsed_ms != 100]
    assert {one.elapsed_ms for one in late} == {350}
    assert 5 <= len(late) <= 7  # 2 s in ticks of 350 ms
    assert records[-1].trip == trip_codes.TICK_OVERRUN
    ticks = loop.heater.elapsed_s * TICKS_PER_S
    assert ticks == pytest.approx(len(records) + 2.5 * len(late), abs=1)


@pytest.mark.parametrize("slow", [100, -100])
def test_a_wrong_clock_says_100_ms_whatever_passes(slow):
    loop = loop_of(PROFILE, f"clock_wrong@0s#{slow}", operator=Operator(presses=False))
    records = records_of(loop, 1000)
    assert {one.elapsed_ms for one in records} == {100}
    assert loop.heater.elapsed_s == pytest.approx(100 * (1 + slow / 1000), abs=0.11)


def test_a_low_heap_is_a_flag():
    loop = loop_of(PROFILE, f"heap_low@{RAMPING_S}s:1s")
    flagged = [one.port_flags & record.PORT_HEAP_LOW != 0 for one in records_of(loop, AT + 100)]
    assert flagged == [False] * AT + [True] * 10 + [False] * 90


def test_a_stuck_button_heats_nothing():
    loop = loop_of(PROFILE, "button_stuck@0s")
    records = records_of(loop, 1300)
    assert all(one.port_flags & record.PORT_BUTTON for one in records)
    assert not any(one.driven_zones for one in records)


def test_a_reset_device_knows_of_no_run_and_heats_no_more():
    loop, records = ended(f"device_resets@{RAMPING_S}s")
    reset = next(n for n in range(1, len(records)) if records[n].tick == 1)
    assert reset == AT
    assert records[reset - 1].state == rs.RUN
    assert {one.state for one in records[reset:]} == {rs.IDLE}
    assert len(records) - reset == AFTER_RESET_TICKS
    assert not any(one.driven_zones or one.outputs & record.OUT_CONTACTOR
                   for one in records[reset:])  # fmt: skip
    assert loop.resets == 1
    ticks = round(loop.heater.elapsed_s * TICKS_PER_S)
    assert ticks == len(records) + BOOT_TICKS


def test_a_hanging_device_leaves_its_outputs_until_it_is_reset():
    loop = loop_of(PROFILE, f"device_hangs@{RAMPING_S}s#2000")
    seen = []
    loop.watch = lambda heater: seen.append((heater.truth.contactor_closed, heater.elapsed_s))
    records_of(loop, AT + 20)
    closed = {round(elapsed_s * 10): is_closed for is_closed, elapsed_s in seen}
    assert all(closed[tick] for tick in range(60, AT + 21))  # 2 s longer than the firmware ran
    assert not any(closed[tick] for tick in range(AT + 21, AT + 40))
    assert loop.resets == 1
    assert len(closed) == len(seen)


@pytest.mark.parametrize("step", range(len(STEPS)))
def test_an_error_in_any_step_ends_the_heat_in_its_tick(step):
    loop, records = ended(f"tick_raises@{RAMPING_S}s#{step}")
    trips = [one for one in records if one.trip]
    if loop.resets:  # the error has come out of the main loop: the watchdog has ended it
        assert not any(one.driven_zones for one in records[AT:])
        assert not loop.heater.truth.contactor_closed
        return
    assert trips[0].trip == trip_codes.FIRMWARE_ERROR
    assert trips[0].tick == AT + 1
    assert not any(one.driven_zones for one in trips)
    assert [one.tick for one in records] == list(range(1, len(records) + 1))
    assert records[-1].state == rs.TRIPPED


def test_errors_in_every_tick_starve_the_watchdog():
    loop = loop_of(PROFILE, f"tick_raises@{RAMPING_S}s:5s#0")
    records_of(loop, AT + 100)
    assert loop.resets >= 1


@pytest.mark.parametrize("step", range(len(STEPS)))
def test_a_step_left_out_is_not_run(step):
    loop = loop_of(PROFILE, f"step_skipped@{RAMPING_S}s:0.1s#{step}")
    records = records_of(loop, AT + 10)
    hit = records[AT]
    plain = records_of(loop_of(PROFILE), AT + 10)[AT]
    assert hit.tick == plain.tick
    changed = {
        0: hit.channel_cdeg(0) == records[hit.tick - 2].channel_cdeg(0),
        1: hit.stage_elapsed == records[hit.tick - 2].stage_elapsed,
        2: hit.demand0_q15 == records[hit.tick - 2].demand0_q15,
        3: True,  # the guard agrees with what is wanted in a healthy run
        4: hit.outputs == 0 or hit.outputs == record.OUT_CONTACTOR,
    }
    assert changed[step]
    for part, method in STEPS:  # mended again
        owner = getattr(loop.machine, part) if part else loop.machine
        assert method not in vars(owner)


def test_a_guard_left_out_lets_through_what_it_would_have_stopped():
    """Without the guard a broken couple does not end the heat of that tick."""
    broken = [f"tc_open@{RAMPING_S}s", f"step_skipped@{RAMPING_S}s:0.3s#3"]
    judged = records_of(loop_of(PROFILE, broken[0]), AT + 3)[AT:]
    unjudged = records_of(loop_of(PROFILE, *broken), AT + 3)[AT:]
    assert any(one.withheld for one in judged)
    assert not any(one.withheld for one in unjudged[:2])


@pytest.mark.parametrize(
    "name", ["plan_bit_flips", "settings_bit_flips", "limit_bit_flips", "memory_bit_flips"]
)
def test_a_flip_changes_one_number_and_the_draw_decides_which(name):
    flips = set()
    for draw in range(30):
        loop, same = (warm_loop() for _ in range(2))
        event = parse_fault(f"{name}@0s#{draw}")
        where = flip_bit(loop.machine, event)
        assert where and where == flip_bit(same.machine, event)
        before, after = (int(number) for number in where.split("] ")[1].split(" -> "))
        assert (before ^ after).bit_count() == 1
        flips.add(where)
    assert len(flips) > 15


def test_a_limit_that_flips_is_one_the_guard_goes_by():
    found = set()
    for draw in range(60):
        found.add(flip_bit(warm_loop().machine, parse_fault(f"limit_bit_flips@0s#{draw}")))
    names = {where.split("[")[0] for where in found}
    assert {"limit_cdeg", "air_limit_cdeg"} <= names
    assert any("ceiling" in name for name in names)


@pytest.mark.parametrize("draw", range(12))
def test_a_run_with_flipped_memory_ends(draw):
    """Whatever the flip does, the loop comes to an end as a device would: no error gets out."""
    loop = loop_of(PROFILE, f"memory_bit_flips@{RAMPING_S}s#{draw}")
    records = records_of(loop, 8000)
    assert len(records) > AT
    assert loop.flipped.startswith("memory[")


def test_without_a_plan_there_is_no_plan_to_flip():
    loop = loop_of(PROFILE)
    assert flip_bit(loop.machine, parse_fault("plan_bit_flips@0s")) == ""


@pytest.mark.parametrize(
    ("fault", "lost"),
    [
        ("host_silent", True),
        ("host_stores_nothing", True),
        ("frames_repeated", True),
        ("frames_late#15", True),
        ("frames_late#5", False),  # older than usual, younger than the oldest allowed
        ("link_noise#20", False),
        ("link_noise#100", True),
        ("host_silent:1s", False),
        ("host_stores_nothing:1s", False),
    ],
)
def test_a_link_that_is_lost_ends_the_heat_and_one_that_is_not_does_not(fault, lost):
    name, mark, rest = fault.partition("#") if "#" in fault else fault.partition(":")
    text = f"{name}@{RAMPING_S}s{mark}{rest}"
    _loop, records = ended(text)
    assert records[-1].state == (rs.LINK_LOST if lost else rs.FINISHED)
    if lost:
        off = next(one.tick for one in records if one.state == rs.COOL)
        # contracts: the link lasts 2 s, an acknowledgement may be 1 s old
        assert 2 * TICKS_PER_S <= off - AT <= 3.2 * TICKS_PER_S


def test_what_needs_a_wire_is_refused():
    with pytest.raises(ValueError, match="link_flood cannot be done in the closed loop, only in"):
        loop_of(PROFILE, "link_flood@1s")
    with pytest.raises(ValueError, match="link_flood"):
        loop_of(PROFILE).fork([parse_fault("link_flood@1s")])
