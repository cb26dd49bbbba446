"""Feedforward planned anew by the host while a run is on: only that of stages not yet begun.

A set has the power of every zone in use at every knot of the plan, zone by zone. It comes in parts
(`write`) beside the one in use, is checked whole between ticks (`check`: length, CRC, plan, stages
that have begun or are open loop as they are, small products) and swapped at the start of a tick
(`take`). Stages, setpoints, limits and gains are no part of it; arming brings the plan's own back.
Powers in q15, never above the zone's cap. `write`, `take` and `step` allocate nothing. Serves H04.
"""

import struct
from array import array
from binascii import crc32

from emberbed_fw import messages as ms
from emberbed_fw.integer_math import SMALL_INT_MAX
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.plan import POWER
from emberbed_fw.units import NONE, ZONES


def half(octets, at):
    return octets[at] | octets[at + 1] << 8


class Feedforward:
    """Of one plan, whose `feedforward_q15` it sets. Payloads are those of ms.FEEDFORWARD."""

    STATE = ("crc_low", "crc_high")  # of the set in use; 0, 0: the plan's own

    def __init__(self, plan):
        self._plan = plan
        self._zones = [zone for zone in range(ZONES) if plan.control[zone] != NONE]
        self._own = list(plan.feedforward_q15)
        self._total = len(self._zones) * plan.header["knots"]
        self._banks = None  # the one that is written, and the one before: most runs need none
        self.reset()

    def reset(self):
        """Use the plan's own: at arming."""
        self.crc_low = 0
        self.crc_high = 0
        self._filled = 0  # numbers of the set that is coming in
        self._checked = NONE  # the set is whole, and fits as long as this stage runs
        self._checked_watch = None
        self._watch = None
        for zone in self._zones:
            self._plan.feedforward_q15[zone] = self._own[zone]

    def make_room(self):
        """Have place for a set before its first part. Allocates: between ticks only."""
        if self._banks is None:
            empty = bytes(2 * self._plan.header["knots"])
            self._banks = [[array("H", empty) for _zone in self._zones] for _bank in range(2)]

    def write(self, octets, at):
        """Take one part: H number of its first power, ms.FEEDFORWARD_POWERS powers; the last part
        is longer than needed. Parts follow each other; number 0 starts anew."""
        number = half(octets, at)
        if number == 0:
            self._filled = 0
        if number != self._filled or number >= self._total or self._banks is None:
            return ms.BAD_LENGTH
        knots = self._plan.header["knots"]
        for index in range(min(ms.FEEDFORWARD_POWERS, self._total - number)):
            power_q15 = half(octets, at + 2 + 2 * index)
            place = (number + index) // knots
            if power_q15 > self._plan.header[CAPS[self._zones[place]]]:
                return ms.BAD_RANGE
            self._banks[0][place][(number + index) % knots] = power_q15
        self._filled = min(number + ms.FEEDFORWARD_POWERS, self._total)
        return ms.DONE

    def check(self, octets, at, stage):
        """Check the set that has come, by its end: H END_OF_BLOCK, H powers, H H CRC, while this
        stage runs. Allocates: between ticks only."""
        self._checked = NONE
        if half(octets, at + 2) != self._filled or not 0 < self._filled == self._total:
            return ms.BAD_LENGTH
        if self._crc() != (half(octets, at + 4), half(octets, at + 6)):
            return ms.BAD_CRC
        spare = self._banks[0]
        for place in range(len(self._zones)):
            now = self._plan.feedforward_q15[self._zones[place]]
            if self._replaces(now, spare[place], stage):
                return ms.WRONG_STATE
            if self._too_steep(spare[place]):
                return ms.BAD_RANGE
        self._checked = stage
        self._checked_watch = MemoryWatch(spare, [])
        return ms.DONE

    def take(self, octets, at, stage):
        """Swap in the checked set, unless a stage has begun since it was checked."""
        self._filled = 0
        if self._checked != stage:
            return ms.WRONG_STATE
        self.crc_low = half(octets, at + 4)
        self.crc_high = half(octets, at + 6)
        for place in range(len(self._zones)):
            self._plan.feedforward_q15[self._zones[place]] = self._banks[0][place]
        self._banks.reverse()
        self._watch = self._checked_watch
        return ms.DONE

    def step(self):
        """Look at a few numbers of the set in use; tell whether one has changed in memory."""
        if self._watch is None:
            return False
        self._watch.step()
        return self._watch.changed == 1

    def redo(self, heard):
        """Have the set again whose CRC a snapshot has named, from the payloads that were recorded
        before it; tell whether it was among them. Allocates."""
        wanted = (self.crc_low, self.crc_high)
        self.reset()
        self.make_room()
        for payload in heard:
            if half(payload, 0) != ms.END_OF_BLOCK:
                self.write(payload, 0)
                continue
            named = (half(payload, 4), half(payload, 6))
            # whatever stage ran then: the first one has always begun
            if named == wanted and self.check(payload, 0, 0) == ms.DONE:
                self.take(payload, 0, 0)
        return (self.crc_low, self.crc_high) == wanted

    def _crc(self):
        """Return the CRC-32 over the plan's own CRC and the set, as low and high half."""
        crc = crc32(struct.pack("<HH", self._plan.crc_low, self._plan.crc_high))
        for powers in self._banks[0]:
            crc = crc32(powers, crc)  # every controller of ours has the low byte first
        return crc & 0xFFFF, crc >> 16

    def _replaces(self, now, new, stage):
        """Tell whether powers differ in a stage that has begun, or whose power is the plan's."""
        columns = self._plan.stage
        for number in range(self._plan.stages):
            if number > stage and columns["kind"][number] != POWER:
                continue
            first = columns["first_knot"][number]
            for knot in range(first, first + columns["knots"][number]):
                if now[knot] != new[knot]:
                    return True
        return False

    def _too_steep(self, powers):
        """Tell whether the line between two knots would leave the small ints (plan_check)."""
        ticks = self._plan.knot["tick"]
        for knot in range(1, len(powers)):
            span = ticks[knot] - ticks[knot - 1]
            if span > 0 and abs(powers[knot] - powers[knot - 1]) > SMALL_INT_MAX // 2 // span:
                return True
        return False


CAPS = tuple(["cap%d_q15" % zone for zone in range(ZONES)])
