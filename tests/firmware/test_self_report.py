"""The self-test over the link: what it tells, and when it is refused."""

import struct

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import record, trip_codes
from emberbed_fw.self_sums import MASK, self_sums
from emberbed_fw.units import CHANNELS, NO_READING_CDEG
from tests.support.bench import ALWAYS, OPEN_WORD
from tests.support.wire import Wire, connected

HEAD = struct.Struct(ms.SELFTEST_REPLY)
CHANNEL = struct.Struct(ms.SELFTEST_CHANNEL)


def report(wire):
    refusal, data = wire.ask(ms.SELFTEST)
    assert refusal == "DONE" and len(data) == HEAD.size + CHANNELS * CHANNEL.size
    return HEAD.unpack_from(data), list(CHANNEL.iter_unpack(data[HEAD.size :]))


def test_device_at_rest_is_fine():
    (flags, outputs, couples, control, memory, _free), channels = report(connected())
    assert (flags, outputs & record.OUT_CONTACTOR, memory) == (0, 0, 0)
    assert (couples, control) == self_sums()
    assert [fault for fault, _cold, _reading in channels] == [trip_codes.NO_TRIP] * CHANNELS
    assert abs(channels[0][2] - 2500) < 100 and abs(channels[0][1] - 2500) < 100


def test_open_couple_and_closed_switch_are_told():
    wire = connected()
    wire.bench.raw[1] = OPEN_WORD
    wire.bench.contactor = ALWAYS
    wire.tick()
    (flags, *_rest), channels = report(wire)
    assert flags & record.PORT_CONTACTOR_CLOSED
    assert channels[1][0] == trip_codes.SENSOR_OPEN and channels[1][2] == NO_READING_CDEG


def test_changed_settings_are_told():
    wire = connected()
    block = bytearray(wire.machine.settings.block)
    block[10] ^= 1
    wire.machine.settings.block = bytes(block)
    assert report(wire)[0][4] == ms.SELF_SETTINGS_CHANGED


@pytest.mark.parametrize(("changed", "told"), [(0, 0), (1, ms.SELF_LIMITS_CHANGED)])
def test_changed_limits_of_a_plan_are_told(changed, told):
    wire = connected()
    wire.write_plan(wire.bench.plan)
    assert wire.machine.guard.memory.changed == 0
    wire.machine.guard.memory.changed = changed
    assert report(wire)[0][4] == told


def test_each_byte_of_the_settings_counts():
    wire = connected()
    block = wire.machine.settings.block
    for at in range(len(block)):
        changed = bytearray(block)
        changed[at] ^= 0x80
        wire.machine.settings.block = bytes(changed)
        assert report(wire)[0][4] == ms.SELF_SETTINGS_CHANGED, at
    wire.machine.settings.block = block
    assert report(wire)[0][4] == 0


def test_each_channel_tells_its_own():
    wire = connected()
    readings = wire.machine.readings
    readings.fault[:] = range(1, 9)
    readings.cold_cdeg[:] = range(-100, -92)
    readings.cdeg[:] = range(2000, 2008)
    wire.machine.outputs = 0x2A
    wire.machine.inputs.port_flags = 0x0123
    (flags, outputs, *_sums, memory, free), channels = report(wire)
    assert (flags, outputs, memory, free) == (0x0123, 0x2A, 0, 0)
    assert channels == [(1 + n, -100 + n, 2000 + n) for n in range(8)]


@pytest.mark.parametrize("size", [1, 4])
def test_it_takes_no_payload(size):
    assert connected().ask(ms.SELFTEST, bytes(size)) == ("BAD_LENGTH", b"")


def test_it_is_refused_while_it_heats_and_with_a_payload():
    assert Wire().to_run().ask(ms.SELFTEST)[0] == "WRONG_STATE"
    assert connected().ask(ms.SELFTEST, b"\1")[0] == "BAD_LENGTH"


def test_sums_are_small_and_feel_every_number():
    assert all(0 < total <= MASK for total in self_sums())
