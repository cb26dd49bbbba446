"""Parts of plan and settings, taken apart from the wire: lengths, offsets, sums, states."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.block_requests import FOR_THE_TICK, BlockRequests
from emberbed_fw.frames import HEADER_BYTES, MAX_BODY
from emberbed_fw.settings import SETTINGS_BYTES
from tests.support.bench import Bench
from tests.support.plans import bench_settings, patch_plan

WRITES = [ms.PLAN_WRITE, ms.SETTINGS_WRITE]


class Asked:
    """Block requests of a bench's machine, asked with payloads as a frame's body holds them."""

    def __init__(self):
        self.bench = Bench()
        self.machine = self.bench.machine
        self.requests = BlockRequests(self.machine)

    def write(self, kind, payload):
        body = bytearray(b"\xee" * MAX_BODY)
        body[HEADER_BYTES : HEADER_BYTES + len(payload)] = payload
        return self.requests.write(kind, body, len(payload))

    def parts(self, kind, block, chunk=200):
        for at in range(0, len(block), chunk):
            part = struct.pack("<H", at) + block[at : at + chunk]
            assert self.write(kind, part) == ms.DONE

    def read(self, kind, payload):
        body = bytearray(b"\xee" * HEADER_BYTES + payload)
        return self.requests.read(kind, body, len(payload))


def end(length, crc):
    return struct.pack("<HH", ms.END_OF_BLOCK, length) + crc


@pytest.fixture
def asked():
    return Asked()


# Writing


@pytest.mark.parametrize(
    ("kind", "states"),
    [
        (ms.PLAN_WRITE, {rs.IDLE, rs.LOADED, rs.FINISHED, rs.STOPPED, rs.LINK_LOST}),
        (ms.SETTINGS_WRITE, {rs.IDLE}),
    ],
)
def test_each_is_taken_in_its_states(asked, kind, states):
    taken = set()
    for state in range(len(rs.STATE_NAMES)):
        asked.machine.life.state = state
        refusal = asked.write(kind, b"\0\0\1")
        assert refusal in (ms.DONE, ms.WRONG_STATE)
        taken |= {state} if refusal == ms.DONE else set()
    assert taken == states


@pytest.mark.parametrize("kind", WRITES)
@pytest.mark.parametrize(
    ("payload", "answer"),
    [
        (b"", ms.BAD_LENGTH), (b"\0", ms.BAD_LENGTH), (b"\0\0", ms.BAD_LENGTH),
        (b"\0\0\1", ms.DONE), (b"\1\0\1", ms.BAD_LENGTH), (b"\0\1\1", ms.BAD_LENGTH),
        (b"\xff\xff", ms.BAD_LENGTH), (b"\xff\xff" + bytes(5), ms.BAD_LENGTH),
        (b"\xff\xff" + bytes(7), ms.BAD_LENGTH), (b"\xfe\xff" + bytes(6), ms.BAD_LENGTH),
    ],
)  # fmt: skip
def test_part_has_an_offset_and_something_to_put_there(asked, kind, payload, answer):
    assert asked.write(kind, payload) == answer


def test_plan_and_settings_have_each_their_own_place(asked):
    plan = asked.bench.plan
    asked.parts(ms.PLAN_WRITE, plan)
    asked.parts(ms.SETTINGS_WRITE, bench_settings())
    assert bytes(asked.requests.plan_block()) == plan
    assert asked.write(ms.PLAN_WRITE, end(len(plan), plan[-4:])) == FOR_THE_TICK


def test_plan_that_is_whole_is_opened_for_the_tick(asked):
    plan = asked.bench.plan
    asked.parts(ms.PLAN_WRITE, plan, chunk=37)
    assert asked.machine.received is None
    assert asked.write(ms.PLAN_WRITE, end(len(plan), bytes(4))) == FOR_THE_TICK, "the tick compares"
    received = asked.machine.received.plan
    assert struct.pack("<HH", received.crc_low, received.crc_high) == plan[-4:]
    assert asked.requests.fault == layout.PLAN_FINE


@pytest.mark.parametrize("off_by", [-1, 1, 256])
def test_plan_of_another_length_is_not_whole(asked, off_by):
    plan = asked.bench.plan
    asked.parts(ms.PLAN_WRITE, plan)
    assert asked.write(ms.PLAN_WRITE, end(len(plan) + off_by, plan[-4:])) == ms.BAD_PLAN
    assert asked.requests.fault == layout.PLAN_LENGTH and asked.machine.received is None


def test_plan_that_would_not_do_is_refused_with_its_fault(asked):
    plan = patch_plan(asked.bench.plan, kp0_q8=layout.MAX_KP_Q8 + 1)
    asked.parts(ms.PLAN_WRITE, plan)
    assert asked.write(ms.PLAN_WRITE, end(len(plan), plan[-4:])) == ms.BAD_PLAN
    assert asked.requests.fault == layout.PLAN_GAIN and asked.machine.received is None


def test_what_is_for_the_tick_is_no_refusal():
    assert FOR_THE_TICK < 0


def test_no_plan_is_refused_before_the_first():
    assert Asked().requests.fault == layout.PLAN_FINE


def test_settings_that_are_whole_are_kept_for_the_tick(asked):
    block = bench_settings()
    asked.parts(ms.SETTINGS_WRITE, block)
    assert asked.machine.received_settings is None
    assert asked.write(ms.SETTINGS_WRITE, end(len(block), block[-4:])) == FOR_THE_TICK
    assert asked.machine.received_settings == block


@pytest.mark.parametrize("off_by", [-1, 1, 256])
def test_settings_of_another_length_are_not_whole(asked, off_by):
    block = bench_settings()
    asked.parts(ms.SETTINGS_WRITE, block)
    answer = asked.write(ms.SETTINGS_WRITE, end(len(block) + off_by, block[-4:]))
    assert answer == ms.BAD_LENGTH and asked.machine.received_settings is None


@pytest.mark.parametrize("length", [0, 1, 2, 3, 4, 9, SETTINGS_BYTES - 1])
def test_settings_too_short_to_hold_a_sum_are_none(asked, length):
    """Whole as they are: what was said to come has come."""
    if length:
        asked.parts(ms.SETTINGS_WRITE, bytes(length))
    assert asked.write(ms.SETTINGS_WRITE, end(length, bytes(4))) == ms.BAD_LENGTH
    assert asked.machine.received_settings is None


@pytest.mark.parametrize("length", [0, 1, 3, 4, 9])
def test_plan_too_short_to_hold_anything_is_none(asked, length):
    if length:
        asked.parts(ms.PLAN_WRITE, bytes(length))
    assert asked.write(ms.PLAN_WRITE, end(length, bytes(4))) == ms.BAD_PLAN
    assert asked.requests.fault == layout.PLAN_LENGTH and asked.machine.received is None


@pytest.mark.parametrize("bit", range(32))
def test_settings_must_have_the_sum_that_is_named(asked, bit):
    block = bench_settings()
    asked.parts(ms.SETTINGS_WRITE, block)
    crc = struct.pack("<I", struct.unpack("<I", block[-4:])[0] ^ 1 << bit)
    assert asked.write(ms.SETTINGS_WRITE, end(len(block), crc)) == ms.BAD_CRC
    assert asked.machine.received_settings is None


def test_settings_that_are_none_are_refused(asked):
    block = bytes(SETTINGS_BYTES - 4) + b"\1\2\3\4"
    asked.parts(ms.SETTINGS_WRITE, block)
    assert asked.write(ms.SETTINGS_WRITE, end(len(block), b"\1\2\3\4")) == ms.BAD_RANGE
    assert asked.machine.received_settings is None


# Reading


@pytest.mark.parametrize("payload", [b"", b"\0\0", b"\0\0\1\1"])
@pytest.mark.parametrize("kind", [ms.PLAN_READ, ms.SETTINGS_READ])
def test_read_has_an_offset_and_a_count(asked, kind, payload):
    assert asked.read(kind, payload) is None


def test_settings_of_now_are_read_not_those_that_come(asked):
    block = bench_settings()
    asked.parts(ms.SETTINGS_WRITE, bytes(len(block)))
    assert asked.read(ms.SETTINGS_READ, struct.pack("<HB", 5, 20)) == block[5:25]


def test_plan_is_read_as_it_came_whole_or_not(asked):
    assert asked.read(ms.PLAN_READ, b"\0\0\x0a") == b""
    asked.parts(ms.PLAN_WRITE, b"\1\2\3")
    assert asked.read(ms.PLAN_READ, b"\0\0\x0a") == b"\1\2\3"
    assert asked.read(ms.PLAN_READ, b"\2\0\x0a") == b"\3"


@pytest.mark.parametrize(("count", "given"), [(191, 191), (192, 192), (193, 192), (255, 192)])
def test_no_more_is_read_at_once_than_a_chunk(asked, count, given):
    asked.requests.keep_plan(bytes(range(250)) * 2)
    read = asked.read(ms.PLAN_READ, struct.pack("<HB", 1, count))
    assert read == (bytes(range(250)) * 2)[1 : 1 + given]


def test_plan_of_the_device_itself_takes_the_place_of_one_that_came(asked):
    asked.parts(ms.PLAN_WRITE, asked.bench.plan)
    asked.requests.keep_plan(b"\7\7\7")
    assert bytes(asked.requests.plan_block()) == b"\7\7\7"


def no_room(*_given):
    raise MemoryError


def test_a_plan_that_finds_no_room_is_refused_and_the_one_before_stays(asked, monkeypatch):
    before = asked.machine.plan
    plan = asked.bench.plan
    asked.parts(ms.PLAN_WRITE, plan)
    monkeypatch.setattr(asked.machine, "prepare", no_room)
    assert asked.write(ms.PLAN_WRITE, end(len(plan), plan[-4:])) == ms.BAD_PLAN
    assert layout.PLAN_FAULTS[asked.requests.fault].startswith("longer than the memory")
    assert asked.machine.plan is before
    monkeypatch.undo()
    assert asked.write(ms.PLAN_WRITE, end(len(plan), plan[-4:])) == FOR_THE_TICK


def test_settings_that_find_no_room_may_be_sent_again(asked, monkeypatch):
    monkeypatch.setattr("emberbed_fw.block_buffer.BlockBuffer.write", no_room)
    assert asked.write(ms.SETTINGS_WRITE, b"\0\0\1") == ms.BUSY


def test_longest_plan_has_room(asked):
    asked.parts(ms.PLAN_WRITE, bytes(layout.MAX_PLAN_BYTES))
    beyond = struct.pack("<H", layout.MAX_PLAN_BYTES) + b"\0"
    assert asked.write(ms.PLAN_WRITE, beyond) == ms.BAD_LENGTH
    asked.parts(ms.SETTINGS_WRITE, bytes(SETTINGS_BYTES))
    beyond = struct.pack("<H", SETTINGS_BYTES) + b"\0"
    assert asked.write(ms.SETTINGS_WRITE, beyond) == ms.BAD_LENGTH
