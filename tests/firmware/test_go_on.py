"""Going on after a trip that a person can mend: when it is offered, and what is refused."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import (
    COLD_PROOF_GOOD_TICKS,
    GO_ON_TICKS,
    GO_ON_TRIPS,
)
from emberbed_fw.snapshot import take_snapshot
from emberbed_fw.units import NONE
from tests.support.bench import ALWAYS, OPEN_WORD, arm_payload
from tests.support.trips import (
    CODES,
    HOLD,
    LATCHED,
    MENDABLE,
    go_on,
    mend,
    mended,
    running,
    tripped_by,
)


def test_every_trip_is_either_mended_hot_or_cleared_cool():
    assert {*MENDABLE, *LATCHED} == set(CODES)
    for name, code in CODES.items():
        mendable = trip_codes.reaction_of(code) == trip_codes.OFF
        assert mendable is (name in MENDABLE), name


# When it is offered.


@pytest.mark.parametrize("name", MENDABLE)
def test_mended_trip_is_offered_to_go_on(name):
    bench = tripped_by(name)
    mend(bench)
    bench.tick(COLD_PROOF_GOOD_TICKS + 1)
    assert bench.record.prompt == GO_ON_PROMPT and bench.state == rs.COOL
    assert bench.record.trips_of_cause == 1 and not bench.heats


@pytest.mark.parametrize("name", LATCHED)
def test_trip_of_the_heater_is_never_offered(name):
    bench = tripped_by(name)
    mend(bench)
    for _ in range(GO_ON_TICKS + 50):
        bench.tick()
        assert bench.record.prompt == NONE
        assert bench.machine.life.go_on_prompt == NONE
    bench.arm(stage=HOLD)
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_STATE"
    assert bench.state == rs.COOL and not bench.heats


@pytest.mark.parametrize(
    "name", [name for name in MENDABLE if name.startswith("SENSOR_") and name != "SENSOR_LIFTED"]
)
def test_cause_that_lasts_is_not_offered(name):
    bench = tripped_by(name)
    for _ in range(200):
        bench.tick()
        assert bench.record.prompt == NONE


def test_lost_host_must_be_back():
    bench = tripped_by("PC_LINK_LOST")
    bench.tick(100)
    assert bench.record.prompt == NONE
    mend(bench)
    bench.tick(2)
    assert bench.record.prompt == GO_ON_PROMPT


def test_sensors_must_be_good_for_a_second():
    bench = tripped_by("SENSOR_OPEN")
    mend(bench)
    bench.tick(COLD_PROOF_GOOD_TICKS - 1)
    assert bench.record.prompt == NONE
    bench.raw = {0: OPEN_WORD}
    bench.tick()
    bench.raw = {}
    bench.tick(COLD_PROOF_GOOD_TICKS - 1)
    assert bench.record.prompt == NONE
    bench.tick()
    assert bench.record.prompt == GO_ON_PROMPT


def test_question_goes_away_with_the_sensor_and_comes_back():
    bench = mended()
    bench.raw = {1: OPEN_WORD}
    bench.tick()
    assert bench.record.prompt == NONE
    bench.arm(stage=HOLD)
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_STATE"
    bench.raw = {}
    bench.tick(COLD_PROOF_GOOD_TICKS)
    assert bench.record.prompt == GO_ON_PROMPT


def test_offer_ends_after_three_minutes():
    bench = tripped_by("SENSOR_OPEN")
    mend(bench)
    bench.tick(GO_ON_TICKS)
    assert bench.record.prompt == GO_ON_PROMPT
    bench.tick()
    assert bench.record.prompt == NONE
    bench.tick(500)
    assert bench.record.prompt == NONE


@pytest.mark.parametrize("end", ["stop", "cool down"])
def test_run_that_was_ended_by_a_person_is_not_offered(end):
    bench = running()
    if end == "stop":
        bench.stop()
    else:
        bench.ask_touch(ms.COOL_DOWN)
    for _ in range(100):
        bench.tick()
        assert bench.record.prompt == NONE


def test_second_fault_in_the_cooling_takes_the_offer_away():
    bench = mended()
    bench.contactor = ALWAYS
    bench.tick(10)
    assert bench.machine.guard.second_trip == trip_codes.CONTACTOR_STUCK_CLOSED
    assert bench.record.prompt == NONE
    bench.contactor = "follows"
    bench.tick(50)
    assert bench.record.prompt == NONE


def test_third_trip_of_one_cause_allows_cooling_only():
    bench = mended()
    for trips in range(2, GO_ON_TRIPS):
        go_on(bench, HOLD)
        bench.tick(20)
        mended("SENSOR_OPEN", bench)
        assert bench.record.trips_of_cause == trips
    go_on(bench, HOLD)
    bench.tick(20)
    tripped_by("SENSOR_OPEN", bench)
    mend(bench)
    for _ in range(GO_ON_TICKS):
        bench.tick()
        assert bench.record.prompt == NONE
    assert bench.record.trips_of_cause == GO_ON_TRIPS


def test_causes_are_counted_apart():
    bench = mended("SENSOR_OPEN")
    go_on(bench, HOLD)
    bench.tick(20)
    mended("SENSOR_BUS_DEAD", bench)
    assert bench.record.trips_of_cause == 1
    go_on(bench, HOLD)
    bench.tick(20)
    mended("SENSOR_OPEN", bench)
    assert bench.record.trips_of_cause == 2


def test_trip_before_anything_heated_is_not_counted():
    bench = running()
    bench.stop()
    bench.tick(2)
    bench.contactor = ALWAYS
    bench.tick(10)
    assert sum(bench.machine.life.trip_counts) == 0


# What is refused.

REFUSED = {
    "another plan": (bytes(4) + arm_payload(bytes(4), stage=HOLD)[4:], "BAD_CRC"),
    "the cooling": (arm_payload(running().plan, stage=5), "BAD_RANGE"),
    "a stage that is not there": (arm_payload(running().plan, stage=9), "BAD_RANGE"),
    "the last number that is no stage": (arm_payload(running().plan, stage=254), "BAD_RANGE"),
    "more time than a day has": (
        arm_payload(running().plan, stage=HOLD, done_ticks=1 << 20), "BAD_RANGE",
    ),
    "more time than a number holds": (
        arm_payload(running().plan, stage=HOLD, done_ticks=2**32 - 1), "BAD_RANGE",
    ),
    "a new run": (arm_payload(running().plan), "WRONG_STATE"),
    "nobody there": (arm_payload(running().plan, 3, HOLD), "NOT_OFFERED"),
}  # fmt: skip


@pytest.mark.parametrize(("payload", "answer"), REFUSED.values(), ids=REFUSED)
def test_bad_request_to_go_on_changes_nothing(payload, answer):
    bench, other = mended(), mended()
    bench.send(ms.ARM, payload)
    bench.tick()
    other.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == answer
    assert take_snapshot(bench.machine) == take_snapshot(other.machine)


@pytest.mark.parametrize("name", ["loaded", "cooling", "running"])
def test_going_on_where_nothing_was_mended_is_refused(name):
    bench = running()
    if name == "loaded":
        bench.stop()
        bench.tick()
        bench.board_c = [25.0, 25.0]
        bench.until(rs.STOPPED)
        bench.load()
    elif name == "cooling":
        bench.stop()
    bench.tick(2)
    state = bench.state
    bench.arm(stage=HOLD)
    bench.tick()
    assert ms.REFUSAL_NAMES[bench.refusals[-1]] == "WRONG_STATE" and bench.state == state
