"""What a device says of itself, each number in its place (messages.HELLO_REPLY)."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import trip_codes
from emberbed_fw.portrait import FIRMWARE_VERSION, NAMELESS, Portrait
from emberbed_fw.recorder import BLOCK_BYTES, RING_BYTES, Recorder
from tests.support.bench import Bench

BUILD_ID = b"0123abcd"
NAMED = (ms.ENTRY_INJECTED, b"\1\2\3\4\5\6\7\10")
FIELDS = (
    "protocol", "session", "state", "verdict", "tick", "major", "minor", "patch", "build", "entry",
    "board_number", "run_session", "run_tick", "crc_low", "crc_high", "ring_bytes", "run_bytes",
    "kept_trip", "reset_cause",
)  # fmt: skip


def said(portrait, machine, session=77, run_blocks=20):
    packed = portrait.pack(machine, Recorder(run_blocks), session)
    assert len(packed) == struct.calcsize(ms.HELLO_REPLY)
    return dict(zip(FIELDS, struct.unpack(ms.HELLO_REPLY, packed), strict=True))


def test_device_without_a_run_says_noughts():
    assert said(Portrait(BUILD_ID, NAMELESS, 0), Bench().machine) == {
        **dict.fromkeys(FIELDS, 0), "protocol": 1, "session": 77, "state": 1,
        "major": FIRMWARE_VERSION[0], "minor": FIRMWARE_VERSION[1], "patch": FIRMWARE_VERSION[2],
        "build": BUILD_ID, "board_number": bytes(8), "entry": ms.ENTRY_HEATS,
        "ring_bytes": RING_BYTES, "run_bytes": 20 * BLOCK_BYTES,
    }  # fmt: skip


def test_version_is_the_packages():
    from importlib.metadata import version

    assert ".".join(map(str, FIRMWARE_VERSION)) == version("emberbed")


def test_each_number_is_in_its_place():
    bench = Bench().to_armed()
    bench.machine.life.verdict = 3
    portrait = Portrait(BUILD_ID, NAMED, 5)
    portrait.note_arming(0x12345678, 0x09ABCDEF)
    told = said(portrait, bench.machine, session=0x3FFFFFFF)
    assert told["session"] == 0x3FFFFFFF
    assert (told["state"], told["verdict"]) == (bench.state, 3)
    assert told["tick"] == bench.machine.tick == 15
    assert (told["entry"], told["board_number"], told["reset_cause"]) == (*NAMED, 5)
    assert (told["run_session"], told["run_tick"]) == (0x12345678, 0x09ABCDEF)
    assert struct.pack("<HH", told["crc_low"], told["crc_high"]) == bench.crc()


@pytest.mark.parametrize(
    ("trip", "told"), [(trip_codes.NO_TRIP, trip_codes.OVER_TEMPERATURE), (1, 0)]
)
def test_trip_of_before_is_told_while_there_is_none_of_now(trip, told):
    machine = Bench().machine
    machine.kept_trip = trip_codes.OVER_TEMPERATURE
    machine.guard.trip = trip
    assert said(Portrait(BUILD_ID, NAMELESS, 0), machine)["kept_trip"] == told
