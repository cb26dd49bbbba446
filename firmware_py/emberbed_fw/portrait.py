"""What the device says of itself in its answer to HELLO: who it is, and which run is its own."""

import struct

from emberbed_fw import frames
from emberbed_fw import messages as ms

FIRMWARE_VERSION = (0, 1, 0)
NAMELESS = (ms.ENTRY_HEATS, bytes(ms.BOARD_NUMBER_BYTES))


class Portrait:
    def __init__(self, build_id, identity, reset_cause):
        self._build_id = build_id
        self._entry, self._board_number = identity
        self._reset_cause = reset_cause
        self._run_session = 0  # in which the run of now was armed, 0 by the device itself
        self._run_tick = 0  # in which it was armed, 0 for no run since the start

    def note_arming(self, session, tick):
        self._run_session = session
        self._run_tick = tick

    def pack(self, machine, recorder, session):
        """Return HELLO's answer (messages.HELLO_REPLY)."""
        life, plan = machine.life, machine.plan
        return struct.pack(
            ms.HELLO_REPLY, frames.PROTOCOL_VERSION, session, life.state, life.verdict,
            machine.tick, FIRMWARE_VERSION[0], FIRMWARE_VERSION[1], FIRMWARE_VERSION[2],
            self._build_id, self._entry, self._board_number, self._run_session, self._run_tick,
            0 if plan is None else plan.crc_low, 0 if plan is None else plan.crc_high,
            recorder.ring_bytes, recorder.run_bytes,
            0 if machine.guard.trip else machine.kept_trip, self._reset_cause,
        )
