"""What a device does between ticks: keep settings, go to service, confirm a new version."""

import struct
from binascii import crc32

import pytest

from emberbed.link.blocks import write_payloads
from emberbed_fw import messages as ms
from emberbed_fw import record, settings
from emberbed_fw import run_states as rs
from emberbed_fw.errands import CONFIRM_TICKS, LAST_WORDS_TICKS, Errands
from emberbed_fw.settings_store import load_settings
from tests.support.bench import ALWAYS
from tests.support.plans import bench_settings
from tests.support.wire import connected


class Flash:
    """The part of a port that errands ask; `broken`: nothing can be written."""

    def __init__(self, broken=False):
        self.slots = [b"", b""]
        self.deeds = []
        self.broken = broken

    def settings_block(self):
        return bench_settings()

    def read_slot(self, slot):
        return self.slots[slot]

    def write_slot(self, slot, octets):
        if self.broken:
            raise OSError(28)
        self.slots[slot] = octets
        self.deeds.append("slot")

    def note_service(self):
        if self.broken:
            raise OSError(28)
        self.deeds.append("note")

    def confirm(self):
        self.deeds.append("confirm")

    def restart(self):
        self.deeds.append("restart")


def warmer(block):
    """Return settings with another calibration of channel 0."""
    changed = bytearray(block)
    struct.pack_into("<h", changed, settings.HEADER_BYTES + 2, 150)
    changed[-4:] = struct.pack("<I", crc32(bytes(changed[:-4])))
    return bytes(changed)


def at_rest(broken=False):
    wire = connected()
    flash = Flash(broken)
    return wire, flash, Errands(wire.machine, flash)


def write(wire, block):
    """Send settings; return the answer to their end."""
    for payload in write_payloads(block):
        answer = wire.ask(ms.SETTINGS_WRITE, payload)
    return answer[0]


def go_on(wire, errands, ticks):
    """Take ticks with an errand after each; tell whether one ended in a restart."""
    for _tick in range(ticks):
        wire.tick()
        if errands.step():
            return True
    return False


def test_settings_are_kept_and_the_device_starts_anew():
    wire, flash, errands = at_rest()
    new = warmer(bench_settings())
    assert write(wire, new) == "DONE"
    assert go_on(wire, errands, LAST_WORDS_TICKS + 3)
    assert flash.deeds == ["slot", "restart"] and load_settings(flash) == new


def test_settings_that_do_not_fit_are_refused():
    wire, flash, errands = at_rest()
    bad = bytearray(bench_settings())
    bad[settings.HEADER_BYTES] = 99  # no such converter
    bad[-4:] = struct.pack("<I", crc32(bytes(bad[:-4])))
    assert write(wire, bytes(bad)) == "BAD_RANGE"
    assert not go_on(wire, errands, 20) and flash.deeds == []


def test_settings_of_another_sum_or_length_are_refused():
    wire, _flash, _errands = at_rest()
    *parts, end = write_payloads(bench_settings())
    for part in parts:
        wire.ask(ms.SETTINGS_WRITE, part)
    assert wire.ask(ms.SETTINGS_WRITE, end[:-1] + bytes([end[-1] ^ 1]))[0] == "BAD_CRC"
    short = struct.pack("<HHHH", ms.END_OF_BLOCK, 9, 0, 0)
    assert wire.ask(ms.SETTINGS_WRITE, short)[0] == "BAD_LENGTH"


@pytest.mark.parametrize("ask", ["settings", "service"])
def test_nothing_while_a_switch_is_closed(ask):
    wire, flash, errands = at_rest()
    wire.bench.contactor = ALWAYS
    wire.tick()
    if ask == "settings":
        assert write(wire, bench_settings()) == "SWITCH_CLOSED"
    else:
        assert wire.ask(ms.SERVICE, b"\1")[0] == "SWITCH_CLOSED"
    assert not go_on(wire, errands, 2 * CONFIRM_TICKS) and flash.deeds == []


def test_service_switches_off_leaves_a_note_and_restarts():
    wire, flash, errands = at_rest()
    assert wire.ask(ms.SERVICE, bytes([ms.SERVICE_PLEASE]))[0] == "DONE"
    assert wire.machine.life.state == rs.SERVICE
    assert wire.machine.driven_zones == 0 and not wire.machine.outputs & record.OUT_CONTACTOR
    assert go_on(wire, errands, LAST_WORDS_TICKS + 1)
    assert flash.deeds == ["note", "restart"]


def test_service_waits_for_a_switch_that_closes_meanwhile():
    wire, flash, errands = at_rest()
    wire.ask(ms.SERVICE, bytes([ms.SERVICE_PLEASE]))
    wire.bench.contactor = ALWAYS
    assert not go_on(wire, errands, 50) and flash.deeds == []


def test_note_that_cannot_be_written_leaves_the_device_as_it_was():
    wire, _flash, errands = at_rest(broken=True)
    wire.ask(ms.SERVICE, bytes([ms.SERVICE_PLEASE]))
    assert not go_on(wire, errands, LAST_WORDS_TICKS + 1)
    assert wire.machine.life.state == rs.IDLE


def test_pulled_plug_counts_more_than_a_sense_that_is_wrong():
    wire, flash, errands = at_rest()
    wire.bench.contactor = ALWAYS
    wire.tick()
    assert wire.ask(ms.SERVICE, bytes([ms.SERVICE_UNPLUGGED]))[0] == "DONE"
    assert go_on(wire, errands, LAST_WORDS_TICKS + 1)
    assert flash.deeds == ["note", "restart"]


def test_pulled_plug_is_no_reason_in_a_run():
    wire = connected()
    wire.to_run()
    assert wire.ask(ms.SERVICE, bytes([ms.SERVICE_UNPLUGGED]))[0] == "SWITCH_CLOSED"
    assert wire.machine.life.state in rs.HEATING_STATES


@pytest.mark.parametrize("payload", [b"\0", b"\3"])
def test_service_wants_its_word(payload):
    assert connected().ask(ms.SERVICE, payload)[0] == "BAD_RANGE"


def test_service_is_refused_in_a_run():
    wire = connected()
    wire.to_run()
    assert wire.ask(ms.SERVICE, bytes([ms.SERVICE_PLEASE]))[0] == "SWITCH_CLOSED"
    assert wire.machine.life.state in rs.HEATING_STATES
    wire.ask(ms.STOP, bytes([ms.STOP_BY_PERSON]))
    wire.tick(3)
    assert wire.ask(ms.SERVICE, bytes([ms.SERVICE_PLEASE]))[0] == "WRONG_STATE"
    assert wire.machine.life.state == rs.COOL


def test_new_version_confirms_itself_once_after_whole_ticks():
    wire, flash, errands = at_rest()
    assert not go_on(wire, errands, CONFIRM_TICKS - wire.machine.tick - 1)
    assert flash.deeds == []
    assert not go_on(wire, errands, 50)
    assert flash.deeds == ["confirm"]
