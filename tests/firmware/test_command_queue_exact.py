"""The queue of one tick's requests byte by byte, and the one length of each kind."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.commands import MAX_COMMANDS, CommandQueue, command_length
from emberbed_fw.record import COMMAND_BYTES
from tests.support.bench import Bench, arm_payload

# As the payloads of messages.py are laid out: what follows the frame's header, in bytes.
LAYOUTS = {
    ms.RENEW: "<I", ms.PLAN_WRITE: "<HHHH", ms.SETTINGS_WRITE: "<HHHH", ms.ARM: "<HHBBI",
    ms.STOP: "<B", ms.ACK_PROMPT: "<BB", ms.STAGE_REQUEST: "<BhB", ms.SERVICE: "<B",
    ms.FEEDFORWARD: "<H24H",
}  # fmt: skip


@pytest.mark.parametrize("kind", range(256))
def test_each_request_has_the_length_of_its_layout(kind):
    assert command_length(kind) == (struct.calcsize(LAYOUTS[kind]) if kind in LAYOUTS else -1)


# The queue: 16 requests in 80 bytes, of which one and 3 are a STOP's.


def filled(*lengths):
    """Return a queue that has taken renewals of these made-up lengths."""
    queue = CommandQueue()
    for length in lengths:
        assert queue.put(ms.RENEW, bytes(80), 0, length)
    return queue


def test_queue_begins_empty():
    queue = CommandQueue()
    assert (queue.filled, queue.count, queue.refusals) == (0, 0, [0] * 16)
    assert len(queue.octets) == COMMAND_BYTES == 80 and MAX_COMMANDS == 16


def test_request_is_copied_from_its_place_in_the_frame():
    queue = CommandQueue()
    queue.octets[:] = b"\xee" * 80
    assert queue.put(ms.ACK_PROMPT, b"\x01\x02\x03\x04\x05", 2, 2)
    assert queue.put(ms.STOP, b"\x09", 0, 1)
    said = bytes([ms.ACK_PROMPT, 2, 3, 4, ms.STOP, 1, 9])
    assert bytes(queue.octets) == said + b"\xee" * 73
    assert (queue.filled, queue.count) == (7, 2)


def test_request_is_busy_until_the_tick_has_come_to_it():
    queue = filled(1, 1)
    assert queue.refusals[:3] == [ms.BUSY, ms.BUSY, 0]


def test_fifteen_requests_and_a_stop():
    queue = filled(*[1] * 15)
    assert not queue.put(ms.RENEW, bytes(4), 0, 1)
    assert queue.put(ms.STOP, b"\1", 0, 1)
    assert not queue.put(ms.STOP, b"\1", 0, 1)
    assert (queue.filled, queue.count) == (48, 16)


@pytest.mark.parametrize(("length", "taken"), [(75, True), (76, False)])
def test_a_stop_finds_room_in_a_full_queue(length, taken):
    """75 bytes, their heading of two and the three of a STOP are all 80."""
    queue = CommandQueue()
    assert queue.put(ms.RENEW, bytes(80), 0, length) is taken
    assert queue.filled == (77 if taken else 0)
    assert queue.put(ms.STOP, b"\1", 0, 1)
    assert queue.filled == (80 if taken else 3)


def test_room_is_counted_from_what_is_there():
    queue = filled(35, 20)
    assert queue.filled == 59
    assert not queue.put(ms.RENEW, bytes(80), 0, 17)
    assert queue.put(ms.RENEW, bytes(80), 0, 16) and queue.filled == 77


def test_a_second_stop_needs_room_of_its_own():
    queue = filled(74)
    assert queue.put(ms.STOP, b"\1", 0, 1) and queue.filled == 79
    assert not queue.put(ms.STOP, b"\1", 0, 1)


def test_cleared_queue_is_empty():
    queue = filled(1, 2, 3)
    queue.clear()
    assert (queue.filled, queue.count) == (0, 0)


def test_each_of_several_requests_gets_its_own_answer():
    bench = Bench()
    bench.renews = False
    bench.send(ms.ACK_PROMPT, b"\1\2")
    bench.send(ms.STAGE_REQUEST, struct.pack("<BhB", ms.MARK, 0, 0))
    bench.send(ms.STOP, b"\1")
    bench.send(ms.ARM, arm_payload(bench.plan, attendance=9))
    bench.tick()
    assert bench.refusals == [ms.WRONG_STATE, ms.BAD_RANGE, ms.DONE, ms.NOT_OFFERED]
