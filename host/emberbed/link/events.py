"""What the link tells its caller: one small immutable type for each thing that can happen."""

import struct
from dataclasses import dataclass

from emberbed_fw import messages

_GREETING = struct.Struct(messages.HELLO_REPLY)


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to one request: `refusal` is messages.DONE or a reason, `data` what followed."""

    request_type: int
    request_sequence: int
    refusal: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Record:
    """The record of one tick, each tick once and in order; `again` if it had to be asked for."""

    raw: bytes
    tick: int
    again: bool


@dataclass(frozen=True, slots=True)
class Gap:
    """Records that the device no longer has: ticks `first`..`last`, both included."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Damaged:
    """Frames that arrived damaged and were dropped since the last such event."""

    count: int


@dataclass(frozen=True, slots=True)
class Silent:
    """A request that was sent as often as allowed and never answered."""

    request_type: int
    request_sequence: int


@dataclass(frozen=True, slots=True)
class WrongVersion:
    """Undamaged frames arrive, in another version of the protocol."""

    version: int


@dataclass(frozen=True, slots=True)
class SessionLost:
    """The device now speaks in another session: it was reset, or another program took it over."""

    session: int


Event = Reply | Record | Gap | Damaged | Silent | WrongVersion | SessionLost


@dataclass(frozen=True, slots=True)
class Greeting:
    """What the device says of itself in its answer to HELLO."""

    protocol: int
    session: int
    state: int
    verdict: int
    newest_tick: int
    firmware: str  # as in "1.2.3"
    build_id: bytes


def read_greeting(data: bytes) -> Greeting | None:
    """Return the greeting in the data of a HELLO reply, or None if it holds none."""
    if len(data) < _GREETING.size:
        return None
    protocol, session, state, verdict, tick, *version, build_id = _GREETING.unpack_from(data)
    firmware = ".".join(str(number) for number in version)
    return Greeting(protocol, session, state, verdict, tick, firmware, build_id)
