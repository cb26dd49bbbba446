"""The queue of requests: its bytes, its order, and that a stop always finds room."""

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.commands import MAX_COMMANDS, TICK_COMMANDS, CommandQueue, command_length
from emberbed_fw.record import COMMAND_BYTES, FIXED_BYTES
from tests.support.bench import Bench, ack

# The queue.


def put(queue, kind, octet=0):
    return queue.put(kind, bytes([octet]) * 64, 0, command_length(kind))


def test_queue_is_the_records_bytes():
    bench = Bench()
    bench.renews = False
    bench.send(ms.STOP, bytes([ms.STOP_SMOKE]))
    bench.send(ms.ACK_PROMPT, ack(9))
    bench.tick()
    assert bench.packed[FIXED_BYTES:] == bytes(
        [ms.STOP, 1, ms.STOP_SMOKE, ms.ACK_PROMPT, 2, 9, ms.BY_TERMINAL]
    )


def test_requests_are_carried_out_in_order():
    bench = Bench()
    bench.load()
    bench.arm()
    bench.stop()
    bench.tick()
    assert bench.refusals == [ms.DONE] * 3
    assert bench.state == rs.COOL


@pytest.mark.parametrize("kind", [kind for kind in TICK_COMMANDS if kind != ms.STOP])
def test_full_queue_still_takes_a_stop(kind):
    queue = CommandQueue()
    taken = 0
    while put(queue, kind):
        taken += 1
        assert taken < 100
    assert queue.filled <= COMMAND_BYTES and queue.count < MAX_COMMANDS
    for other in TICK_COMMANDS:
        if command_length(other) >= command_length(kind) and other != ms.STOP:
            assert not put(queue, other)
    assert put(queue, ms.STOP, ms.STOP_BY_PERSON)
    assert queue.filled <= COMMAND_BYTES and queue.count <= MAX_COMMANDS


def test_queue_never_takes_more_than_it_can_hold():
    queue = CommandQueue()
    while put(queue, ms.STOP):
        assert queue.count <= MAX_COMMANDS
    assert queue.count == MAX_COMMANDS and queue.filled <= COMMAND_BYTES
    queue.clear()
    assert put(queue, ms.RENEW) and queue.count == 1


def test_only_tick_commands_have_a_length():
    kinds = {kind for kind in range(256) if command_length(kind) >= 0}
    assert kinds == set(TICK_COMMANDS)
    # none of them starts heat, presses the button, forces an output or injects a reading
    assert {ms.MESSAGE_NAMES[kind] for kind in kinds} == {
        "RENEW", "PLAN_WRITE", "ARM", "STOP", "ACK_PROMPT", "STAGE_REQUEST", "SETTINGS_WRITE",
        "SERVICE", "FEEDFORWARD",
    }  # fmt: skip
