"""Stages and times in a person's words."""

import pytest

from emberbed.bench.progress import Progress
from emberbed.bench.stage_text import degrees, doing_text, left_text, stage_text
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE
from tests.support.plans import build_plan, cool, hold, hot_air, power, ramp, wait
from tests.support.tapes import rehearsed

PLAN = decode_plan(
    build_plan(
        [
            ramp(2500, 8700, 2067),
            hold(8700, 1805),
            wait(8700, prompt=0, longest_ticks=6000),
            hot_air(8700, prompt=1, answer_ticks=3000, longest_ticks=2400),
            cool(),
        ]
    )
)
RECORD = decode_record(rehearsed().raw_records[0])


def at(stage, stage_tick=0, stage_elapsed=0, state=rs.RUN, **more):
    return RECORD._replace(
        stage=stage, stage_tick=stage_tick, stage_elapsed=stage_elapsed, state=state, **more
    )


def progress_of(record, extra_ticks=0):
    progress = Progress(PLAN)
    progress.follow(record)
    progress.extra_ticks = extra_ticks
    return progress


@pytest.mark.parametrize(
    ("stage", "text"),
    [
        (0, "ramp to 87 °C"),
        (1, "hold 87 °C for 3:01 min"),  # 180.5 s: a begun second counts
        (2, "wait at 87 °C"),
        (3, "hot air at 87 °C"),
        (4, "cool below 50 °C"),
    ],
)
def test_each_kind_of_stage(stage, text):
    assert stage_text(PLAN, stage) == text


def test_fixed_power_is_named_by_its_power_and_where_it_ends():
    # of a step test: a step up to its limit, then what is stored arrives with the heater off
    plan = decode_plan(build_plan([power(16384, 3600, 12000), power(0, 1800, 14500), cool()]))
    assert stage_text(plan, 0) == "50 % power for 6:00 min, up to 120 °C"
    assert stage_text(plan, 1) == "heater off for 3:00 min"


def test_a_stage_that_no_profile_has_ends_nothing():
    assert stage_text(PLAN, 5) == "not one of the profile's stages"
    assert left_text(progress_of(at(5))) == doing_text(progress_of(at(5))) == ""


def test_a_wait_says_what_for_where_it_is_known():
    prompts = ["Apply flux", "Bring the hot air"]
    assert stage_text(PLAN, 2, prompts) == "wait at 87 °C: Apply flux"
    assert stage_text(PLAN, 3, prompts) == "hot air at 87 °C: Bring the hot air"


@pytest.mark.parametrize(
    ("record", "text"),
    [
        (at(NONE), ""),
        (at(0, stage_tick=67), "3:20 min left"),
        (at(0, stage_tick=2067), "0:00 min left"),
        (at(0, stage_tick=9999), "0:00 min left"),  # it waits for the board: never below nothing
        (at(1, stage_tick=1800), "0:01 min left"),
        (at(2, stage_elapsed=600, state=rs.WAIT), "answer within 9:00 min"),
        (at(2, stage_elapsed=7000, state=rs.WAIT), "answer within 0:00 min"),
        (at(3, stage_elapsed=600, state=rs.WAIT), "answer within 4:00 min"),
        (at(3, stage_tick=600, stage_elapsed=1500), "3:00 min left"),  # hot air is on
        (at(4, state=rs.COOL), ""),
        (at(1, waits_for=rs.WAITS_HELD), ""),
    ],
)
def test_the_time_left(record, text):
    assert left_text(progress_of(record)) == text


def test_a_person_s_extra_time_is_left_too():
    assert left_text(progress_of(at(1, stage_tick=1800), extra_ticks=600)) == "1:01 min left"
    asked = at(2, stage_elapsed=600, state=rs.WAIT)
    assert left_text(progress_of(asked, extra_ticks=600)) == "answer within 10:00 min"


def test_what_is_done_just_now():
    assert doing_text(progress_of(at(0, stage_tick=67))) == "ramp to 87 °C   3:20 min left"
    held = at(0, waits_for=rs.WAITS_HELD, setpoint_cdeg=5450)
    assert doing_text(progress_of(held)) == "held here at 54.5 °C"
    air = doing_text(progress_of(at(3, stage_tick=600)))
    assert air == "hot air is on, 87 °C from below   3:00 min left"


def test_a_temperature_or_none():
    assert degrees(8734) == "87.3 °C"
    assert degrees(-550) == "-5.5 °C"
    assert degrees(None) == "no reading"
