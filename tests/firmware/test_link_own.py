"""Commands of the device itself, and renewals: what is queued beside a host's requests."""

import struct

import pytest

from emberbed_fw import messages as ms
from tests.support.bench import arm_payload
from tests.support.wire import DAMAGED, connected, replies, tell

# Commands of the device itself


def test_own_command_is_carried_out_and_answered_to_nobody():
    wire = connected()
    before = len(replies(wire))
    assert wire.link.put_own(ms.STOP, b"\1")
    wire.feed(wire.frame(ms.ACK_PROMPT, b"\1\2"))
    wire.tick()
    assert [one[0] for one in replies(wire)[before:]] == [ms.ACK_PROMPT]
    assert wire.recorder.length(wire.machine.tick) > 0


def test_own_command_without_room_is_told_and_nothing_is_changed():
    wire = connected()
    for _ in range(20):
        wire.renew()
    held = wire.machine.commands.count
    assert not wire.link.put_own(ms.ARM, arm_payload(wire.bench.plan))
    assert wire.machine.commands.count == held
    assert wire.link.put_own(ms.STOP, b"\1")


# RENEW


@pytest.mark.parametrize("payload", [b"", bytes(3), bytes(5), struct.pack("<IB", 3, 0)])
def test_renewal_of_a_wrong_length_is_no_renewal_and_not_answered(payload):
    wire = connected()
    wire.tick(5)
    assert tell(wire, ms.RENEW, payload, sequence=0) == []
    wire.tick()
    assert wire.machine.guard.lease_left == 0 and wire.link.flow_owed() == 6


def test_renewal_over_a_bad_link_frees_nothing():
    wire = connected()
    wire.feed(DAMAGED * 11)
    wire.tick(5)
    wire.renew()
    wire.tick()
    assert wire.machine.guard.lease_left == 0 and wire.link.flow_owed() == 6


def test_renewals_are_never_answered():
    wire = connected()
    before = len(replies(wire))
    for _ in range(30):
        wire.renew()
    wire.tick()
    wire.renew(tick=0x4000_0000)
    wire.tick()
    assert len(replies(wire)) == before
