"""Throw hostile frames at both decoders and at the device's link: none may be taken for a request.

    python -m tests.fuzz.hostile --frames 1e7

Frames are real requests that were damaged on their way, rubbish, or whole frames of a stranger:
another session, another version, an old sequence number, another host. Each goes to the
firmware's decoder and link in a run that heats, and to the host's decoder; both must judge alike. A
STOP that can be read is taken from anybody and is therefore none of them.
"""

import argparse
import json
import random
import statistics
import struct
import time
from dataclasses import asdict, dataclass

from emberbed.link.frames import FrameSplitter
from emberbed_fw import messages as ms
from emberbed_fw.frames import FrameReader
from emberbed_fw.snapshot import take_snapshot
from tests.support.bench import arm_payload
from tests.support.wire import HOST_NONCE, Wire

LOOKED_AT = 500  # frames between two looks at everything that the device remembers
TIMED_TICKS = 300
FLOOD = 100  # hostile frames before a timed tick


@dataclass
class Found:
    """What came of it; all but the first and the last three must be 0."""

    frames: int = 0
    accepted: int = 0  # taken for a request, or answered with DONE
    state_changes: int = 0
    judged_differently: int = 0  # by the two decoders
    seconds: float = 0.0
    quiet_tick_us: float = 0.0  # median from sample to drive, nothing on the wire
    flooded_tick_us: float = 0.0  # the same with FLOOD hostile frames before each tick


def requests_of(wire: Wire) -> list[bytes]:
    """Return one good request of each kind, as they stand on the wire."""
    payloads = {
        ms.HELLO: struct.pack("<BI", 1, HOST_NONCE),
        ms.RENEW: struct.pack("<I", wire.machine.tick),
        ms.PLAN_WRITE: struct.pack("<H", 0) + bytes(range(190)),
        ms.PLAN_READ: b"\0\0\x20",
        ms.SETTINGS_WRITE: struct.pack("<H", 0) + bytes(60),
        ms.SETTINGS_READ: b"\0\0\x20",
        ms.ARM: arm_payload(wire.bench.plan),
        ms.STOP: bytes([ms.STOP_BY_PERSON]),
        ms.ACK_PROMPT: b"\1\2",
        ms.STAGE_REQUEST: struct.pack("<BhB", ms.OFFSET, 300, ms.BY_TERMINAL),
        ms.BACKFILL: struct.pack("<I", 1),
    }
    return [wire.frame(kind, payload) for kind, payload in payloads.items()]


def damaged(frame: bytes, other: bytes, chance: random.Random) -> bytes:
    """Return a frame as a bad line may deliver it, without its delimiters."""
    octets = bytearray(frame[1:-1])
    at = chance.randrange(len(octets))
    harm = chance.randrange(8)
    if harm == 0:
        for _flip in range(chance.randint(1, 8)):
            octets[chance.randrange(len(octets))] ^= 1 << chance.randrange(8)
    elif harm == 1:
        octets[at : at + 5] = chance.randbytes(chance.randint(1, 5))
    elif harm == 2:
        del octets[at : at + chance.randint(1, 4)]
    elif harm == 3:
        octets[at:at] = chance.randbytes(chance.randint(1, 4))
    elif harm == 4:
        del octets[at:]
    elif harm == 5:
        octets[at:] = other[1:-1][at:]
    elif harm == 6:
        octets[at:at] = octets[: chance.randint(1, len(octets))]
    else:
        octets[:] = chance.randbytes(chance.randint(1, 280))
    return bytes(octets)


def stranger(wire: Wire, chance: random.Random) -> bytes:
    """Return a whole frame that this device must not obey."""
    kind = chance.choice([kind for kind in ms.MESSAGE_NAMES if kind not in (ms.STOP, ms.HELLO)])
    payload = chance.randbytes(chance.choice((0, 1, 2, 3, 4, 8, 10, 40)))
    false = chance.randrange(4)
    if false == 0:
        return wire.frame(kind, payload, sequence=chance.randrange(65536),
                          session=(wire.session + chance.randrange(1, 2**32)) % 2**32)  # fmt: skip
    if false == 1:
        return wire.frame(kind, payload, sequence=wire.sequence, version=chance.choice((0, 2, 255)))
    if false == 2:  # RENEW is dated by the tick that it names, not by its number
        kind = ms.STAGE_REQUEST if kind == ms.RENEW else kind
        sequence = (wire.link._last_request - chance.randrange(1, 30000)) & 0xFFFF
        return wire.frame(kind, payload, sequence=sequence)
    return wire.frame(ms.HELLO, struct.pack("<BI", 1, chance.randrange(2**30)), sequence=1)


class Judge:
    """One device in a run that heats, and a host's decoder beside it."""

    def __init__(self, seed: int) -> None:
        self.found = Found()
        self._chance = random.Random(seed)
        self._wire = Wire().to_run()
        self._wire.ask(ms.PLAN_READ, b"\0\0\1")
        self._requests = requests_of(self._wire)
        self._whole = {piece for one in self._requests for piece in one.split(b"\0")}
        self._reader = FrameReader()
        self._splitter = FrameSplitter()
        self._before = self._memory()

    def throw(self, frames: int) -> Found:
        """Throw so many frames; return what was found so far."""
        began_s = time.perf_counter()
        for number in range(1, frames + 1):
            self._throw_one()
            if number % LOOKED_AT == 0 and self._memory() != self._before:
                self.found.state_changes += 1
                self._before = self._memory()
        self.found.state_changes += self._memory() != self._before
        self.found.frames += frames
        self.found.seconds += time.perf_counter() - began_s
        return self.found

    def hostile(self) -> bytes:
        """Return the next hostile frame, with delimiters."""
        chance = self._chance
        if chance.random() < 0.2:
            return stranger(self._wire, chance)
        while True:
            octets = damaged(chance.choice(self._requests), chance.choice(self._requests), chance)
            if self._whole.isdisjoint(octets.split(b"\0")) or octets.strip(b"\0") == b"":
                return b"\0" + octets + b"\0"

    def _throw_one(self) -> None:
        octets = self.hostile()
        link, commands = self._wire.link, self._wire.machine.commands
        link.receive(octets, len(octets))
        if commands.count or self._was_obeyed():
            self.found.accepted += 1
            commands.clear()
        link.out_filled = 0
        ours = [bytes(self._reader.body[: self._reader.length])
                for octet in octets if self._reader.feed(octet)]  # fmt: skip
        theirs = self._splitter.feed(octets)
        if len(ours) != len(theirs) or self._reader.damaged != self._splitter.damaged:
            self.found.judged_differently += 1
            self._reader.damaged = self._splitter.damaged

    def _was_obeyed(self) -> bool:
        """Tell whether the link has answered anything with DONE."""
        link = self._wire.link
        if not link.out_filled:
            return False
        answers = FrameSplitter().feed(bytes(link.out[: link.out_filled]))
        return any(one.message_type != ms.REPLY or one.payload[3] == ms.DONE for one in answers)

    def _memory(self) -> tuple[object, ...]:
        wire = self._wire
        link = wire.link
        return (
            take_snapshot(wire.machine), link._session, link._host_nonce, link._last_request,
            bytes(link._blocks._plan_bytes._octets), wire.recorder.unacknowledged(),
            wire.machine.commands.count,
        )  # fmt: skip

    def time_ticks(self) -> None:
        """Time sample to drive with and without a flood, turn by turn on two equal devices."""
        quiet, flooded = Wire().to_run(), Wire().to_run()
        times: dict[int, list[float]] = {id(quiet): [], id(flooded): []}
        for _tick in range(TIMED_TICKS):
            for wire in (quiet, flooded):
                wire.bench.sample(wire.machine.inputs)
                for _frame in range(FLOOD if wire is flooded else 0):
                    octets = self.hostile()
                    wire.link.receive(octets, len(octets))
                    wire.link.out_filled = 0
                wire.machine.guard.renew_lease(ms.ATTEND_HOST)  # the same state on both
                began_s = time.perf_counter()
                wire.machine.sample_to_drive()
                times[id(wire)].append(time.perf_counter() - began_s)
                wire.machine.commands.clear()
        self.found.quiet_tick_us = round(1e6 * statistics.median(times[id(quiet)]), 2)
        self.found.flooded_tick_us = round(1e6 * statistics.median(times[id(flooded)]), 2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--frames", type=float, default=1e5)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    judge = Judge(asked.seed)
    judge.throw(round(asked.frames))
    judge.time_ticks()
    print(json.dumps(asdict(judge.found)))


if __name__ == "__main__":
    main()
