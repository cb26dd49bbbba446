"""Plan and settings as a host writes and reads them, in parts.

Keeps both blocks; a plan that is whole is checked and opened here, so that the next tick need only
take it. Gives refusal codes and bytes, sends nothing. Allocates: between ticks only.
"""

import struct

from emberbed_fw import messages as ms
from emberbed_fw import plan, plan_check, settings
from emberbed_fw import run_states as rs
from emberbed_fw.block_buffer import BlockBuffer
from emberbed_fw.frames import HEADER_BYTES as PAYLOAD_AT

PLAN_STATES = (rs.IDLE, rs.LOADED, rs.FINISHED, rs.STOPPED, rs.LINK_LOST)
FOR_THE_TICK = -1  # no refusal: the next tick takes the plan, and answers


class BlockRequests:
    def __init__(self, machine):
        self._machine = machine
        self._plan_bytes = BlockBuffer(plan.MAX_PLAN_BYTES)
        self._settings_bytes = BlockBuffer(settings.SETTINGS_BYTES)
        self._settings_bytes.fill(machine.settings.block)
        self._new_settings_bytes = BlockBuffer(settings.SETTINGS_BYTES)
        self.fault = plan.PLAN_FINE  # of the plan refused last

    def plan_block(self):
        """Return the bytes of the plan that came last, whole or not."""
        return self._plan_bytes.view()

    def keep_plan(self, block):
        """Take a plan that the device has made itself."""
        self._plan_bytes.fill(block)

    def write(self, kind, body, size):
        """Take one part of a block, or its end; return a refusal code or FOR_THE_TICK. What finds
        no room in memory is refused and changes nothing."""
        try:
            return self._write(kind, body, size)
        except MemoryError:
            self.fault = plan.PLAN_ROOM
            return ms.BAD_PLAN if kind == ms.PLAN_WRITE else ms.BUSY

    def _write(self, kind, body, size):
        wanted = PLAN_STATES if kind == ms.PLAN_WRITE else (rs.IDLE,)
        if self._machine.life.state not in wanted:
            return ms.WRONG_STATE
        if size <= 2:
            return ms.BAD_LENGTH
        offset = struct.unpack_from("<H", body, PAYLOAD_AT)[0]
        if offset != ms.END_OF_BLOCK:
            buffer = self._plan_bytes if kind == ms.PLAN_WRITE else self._new_settings_bytes
            fits = buffer.write(offset, body, PAYLOAD_AT + 2, size - 2)
            return ms.DONE if fits else ms.BAD_LENGTH
        if size != 8:
            return ms.BAD_LENGTH
        return self._open_plan(body) if kind == ms.PLAN_WRITE else self._open_settings(body)

    def read(self, kind, body, size):
        """Return the part that is asked for, None for a request of a wrong length."""
        if size != 3:
            return None
        offset, count = struct.unpack_from("<HB", body, PAYLOAD_AT)
        buffer = self._plan_bytes if kind == ms.PLAN_READ else self._settings_bytes
        return buffer.read(offset, min(count, ms.BLOCK_CHUNK))

    def _open_settings(self, body):
        """Check the received description whole, then let the next tick hand it on."""
        length, low, high = struct.unpack_from("<HHH", body, PAYLOAD_AT + 2)
        block = self._new_settings_bytes.whole(length)
        if block is None or length != settings.SETTINGS_BYTES:
            return ms.BAD_LENGTH
        if struct.unpack_from("<HH", block, length - 4) != (low, high):
            return ms.BAD_CRC
        if not settings.settings_fit(block):
            return ms.BAD_RANGE
        self._machine.received_settings = bytes(block)
        return FOR_THE_TICK

    def _open_plan(self, body):
        """Check the received plan whole, then let the next tick take it."""
        length = struct.unpack_from("<H", body, PAYLOAD_AT + 2)[0]
        block = self._plan_bytes.whole(length)
        self.fault = plan.PLAN_LENGTH if block is None else plan_check.find_fault(
            block, self._machine.settings
        )
        if self.fault != plan.PLAN_FINE:
            return ms.BAD_PLAN
        self._machine.prepare(plan.Plan(block))
        return FOR_THE_TICK
