"""Proofs of the checks that doubt: what the sensors say against the heat, and the device itself.

Ways to trip a run, and the plans they need, are those of tests/support/trips.py; that each check is
quiet one step inside its limit stands mostly beside the unit that decides it, in tests/firmware.
"""

import pytest

from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.doubt_count import DoubtCount
from emberbed_fw.record import PORT_HEAP_LOW
from emberbed_fw.safety_limits import (
    BAD_READING_TICKS,
    COLD_IDLE_TICKS,
    COLD_PROOF_GOOD_TICKS,
    COLD_START_CDEG,
    DOUBT_TICKS,
    HEAP_TICKS,
)
from tests.safety.hazard_table import ticks_allowed
from tests.safety.scenes import assert_dark, assert_never_heats_again, assert_tripped, heating
from tests.support.bench import OPEN_WORD, Bench
from tests.support.trips import CODES, LATCHED, MENDABLE, NEEDS, mend, running, tripped_by

WAYS = {**MENDABLE, **LATCHED}
CHECKS = {
    "PREDICTED_PEAK": "C25", "NO_RISE": "C26", "HEAT_NOT_ARRIVING": "C27", "HEAT_SURPLUS": "C28",
    "READING_STUCK": "C29", "READING_JUMPS": "C30", "SENSORS_DISAGREE": "C31",
    "COLD_JUNCTION": "C32", "HEAP_LOW": "C34", "MEMORY_CHANGED": "C35", "PROGRAM_FLOW": "C36",
}  # fmt: skip
every_doubt = pytest.mark.parametrize("name", CHECKS)


@pytest.mark.check("C25", proves="acts")
@pytest.mark.check("C26", proves="acts")
@pytest.mark.check("C27", proves="acts")
@pytest.mark.check("C28", proves="acts")
@pytest.mark.check("C29", proves="acts")
@pytest.mark.check("C30", proves="acts")
@pytest.mark.check("C31", proves="acts")
@pytest.mark.check("C32", proves="acts")
@pytest.mark.check("C34", proves="acts")
@pytest.mark.check("C35", proves="acts")
@pytest.mark.check("C36", proves="acts")
@every_doubt
def test_doubt_acts(name):
    bench = tripped_by(name)
    assert_tripped(bench, CODES[name])
    bench.tick(50)
    assert_dark(bench)


@pytest.mark.check("C25", proves="in_time")
@pytest.mark.check("C26", proves="in_time")
@pytest.mark.check("C27", proves="in_time")
@pytest.mark.check("C28", proves="in_time")
@pytest.mark.check("C29", proves="in_time")
@pytest.mark.check("C30", proves="in_time")
@pytest.mark.check("C31", proves="in_time")
@pytest.mark.check("C32", proves="in_time")
@pytest.mark.check("C34", proves="in_time")
@pytest.mark.check("C35", proves="in_time")
@pytest.mark.check("C36", proves="in_time")
@every_doubt
def test_doubt_acts_in_time(name):
    bench = running(**NEEDS.get(name, {}))
    healthy = len(bench.tape)
    WAYS[name](bench)
    trips = [decode_record(packed).trip for packed in bench.tape[healthy:]]
    assert trips.index(CODES[name]) < ticks_allowed(CHECKS[name])


@pytest.mark.check("C25", proves="stays")
@pytest.mark.check("C26", proves="stays")
@pytest.mark.check("C27", proves="stays")
@pytest.mark.check("C28", proves="stays")
@pytest.mark.check("C29", proves="stays")
@pytest.mark.check("C30", proves="stays")
@pytest.mark.check("C31", proves="stays")
@pytest.mark.check("C32", proves="stays")
@pytest.mark.check("C34", proves="stays")
@pytest.mark.check("C35", proves="stays")
@pytest.mark.check("C36", proves="stays")
@every_doubt
def test_doubt_stays(name):
    bench = tripped_by(name)
    mend(bench)
    bench.tick(2)
    assert_never_heats_again(bench, CODES[name])


# C38: a contact that is now there and now not.


def with_bad_readings(every_ticks, ticks):
    """Return a bench whose control reading fails once in so many ticks, until it trips or ends."""
    bench = heating()
    for tick in range(ticks):
        bench.raw = {0: OPEN_WORD} if tick % every_ticks == 0 else {}
        bench.tick()
        if bench.record.trip:
            break
    bench.raw = {}
    return bench


@pytest.mark.check("C38", proves="acts")
@pytest.mark.check("C38", proves="in_time")
def test_readings_that_fail_again_and_again_act_in_time():
    bench = with_bad_readings(every_ticks=6, ticks=ticks_allowed("C38"))
    assert_tripped(bench, trip_codes.READING_JUMPS)


@pytest.mark.check("C38", proves="in_time")
def test_doubts_of_any_kind_add_up():
    doubted = DoubtCount()
    for _ in range(DOUBT_TICKS):
        assert not doubted.overdue()
        doubted.step(bad_reading=False, doubted=True)
    assert doubted.overdue()


@pytest.mark.check("C38", proves="stays")
def test_readings_that_failed_again_and_again_stay_tripped():
    bench = with_bad_readings(every_ticks=6, ticks=ticks_allowed("C38"))
    bench.tick(2)
    assert_never_heats_again(bench, trip_codes.READING_JUMPS)


@pytest.mark.check("C38", proves="quiet")
def test_a_reading_that_fails_now_and_then_is_quiet():
    bench = with_bad_readings(every_ticks=BAD_READING_TICKS + 1, ticks=3 * DOUBT_TICKS)
    assert bench.record.trip == trip_codes.NO_TRIP and bench.state == rs.RUN


# C33: a sensor that differs from its cold junction on a bench that has rested.


def rested(over_c, ticks=COLD_IDLE_TICKS):
    """Return an armed bench that was idle for so long, its control bead so far from its own end."""
    bench = Bench()
    bench.machine.dark_ticks = ticks
    bench.board_c = [25.0 + over_c, 25.0]
    bench.load()
    bench.arm()
    bench.tick(COLD_PROOF_GOOD_TICKS + 5)
    return bench


NEAR_C = COLD_START_CDEG / 100 - 0.5


@pytest.mark.check("C33", proves="acts")
@pytest.mark.parametrize("over_c", [NEAR_C + 1.0, -NEAR_C - 1.0])
def test_wrong_couple_on_a_cold_bench_keeps_the_press_from_counting(over_c):
    bench = rested(over_c)
    bench.press()
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_COLD_SENSOR
    assert_dark(bench)


@pytest.mark.check("C33", proves="in_time")
def test_wrong_couple_takes_the_press_away_in_time():
    bench = rested(0.0)
    bench.button = True
    bench.tick(9)
    bench.board_c[0] += NEAR_C + 1.0
    bench.tick(ticks_allowed("C33"))
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_COLD_SENSOR


@pytest.mark.check("C33", proves="quiet")
@pytest.mark.parametrize(
    ("over_c", "ticks"),
    [(NEAR_C, COLD_IDLE_TICKS), (-NEAR_C, COLD_IDLE_TICKS), (60.0, COLD_IDLE_TICKS - 30)],
)
def test_right_couple_or_a_bench_that_was_warm_is_quiet(over_c, ticks):
    bench = rested(over_c, ticks)
    bench.press()
    assert bench.state == rs.HOT_PROOF


@pytest.mark.check("C33", proves="stays")
def test_couple_that_is_right_again_asks_for_a_new_press():
    bench = rested(NEAR_C + 1.0)
    bench.press()
    bench.board_c = [25.0, 25.0]
    bench.tick(200)
    assert bench.state == rs.COLD_PROOF
    assert_dark(bench)


# C34 and C36, one step inside.


@pytest.mark.check("C34", proves="quiet")
def test_heap_that_has_room_again_is_quiet():
    bench = heating()
    for _ in range(10):
        bench.more_flags = PORT_HEAP_LOW
        bench.tick(HEAP_TICKS - 1)
        assert not bench.heats and bench.record.withheld == trip_codes.WITHHELD_MACHINE
        bench.more_flags = 0
        bench.tick(4)
        assert bench.heats
    assert bench.trip == trip_codes.NO_TRIP


@pytest.mark.check("C34", proves="acts")
def test_low_heap_keeps_a_press_from_counting():
    bench = Bench().to_armed()
    bench.more_flags = PORT_HEAP_LOW
    bench.press()
    assert bench.state == rs.COLD_PROOF and bench.record.waits_for == rs.WAITS_SENSORS


@pytest.mark.check("C36", proves="quiet")
def test_program_in_its_order_is_quiet():
    bench = heating()
    for _ in range(100):
        bench.tick()
        assert bench.heats
    assert bench.machine.flow == 0o1234567


@pytest.mark.check("C36", proves="acts")
@pytest.mark.parametrize("left_out", ["_control", "_tell_guard", "_drive"])
def test_a_step_that_raises_is_no_whole_tick(left_out, monkeypatch):
    bench = heating()

    def fails(*_arguments):
        raise ValueError("a step fails")

    monkeypatch.setattr(bench.machine, left_out, fails)
    with pytest.raises(ValueError, match="a step fails"):
        bench.tick()
    assert bench.machine.flow != 0o1234567
    monkeypatch.undo()
    bench.tick()
    assert_tripped(bench, trip_codes.PROGRAM_FLOW)
