"""What a controller's tick costs in this interpreter; prints one line: microseconds, heap bytes.

The firmware's integer controller, the same design written with floats, a textbook PID in floats,
and a whole tick of the firmware (a tape as the player reads it is played: inputs taken out of the
record, sample to drive with every watch of the guard, the record packed and compared). The three
controllers follow the same readings of a slow rise; best of ROUNDS, turn by turn. The integers run
with the heap locked, as they do in a tick; floats cannot, they take heap. No heap is cleaned up
meanwhile: what that costs comes on top.
"""

import gc
import struct
import sys
import time

from emberbed_fw.heap import lock as heap_lock
from emberbed_fw.heap import unlock as heap_unlock
from emberbed_fw.pid import Pid
from emberbed_fw.replay import Replay

ROUNDS, STEPS = 5, 2000
BLOCK, SETTINGS, PLAN, RECORD = "<BH", 1, 2, 4  # as in the player
MOST_RECORDS = 1500


def now_us():
    if hasattr(time, "ticks_us"):
        return time.ticks_us()
    return time.perf_counter_ns() // 1000


def clamped(number, low, high):
    if number < low:
        return low
    if number > high:
        return high
    return number


def measured(step, locks=False):
    """Return (us, heap bytes) of STEPS steps, -1 bytes where the interpreter does not tell."""
    gc.collect()
    gc.disable()
    heap = gc.mem_alloc() if hasattr(gc, "mem_alloc") else 0
    if locks:
        heap_lock()
    began = now_us()
    at = 0
    while at < STEPS:  # an iterator would take heap
        step(at)
        at += 1
    took = now_us() - began
    if locks:
        heap_unlock()
    grown = gc.mem_alloc() - heap if hasattr(gc, "mem_alloc") else -STEPS
    gc.enable()
    return took, grown


class FloatPid:
    """The firmware's design (two degrees of freedom, filtered slope against the plan's, feed
    forward, an integral that stands still in saturation) with floats; degC, shares of full power
    and ticks."""

    def __init__(self, kp, ki, kd, weight, cap, shift):
        self.kp, self.ki, self.kd, self.weight, self.cap = kp, ki, kd, weight, cap
        self.keeps = 1.0 / (1 << shift)
        self.filtered = self.slope = self.integral = self.demand = 0.0

    def step(self, setpoint, plan_slope, measured, feedforward, delivered, least, most):
        step = (measured - self.filtered) * self.keeps
        self.filtered += step
        self.slope = clamped(step, -0.6, 0.6)
        proportional = self.kp * clamped(self.weight * setpoint - measured, -200.0, 200.0)
        behind = clamped(plan_slope - self.slope, -0.15, 0.15)
        asked = proportional + self.integral + self.kd * behind + feedforward
        self.demand = min(clamped(asked, least, most), self.cap)
        excess = asked - (self.demand if delivered else 0.0)
        error = clamped(setpoint - measured, -200.0, 200.0)
        if not (excess > 0 and error > 0) and not (excess < 0 and error < 0):
            self.integral = clamped(self.integral + self.ki * error, -1.6, 1.6)


class TextbookPid:
    """Kp e + Ki sum e + Kd de, clamped."""

    def __init__(self, kp, ki, kd):
        self.kp, self.ki, self.kd = kp, ki, kd
        self.total = self.before = self.demand = 0.0

    def step(self, setpoint, measured):
        error = setpoint - measured
        self.total += self.ki * error
        out = self.kp * error + self.total + self.kd * (error - self.before)
        self.before = error
        self.demand = 0.0 if out < 0.0 else 1.0 if out > 1.0 else out


def integers():
    header = {
        "kp0_q8": 2000, "ki0_q14": 160, "kd0_q4": 16000, "weight0_q8": 256, "cap0_q15": 32768,
        "filter0_shift": 5,
    }  # fmt: skip
    pid, asked, read = Pid(header, 0), INTEGERS[0], INTEGERS[1]
    return measured(lambda at: pid.step(asked[at], 5, read[at], 3000, True, 0, 32768), True)


def floats():
    pid, asked, read = FloatPid(0.24, 0.0001, 3.0, 1.0, 1.0, 5), FLOATS[0], FLOATS[1]
    return measured(lambda at: pid.step(asked[at], 0.08, read[at], 0.1, True, 0.0, 1.0))


def textbook():
    pid, asked, read = TextbookPid(0.24, 0.0001, 3.0), FLOATS[0], FLOATS[1]
    return measured(lambda at: pid.step(asked[at], read[at]))


def whole_ticks():
    """Return the microseconds of a tick, all records of the tape played."""
    replay = Replay(settings, plan)
    replay.begin_here()
    began = now_us()
    for packed in records:
        replay.feed(packed, len(packed))
    return (now_us() - began) / len(records)


INTEGERS = [2500 + at * 5 for at in range(STEPS)], [2400 + at * 5 for at in range(STEPS)]
FLOATS = [25.0 + at * 0.05 for at in range(STEPS)], [24.0 + at * 0.05 for at in range(STEPS)]
settings = plan = b""
records = []
arguments = getattr(sys, "argv", [])
with open(arguments[1] if len(arguments) > 1 else "/tape.bin", "rb") as tape:
    while len(records) < MOST_RECORDS:
        head = tape.read(struct.calcsize(BLOCK))
        if len(head) < struct.calcsize(BLOCK):
            break
        kind, length = struct.unpack(BLOCK, head)
        content = tape.read(length)
        if kind == SETTINGS:
            settings = content
        elif kind == PLAN:
            plan = content
        elif kind == RECORD:
            records.append(content)
said = []
turns = [(integers(), floats(), textbook()) for _ in range(ROUNDS)]
for at, name in enumerate(("integers", "floats", "textbook")):
    said.append(
        "%s %.3f %d" % (name, min(t[at][0] for t in turns) / STEPS, turns[0][at][1] // STEPS)
    )
print(" ".join(said), "whole %.1f" % min(whole_ticks() for _ in range(2)))
