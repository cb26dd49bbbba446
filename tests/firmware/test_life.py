"""A whole run, played tick by tick: stages, prompts, fan and lamp, cooling, time limits."""

from emberbed.records import decode_record
from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw import settings as fw_settings
from emberbed_fw.replay import Replay, arms
from emberbed_fw.safety_limits import (
    ANSWER_TICKS,
    BLIND_COOL_TICKS,
    HANDLING_TICKS,
    LATE_TICK_MS,
    LEAST_COOL_TICKS,
    LONGEST_COOL_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.touches import READ_TICKS
from emberbed_fw.units import NONE
from tests.support.bench import OPEN_WORD, Bench, short_plan
from tests.support.plans import bench_settings, build_plan, cool, hold, ramp, wait

OPEN = {0: OPEN_WORD}


# A whole run.


def test_run_goes_through_its_stages_to_finished():
    bench = Bench().to_wait()
    assert bench.record.stage == 2 and bench.record.prompt == NONE
    bench.tick()
    assert bench.record.prompt == 7 and bench.record.waits_for == rs.WAITS_OPERATOR
    bench.tick(200)
    assert bench.state == rs.WAIT and bench.contactor_driven
    bench.acknowledge(7)
    bench.tick()
    assert bench.state == rs.RUN and bench.record.stage == 3
    bench.board_c = [80.0, 80.0]
    bench.until(rs.COOL)
    assert bench.record.verdict == rs.FINISHED and bench.record.stage == 4
    assert not bench.heats and not bench.contactor_driven
    assert bench.record.outputs & record.OUT_FAN
    bench.board_c = [49.0, 49.0]
    bench.until(rs.FINISHED)


def test_tap_at_the_device_answers_a_prompt():
    bench = Bench().to_wait()
    bench.tick(READ_TICKS)
    bench.button = True
    bench.tick(4)
    assert bench.state == rs.WAIT
    bench.button = False
    assert bench.tick() == rs.RUN


def test_cooling_ends_when_every_good_sensor_is_cool_for_a_second():
    bench = Bench().to_wait()
    bench.stop()
    bench.tick()
    bench.board_c = [49.0, 51.0]
    bench.tick(LEAST_COOL_TICKS)
    assert bench.state == rs.COOL and bench.record.waits_for == rs.WAITS_COOLING
    bench.board_c = [49.0, 49.0]
    bench.tick(HANDLING_TICKS - 1)
    bench.board_c = [51.0, 49.0]
    bench.tick(1)
    bench.board_c = [49.0, 49.0]
    bench.tick(HANDLING_TICKS - 1)
    assert bench.state == rs.COOL, "one noisy reading starts the second again"
    assert bench.tick() == rs.STOPPED


def test_cooling_lasts_until_the_stored_heat_has_arrived():
    bench = Bench().to_wait()
    bench.board_c = [40.0, 40.0]  # cool already, but the emitters are not
    bench.stop()
    bench.tick(LEAST_COOL_TICKS)
    assert bench.state == rs.COOL
    bench.until(rs.STOPPED, HANDLING_TICKS)


def test_run_that_never_heated_need_not_wait_for_stored_heat():
    bench = Bench().to_armed()
    bench.stop()
    assert bench.until(rs.STOPPED) == HANDLING_TICKS


def test_cooling_ends_below_the_plans_handling_temperature_and_not_at_it():
    bench = Bench()
    bench.board_c = [45.0, 45.0]
    bench.tick()
    reading = bench.record.channel0_cdeg
    for handling_cdeg, state in ((reading, rs.COOL), (reading + 1, rs.STOPPED)):
        bench = Bench(short_plan(handling_cdeg=handling_cdeg)).to_armed()
        bench.board_c = [45.0, 45.0]
        bench.stop()
        assert bench.tick(HANDLING_TICKS + 1) == state


def test_cooling_that_never_ends_is_ended():
    bench = Bench().to_wait()
    bench.stop()
    bench.tick()
    bench.machine.life._state_ticks = LONGEST_COOL_TICKS - 2
    assert bench.tick() == rs.COOL
    assert bench.tick() == rs.STOPPED


def test_cooling_that_no_sensor_sees_takes_half_an_hour():
    bench = Bench().to_wait()
    bench.raw = {0: OPEN_WORD, 1: OPEN_WORD}
    bench.tick(3)
    assert bench.state == rs.COOL and bench.trip == trip_codes.SENSOR_OPEN
    bench.renews = False
    bench.tick(BLIND_COOL_TICKS - 2)
    assert bench.state == rs.COOL
    bench.tick(2)
    assert bench.state == rs.TRIPPED


def test_no_stage_is_shown_where_none_runs():
    bench = Bench().to_armed()
    said = bench.record
    assert (said.stage, said.prompt, said.stage_tick, said.stage_elapsed) == (NONE, NONE, 0, 0)


def test_nothing_winds_up_while_the_guard_withholds():
    bench = Bench(short_plan(kp0_q8=10, ki0_q14=50, kd0_q4=0)).to_run()
    bench.tick(30)
    pid = bench.machine.pids[0]
    assert 0 < pid.demand_q15 < 32768
    bench.elapsed_ms = LATE_TICK_MS + 1
    bench.tick()
    before = pid.integral_q14
    bench.tick(50)
    assert pid.integral_q14 == before and not bench.heats
    bench.elapsed_ms = 100
    bench.tick(3)
    assert pid.integral_q14 > before


def test_fan_stays_off_while_heating():
    bench = Bench().to_wait()
    bench.tick(50)
    assert not bench.record.outputs & record.OUT_FAN


def test_fan_waits_until_the_solder_is_hard():
    plan = build_plan([hold(23000, 5), cool()], fan_below_cdeg=20700)
    bench = Bench(plan)
    bench.board_c = [230.0, 230.0]
    bench.to_armed().press()
    bench.until(rs.COOL)
    bench.tick(50)
    assert not bench.record.outputs & record.OUT_FAN
    bench.board_c = [206.0, 206.0]
    bench.tick(200)  # the slope of this jump has to leave the filter first
    assert bench.record.outputs & record.OUT_FAN


def test_fan_pauses_while_the_board_falls_too_fast():
    stages = [hold(15000, 5), dict(cool(), fastest_cdeg_per_min=12000)]
    bench = Bench(build_plan(stages))
    bench.board_c = [150.0, 150.0]
    bench.to_armed().press()
    bench.until(rs.COOL)
    seen = set()
    for _ in range(300):
        bench.board_c = [bench.board_c[0] - 0.25] * 2  # 150 degC a minute, 120 allowed
        bench.tick()
        seen.add(bench.record.outputs & record.OUT_FAN)
    assert bench.record.outputs & record.OUT_FAN == 0
    bench.tick(200)
    assert bench.record.outputs & record.OUT_FAN


def test_fan_keeps_what_it_does_between_its_two_limits():
    # on below three quarters of the fastest fall (120 degC a minute), off above it
    bench = Bench(build_plan([hold(20000, 5), dict(cool(), fastest_cdeg_per_min=12000)]))
    bench.board_c = [200.0, 200.0]
    bench.to_armed().press()
    bench.until(rs.COOL)
    seen = []
    for degc_per_min in (0, 105, 150, 105, 75):
        for _ in range(120):
            bench.board_c = [bench.board_c[0] - degc_per_min / 600] * 2
            bench.tick()
        seen.append(bench.record.outputs & record.OUT_FAN != 0)
    assert seen == [True, True, False, False, True]


def test_device_without_a_fan_drives_none():
    senses = fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE
    bench = Bench(settings=bench_settings(has=senses)).to_wait()
    bench.stop()
    bench.tick(100)
    assert bench.state == rs.COOL and not bench.record.outputs & record.OUT_FAN


def test_lamp_shines_while_anything_is_hot():
    bench = Bench().to_wait()
    assert bench.record.outputs & record.OUT_LAMP
    bench.board_c = [49.0, 49.0]
    bench.tick()
    assert not bench.record.outputs & record.OUT_LAMP


def test_buzzer_reminds_of_a_prompt():
    bench = Bench().to_wait()
    calls = []
    for _ in range(610):
        bench.tick()
        calls.append(bench.record.outputs & record.OUT_BUZZER != 0)
    # remind_ticks 300: at the third hundred and at the sixth
    assert not calls[100] and not calls[200]
    assert sum(calls[290:310]) == 5 and sum(calls[590:610]) == 5


def test_energy_is_counted_in_joules():
    bench = Bench().to_run()
    driven = sum(decode_record(packed).driven_zones for packed in bench.tape)
    bench.tick(100)
    driven += sum(decode_record(packed).driven_zones for packed in bench.tape[-100:])
    assert bench.record.energy_j == driven * 1000 // 10


# Time limits of the run.


def test_run_that_takes_too_long_ends():
    bench = Bench(short_plan(longest_run_ticks=150)).to_run()
    bench.tick(149)
    assert bench.state == rs.RUN
    bench.tick(1)
    assert bench.trip == trip_codes.NO_TRIP
    bench.tick(1)
    assert bench.state == rs.COOL and bench.trip == trip_codes.RUN_TOO_LONG


def test_unanswered_prompt_takes_heat_away():
    bench = Bench(build_plan([hold(6000, 5), wait(6000, prompt=4, longest_ticks=300), cool()]))
    bench.board_c = [60.0, 60.0]
    bench.to_run()
    bench.until(rs.WAIT)
    bench.tick(299)
    assert bench.state == rs.WAIT
    bench.tick()
    assert bench.state == rs.COOL and bench.trip == trip_codes.PROMPT_OVERDUE
    assert not bench.heats


def test_stage_that_takes_too_long_asks_and_then_ends():
    bench = Bench(build_plan([ramp(2500, 9000, 100, longest_ticks=400), cool()]))
    bench.board_c = [40.0, 40.0]  # a board in the cold would be asked about for its own sake
    bench.to_run().tick(400)
    assert bench.record.prompt == LONGER_PROMPT
    bench.acknowledge(LONGER_PROMPT)
    bench.tick(2)
    assert bench.record.prompt == NONE
    bench.tick(ANSWER_TICKS + 2 * ANSWER_TICKS)
    assert bench.state == rs.COOL and bench.trip == trip_codes.STAGE_OVERDUE


# Same inputs, same bytes.


def rehearse(bench):
    """Play a run with everything in it, arm twice, and stop in the end."""
    bench.load()
    bench.arm()
    bench.tick(PRESS_VALID_TICKS + 1)
    assert bench.state == rs.LOADED
    bench.board_c = [95.0, 95.0]  # hot from the time before: the slope filter must not remember
    bench.tick(5)
    bench.arm()
    first = len(bench.tape)
    bench.tick(15)
    bench.stop()
    for _ in range(60):
        bench.board_c = [bench.board_c[0] - 0.5] * 2  # fast enough to keep the fan off
        bench.tick()
    return bench.tape[first:]


def test_same_inputs_twice_give_the_same_bytes():
    one, other = Bench(), Bench()
    assert rehearse(one) == rehearse(other)
    assert one.tape == other.tape


def test_second_arming_starts_from_constants():
    bench = Bench()
    tape = rehearse(bench)
    assert arms(tape[0], len(tape[0]))
    replay = Replay(bench.settings, bench.plan)
    for packed in tape:
        assert replay.feed(packed, len(packed)) == -1
