"""Stages and times in a person's words."""

import pytest

from emberbed.bench.stage_text import degrees, left_text, stage_text
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed_fw.units import NONE
from tests.support.plans import build_plan, cool, hold, ramp, wait
from tests.support.tapes import rehearsed

PLAN = decode_plan(
    build_plan(
        [ramp(2500, 8700, 2067), hold(8700, 1805), wait(8700, prompt=0, longest_ticks=6000), cool()]
    )
)
RECORD = decode_record(rehearsed().raw_records[0])


def at(stage, stage_tick=0, stage_elapsed=0):
    return RECORD._replace(stage=stage, stage_tick=stage_tick, stage_elapsed=stage_elapsed)


@pytest.mark.parametrize(
    ("stage", "text"),
    [
        (0, "ramp to 87 °C"),
        (1, "hold 87 °C for 3:01 min"),  # 180.5 s: a begun second counts
        (2, "wait at 87 °C"),
        (3, "cool below 50 °C"),
    ],
)
def test_each_kind_of_stage(stage, text):
    assert stage_text(PLAN, stage) == text


def test_a_stage_that_no_profile_has_ends_nothing():
    assert stage_text(PLAN, 4) == "not one of the profile's stages"
    assert left_text(PLAN, at(4)) == ""


def test_a_wait_says_what_for_where_it_is_known():
    assert stage_text(PLAN, 2, ["Apply flux"]) == "wait at 87 °C: Apply flux"


@pytest.mark.parametrize(
    ("record", "text"),
    [
        (at(NONE), ""),
        (at(0, stage_tick=67), "3:20 min left"),
        (at(0, stage_tick=2067), "0:00 min left"),
        (at(0, stage_tick=9999), "0:00 min left"),  # it waits for the board: never below nothing
        (at(1, stage_tick=1800), "0:01 min left"),
        (at(2, stage_elapsed=600), "answer within 9:00 min"),
        (at(2, stage_elapsed=7000), "answer within 0:00 min"),
        (at(3), ""),
    ],
)
def test_the_time_left(record, text):
    assert left_text(PLAN, record) == text


def test_a_temperature_or_none():
    assert degrees(8734) == "87.3 °C"
    assert degrees(-550) == "-5.5 °C"
    assert degrees(None) == "no reading"
