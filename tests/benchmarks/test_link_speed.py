"""The link's speed on both sides, and end to end, held against the line's own limit.

Measured with `pytest tests/benchmarks/test_link_speed.py --benchmark-only`: all in one run, on one
machine. The limit is that of 115200 baud, ten bits a byte.
"""

import json
import re
import statistics
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

import emberbed_fw
from emberbed.link.device import Device
from emberbed.link.frames import Frame, FrameSplitter, encode
from emberbed_fw import messages as ms
from emberbed_fw.frames import HEADER_BYTES
from emberbed_fw.record import FIXED_BYTES
from tests.firmware.test_same_bits import PLAYERS, in_child
from tests.support.record_tapes import Tape, run_of

FIRMWARE = Path(emberbed_fw.__file__).parents[1]
LINE_BYTES_A_S = 11520
RECORD = Frame(ms.RECORD, 7, 1, 99, bytes(range(FIXED_BYTES)))
RECORD_FRAME = encode(RECORD)
LINE_FRAMES_A_S = LINE_BYTES_A_S / len(RECORD_FRAME)
TRIPS = 300


@pytest.mark.benchmark(group="frames a second")
def test_host_writes(benchmark):
    benchmark(encode, RECORD)
    benchmark.extra_info["line's limit, frames/s"] = round(LINE_FRAMES_A_S)


@pytest.mark.benchmark(group="frames a second")
def test_host_reads(benchmark):
    splitter = FrameSplitter()
    assert len(benchmark(splitter.feed, RECORD_FRAME)) == 1
    assert splitter.damaged == 0


SAID = re.compile(r"write ([\d.]+) (\w+) read ([\d.]+) (\w+) keep ([\d.]+) (\w+)")


@pytest.mark.parametrize("interpreter", ["CPython", "MicroPython"])
@pytest.mark.benchmark(group="frames a second")
def test_firmware_writes_reads_and_keeps(benchmark, interpreter, tmp_path):
    """In MicroPython each record's step may allocate a little; how much is told, and bounded."""
    tape = Tape(tmp_path / "run.tape", *run_of("whole run"))
    script = PLAYERS / "link_speed.py"

    def once():
        if interpreter == "CPython":
            return in_child([sys.executable, str(script), str(tape.path)])
        command = [sys.executable, "-m", "micropython_unix", "-X", "heapsize=1M"]
        return in_child([*command, str(script), str(tape.path)], {"MICROPYPATH": str(FIRMWARE)})

    said = benchmark.pedantic(once, rounds=1, iterations=1)
    found = SAID.fullmatch(said)
    assert found, said
    benchmark.extra_info["us and heap bytes a record"] = said
    written_us, read_us = float(found[1]), float(found[3])
    assert 1e6 / written_us > LINE_FRAMES_A_S and 1e6 / read_us > LINE_FRAMES_A_S


@pytest.mark.benchmark(group="end to end")
def test_a_request_and_its_answer(benchmark):
    """Host, loopback TCP, the firmware in its interpreter and back, while records flow."""
    command = [sys.executable, "-m", "emberbed_sim.virtual_device"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin and process.stdout
        ready = json.loads(process.stdout.readline())
        with Device.connect(ready["url"]) as device:
            device.sink = lambda _events: None
            times = benchmark.pedantic(lambda: round_trips(device), rounds=1, iterations=1)
        process.stdin.close()
        process.wait(10)
    asked, answered = HEADER_BYTES + 3 + 7, HEADER_BYTES + 4 + 16 + 7
    benchmark.extra_info |= {
        "engine": ready["engine"],
        "p50 ms": round(statistics.median(times), 2),
        "p99 ms": round(sorted(times)[int(0.99 * len(times))], 2),
        "line's limit ms": round(1000 * (asked + answered) / LINE_BYTES_A_S, 2),
    }


def round_trips(device):
    """Return the milliseconds that each of TRIPS requests took."""
    times = []
    for _trip in range(TRIPS):
        began_s = time.perf_counter()
        device.ask(ms.SETTINGS_READ, struct.pack("<HB", 0, 16))
        times.append(1000 * (time.perf_counter() - began_s))
    return times
