"""Numbers and layouts that lie in people's stores and go between versions: they never change.

A new one is added behind the others, here too. (Written out by hand, apart from the tables.)
"""

import struct

import pytest

from emberbed_fw import backfill, block_ring, frames, record, tick_pack
from emberbed_fw import messages as ms

MESSAGES = {
    1: "HELLO", 2: "RENEW", 3: "PLAN_WRITE", 4: "PLAN_READ", 5: "SETTINGS_WRITE",
    6: "SETTINGS_READ", 7: "ARM", 8: "STOP", 9: "ACK_PROMPT", 10: "STAGE_REQUEST",
    11: "FEEDFORWARD", 12: "BACKFILL", 13: "SELFTEST", 14: "SERVICE",
    65: "REPLY", 66: "RECORD", 67: "BACKFILL_BLOCK", 68: "SNAPSHOT",
}  # fmt: skip
TOUCHES = {
    1: "HOLD_HERE", 2: "GO_ON", 3: "EXTEND", 4: "NEXT_STAGE", 5: "LAST_PLATEAU", 6: "OFFSET",
    7: "COOL_DOWN", 8: "MARK", 9: "FAN_NOW", 32: "ANSWER",
}  # fmt: skip
MARKS = "NEXT FLUX_ON NOZZLE_ON SOLDER_MOVES CHIP_OFF CHIP_ON AIR_AWAY NOTE"
SOURCES = "NOBODY BUTTON TERMINAL PAGE SCRIPT"
REFUSALS = (
    "DONE WRONG_VERSION WRONG_SESSION WRONG_STATE BAD_LENGTH BAD_RANGE BAD_CRC BAD_PLAN NOT_OFFERED"
    " WRONG_PROMPT BUSY TOO_OLD ABOVE_LIMIT NO_PLATEAU NO_RUN SWITCH_CLOSED"
)
CHOICES = {
    "END_OF_BLOCK": 0xFFFF, "SELF_SETTINGS_CHANGED": 1, "SELF_LIMITS_CHANGED": 2,
    "SERVICE_PLEASE": 1, "SERVICE_UNPLUGGED": 2, "ENTRY_HEATS": 0, "ENTRY_INJECTED": 1,
    "ATTEND_HOST": 1, "ATTEND_PANEL": 2, "ATTEND_UNATTENDED": 3,
    "STOP_BY_PERSON": 1, "STOP_SMOKE": 2, "STOP_HOST_ENDING": 3, "STOP_SELF_CHECK": 4,
}  # fmt: skip
RECORD_BITS = {
    "PORT_BUTTON": 1, "PORT_CONTACTOR_CLOSED": 2, "PORT_HEAT_CURRENT": 4, "PORT_FAN_TURNS": 8,
    "PORT_BUS_ERROR": 16, "PORT_HEAP_LOW": 32, "PORT_INJECTED": 64, "PORT_STOPPED": 128,
    "OUT_CONTACTOR": 1, "OUT_FAN": 2, "OUT_LAMP": 4, "OUT_BUZZER": 8,
}  # fmt: skip
# inputs: tick, ms, flags, channels, words of eight channels; then what the device did
RECORD = "<IHHB32sBBBBBHBBBIIiHHIIIBBBBBhBHHHHiiiiiiiihhhhhhhh"


@pytest.mark.parametrize("number", range(256))
def test_number_of_a_message(number):
    assert ms.MESSAGE_NAMES.get(number) == MESSAGES.get(number)
    if number in MESSAGES:
        assert getattr(ms, MESSAGES[number]) == number


def test_numbers_of_touches_marks_sources_and_refusals():
    assert ms.TOUCH_NAMES == TOUCHES
    assert {number: getattr(ms, name) for number, name in TOUCHES.items()} == {
        n: n for n in TOUCHES
    }
    for prefix, names, table in (
        ("MARK_", MARKS, ms.MARK_NAMES), ("BY_", SOURCES, ms.SOURCE_NAMES),
        ("", REFUSALS, ms.REFUSAL_NAMES),
    ):  # fmt: skip
        assert " ".join(table) == names
        assert [getattr(ms, prefix + name) for name in table] == list(range(len(table)))


@pytest.mark.parametrize(("name", "number"), CHOICES.items())
def test_number_of_a_choice(name, number):
    assert getattr(ms, name) == number


@pytest.mark.parametrize(("name", "bit"), RECORD_BITS.items())
def test_bit_of_a_record(name, bit):
    assert getattr(record, name) == bit


def test_layout_of_a_frame():
    """Version, type, length, session, sequence, tick; 236 bytes; CRC-32. One COBS block."""
    assert (frames.PROTOCOL_VERSION, frames.HEADER, frames.CRC_BYTES) == (1, "<BBBIHI", 4)
    assert (frames.HEADER_BYTES, frames.MAX_PAYLOAD) == (13, 236)
    assert (frames.MAX_BODY, frames.MAX_FRAME) == (253, 256)


def test_layout_of_a_record():
    assert record.FIXED == RECORD and struct.calcsize(RECORD) == record.FIXED_BYTES
    assert record.INPUT_BYTES == 41 and record.WORDS_OFFSET == 9
    assert record.COMMAND_BYTES == 80 and record.MAX_RECORD == record.FIXED_BYTES + 80
    assert [record.offset_of(name) for name in ("tick", "elapsed_ms", "words", "state")] == [
        0, 4, 9, 41,
    ]  # fmt: skip
    with pytest.raises(ValueError, match="no such field"):
        record.offset_of("mood")


def test_layout_of_an_entry_of_the_memory():
    bits = [
        tick_pack.HAS_ELAPSED, tick_pack.HAS_FLAGS, tick_pack.HAS_FRESH, tick_pack.HAS_WORDS,
        tick_pack.HAS_STATUS, tick_pack.HAS_OUTPUTS, tick_pack.HAS_COMMANDS, tick_pack.HAS_SETPOINT,
    ]  # fmt: skip
    assert bits == [1 << bit for bit in range(8)]
    assert (block_ring.FORM_WHOLE, block_ring.FORM_PACKED) == (0, 1) == (backfill.FORM_WHOLE, 1)
    assert block_ring.HEAD == "<BHIBI" and block_ring.HEAD_BYTES == 12


def test_layouts_of_the_answers():
    assert ms.HELLO_REPLY == "<BIBBI3B8sB8sIIHHIIBB"
    assert (ms.BACKFILL_REPLY, ms.SELFTEST_REPLY, ms.SELFTEST_CHANNEL) == (
        "<III", "<HBIIBI", "<Bhi",
    )  # fmt: skip
    assert (ms.ARM_PAYLOAD, ms.TOUCH_PAYLOAD) == ("<HHBBI", "<BhB")
    assert ms.BOARD_NUMBER_BYTES == 8


def test_bounds_that_both_sides_count_on():
    assert ms.SEQUENCE_WINDOW == 2**15 - 1  # half of the numbers are older
    assert ms.MAX_FRAME_AGE_TICKS == 100  # 10 s
    assert ms.MAX_DAMAGED_PER_MIN == 10
    assert ms.BLOCK_CHUNK == 192 <= frames.MAX_PAYLOAD - 2
