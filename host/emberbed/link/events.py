"""What the link tells its caller: one small immutable type for each thing that can happen."""

import struct
from dataclasses import dataclass

from emberbed_fw import messages
from emberbed_fw.device_port import RESET_POWER

_GREETING = struct.Struct(messages.HELLO_REPLY)

# Where a record's bytes come from.
DEVICE = 0  # the device made and sent them
REBUILT = 1  # by replay of the inputs that the device kept, equal by its own check
MEASURED = 2  # only the measured values, and a few outputs perhaps, are the device's


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
    origin: int = DEVICE


@dataclass(frozen=True, slots=True)
class Gap:
    """Records that the device no longer has: ticks `first`..`last`, both included."""

    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Thinned:
    """Of ticks `first`..`last` the device kept one in `step`; the records that follow are those."""

    first: int
    last: int
    step: int


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What the device remembered after a tick: `numbers` as the firmware restores them."""

    tick: int
    numbers: tuple[int, ...]


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


Event = Reply | Record | Gap | Thinned | Snapshot | Damaged | Silent | WrongVersion | SessionLost


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
    run_session: int  # in which the run of now was armed, 0 for none or by the device itself
    run_tick: int  # in which it was armed, 0 for none since the device was switched on
    plan_crc: int  # of the plan that is loaded
    memory_bytes: int  # for every tick of at least 5 minutes, and one a second to 15
    day_bytes: int  # for one tick in 30 s of a whole day
    entry: int = messages.ENTRY_HEATS  # which entry started it, messages.ENTRY_*
    board_number: bytes = b""  # the board's own; empty for a device that has none
    kept_trip: int = 0  # before its last start; nothing has heated since
    reset_cause: int = RESET_POWER  # why it started, device_port.RESET_*


def read_greeting(data: bytes) -> Greeting | None:
    """Return the greeting in the data of a HELLO reply, or None if it holds none."""
    if len(data) < _GREETING.size:
        return None
    said = _GREETING.unpack_from(data)
    protocol, session, state, verdict, tick = said[:5]
    firmware = ".".join(str(number) for number in said[5:8])
    build_id, entry, number, run_session, run_tick, crc_low, crc_high, *memory = said[8:]
    memory_bytes, day_bytes, kept_trip, reset_cause = memory
    crc = crc_low | crc_high << 16
    return Greeting(
        protocol, session, state, verdict, tick, firmware, build_id, run_session, run_tick, crc,
        memory_bytes, day_bytes, entry, number if any(number) else b"", kept_trip, reset_cause,
    )  # fmt: skip


def contradicts(data: bytes, version: int) -> bool:
    """Tell whether HELLO's answer names another protocol than the frame of `version` around it."""
    greeting = read_greeting(data)
    return greeting is not None and greeting.protocol != version
