"""The plan of the last run, kept where a power-down does not reach it, for a device without a PC.

Written once a run that heated has ended, while nothing heats and both switches are open; a hold of
the device's own is not kept, it can be made anew. Read when the button asks for it, and checked
like any other. Between ticks only; flash that fails costs nothing but the memory of that plan.
"""

import struct

from emberbed_fw import run_states as rs
from emberbed_fw.plan import PLAN_FINE
from emberbed_fw.plan_check import find_fault

ENDED = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST)


class PlanKeeper:
    def __init__(self, machine, link, port):
        self._machine = machine
        self._link = link
        self._port = port
        self._ran = False
        self._kept = None  # CRC of the newest plan that is kept, or need not be

    def step(self):
        """Keep the plan of the run that has just ended."""
        machine = self._machine
        self._ran = self._ran or machine.life.state in rs.HEATING_STATES
        if not self._ran or machine.life.state not in ENDED or not machine.switches_open():
            return
        self._ran = False
        crc = (machine.plan.crc_low, machine.plan.crc_high)
        if crc == self._kept:
            return
        self._kept = crc
        block = self._link.plan_block()
        if len(block) < 4 or struct.unpack_from("<HH", block, len(block) - 4) != crc:
            return  # another one is on its way in
        try:
            self._port.write_plan(block)
        except OSError:
            self._kept = None  # the next run may have more luck

    def need_not_keep(self, block):
        """Take note of a plan that the device can make or has read itself."""
        self._kept = struct.unpack_from("<HH", block, len(block) - 4)

    def last(self):
        """Return the kept plan if this device may run it, None for none."""
        block = self._port.read_plan()
        fits = block and find_fault(block, self._machine.settings) == PLAN_FINE
        return block if fits else None
