"""Every fault of communication by its name, on every request: what comes of it.

The names are those of the usual lists for safety-related communication (repetition, loss, delay,
insertion, masquerade, wrong order, corruption; IEC 61784-3 has them, from memory), and three of
serial lines: truncation, glued frames, a stale buffer. A request is done as often as the table
says, and answered so; a STOP is taken whenever it can be read.
"""

import struct

import pytest

from emberbed.link.blocks import write_payloads
from emberbed_fw import messages as ms
from emberbed_fw.commands import TICK_COMMANDS
from emberbed_fw.safety_limits import LEASE_TICKS
from tests.support.bench import SHORT_PLAN_PROMPT, Bench, arm_payload
from tests.support.plans import bench_settings
from tests.support.wire import HOST_NONCE, Wire, connected

OTHER_SESSION = 4242
DESCRIPTION = list(write_payloads(bench_settings()))
OLD_TICKS = ms.MAX_FRAME_AGE_TICKS + 1


class Watched:
    """A wire whose device's deeds are counted."""

    def __init__(self, wire, kind, payload):
        self.wire, self.kind, self._payload = wire, kind, payload
        self._answered = 0
        self.done = 0
        answer = wire.link._answer_commands

        def counting():
            commands = wire.machine.commands
            for number in range(commands.count):
                if wire.link._pending_kind[number] == kind:
                    self.done += commands.refusals[number] == ms.DONE
            answer()

        wire.link._answer_commands = counting
        wire.heard.clear()

    def payload(self):
        return self._payload(self.wire) if callable(self._payload) else self._payload

    def frame(self, **header):
        return self.wire.frame(self.kind, self.payload(), **header)

    def send(self, octets):
        self.wire.feed(octets)
        self.wire.tick(2)

    def outcome(self):
        """Return the refusals answered, and how often a tick did it (None: no tick does)."""
        answers = []
        for frame in self.wire.heard:
            if frame.message_type == ms.REPLY and frame.payload[0] == self.kind:
                answers.append(ms.REFUSAL_NAMES[frame.payload[3]])
        in_tick = self.kind in TICK_COMMANDS
        return answers, self.done if in_tick else None


def loaded():
    wire = connected()
    wire.write_plan(wire.bench.plan)
    return wire


def described():
    """All of a description has come but its end."""
    wire = connected()
    for payload in DESCRIPTION[:-1]:
        wire.ask(ms.SETTINGS_WRITE, payload)
    return wire


def asked():
    wire = Wire(Bench()).to_run()
    wire.bench.board_c = [60.0, 60.0]
    for _ in range(400):
        if wire.machine.prompt() == SHORT_PLAN_PROMPT:
            return wire
        wire.tick()
    raise AssertionError("the prompt never came")


def running():
    return Wire(Bench()).to_run()


def renewed_newest(wire):
    return struct.pack("<I", wire.machine.tick)


# request -> (a bench in the right state, its type, its payload)
REQUESTS = {
    "HELLO": (connected, ms.HELLO, struct.pack("<BI", 1, HOST_NONCE)),
    "RENEW": (running, ms.RENEW, renewed_newest),
    "PLAN_WRITE": (connected, ms.PLAN_WRITE, struct.pack("<H", 0) + bytes(20)),
    "PLAN_READ": (loaded, ms.PLAN_READ, b"\0\0\x10"),
    "SETTINGS_WRITE": (described, ms.SETTINGS_WRITE, DESCRIPTION[-1]),
    "SETTINGS_READ": (connected, ms.SETTINGS_READ, b"\0\0\x10"),
    "ARM": (loaded, ms.ARM, lambda wire: arm_payload(wire.bench.plan)),
    "STOP": (running, ms.STOP, bytes([ms.STOP_BY_PERSON])),
    "ACK_PROMPT": (asked, ms.ACK_PROMPT, bytes([SHORT_PLAN_PROMPT, ms.BY_TERMINAL])),
    "STAGE_REQUEST": (running, ms.STAGE_REQUEST,
                      struct.pack("<BhB", ms.MARK, ms.MARK_NOTE, ms.BY_TERMINAL)),
    "FEEDFORWARD": (running, ms.FEEDFORWARD, bytes(2 + 2 * ms.FEEDFORWARD_POWERS)),
    "BACKFILL": (connected, ms.BACKFILL, struct.pack("<I", 1)),
    "SELFTEST": (connected, ms.SELFTEST, b""),
    "SERVICE": (connected, ms.SERVICE, bytes([ms.SERVICE_PLEASE])),
}  # fmt: skip
OF_A_TICK = ("ARM", "STOP", "ACK_PROMPT", "STAGE_REQUEST", "FEEDFORWARD")


def repetition(it):
    frame = it.frame()
    it.send(frame)
    it.send(frame)


def loss(it):
    frame = it.frame()
    it.wire.tick(3)  # it never came; the host sends the same again
    it.send(frame)


def delay(it):
    frame = it.frame()
    it.wire.tick(OLD_TICKS)
    it.done = 0  # of the bench's own renewals
    it.send(frame)


def insertion(it):
    it.wire.feed(it.wire.frame(200, b"foreign"))
    it.wire.feed(b"\0\x01\0noise\0")
    it.send(it.frame())


def masquerade(it):
    if it.kind == ms.HELLO:
        it.wire.renew()
        it.wire.tick()  # the first host holds the device
        it.send(it.wire.frame(ms.HELLO, struct.pack("<BI", 1, 99)))
    else:
        it.send(it.frame(session=OTHER_SESSION))


def wrong_order(it):
    old = it.frame()
    it.wire.ask(ms.PLAN_READ, b"\0\0\1")
    it.wire.ask(ms.PLAN_READ, b"\0\0\1")
    it.wire.heard.clear()
    it.send(old)


def corruption(it):
    frame = it.frame()
    for bit in range(8, 8 * (len(frame) - 1), 37):
        flipped = bytearray(frame)
        flipped[bit // 8] ^= 1 << bit % 8
        it.wire.feed(bytes(flipped) + b"\0")
    it.wire.tick(2)


def truncation(it):
    frame = it.frame()
    for length in range(2, len(frame) - 1, 3):
        it.wire.feed(frame[:length] + b"\0")
    it.wire.tick(2)


def glued(it):
    """The head of one and the tail of another, as when bytes between them were dropped."""
    frame = it.frame()
    for cut in range(3, len(frame) - 2, 3):
        if 2 * cut != len(frame):  # which would be the frame again
            it.wire.feed(frame[:cut] + frame[len(frame) - cut : -1] + b"\0")
    it.wire.tick(2)


def stale_buffer(it):
    """A frame of the session before comes out of some buffer."""
    frame = it.frame()
    it.wire.tick(LEASE_TICKS + 2)
    it.wire.hello(nonce=99)
    it.wire.heard.clear()
    it.done = 0
    it.send(frame)


# fault -> what comes of it: answers, how often done; by request where that is another thing
TABLE = {
    repetition: {"*": (2, 1), "RENEW": (0, 2), "STOP": (2, 2)},
    loss: {"*": (1, 1), "RENEW": (0, 1)},
    delay: {"*": ["TOO_OLD"], "HELLO": ["DONE"], "STOP": ["DONE"], "RENEW": []},
    insertion: {"*": (1, 1), "RENEW": (0, 1)},
    masquerade: {"*": ["WRONG_SESSION"], "HELLO": ["BUSY"], "STOP": ["DONE"]},
    wrong_order: {"*": [], "HELLO": ["DONE"], "STOP": ["DONE"], "RENEW": []},
    corruption: {"*": []},
    truncation: {"*": []},
    glued: {"*": []},
    stale_buffer: {"*": ["WRONG_SESSION"], "HELLO": ["DONE"], "STOP": ["DONE"]},
}
FAULTS = {fault.__name__: fault for fault in TABLE}


@pytest.mark.parametrize("request_name", REQUESTS)
@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_on_each_request_ends_as_the_table_says(fault, request_name):
    make, kind, payload = REQUESTS[request_name]
    wire = make()
    wire.renews = wire.renews and fault != "stale_buffer" and kind != ms.RENEW
    it = Watched(wire, kind, payload)
    FAULTS[fault](it)
    row = TABLE[FAULTS[fault]]
    expected = row.get(request_name, row["*"])
    answers, done = it.outcome()
    if isinstance(expected, tuple):
        times_answered, times_done = expected
        assert answers == ["DONE"] * times_answered
    else:
        assert answers == expected
        times_done = expected.count("DONE")
    if request_name in OF_A_TICK:
        assert done == times_done


@pytest.mark.parametrize("fault", [delay, wrong_order, masquerade, corruption, truncation, glued])
def test_no_fault_of_a_renewal_keeps_the_heat(fault):
    """A renewal that is late, old, foreign or damaged is none: the PC link runs out."""
    wire = running()
    wire.renews = False
    old = wire.machine.tick
    it = Watched(wire, ms.RENEW, struct.pack("<I", old))
    wire.tick(LEASE_TICKS - 1)
    fault(it)
    wire.tick(3)
    assert wire.machine.driven_zones == 0 and wire.machine.guard.lease_lost()


@pytest.mark.parametrize("fault", [corruption, truncation, glued])
def test_damage_is_counted(fault):
    wire = running()
    before = wire.link._reader.damaged
    fault(Watched(wire, ms.STOP, b"\1"))
    assert wire.link._reader.damaged > before
