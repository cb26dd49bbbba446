"""Run recorded inputs through the firmware again: the same bytes must come out.

Begins at the record that holds the ARM command, with the settings and plan of that run. Each
recorded tick's inputs and commands are fed; the record packed from them is left in `out` to be
compared. A difference means a hardware or memory fault, or another firmware.
"""

import struct

from emberbed_fw import messages, record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.commands import prepare_feedforward
from emberbed_fw.plan import Plan
from emberbed_fw.recorder import pack_record
from emberbed_fw.safety_limits import COLD_IDLE_TICKS
from emberbed_fw.settings import Settings
from emberbed_fw.tick import Machine
from emberbed_fw.units import NONE

EMITTERS_AT = record.offset_of("emitter_mk")
WARNINGS_AT = record.offset_of("warnings")
INPUTS = "<" + "".join([code for _name, code in record.INPUT_FIELDS])


def arms(packed, length):
    """Tell whether a record holds an ARM command that was accepted: where replay can begin."""
    return packed[record.INPUT_BYTES] == rs.COLD_PROOF and arm_at(packed, length) > 0


def goes_on(packed, length):
    """Tell whether the run that begins with this record goes on with one that had tripped."""
    at = arm_at(packed, length)
    return at > 0 and packed[at + 5] != NONE


def arm_at(packed, length):
    """Return where the payload of a record's last ARM begins, 0 for none."""
    found = 0
    at = record.FIXED_BYTES
    while at < length:
        if packed[at] == messages.ARM:
            found = at + 2
        at += 2 + packed[at + 1]
    return found


class Heard:
    """The feedforward that the records of a run tell of: a replay from a snapshot needs it too."""

    def __init__(self):
        self._parts = []  # tick, payload
        self._newest = 0

    def note(self, packed, length):
        """Take the next record, or one again; an arming ends what was before it."""
        tick = struct.unpack_from("<I", packed, 0)[0]
        if arms(packed, length):
            self._parts = []
        elif tick <= self._newest:
            return
        self._newest = tick
        at = record.FIXED_BYTES
        while at < length:
            if packed[at] == messages.FEEDFORWARD:
                self._parts.append((tick, bytes(packed[at + 2 : at + 2 + packed[at + 1]])))
            at += 2 + packed[at + 1]

    def until(self, tick):
        """Return the payloads up to this tick."""
        return [payload for when, payload in self._parts if when <= tick]


class Replay:
    """One run. `feed` each record in order, from the first for which `arms` is true."""

    def __init__(self, settings_block, plan_block, trip_counts=None):
        """trip_counts: what the device answered to ARM, None for a device just switched on."""
        self.machine = Machine(Settings(settings_block))
        if trip_counts is not None:
            self.machine.life.trip_counts[:] = list(trip_counts)
        self.machine.prepare(Plan(plan_block))
        self.machine.take_received_plan()
        self.machine.life.happen(rs.PLAN_STORED)
        self.out = bytearray(record.MAX_RECORD)
        self.length = 0
        self._begun = False
        self._first = False  # the tick that is fed is the one of the arming

    def begin_here(self, heard=()):
        """Go on from a restored snapshot: the machine's own tick counts. `heard`: what Heard gives
        until then; ValueError where it lacks the feedforward that the snapshot names."""
        if not self.machine.feedforward.redo(heard):
            raise ValueError("a snapshot with a feedforward that is not recorded")
        self._begun = True

    def feed(self, packed, length, around=None):
        """Run one recorded tick; return the offset of the first differing byte, -1 for none.

        around: None, or a pair of functions called before and after sample-to-drive.
        """
        machine = self.machine
        self._load(packed, length)
        if around is not None:
            around[0]()
        machine.sample_to_drive()
        if around is not None:
            around[1]()
        if self._first:
            self._take_emitters(packed)
        self.length = pack_record(machine, self.out)
        machine.commands.clear()
        return self._first_difference(packed, length)

    def _load(self, packed, length):
        machine = self.machine
        inputs = machine.inputs
        tick, inputs.elapsed_ms, inputs.port_flags, inputs.fresh_channels, words = (
            struct.unpack_from(INPUTS, packed, 0)
        )
        if not self._begun:
            machine.tick = tick - 1
            self._begun = True
            self._first = True
            if packed[WARNINGS_AT] & trip_codes.NOTE_RESTED:
                machine.dark_ticks = COLD_IDLE_TICKS
            if goes_on(packed, length):
                stage, done_ticks = struct.unpack_from("<BI", packed, arm_at(packed, length) + 5)
                machine.life.offer_again()
                machine.sequencer.left_stage = stage
                machine.sequencer.left_tick = done_ticks
        inputs.words[:] = words
        at = record.FIXED_BYTES
        while at < length:
            if packed[at] == messages.FEEDFORWARD:
                prepare_feedforward(machine, packed, at + 2)
            machine.commands.put(packed[at], packed, at + 2, packed[at + 1])
            at += 2 + packed[at + 1]

    def _take_emitters(self, packed):
        """The emitters' heat is older than the run: the first record tells it."""
        self._first = False
        model = self.machine.guard.model
        model.emitter_mk, model.most_emitter_mk = struct.unpack_from("<II", packed, EMITTERS_AT)

    def _first_difference(self, packed, length):
        out = self.out
        for index in range(min(length, self.length)):
            if out[index] != packed[index]:
                return index
        return -1 if length == self.length else min(length, self.length)


def field_at(offset):
    """Return the name of the record field that holds byte `offset`."""
    at = 0
    for name, code in record.FIELDS:
        at += struct.calcsize("<" + code)
        if offset < at:
            return name
    return "commands"
